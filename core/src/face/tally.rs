//! What each mark is, and what they come to together: shares with their doubt, the largest grain, scores, chips.

use super::marks::{Mark, Scene};
use super::outline::simplified;
use super::reading::{Chips, FaceFinding, FindingCode, Grit, LargestGrain, Length, MarkedRegion, Scores, Share, Surface};
use super::settings::FaceSettings;
use super::words::finding;
use crate::debris::measure::{Mask, Shape};
use crate::debris::read::rounded;
use crate::debris::settings::ReadSettings;
use crate::debris::split::split;

/// A line is at least this many times longer than wide.
const LINE_TIMES: f64 = 6.0;
/// A score is at least this long, mm; without the card this share of the surface's width.
const SCORE_MM: f64 = 4.0;
const SCORE_SHARE: f64 = 0.025;
/// A score is at most this wide on the mean, mm; without the card this share of the surface's width. Wider is a chip or a smear.
const WIDEST_MM: f64 = 1.6;
const WIDEST_SHARE: f64 = 0.012;
/// A chip covers at least this, mm2; without the card what a grain of the smallest size does.
const CHIP_MM2: f64 = 0.5;
/// A rim with less of a sharp edge's slope is soft: sheen, shadow or water, not a body.
const SOFT: f64 = 0.4;
/// A score stands out by at least this (CIEDE2000).
const SCORE_DIFFERENCE: f64 = 4.0;
/// A line with more foreign stuff right around it runs between grains.
const CROWDED: f64 = 0.3;
/// A round body over this share of the surface is a hole or another part.
const PART_SHARE: f64 = 0.03;
/// Doubt of an outline, px of the raster along its whole length. Chosen on our own scenes (`fixtures/faces`).
const RIM_DOUBT_PX: f64 = 0.3;
/// Doubt of any share beside that, as a share of it.
const SHARE_DOUBT: f64 = 0.05;
/// What shine hides may hold this many times the share that is seen beside it, and as much as this at least.
const HIDDEN_TIMES: f64 = 2.5;
const HIDDEN_LEAST: f64 = 0.02;
/// Doubt of the card's scale on the surface: the card may lie a little above or below it.
const LEVEL_DOUBT: f64 = 0.02;
/// Most regions that are listed.
const MOST_GRAINS: usize = 400;
const MOST_OTHERS: usize = 100;

/// The marks of a surface, sorted.
pub(crate) struct Tally<'a> {
    scene: &'a Scene<'a>,
    seen_px: f64,
    least_difference: f64,
    /// Smallest grain, px of the raster.
    smallest: f64,
    shortest_score: f64,
    widest_score: f64,
    least_chip: f64,
    grit: Vec<Mark>,
    scores: Vec<Mark>,
    chips: Vec<Mark>,
    doubtful_px: f64,
    fine_px: f64,
    left_out_px: f64,
}

/// What a tally comes to.
pub(crate) struct Answer {
    pub(crate) grit: Option<Grit>,
    pub(crate) scores: Scores,
    pub(crate) chips: Option<Chips>,
}

impl<'a> Tally<'a> {
    pub(crate) fn new(scene: &'a Scene<'a>, settings: &FaceSettings, seen_px: f64) -> Self {
        let place = &scene.raster.place;
        let photo_px = place.photo_px_per_px([scene.raster.width as f64 / 2.0, scene.raster.height as f64 / 2.0]);
        let smallest = (settings.smallest_px / photo_px).max(3.0).max(2.5 * scene.edge_sigma);
        let by_surface = (SCORE_SHARE * seen_px.sqrt()).max(15.0);
        Self {
            scene,
            seen_px,
            least_difference: settings.least_difference,
            smallest,
            shortest_score: place.px_per_mm().map_or(by_surface, |px_per_mm| (SCORE_MM * px_per_mm).max(15.0)),
            widest_score: place.px_per_mm().map_or(WIDEST_SHARE * seen_px.sqrt(), |px_per_mm| WIDEST_MM * px_per_mm).max(6.0),
            least_chip: place.px_per_mm().map_or(0.0, |px_per_mm| CHIP_MM2 * px_per_mm * px_per_mm).max(smallest * smallest),
            grit: Vec::new(),
            scores: Vec::new(),
            chips: Vec::new(),
            doubtful_px: 0.0,
            fine_px: 0.0,
            left_out_px: 0.0,
        }
    }

    /// Long and thin: `times` longer than wide, and not much longer along it than straight across: a chain of grains is ragged.
    pub(crate) fn is_line(&self, mark: &Mark, times: f64, straight: f64) -> bool {
        let (long, wide) = mark.as_line();
        long >= times * wide && mark.shape.feret_max >= self.shortest_score.max(straight * long)
    }

