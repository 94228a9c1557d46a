use proptest::prelude::*;

use super::super::blend::{SINCE_M3, SINCE_POWER, correction};
use super::super::known::newest_level;
use super::super::{parse_asks, parse_costs};
use super::*;
use crate::history::parse;
use crate::model::Cup;

const HEADER: &str = "at,pump,cup,event,pump_m3,pour_m3,level,grade,part,liquid,reason,concrete_bar,mix_factor\n";

/// Three pumps, each with six pairs of cups that failed at 2600 to 3600 m3 and a running pair since 20 000 m3.
fn fleet() -> String {
    let mut text = HEADER.to_owned();
    for pump in ["P1", "P2", "P3"] {
        let mut total = 0.0;
        for (month, life) in [2600.0, 2900.0, 3100.0, 3200.0, 3400.0, 3600.0].into_iter().enumerate() {
            let month = month + 1;
            text.push_str(&format!("2025-{month:02}-01T06:00:00Z,{pump},,fitted,{total},,,,,,,,\n"));
            total += life;
            text.push_str(&format!("2025-{month:02}-27T12:00:00Z,{pump},A,failed,{total},,,,,,,,\n"));
        }
        text.push_str(&format!("2025-07-01T06:00:00Z,{pump},,fitted,20000,,,,,,,,\n"));
    }
    text
}

/// Six pumps whose pairs fail after some 2400 m3, those fitted from January 2026 on after `later` m3; 300 m3 a week, no pressure told.
fn fleet_that_turns(later: f64) -> String {
    let mut text = HEADER.to_owned();
    let begin: chrono::DateTime<chrono::Utc> = "2025-01-01T06:00:00Z".parse().unwrap();
    for pump in 0..6 {
        let (mut total, mut at) = (0.0, begin + chrono::Duration::days(pump));
        for pair in 0.. {
            let spread = 0.8 + 0.1 * f64::from((pair * 3 + pump as i32 * 2) % 5);
            let life = spread * if at < begin + chrono::Duration::days(365) { 2400.0 } else { later };
            let ends = at + chrono::Duration::minutes((life / 300.0 * 7.0 * 1440.0) as i64);
            text.push_str(&format!("{},P{pump},,fitted,{total:.1},,,,,,,,\n", at.to_rfc3339()));
            if ends > begin + chrono::Duration::days(700) {
                break;
            }
            total += life;
            text.push_str(&format!("{},P{pump},A,failed,{total:.1},,,,,,,,\n", ends.to_rfc3339()));
            at = ends + chrono::Duration::hours(1);
        }
    }
    text
}

fn ask(text: &str) -> Vec<Result<Ask, BadAsk>> {
    parse_asks(format!("at,pump,next_pour_m3,pump_m3\n{text}").as_bytes()).unwrap()
}

fn calls(history: &str, asks: &str) -> Vec<Call> {
    let answers = judge(&parse(history.as_bytes()).unwrap(), &ask(asks), &Costs::default()).unwrap();
    answers
        .into_iter()
        .map(|answer| match answer {
            Answer::Call(call) => *call,
            Answer::Error(error) => panic!("{error:?}"),
        })
        .collect()
}

fn one(history: &str, asks: &str) -> Call {
    calls(history, asks).remove(0)
}

#[test]
fn what_went_through_since_a_look_counts_but_not_after_lumps() {
    let near = |level: u8, since_m3: f64| {
        let mut shop = Shop::new();
        let look = format!("2025-07-20T06:00:00Z,P1,,checked,20800,,{level},,,,,,\n");
        parse((fleet() + &look).as_bytes()).unwrap().rows.iter().for_each(|row| shop.take_in(row));
        shop.catch_up("P1");
        let timeline = shop.timeline("P1").unwrap();
        let coming = Coming { here: timeline.position_m3() + since_m3, pour_m3: 60.0, concrete_bar: None, mix_factor: None };
        correction(&shop, timeline, coming.here, newest_level(timeline), &Known::of(&shop, timeline, coming).forecast(None)).near
    };
    for level in 0..3 {
        let per_tenfold = near(level, 500.0) / near(level, 50.0);
        assert!((per_tenfold - 10_f64.powf(SINCE_POWER)).abs() < 1e-9, "{level}: {per_tenfold}");
        assert_eq!(near(level, 0.0), near(level, SINCE_M3[0]));
    }
    assert_eq!(near(3, 500.0), near(3, 50.0));
}

