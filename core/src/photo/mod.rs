//! Photos: strict decoding under limits, orientation, and the gates a photo must pass.

mod container;
mod exif_facts;
mod load;
pub mod quality;
pub(crate) mod reduced;
mod screen;

pub use load::{PhotoLimits, load_photo};

/// A decoded photo, upright.
#[derive(Clone)]
pub struct Photo {
    /// SHA-256 of the file's bytes.
    pub id: crate::ids::PhotoId,
    /// Width after EXIF orientation, px.
    pub width_px: u32,
    /// Height after EXIF orientation, px.
    pub height_px: u32,
    /// sRGB, interleaved, row by row, no padding.
    pub rgb: Vec<u8>,
    /// EXIF DateTimeOriginal with sub-second and offset where the camera wrote them.
    pub taken_at: Option<String>,
}

impl std::fmt::Debug for Photo {
    /// Everything but the pixels.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { id, width_px, height_px, rgb: _, taken_at } = self;
        f.debug_struct("Photo")
            .field("id", id)
            .field("width_px", width_px)
            .field("height_px", height_px)
            .field("taken_at", taken_at)
            .finish()
    }
}