    fn is_score(&self, mark: &Mark, straight: f64) -> bool {
        self.is_line(mark, LINE_TIMES, straight) && mark.as_line().1 <= self.widest_score
    }

    /// Sorts in a mark of foreign stuff or of a dark patch.
    pub(crate) fn take(&mut self, mark: Mark) {
        let area = mark.shape.area;
        if mark.difference < self.least_difference / 2.0 {
            return;
        }
        let part = area > PART_SHARE * self.seen_px && mark.shape.solidity > 0.88 && mark.shape.circularity > 0.7;
        if part {
            self.left_out_px += area;
        } else if mark.difference < self.least_difference || (mark.sharp < SOFT && mark.shape.feret_min > 2.0 * self.smallest) {
            self.doubtful_px += area;
        } else if self.is_score(&mark, 0.9) {
            self.scores.push(mark);
        } else if self.scene.ground.surface == Surface::Metal {
            if area >= self.least_chip { self.chips.push(mark) } else { self.fine_px += area }
        } else if mark.shape.feret_max < self.smallest {
            self.fine_px += area;
        } else {
            self.grit.push(mark);
        }
    }

    /// Sorts in what may be a score.
    pub(crate) fn take_line(&mut self, mark: Mark) {
        let stands = mark.difference >= SCORE_DIFFERENCE && mark.sharp >= SOFT;
        let crowd = self.scene.foreign_around(&mark.mask);
        // Scores may cross each other; between grains only a straight one is believed.
        if stands && crowd < CROWDED && self.is_score(&mark, if crowd < 0.1 { 0.5 } else { 0.9 }) {
            self.scores.push(mark);
        }
    }

    /// 1 on every mark that counts.
    pub(crate) fn painted(&self) -> Vec<u8> {
        let (width, height) = (self.scene.raster.width, self.scene.raster.height);
        let mut marks = vec![0_u8; width * height];
        for mark in self.grit.iter().chain(&self.scores).chain(&self.chips) {
            mark.mask.paint(&mut marks, width);
        }
        marks
    }

    /// Adds up. `hidden` is the share of the surface under shine.
    pub(crate) fn answer(self, hidden: f64, with_card: bool, findings: &mut Vec<FaceFinding>) -> Answer {
        let metal = self.scene.ground.surface == Surface::Metal;
        let whole = (self.seen_px - self.left_out_px).max(1.0);
        let (doubtful, fine) = (self.doubtful_px / whole, self.fine_px / whole);
        if self.left_out_px > 0.0 {
            findings.push(finding(FindingCode::LeftOut, self.left_out_px / self.seen_px, PART_SHARE));
        }
        if doubtful > 0.01 {
            let code = if metal { FindingCode::Reflections } else { FindingCode::WetOrShadow };
            findings.push(finding(code, doubtful, 0.01));
        }
        if fine > 0.005 {
            findings.push(finding(FindingCode::TooFine, fine, 0.005));
        }
        let share = |marks: &[Mark]| {
            let area: f64 = marks.iter().map(|mark| mark.shape.area).sum();
            let rim: f64 = marks.iter().map(|mark| mark.shape.perimeter).sum();
            // Specks too small to count one by one are foreign all the same; how large they are is known to half of it.
            share_of(area / whole + fine, (RIM_DOUBT_PX * rim / whole).hypot(0.5 * fine), doubtful, hidden)
        };
        let (grit_share, chip_share) = (share(&self.grit), share(&self.chips));
        let length = |px: f64, at: [f64; 2]| self.length(px, at, with_card);
        let region = |mark: &Mark| self.region(mark, with_card);
        let mut grains: Vec<(Mask, Shape, &Mark)> = Vec::new();
        for mark in &self.grit {
            for piece in split(mark.mask.clone(), &ReadSettings::default()) {
                if let Some(shape) = piece.shape() {
                    grains.push((piece, shape, mark));
                }
            }
        }
        grains.sort_by(|one, other| other.1.feret_max.total_cmp(&one.1.feret_max));
        let largest = grains.first().map(|(_, shape, _)| LargestGrain {
            feret_max: length(shape.feret_max, shape.centroid),
            feret_min: length(shape.feret_min, shape.centroid),
            at_px: self.scene.raster.place.photo_px(shape.centroid).map(|value| rounded(value, 1)),
        });
        let regions = grains.iter().take(MOST_GRAINS).map(|(mask, shape, mark)| MarkedRegion {
            outline_px: self.outline(mask),
            length: length(shape.feret_max, shape.centroid),
            width: length(shape.feret_min, shape.centroid),
            difference: rounded(mark.difference, 2),
            bright: mark.bright,
        });
        let middle = [self.scene.raster.width as f64 / 2.0, self.scene.raster.height as f64 / 2.0];
        let grit = (!metal).then(|| Grit {
            share: grit_share,
            grains: grains.len() as u32,
            largest,
            smallest_resolved: length(self.smallest, middle),
            least_difference: self.least_difference,
            regions: regions.collect(),
        });
        let mut chips: Vec<&Mark> = self.chips.iter().collect();
        chips.sort_by(|one, other| other.shape.area.total_cmp(&one.shape.area));
        let chips = metal.then(|| Chips {
            count: chips.len() as u32,
            share: chip_share,
            regions: chips.iter().take(MOST_OTHERS).map(|mark| region(mark)).collect(),
        });
        Answer { grit, scores: self.scored(with_card), chips }
    }