fn look_first_of(call: &Call) -> Option<&str> {
    call.would_change.iter().find(|hint| hint.code == "look_first").map(|hint| hint.text.as_str())
}

/// The call that the hint names for a level: of "Paste only or some sand: pour." that of "some sand".
fn said_of<'a>(text: &'a str, level: &str) -> Option<&'a str> {
    let sentences = text.trim_end_matches('.').split(". ").filter_map(|sentence| sentence.split_once(": "));
    let names = |names: &str| names.to_lowercase().replace(" or ", ", ").split(", ").any(|name| name == level);
    sentences.into_iter().find(|(levels, _)| names(levels)).map(|(_, call)| call)
}

#[test]
fn a_look_first_leads_to_what_the_call_is_after_it() {
    let new_shop = format!("{HEADER}2025-01-01T06:00:00Z,P1,,fitted,20000,,,,,,,,\n");
    let mut overturned = 0;
    for history in [fleet(), new_shop] {
        for total in [20_900, 21_600, 22_300, 22_900] {
            let asked = format!("2025-08-01T06:00:00Z,P1,80,{total}\n");
            let call = one(&history, &asked);
            let Some(text) = look_first_of(&call) else { continue };
            for (level, name) in ["paste only", "some sand", "sand"].into_iter().enumerate() {
                let looked = format!("{history}2025-07-31T06:00:00Z,P1,,checked,{total},,{level},,,,,,\n");
                let then = one(&looked, &asked);
                assert_eq!(said_of(text, name), Some(then.call.words().en), "{total} {name}: {text}");
                assert_eq!(look_first_of(&then), None, "the box was looked into just now");
                overturned += usize::from(then.call != call.call);
            }
        }
    }
    assert!(overturned >= 4, "{overturned}");
}

#[test]
fn sand_again_may_lead_to_a_milder_call_than_sand_some_time_ago() {
    let mut milder = 0;
    for total in [21_400, 21_500, 21_600, 21_700, 21_800, 21_900, 22_000] {
        let sand = format!("{}2025-07-20T06:00:00Z,P1,,checked,{},,2,,,,,,\n", fleet(), total - 300);
        let asked = format!("2025-08-01T06:00:00Z,P1,30,{total}\n");
        let (call, again) = (one(&sand, &asked), one(&format!("{sand}2025-07-31T06:00:00Z,P1,,checked,{total},,2,,,,,,\n"), &asked));
        if again.call < call.call {
            milder += 1;
            let text = look_first_of(&call).unwrap();
            assert_eq!(said_of(text, "sand"), Some(again.call.words().en), "{text}");
        }
    }
    assert!(milder > 0);
}

#[test]
fn a_pump_nobody_looked_into_is_told_to_look_before_its_cups_are_changed() {
    let call = one(&format!("{HEADER}2025-01-01T06:00:00Z,P1,,fitted,0,,,,,,,,\n"), "2025-08-01T06:00:00Z,P1,80,2500\n");
    assert_eq!(call.call, CallCode::ChangeFirst);
    let text = look_first_of(&call).unwrap();
    assert!(text.contains("Paste only") && text.contains(": pour."), "{text}");
    assert_eq!(call.would_change[0].code, "look_first", "what costs least is said first");
}

#[test]
fn no_look_is_asked_for_where_it_tells_nothing_new() {
    // Nothing went through new cups yet; lumps are a hard stop.
    assert_eq!(look_first_of(&one(&fleet(), "2025-08-01T06:00:00Z,P1,80,20000\n")), None);
    let lumps = format!("{}2025-07-20T06:00:00Z,P1,,checked,20100,,3,,,,,,\n", fleet());
    assert_eq!(look_first_of(&one(&lumps, "2025-08-01T06:00:00Z,P1,80,23000\n")), None);
}

#[test]
fn young_cups_pour_and_old_ones_come_out() {
    let young = one(&fleet(), "2025-08-01T06:00:00Z,P1,80,20300\n");
    assert_eq!(young.call, CallCode::Pour);
    assert!(young.chance_of_failure < 0.01, "{}", young.chance_of_failure);
    assert!(young.change_cups.is_empty() && !young.hard_stop);
    let old = one(&fleet(), "2025-08-01T06:00:00Z,P1,80,23200\n");
    assert_eq!(old.call, CallCode::ChangeFirst);
    assert_eq!(old.change_cups, [Cup::A, Cup::B]);
    assert_eq!(old.cups[0].age_m3, Some(3200.0));
    assert!(old.chance_of_failure > 0.05, "{}", old.chance_of_failure);
    let best = old.best_change_age_m3.unwrap();
    assert!((800.0..2600.0).contains(&best), "{best}");
}

