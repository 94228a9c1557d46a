//! The ground that the grains lie on, as a smooth field per channel.
//!
//! White paper (a card): a quadratic surface is fitted to the bright, colourless part of the window, then followed into
//! films and soft shadows by walking from block to block as long as the steps stay gentle. Grains have steep edges and stop
//! the walk; the field under them is filled in from their surroundings.
//!
//! Any plain ground (no card): the largest connected area without steep steps, if there is one that runs through the whole
//! picture and is even enough. A heap of grains has none.

mod blocks;
mod fill;
mod plain;
mod rows;
mod white;

pub use rows::GroundRows;

use super::light::{linear_table, luminance};
use super::settings::GroundKind;
use super::window::WindowImage;
use crate::error::CoreError;
use blocks::Blocks;
use plain::plain_ground;
use white::white_ground;

/// The ground under a window.
#[derive(Debug, Clone)]
pub struct Ground {
    /// True for white paper: levels are linear light and departures are shares of them. False for a plain ground: levels
    /// are sRGB values over 255 and departures are differences.
    pub white: bool,
    /// Side of a block, px.
    pub block_px: usize,
    /// Blocks along a row.
    pub columns: usize,
    /// Rows of blocks.
    pub rows: usize,
    /// Level of each channel in each block.
    pub level: [Vec<f32>; 3],
    /// White paper only: the light of clean, open paper in each block, without the films and shadows that `level` follows.
    pub paper: [Vec<f32>; 3],
    /// White paper only: luminance of each block over that of clean, open paper.
    pub light: Vec<f32>,
    /// Where ground is seen.
    pub seen: Vec<bool>,
    /// Share of the blocks where ground is seen, 0 to 1.
    pub seen_share: f64,
}

/// Estimates the ground. How much of white paper is seen stands in [`Ground::seen_share`].
///
/// # Errors
/// `too_crowded` where no plain ground is seen between the grains.
pub fn find_ground(window: &WindowImage, kind: GroundKind) -> Result<Ground, CoreError> {
    let on_white = || {
        let table = linear_table();
        let blocks = Blocks::new(window, &table, true);
        white_ground(&blocks, window, &table)
    };
    let on_plain = || plain_ground(&Blocks::new(window, &std::array::from_fn(|byte| byte as f32 / 255.0), false));
    match kind {
        GroundKind::White => Ok(on_white()),
        GroundKind::Plain => on_plain(),
        GroundKind::Auto if window.white.is_some() => Ok(on_white()),
        GroundKind::Auto => Some(on_white()).filter(Ground::is_paper).map_or_else(on_plain, Ok),
    }
}

/// The refusal of a window without visible ground.
pub fn too_crowded(reason: String) -> CoreError {
    CoreError::refused(
        "too_crowded",
        reason,
        "this much is itself an answer: at least sand. To size the grains, spread a quarter of it, so that ground shows between them",
    )
}

/// Paper that no card vouches for: seen on this share of the window, this bright (linear light; sRGB 170), and within this tint.
const PAPER_SHARE: f64 = 0.35;
const PAPER_LIGHT: f32 = 0.4;
const PAPER_TINT: f32 = 0.2;

impl Ground {
    /// Whether a ground that was followed as white is paper where no card says so: bright, colourless, and plainly seen through the window.
    fn is_paper(&self) -> bool {
        let middle = |c: usize| {
            let mut levels: Vec<f32> = self.paper[c].clone();
            let at = levels.len() / 2;
            *levels.select_nth_unstable_by(at, f32::total_cmp).1
        };
        let paper = [middle(0), middle(1), middle(2)];
        let light = luminance(paper);
        let tint = (paper[0] - paper[1]).abs().max((paper[2] - paper[1]).abs());
        self.seen_share >= PAPER_SHARE && light >= PAPER_LIGHT && tint <= PAPER_TINT * light
    }

    /// Whether ground is seen at a pixel (in its block).
    pub fn is_seen(&self, x: usize, y: usize) -> bool {
        self.seen[self.block_of(x, y)]
    }

    /// The block that a pixel lies in.
    pub(super) fn block_of(&self, x: usize, y: usize) -> usize {
        (y / self.block_px).min(self.rows - 1) * self.columns + (x / self.block_px).min(self.columns - 1)
    }
}
