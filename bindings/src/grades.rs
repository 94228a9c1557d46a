//! The five grades in words.

use gritbook_core::debris::level;
use gritbook_core::model::{entry as core_entry, part as core_part};
use gritbook_core::wear::grade as core_grade;

use crate::cross::{Cross as _, record};
use crate::records::{LevelCode, Liquid, Part};

record! {
    /// The same in both languages of the book.
    Words = core_grade::Words {
        /// English.
        en: String,
        /// Spanish.
        es: String,
    }
}

record! {
    /// What a part looks like at each grade.
    Criteria = core_grade::Criteria {
        /// Which part.
        part: Part,
        /// One sentence a grade, 0 sound to 4 spent.
        grades: Vec<Words>,
    }
}

impl crate::cross::Cross<Vec<Words>> for [core_grade::Words; 5] {
    fn cross(self) -> Vec<Words> {
        self.to_vec().cross()
    }
}

/// What the trade calls a part.
#[uniffi::export]
pub fn part_words(part: Part) -> Words {
    let part: core_part::Part = part.cross();
    part.name().cross()
}

/// What a liquid in the box looks like, in a word.
#[uniffi::export]
pub fn liquid_words(liquid: Liquid) -> Words {
    let liquid: core_entry::Liquid = liquid.cross();
    liquid.name().cross()
}

/// A debris level in a few words, and what it means.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct LevelWords {
    /// The level.
    pub name: Words,
    /// What it means.
    pub meaning: Words,
}

/// A debris level in words.
#[uniffi::export]
pub fn level_words(level: LevelCode) -> LevelWords {
    let (name, meaning) = level::words(level.cross());
    LevelWords { name: name.cross(), meaning: meaning.cross() }
}

/// The edition of the criteria; it goes into every grade that is given by them.
#[uniffi::export]
pub fn criteria_edition() -> String {
    core_grade::CRITERIA_EDITION.to_owned()
}

/// The grades' names, 0 to 4.
#[uniffi::export]
pub fn grade_names() -> Vec<Words> {
    core_grade::GRADE_NAMES.cross()
}

/// The whole table, in the order in which a box is looked at.
#[uniffi::export]
pub fn grade_criteria() -> Vec<Criteria> {
    core_grade::CRITERIA.to_vec().cross()
}