#[test]
fn chance_has_an_interval_and_both_cups_are_worse_than_one() {
    let call = one(&fleet(), "2025-08-01T06:00:00Z,P1,300,22500\n");
    for cup in &call.cups {
        let chance = cup.chance_lasts_pour;
        assert!(chance.low <= chance.value && chance.value <= chance.high && chance.high > chance.low);
        assert!(call.chance_of_failure >= 1.0 - chance.value - 1e-12);
        let by = cup.change_by_m3.unwrap();
        assert!(by > 0.0 && by < 3000.0);
    }
}

#[test]
fn hard_stops_are_outvoted_by_no_chance() {
    for (row, code, cups) in [
        ("2025-07-20T06:00:00Z,P1,,checked,20100,,3,,,,,,\n", "lumps", 2),
        ("2025-07-20T06:00:00Z,P1,B,graded,20100,,,4,,,,,\n", "cup_spent", 2),
        ("2025-07-20T06:00:00Z,P1,A,graded,20100,,,4,plate,,,,\n", "plate_low", 2),
        ("2025-07-20T06:00:00Z,P1,,graded,20100,,,4,bolts,,,,\n", "bolt_missing", 0),
        ("2025-07-20T06:00:00Z,P1,A,failed,20100,,,,,,,,\n", "cup_out", 2),
    ] {
        let call = one(&format!("{}{row}", fleet()), "2025-08-01T06:00:00Z,P1,10,20150\n");
        assert_eq!((call.call, call.hard_stop), (CallCode::ChangeFirst, true), "{code}");
        let cost = call.reasons.iter().find(|reason| reason.code == "expected_cost").map(|reason| reason.text.as_str());
        assert!(cost.is_some_and(|text| !text.starts_with("Changing now")), "{code}: {cost:?}");
        assert_eq!(call.reasons[0].code, code);
        assert_eq!(call.change_cups.len(), cups, "{code}");
        assert!(!call.would_change.is_empty());
    }
}

#[test]
fn no_pump_no_total_below_the_known_one_and_bad_rows_are_answered_in_their_place() {
    let asks = ask(
        "2025-08-01T06:00:00Z,P9,80,\n2025-08-01T06:00:00Z,P1,80,19000\nyesterday,P1,80,\n2025-08-01T06:00:00Z,P1,-3,\n2025-08-01T06:00:00Z,P1,80,\n2024-01-01T00:00:00Z,P1,80,\n",
    );
    let answers = judge(&parse(fleet().as_bytes()).unwrap(), &asks, &Costs::default()).unwrap();
    let codes: Vec<_> = answers
        .iter()
        .map(|answer| match answer {
            Answer::Call(_) => "call",
            Answer::Error(error) => error.error.code.as_str(),
        })
        .collect();
    // The last asks before the record begins.
    assert_eq!(codes, ["unknown_pump", "bad_ask", "bad_ask", "bad_ask", "call", "unknown_pump"]);
    let Answer::Error(bad) = &answers[2] else { panic!() };
    assert_eq!((bad.at.as_str(), bad.pump.as_str()), ("yesterday", "P1"));
}

#[test]
fn first_day_of_a_shop_the_prior_speaks_and_says_so() {
    let history = format!("{HEADER}2025-01-01T06:00:00Z,P1,,fitted,0,,,,,,,,\n");
    let call = one(&history, "2025-02-01T06:00:00Z,P1,60,200\n");
    assert_eq!(call.call, CallCode::Pour);
    assert!(call.reasons.iter().any(|reason| reason.code == "few_lives"));
    let chance = call.cups[0].chance_lasts_pour;
    assert!(chance.high - chance.low > 0.001, "few data must show in the interval: {chance:?}");
}

#[test]
fn cup_of_unknown_age_is_answered_with_a_null_age_and_a_wider_interval() {
    let unknown = fleet().replace("2025-07-01T06:00:00Z,P1,,fitted,20000", "2025-07-01T06:00:00Z,P1,,in_use,20000");
    let call = one(&unknown, "2025-08-01T06:00:00Z,P1,200,21000\n");
    // in_use for a cup that the record knows to have failed is a cup of unknown age; B was fitted in the sixth month.
    let known = one(&fleet(), "2025-08-01T06:00:00Z,P1,200,21000\n");
    assert_eq!(call.cups[0].age_m3, None);
    let width = |call: &Call| call.cups[0].chance_lasts_pour.high - call.cups[0].chance_lasts_pour.low;
    assert!(width(&call) > width(&known), "{} {}", width(&call), width(&known));
}

