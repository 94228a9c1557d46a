//! `gritbook face`: a photo of a wear surface measured, beside the last one of the same part.

use std::path::PathBuf;

use gritbook_core::debris::card::BAR_MM;
use gritbook_core::face::reading::Surface;
use gritbook_core::face::{FaceSettings, measure_beside, words};

use super::read::{unreadable, write_file};
use super::{Failure, Run, say, say_document};
use crate::report::face::face_png;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: gritbook face cup.jpg --last cup-in-may.jpg --picture cup-face.png\n\
    A bore always needs its outline: gritbook face bore.jpg --outline 400,300,2600,320,2580,1700,420,1690\n\n\
    Lay the card beside the part, level with its face: it gives white and scale. Without it show a white spot (--white) or a grey one\n\
    of L* 50 (--grey): then shares are told and millimetres are not. It measures the photo; the grade stays yours.")]
pub struct Args {
    /// The photo, JPEG or PNG.
    photo: PathBuf,
    /// The surface's outline in the upright photo, px, corner by corner; without it the largest coloured surface is taken.
    #[arg(long, value_name = "X,Y,...", value_parser = parse_outline)]
    outline: Option<Outline>,
    /// A white spot in the photo, px, where there is no card.
    #[arg(long, value_name = "X,Y,W,H", value_parser = parse_spot)]
    white: Option<[f64; 4]>,
    /// A grey spot of L* 50, px, where there is no card.
    #[arg(long, value_name = "X,Y,W,H", value_parser = parse_spot, conflicts_with = "white")]
    grey: Option<[f64; 4]>,
    /// What the 100 mm bar on the printed card measures, mm: lengths are put right by it.
    #[arg(long, value_name = "N", default_value_t = BAR_MM)]
    bar_mm: f64,
    /// What the surface is; without it, by its colour.
    #[arg(long, value_enum)]
    surface: Option<Kind>,
    /// The last photo of the same part, to lay beside this one.
    #[arg(long, value_name = "PHOTO")]
    last: Option<PathBuf>,
    /// The surface's outline in the last photo.
    #[arg(long, value_name = "X,Y,...", value_parser = parse_outline, requires = "last")]
    last_outline: Option<Outline>,
    /// A white spot in the last photo.
    #[arg(long, value_name = "X,Y,W,H", value_parser = parse_spot, requires = "last")]
    last_white: Option<[f64; 4]>,
    /// Write the photo with what was counted outlined, the last one laid beside it, as PNG.
    #[arg(long, value_name = "PNG")]
    picture: Option<PathBuf>,
    /// Print one JSON document.
    #[arg(long)]
    json: bool,
}

/// Kinds of surface.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Kind {
    /// A face with a colour of its own.
    Coloured,
    /// Bare metal: a bore, a plate.
    Metal,
}

/// Corners of an outline.
#[derive(Debug, Clone, PartialEq)]
struct Outline(Vec<[f64; 2]>);

fn numbers(text: &str) -> Result<Vec<f64>, String> {
    text.split(',').map(|part| part.trim().parse().map_err(|_| format!("{part:?} is not a number of pixels"))).collect()
}

fn parse_outline(text: &str) -> Result<Outline, String> {
    let list = numbers(text)?;
    if list.len() % 2 != 0 {
        return Err(format!("{} numbers given: corners are pairs X,Y", list.len()));
    }
    Ok(Outline(list.chunks_exact(2).map(|pair| [pair[0], pair[1]]).collect()))
}

fn parse_spot(text: &str) -> Result<[f64; 4], String> {
    numbers(text)?.try_into().map_err(|list: Vec<f64>| format!("{} numbers given, four are needed: X,Y,W,H", list.len()))
}

impl Run for Args {
    fn json(&self) -> bool {
        self.json
    }

    fn run(self) -> Result<(), Failure> {
        let surface = self.surface.map(|kind| match kind {
            Kind::Coloured => Surface::Coloured,
            Kind::Metal => Surface::Metal,
        });
        let settings = FaceSettings {
            outline_px: self.outline.map(|outline| outline.0),
            white_px: self.white,
            grey_px: self.grey,
            bar_mm: self.bar_mm,
            surface,
            ..FaceSettings::default()
        };
        let last_settings = FaceSettings {
            outline_px: self.last_outline.map(|outline| outline.0),
            white_px: self.last_white,
            bar_mm: self.bar_mm,
            surface,
            ..FaceSettings::default()
        };
        let open = |path: &PathBuf| std::fs::read(path).map_err(|error| unreadable(path, error));
        let bytes = open(&self.photo)?;
        let last = self.last.as_ref().map(open).transpose()?;
        let outcome = measure_beside(&bytes, &settings, last.as_deref().map(|bytes| (bytes, &last_settings)))?;
        if let Some(path) = &self.picture {
            write_file(path, &face_png(&outcome)?)?;
        }
        let reading = &outcome.reading;
        if self.json {
            return say_document(reading);
        }
        for (english, _) in words::lines(reading) {
            say(english);
        }
        if let Some(path) = &self.picture {
            say(format_args!("wrote {}", path.display()));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outline_is_pairs_of_numbers_and_a_spot_four() {
        assert_eq!(parse_outline("1,2, 3.5,4,5,6").unwrap().0, [[1.0, 2.0], [3.5, 4.0], [5.0, 6.0]]);
        assert!(parse_outline("1,2,3").unwrap_err().contains("pairs"));
        assert!(parse_outline("1,two").unwrap_err().contains("two"));
        assert_eq!(parse_spot("1,2,3,4"), Ok([1.0, 2.0, 3.0, 4.0]));
        assert!(parse_spot("1,2,3").unwrap_err().contains("four"));
    }
}
