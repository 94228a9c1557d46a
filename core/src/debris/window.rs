//! The rectified window: what the segmentation sees.

use super::sight::Sight;

/// The card's window (or the hand-set part of a photo) seen straight on at a uniform scale.
#[derive(Debug, Clone)]
pub struct WindowImage {
    /// Columns.
    pub width_px: u32,
    /// Rows.
    pub height_px: u32,
    /// Pixels per millimetre of this picture; pixel (i, j) covers (i..i+1, j..j+1) / px_per_mm.
    pub px_per_mm: f64,
    /// sRGB, interleaved, row by row.
    pub rgb: Vec<u8>,
    /// Mean sRGB of the card's white beside the window, where a card was found.
    pub white: Option<[f64; 3]>,
    /// Sigma of a sharp edge as the card's marks show it, px of this picture; `None` without a card.
    pub edge_sigma_px: Option<f64>,
    /// Where the camera stood over the card; `None` without a card: then all is taken as seen from straight above.
    pub sight: Option<Sight>,
}
