//! The chance of what looks and grades showed, for each end of a life.

use super::super::condition::SignTable;
use super::super::elementary::{exps, lns};
use super::ends::{MOST_ENDS, Working};
use super::mishaps::PULLED_AT;
use super::{Look, SignedEnd, SignedLife};

/// Along a life, the chance of everything that a look showed: a table of [`PLACES`], with room for any byte.
pub(super) type Shown = [f64; 256];

/// A look with the lives it shows.
pub(super) struct Glance<'a> {
    pub(super) look: &'a Look,
    pub(super) both: [Option<usize>; 2],
    /// Which of the chances of all that looks showed are its own.
    pub(super) shown: usize,
    /// Places in a table of signs for the ends of each life.
    pub(super) places: [[u8; MOST_ENDS]; 2],
}

/// Chance of what a look showed for each end of a life, the other cup's ends weighed: the box shows the worse of the two.
pub(super) fn worse_of_two(chances: &Shown, places: &[u8; MOST_ENDS], other: Option<(&Working, &[u8; MOST_ENDS])>) -> [f64; MOST_ENDS] {
    let mut told = [0.0; MOST_ENDS];
    let Some((other, farther)) = other else {
        told.iter_mut().zip(places).for_each(|(told, place)| *told = chances[usize::from(*place)]);
        return told;
    };
    // Ends come from the nearest to the farthest, so places come from the last to the first.
    let mut others = farther.iter().zip(&other.weight).take(other.ends);
    let mut next = others.next();
    let (mut beyond, mut left) = (0.0, 1.0);
    for (told, place) in told.iter_mut().zip(places) {
        // The other cup is the worse where its place lies beyond this one's.
        while let Some((farther, weight)) = next.filter(|(farther, _)| *farther > place) {
            beyond += weight * chances[usize::from(*farther)];
            left -= weight;
            next = others.next();
        }
        *told = beyond + f64::max(left, 0.0) * chances[usize::from(*place)];
    }
    told
}

/// The grades of a life.
pub(super) fn graded(life: &SignedLife, own: &Working, table: &SignTable) -> LnSum {
    let mut sum = LnSum::new();
    for (at, step) in &life.grades {
        let chances = table.of_step(*step);
        sum.add(&own.places(*at).map(|place| chances[usize::from(place)]));
    }
    sum
}

/// -ln of the chance that a life which came out worn looked worn, for each end; 0 for the others.
pub(super) fn ln_pulled(life: &SignedLife, own: &Working) -> [f64; MOST_ENDS] {
    let mut ln = [0.0; MOST_ENDS];
    if life.end == SignedEnd::Out(true) {
        ln = own.shares(life.through).map(|share| (PULLED_AT.0 - share) / PULLED_AT.1);
        exps(&mut ln, 0.0);
        ln.iter_mut().for_each(|odds| *odds += 1.0);
        lns(&mut ln, 1.0, 0.0);
    }
    ln
}

/// Sums of logarithms of chances, one for each end: a logarithm is taken once for several chances multiplied.
#[derive(Clone)]
pub(super) struct LnSum {
    sum: [f64; MOST_ENDS],
    product: [f64; MOST_ENDS],
    multiplied: usize,
}

impl LnSum {
    /// Chances count as at least this; so many of them multiplied stay above the smallest double.
    const LEAST: f64 = 1e-12;
    const MULTIPLIED: usize = 24;

    fn new() -> Self {
        Self { sum: [0.0; MOST_ENDS], product: [1.0; MOST_ENDS], multiplied: 0 }
    }

    pub(super) fn add(&mut self, chances: &[f64; MOST_ENDS]) {
        self.product.iter_mut().zip(chances).for_each(|(product, chance)| *product *= chance.max(Self::LEAST));
        self.multiplied += 1;
        if self.multiplied == Self::MULTIPLIED {
            self.take();
        }
    }

    fn take(&mut self) {
        lns(&mut self.product, 1e-300, 0.0);
        self.sum.iter_mut().zip(&self.product).for_each(|(sum, ln)| *sum += ln);
        self.product = [1.0; MOST_ENDS];
        self.multiplied = 0;
    }

    pub(super) fn done(mut self) -> [f64; MOST_ENDS] {
        if self.multiplied > 0 {
            self.take();
        }
        self.sum
    }
}
