//! An enrolment code as a picture.

use qrcode::{Color, QrCode};

/// The white modules around that ISO/IEC 18004 asks for.
const QUIET: u32 = 4;

/// The code as SVG without a size of its own: black on white by day and night, since that is what scanners read.
pub fn code_svg(code: &QrCode) -> String {
    let width = u32::try_from(code.width()).unwrap_or(0);
    let colors = code.to_colors();
    let dark = |x: u32, y: u32| colors.get((y * width + x) as usize) == Some(&Color::Dark);
    let mut path = String::new();
    for (x, y) in (0..width).flat_map(|y| (0..width).map(move |x| (x, y))).filter(|&(x, y)| dark(x, y)) {
        path.push_str(&format!("M{} {}h1v1h-1z", x + QUIET, y + QUIET));
    }
    let side = width + 2 * QUIET;
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {side} {side}\" shape-rendering=\"crispEdges\">\
         <path fill=\"#fff\" d=\"M0 0h{side}v{side}H0z\"/><path d=\"{path}\"/></svg>"
    )
}
