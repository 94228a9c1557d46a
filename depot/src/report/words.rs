//! What a reading says, in a mechanic's words.

use gritbook_core::debris::level::words;
use gritbook_core::debris::reading::Reading;
use gritbook_core::debris::texture;

/// True where a heap was sized as a whole: no grain of it was told apart, and of its sizes only the middle one was measured.
pub fn sized_as_a_heap(reading: &Reading) -> bool {
    reading.method.name == texture::METHOD_NAME
}

/// The level and what it means, in one plain line.
pub fn level_sentence(reading: &Reading) -> String {
    let (name, meaning) = words(reading.level.code);
    format!("{}. {}", name.en, meaning.en)
}

/// How many grains, how much of the window, the middle size.
pub fn measure_sentence(reading: &Reading) -> String {
    let count = reading.grains.len();
    let grains = if count == 1 { "grain" } else { "grains" };
    match &reading.gradation {
        None if count == 0 => format!("No grain of {:.2} mm or more.", reading.smallest_resolved_mm),
        None => format!("{count} {grains} on {:.1} % of the window, none of them whole.", reading.cover_percent),
        Some(gradation) if sized_as_a_heap(reading) => {
            let [low, high] = gradation.interval95.d50_mm;
            format!("Heaped: no grain told apart. Middle size about {:.2} mm ({low:.2} to {high:.2}).", gradation.d50_mm)
        }
        Some(gradation) => {
            let [low, high] = gradation.interval95.d50_mm;
            format!(
                "{count} {grains} on {:.1} % of the window; half the volume is below {:.2} mm ({low:.2} to {high:.2}).",
                reading.cover_percent, gradation.d50_mm
            )
        }
    }
}

/// One reason of the level in words: what was measured against which limit.
pub fn reason_sentence(code: &str, value: f64, limit: f64) -> String {
    let side = if value >= limit { "at or over" } else { "under" };
    match code {
        "cover_percent" => format!("grains cover {value:.2} % of the window, {side} the limit of {limit} %"),
        "largest_grain_mm" => format!("largest grain {value:.2} mm, {side} the limit of {limit} mm"),
        "largest_lump_mm" => format!("largest lump {value:.2} mm, {side} the limit of {limit} mm"),
        other => format!("{other} {value}, {side} {limit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reason_names_its_number_its_limit_and_the_side_it_fell_on() {
        assert_eq!(reason_sentence("largest_lump_mm", 3.41, 2.0), "largest lump 3.41 mm, at or over the limit of 2 mm");
        assert_eq!(reason_sentence("cover_percent", 0.05, 0.1), "grains cover 0.05 % of the window, under the limit of 0.1 %");
    }
}
