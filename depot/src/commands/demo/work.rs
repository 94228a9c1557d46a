//! The part of the demo that makes the call and changes the cups.

use chrono::{DateTime, FixedOffset, TimeDelta};
use gritbook_core::CoreError;
use gritbook_core::call::{Call, CallCode, Costs};
use gritbook_core::changeout::{Progress, Signal};
use gritbook_core::fieldbook::{CallQuestion, ChangeOutEnd, FieldBook};
use gritbook_core::ids::PumpId;
use gritbook_core::model::Cup;
use gritbook_core::model::entry::{Called, RemovalReason};

use crate::commands::say;

/// Asks for the call on tomorrow's pour, says it, records it.
pub(super) fn call(book: &FieldBook, pump: PumpId, next_pour_m3: f64, now: DateTime<FixedOffset>) -> Result<CallCode, CoreError> {
    let question = CallQuestion { next_pour_m3, pump_m3: None, concrete_bar: None, mix_factor: None };
    let call: Call = book.call(pump, &question, &Costs::default(), now)?;
    say(format_args!("   {}, {next_pour_m3} m3 tomorrow: {}", call.pump, call.call.sentence().en));
    for reason in call.reasons.iter().take(3) {
        say(format_args!("      {}", reason.text));
    }
    book.record_call(pump, Called::of_document(&call.document(), None, None)?, now)?;
    Ok(call.call)
}

/// Changes both cups, step by step; says the hold points.
pub(super) fn change_out(book: &FieldBook, pump: PumpId, pump_m3: f64, now: DateTime<FixedOffset>) -> Result<(), CoreError> {
    let mut progress = Progress::begin(pump, book.pump(pump)?, &[Cup::A, Cup::B], now)?;
    let of = progress.steps().len();
    while let Some(step) = progress.next() {
        let minute = TimeDelta::minutes(progress.marks.len() as i64 * 5);
        if let Some(caution) = step.caution.as_ref().filter(|caution| step.hold && caution.signal == Signal::Danger) {
            say(format_args!("   {:>2} of {of}  {}: {}", progress.marks.len() + 1, caution.signal.words().en, step.title.en));
        }
        progress.mark(&step.key, None, Vec::new(), now + minute)?;
    }
    let end = ChangeOutEnd {
        pump_m3: Some(pump_m3),
        reasons: vec![RemovalReason::OtherCup, RemovalReason::Worn],
        parts_used: "2 piston cups, 2 guide bands".into(),
        note: String::new(),
    };
    let saved = book.finish_change_out(&progress, end, now + TimeDelta::hours(3))?;
    say(format_args!("   {of} steps done; two lives ended, two begun ({} entries)", saved.lives.len() + 1));
    Ok(())
}
