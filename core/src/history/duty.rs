//! The duty line: how much wear each cubic metre of a record brought.
//!
//! Duty is volume weighted by what wears a cup: m3 x (bar / 50) x mix factor, after Archard's law (wear goes with pressure
//! times slide). 50 bar is only a unit. Where a row tells no pressure or mix, the pump's mean so far stands in, else 1.
//! A turn of the shop's work that no row tells ([`crate::life::shop`] finds it) weighs volume in place of all that while it is set.

use super::row::{Event, Row};
use crate::pump::exposure_mpa_km;

/// Concrete pressure at which one m3 of ordinary mix counts as one m3 of duty, bar. A unit, not a limit.
pub const DUTY_BAR: f64 = 50.0;

/// A piece of the line over which pressure and mix are the same; places are m3 since the record begins.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    from: f64,
    to: f64,
    /// Duty at `from`.
    duty: f64,
    /// Duty per m3.
    rate: f64,
    bar: Option<f64>,
    mix: Option<f64>,
}

impl Piece {
    fn is_told(&self) -> bool {
        self.bar.is_some() || self.mix.is_some()
    }
}

/// The line, from the record's begin to its last row.
#[derive(Debug, Clone, Default)]
pub(super) struct DutyLine {
    pieces: Vec<Piece>,
    /// Sum of volume times bar and of volume, where told.
    bar_sum: [f64; 2],
    /// Sum of volume times mix factor and of volume, where told.
    mix_sum: [f64; 2],
    /// A turn that no row tells: from this place on each m3 wears by this factor more.
    turn: Option<(f64, f64)>,
}

impl DutyLine {
    /// Takes every m3 beyond a place for a factor of those before it, in place of an earlier turn. Rows that tell a pressure after all
    /// do not end it: whoever set it does, so that it does not matter when it was set.
    pub(super) fn set_turn(&mut self, turn: Option<(f64, f64)>) {
        self.turn = turn;
    }

    /// Extends the line from `from` to `to`; the last `told_m3` of it carry the row's pressure and mix.
    pub(super) fn extend(&mut self, from: f64, to: f64, told_m3: f64, row: &Row) {
        // The total shows less than the pours: the line is cut back to it.
        while self.pieces.last().is_some_and(|piece| piece.from >= to) {
            self.pieces.pop();
        }
        if let Some(piece) = self.pieces.last_mut() {
            piece.to = piece.to.min(to);
        }
        let mut begin = from.min(to);
        let mut told_from = (to - told_m3).max(begin);
        let tells = row.concrete_bar.is_some() || row.mix_factor.is_some();
        if row.event == Event::Poured && tells && told_m3.is_finite() {
            // Another row may have read the total before the pour was written down: what it left untold is this pour's.
            let wanted = (to - told_m3).max(0.0);
            while let Some(piece) = self.pieces.last().copied()
                && !piece.is_told()
                && piece.to > wanted
            {
                self.pieces.pop();
                begin = piece.from;
                told_from = piece.from.max(wanted);
            }
        }
        if told_from > begin {
            self.push(begin, told_from, None, None);
        }
        if to > told_from {
            self.push(told_from, to, row.concrete_bar, row.mix_factor);
        }
    }

    fn push(&mut self, from: f64, to: f64, bar: Option<f64>, mix: Option<f64>) {
        let volume = to - from;
        for (sum, told) in [(&mut self.bar_sum, bar), (&mut self.mix_sum, mix)] {
            if let Some(value) = told {
                sum[0] += value * volume;
                sum[1] += volume;
            }
        }
        let rate = self.told_rate(bar, mix);
        let duty = self.pieces.last().map_or(0.0, |piece| piece.duty + piece.rate * (piece.to - piece.from));
        self.pieces.push(Piece { from, to, duty, rate, bar, mix });
    }

    /// Duty per m3 at this pressure and mix; what is not told is taken as the mean so far, else as ordinary.
    pub(super) fn rate(&self, bar: Option<f64>, mix: Option<f64>) -> f64 {
        self.turn.map_or_else(|| self.told_rate(bar, mix), |(_, factor)| factor)
    }

    /// Duty per m3 of what went through before the record.
    pub(super) fn rate_before_record(&self) -> f64 {
        self.turn.map_or_else(|| self.told_rate(None, None), |_| 1.0)
    }

    fn told_rate(&self, bar: Option<f64>, mix: Option<f64>) -> f64 {
        let mean = |sum: [f64; 2], otherwise: f64| if sum[1] > 0.0 { sum[0] / sum[1] } else { otherwise };
        let bar = bar.unwrap_or_else(|| mean(self.bar_sum, DUTY_BAR));
        let mix = mix.unwrap_or_else(|| mean(self.mix_sum, 1.0));
        // A row that tells 0 bar (the pump ran empty) still wears a little; a thousandth keeps lives finite.
        (bar / DUTY_BAR * mix).max(1e-3)
    }

    /// Whether any row told a pressure or a mix.
    pub(super) fn tells(&self) -> bool {
        self.bar_sum[1] > 0.0 || self.mix_sum[1] > 0.0
    }

    /// Duty at a place.
    pub(super) fn at(&self, place_m3: f64) -> f64 {
        if let Some((from, factor)) = self.turn {
            return place_m3 + (factor - 1.0) * (place_m3 - from).max(0.0);
        }
        let index = self.pieces.partition_point(|piece| piece.from <= place_m3);
        match index.checked_sub(1).and_then(|i| self.pieces.get(i)) {
            Some(piece) => piece.duty + piece.rate * (place_m3 - piece.from),
            // Before the first recorded volume: at the mean rate.
            None => place_m3 * self.told_rate(None, None),
        }
    }

    /// Duty per m3 just before a place.
    pub(super) fn rate_before(&self, place_m3: f64) -> f64 {
        if let Some((from, factor)) = self.turn {
            return if place_m3 > from { factor } else { 1.0 };
        }
        let index = self.pieces.partition_point(|piece| piece.from < place_m3);
        index.checked_sub(1).and_then(|i| self.pieces.get(i)).map_or_else(|| self.told_rate(None, None), |piece| piece.rate)
    }

    /// Loaded exposure between two places for a pump of this bore, MPa km; None where no pressure was told between.
    pub(super) fn exposure_mpa_km(&self, from_m3: f64, to_m3: f64, bore_mm: f64) -> Option<f64> {
        let mut told = false;
        let mut sum = 0.0;
        for piece in &self.pieces {
            let volume = piece.to.min(to_m3) - piece.from.max(from_m3);
            if volume > 0.0 {
                told |= piece.bar.is_some();
                // Only a line that tells some pressure has a mean to stand in for the rest.
                let bar = piece.bar.or_else(|| (self.bar_sum[1] > 0.0).then(|| self.bar_sum[0] / self.bar_sum[1]))?;
                sum += exposure_mpa_km(bore_mm, 1.0, volume, bar, piece.mix.unwrap_or(1.0));
            }
        }
        told.then_some(sum)
    }
}