#[test]
fn dear_failures_change_earlier_and_cheap_ones_later() {
    let history = parse(fleet().as_bytes()).unwrap();
    let asks = ask("2025-08-01T06:00:00Z,P1,80,21900\n");
    let call = |failure: f64| {
        let costs = Costs { failure_mid_pour: failure, ..Costs::default() };
        let Answer::Call(call) = judge(&history, &asks, &costs).unwrap().remove(0) else { panic!() };
        call
    };
    assert_eq!(call(901.0).call, CallCode::Pour);
    assert_eq!(call(500_000.0).call, CallCode::ChangeFirst);
    assert!(call(500_000.0).best_change_age_m3.unwrap() < call(6000.0).best_change_age_m3.unwrap());
}

#[test]
fn watching_is_chosen_where_it_saves_more_than_it_costs() {
    let history = parse(fleet().as_bytes()).unwrap();
    let asks = ask("2025-08-01T06:00:00Z,P1,80,21900\n");
    let costs = Costs { watch: 0.5, watch_saves: 0.9, ..Costs::default() };
    let Answer::Call(call) = judge(&history, &asks, &costs).unwrap().remove(0) else { panic!() };
    let expected = &call.expected_cost;
    assert_eq!(call.call == CallCode::PourAndWatch, expected.pour_and_watch < expected.pour.min(expected.change_first));
    assert!(expected.pour_and_watch < expected.pour);
}