    fn scored(&self, with_card: bool) -> Scores {
        let mut scores: Vec<(&Mark, (f64, f64))> = self.scores.iter().map(|mark| (mark, mark.as_line())).collect();
        scores.sort_by(|one, other| other.1.0.total_cmp(&one.1.0));
        let length = |(mark, px): (&Mark, f64)| self.length(px, mark.shape.centroid, with_card);
        let widest = scores.iter().max_by(|one, other| one.1.1.total_cmp(&other.1.1)).map(|(mark, line)| length((mark, line.1)));
        Scores {
            count: scores.len() as u32,
            longest: scores.first().map(|(mark, line)| length((mark, line.0))),
            widest,
            regions: scores
                .iter()
                .take(MOST_OTHERS)
                .map(|(mark, line)| MarkedRegion {
                    length: length((mark, line.0)),
                    width: length((mark, line.1)),
                    ..self.region(mark, with_card)
                })
                .collect(),
        }
    }

    fn region(&self, mark: &Mark, with_card: bool) -> MarkedRegion {
        MarkedRegion {
            outline_px: self.outline(&mark.mask),
            length: self.length(mark.shape.feret_max, mark.shape.centroid, with_card),
            width: self.length(mark.shape.feret_min, mark.shape.centroid, with_card),
            difference: rounded(mark.difference, 2),
            bright: mark.bright,
        }
    }

    fn outline(&self, mask: &Mask) -> Vec<[f64; 2]> {
        let place = &self.scene.raster.place;
        simplified(&mask.outline(), 0.7).into_iter().map(|point| place.photo_px(point).map(|value| rounded(value, 1))).collect()
    }

    /// A length in the raster at a place of it. Blur rounds the tips of a grain; what that takes off was measured on our own scenes.
    fn length(&self, px: f64, at: [f64; 2], with_card: bool) -> Length {
        let place = &self.scene.raster.place;
        let ends = (0.8 + 0.8 * self.scene.edge_sigma) / px.max(1.0);
        let doubt = ends.hypot(if with_card { LEVEL_DOUBT } else { 0.0 });
        Length {
            px: rounded(px * place.photo_px_per_px(at), 2),
            mm: place.px_per_mm().map(|px_per_mm| rounded(px / px_per_mm, 3)),
            doubt_share: rounded(doubt, 4),
        }
    }
}

/// A share seen beside what shine hides, with its doubts: of the rims, of itself, and what may be more.
fn share_of(seen: f64, rims: f64, perhaps: f64, hidden: f64) -> Share {
    let own = (rims * rims + (SHARE_DOUBT * seen).powi(2)).sqrt();
    let low = (seen - own).max(0.0) * (1.0 - hidden);
    let may_hide = hidden * (HIDDEN_TIMES * seen).clamp(HIDDEN_LEAST, 1.0);
    let high = (seen + own + perhaps).min(1.0) * (1.0 - hidden) + may_hide;
    Share { value: rounded(seen, 5), low: rounded(low.min(seen), 5), high: rounded(high.max(seen).min(1.0), 5) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn doubt_of_a_share_opens_upwards_for_what_may_be_grit_and_for_what_shine_hides() {
        let plain = share_of(0.10, 0.005, 0.0, 0.0);
        let (down, up) = (plain.value - plain.low, plain.high - plain.value);
        assert!((down - up).abs() < 1e-9 && (0.007..0.0071).contains(&up));
        let doubtful = share_of(0.10, 0.005, 0.03, 0.0);
        assert!((doubtful.high - plain.high - 0.03).abs() < 1e-9 && doubtful.low == plain.low);
        let hidden = share_of(0.10, 0.005, 0.0, 0.2);
        assert!(hidden.high > plain.high && hidden.low < plain.low);
    }

    proptest! {
        #[test]
        fn prop_share_lies_in_its_interval_and_in_0_to_1(seen in 0.0..=1.0_f64, rims in 0.0..0.3_f64, more in 0.0..0.5_f64, hidden in 0.0..0.3_f64) {
            let share = share_of(seen, rims, more, hidden);
            prop_assert!(0.0 <= share.low && share.low <= share.value && share.value <= share.high && share.high <= 1.0);
        }
    }
}
