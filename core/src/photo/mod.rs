//! Photos: strict decoding under limits, orientation, and the gates a photo must pass.

/// A decoded photo, upright.
#[derive(Debug, Clone)]
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