#[test]
fn costs_that_cannot_be_are_refused() {
    let code = |json: &str| parse_costs(json.as_bytes()).map_err(|error| error.code());
    assert!(code(r#"{"currency":"MXN","planned_change":12000,"failure_mid_pour":90000,"note":"kept out"}"#).is_ok());
    for json in [
        r#"{"planned_change":0}"#,
        r#"{"planned_change":-5}"#,
        r#"{"failure_mid_pour":100,"planned_change":200}"#,
        r#"{"watch_saves":1.5}"#,
        r#"{"watch":"much"}"#,
        r#"{"planned_change":1e999}"#,
        "[]",
        "",
    ] {
        assert_eq!(code(json), Err("bad_costs"), "{json}");
    }
}

#[test]
fn exposure_is_told_where_bore_and_pressure_are_known() {
    let history = format!("{}2025-07-10T06:00:00Z,P1,,poured,21000,1000,,,,,,20,1\n", fleet());
    let asks = parse_asks(b"at,pump,next_pour_m3,bore_mm\n2025-08-01T06:00:00Z,P1,80,200\n").unwrap();
    let Answer::Call(call) = judge(&parse(history.as_bytes()).unwrap(), &asks, &Costs::default()).unwrap().remove(0) else { panic!() };
    // 1000 m3 at 2 MPa through a 200 mm bore: half of 31.83 km of slide.
    assert!((call.cups[0].exposure_mpa_km.unwrap() - 31.830_989).abs() < 1e-5);
}

#[test]
fn level_speaks_of_both_cups_and_a_grade_of_one() {
    let asked = "2025-08-01T06:00:00Z,P1,200,21500\n";
    let plain = one(&fleet(), asked);
    let sand = one(&format!("{}2025-07-20T06:00:00Z,P1,,checked,21400,,2,,,,,,\n", fleet()), asked);
    let graded = one(&format!("{}2025-07-20T06:00:00Z,P1,A,graded,21400,,,3,,,,,\n", fleet()), asked);
    let lasts = |call: &Call, cup: usize| call.cups[cup].chance_lasts_pour.value;
    assert!(lasts(&sand, 0) < lasts(&plain, 0) && lasts(&sand, 1) < lasts(&plain, 1));
    assert!(lasts(&graded, 0) < lasts(&plain, 0));
    assert!(lasts(&graded, 0) < lasts(&graded, 1));
    // Sand explained by cup A graded passing speaks less of B.
    let both = one(
        &format!("{}2025-07-20T06:00:00Z,P1,,checked,21400,,2,,,,,,\n2025-07-20T06:10:00Z,P1,A,graded,21400,,,3,,,,,\n", fleet()),
        asked,
    );
    assert!(lasts(&both, 1) > lasts(&sand, 1));
}

/// What is found out of a turn goes by the rows before an ask alone, whatever else is asked and whatever comes later.
#[test]
fn work_that_turns_makes_cups_fail_sooner_and_only_from_what_was_known() {
    let asks = ["2025-12-20", "2026-04-01", "2026-07-01", "2026-11-25"].map(|day| format!("{day}T06:00:00Z,P1,120,\n"));
    let (turned, steady) = (fleet_that_turns(1300.0), fleet_that_turns(2400.0));
    let among = calls(&turned, &asks.concat());
    for (ask, among) in asks.iter().zip(&among) {
        let until = &ask[..20];
        let known: String =
            turned.lines().filter(|row| row.starts_with("at") || row[..19] <= until[..19]).map(|row| format!("{row}\n")).collect();
        assert_eq!(&one(&turned, ask), among);
        assert_eq!(&one(&known, ask), among);
    }
    // The same pump with cups of the same age, in the end.
    let last_pair = |text: &str| format!("{text}2026-11-28T06:00:00Z,P1,,fitted,90000,,,,,,,,\n");
    let ask = "2026-11-29T06:00:00Z,P1,120,91000\n";
    let (sooner, as_ever) = (one(&last_pair(&turned), ask), one(&last_pair(&steady), ask));
    assert!(sooner.chance_of_failure > 3.0 * as_ever.chance_of_failure, "{} {}", sooner.chance_of_failure, as_ever.chance_of_failure);
}

#[test]
fn a_turn_of_the_work_is_said_in_both_languages_and_steady_work_has_none() {
    let turn_of = |history: &str, day: &str| {
        let call = one(history, &format!("{day}T06:00:00Z,P1,120,\n"));
        call.reasons.into_iter().find(|reason| reason.code == "work_turned")
    };
    for (later, en, es) in
        [(1300.0, "have lasted less since about", "duran menos desde"), (4200.0, "have lasted longer since about", "duran más desde")]
    {
        let said = turn_of(&fleet_that_turns(later), "2026-11-25").unwrap();
        assert!(said.text.contains(en) && said.text_es.contains(es), "{said:?}");
        // Pairs fitted since January 2026 last otherwise; the search is as coarse as a twelfth of the record.
        let near = ["November 2025", "December 2025", "January 2026", "February 2026", "March 2026", "April 2026"];
        assert!(near.iter().any(|month| said.text.contains(month)), "{}", said.text);
        assert_eq!((said.value.unwrap() > 1.0, said.limit), (later < 2400.0, Some(1.0)));
    }
    assert_eq!(turn_of(&fleet_that_turns(2400.0), "2026-11-25"), None);
    assert_eq!(turn_of(&fleet_that_turns(1300.0), "2025-12-20"), None, "nothing has turned yet");
}

#[test]
fn what_followed_a_level_here_is_said_where_age_alone_lets_expect_otherwise() {
    let day = |day: i64| (chrono::DateTime::UNIX_EPOCH + chrono::Duration::days(20_000 + day)).to_rfc3339();
    let (mut rows, mut total) = (String::new(), 0);
    for turn in 0..10 {
        // Sand is seen 50 m3 before a cup fails, however old it is.
        let life = 400 + 300 * (turn % 5);
        let mut row = |after: i64, cup: &str, event: &str, m3: i64, level: &str| {
            rows.push_str(&format!("{},P1,{cup},{event},{},{level}\n", day(20 * turn + after), total + m3));
        };
        row(0, "", "fitted", 0, "");
        row(1, "", "checked", life / 2, "0");
        row(4, "", "checked", life - 50, "2");
        // The last pair is still in.
        if turn < 9 {
            row(5, "A", "failed", life, "");
            row(5, "B", "removed", life, "");
        }
        total += life;
    }
    let history = format!("at,pump,cup,event,pump_m3,level\n{rows}");
    let call = one(&history, &format!("{},P1,60,\n", day(185)));
    let said = call.reasons.iter().find(|reason| reason.code == "level_followed").unwrap();
    assert!(said.text.contains("9 cups failed in this shop") && said.text_es.contains("fallaron 9 copas"), "{said:?}");
    assert_eq!(said.value, Some(9.0));
    assert!(said.limit.unwrap() < 3.0, "{said:?}");
    // Before any failure there is nothing to say.
    let early = one(&history, &format!("{},P1,60,\n", day(3)));
    assert!(early.reasons.iter().all(|reason| reason.code != "level_followed"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn prop_order_of_rows_changes_no_answer(seed in any::<u64>()) {
        let text = format!("{}2025-07-10T06:00:00Z,P1,,checked,20500,,1,,,grey,,,\n2025-07-12T06:00:00Z,P1,,poured,21000,500,,,,,,60,1.1\n", fleet());
        let (header, body) = text.split_once('\n').unwrap();
        let mut rows: Vec<_> = body.lines().collect();
        let mut state = seed;
        for i in (1..rows.len()).rev() {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            rows.swap(i, (state >> 33) as usize % (i + 1));
        }
        let shuffled = format!("{header}\n{}\n", rows.join("\n"));
        let asked = "2025-08-01T06:00:00Z,P1,80,21500\n2025-03-15T06:00:00Z,P2,40,\n";
        let (a, b) = (calls(&text, asked), calls(&shuffled, asked));
        prop_assert_eq!(serde_json::to_string(&a).unwrap(), serde_json::to_string(&b).unwrap());
    }

    /// Learning goes by the rows alone: an ask among many is answered as if it stood alone.
    #[test]
    fn prop_other_asks_change_no_answer(day in 1_u32..28, others in prop::collection::vec((1_u32..8, 1_u32..28, 1_u32..4), 1..6)) {
        let history = parse(fleet().as_bytes()).unwrap();
        let line = |month: u32, day: u32, pump: u32| format!("2025-{month:02}-{day:02}T08:00:00Z,P{pump},90,\n");
        let alone = judge(&history, &ask(&line(6, day, 2)), &Costs::default()).unwrap();
        let mut text: String = others.iter().map(|&(month, day, pump)| line(month, day, pump)).collect();
        text.push_str(&line(6, day, 2));
        let among = judge(&history, &ask(&text), &Costs::default()).unwrap();
        prop_assert_eq!(among.last(), alone.last());
    }

    #[test]
    fn prop_bigger_pour_never_lowers_the_chance_of_failure(pour in 1.0..500.0_f64, more in 0.0..500.0_f64, level in 0..3) {
        let history = format!("{}2025-07-20T06:00:00Z,P1,,checked,21500,,{level},,,,,,\n", fleet());
        let asked = format!("2025-08-01T06:00:00Z,P1,{pour},22000\n2025-08-01T06:00:00Z,P1,{},22000\n", pour + more);
        let calls = calls(&history, &asked);
        prop_assert!(calls[1].chance_of_failure >= calls[0].chance_of_failure - 1e-12);
        prop_assert!(calls[1].cups[0].chance_lasts_pour.value <= calls[0].cups[0].chance_lasts_pour.value + 1e-12);
    }

    #[test]
    fn prop_worse_grade_never_raises_the_chance_to_last(total in 20_200.0..23_500.0_f64, grade in 0..4, pour in 10.0..400.0_f64) {
        let asked = format!("2025-08-01T06:00:00Z,P1,{pour},{total}\n");
        let graded = |grade: i32| one(&format!("{}2025-07-20T06:00:00Z,P1,A,graded,{total},,,{grade},,,,,\n", fleet()), &asked);
        let (better, worse) = (graded(grade), graded(grade + 1));
        prop_assert!(worse.cups[0].chance_lasts_pour.value <= better.cups[0].chance_lasts_pour.value + 1e-6);
    }

    #[test]
    fn prop_what_happens_after_the_ask_changes_nothing(day in 2_u32..28) {
        let asked = "2025-08-01T06:00:00Z,P1,80,21500\n";
        let later = format!(
            "{}2025-08-{day:02}T06:00:00Z,P1,A,failed,21600,,,,,,,,\n2025-08-{day:02}T07:00:00Z,P2,,checked,22000,,3,,,,,90,2\n",
            fleet()
        );
        prop_assert_eq!(one(&fleet(), asked), one(&later, asked));
        // Nor do other asks beside it.
        let beside = format!("2025-07-02T06:00:00Z,P2,80,\n{asked}2025-08-28T06:00:00Z,P3,80,\n");
        prop_assert_eq!(&one(&fleet(), asked), &calls(&later, &beside)[1]);
    }

    #[test]
    fn prop_one_more_failure_never_makes_the_fleet_look_safer(life in 300.0..2500.0_f64) {
        // A short life on another pump: the chance to last falls here too.
        let asked = "2025-08-01T06:00:00Z,P1,200,22000\n";
        let more = format!("{}2025-07-20T06:00:00Z,P3,A,failed,{},,,,,,,,\n", fleet(), 20_000.0 + life);
        let lasts = |call: &Call| call.cups[0].chance_lasts_pour.value;
        prop_assert!(lasts(&one(&more, asked)) <= lasts(&one(&fleet(), asked)) + 2e-3);
    }
}
