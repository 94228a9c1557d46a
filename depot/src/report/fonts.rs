//! The one family of pages and reports (Atkinson Hyperlegible, SIL Open Font License), embedded.

use std::sync::{Arc, LazyLock};

use resvg::usvg::{self, fontdb};

/// The regular face, TrueType.
pub static REGULAR: &[u8] = include_bytes!("../../assets/fonts/AtkinsonHyperlegible-Regular.ttf");
/// The bold face, TrueType.
pub static BOLD: &[u8] = include_bytes!("../../assets/fonts/AtkinsonHyperlegible-Bold.ttf");

static FAMILY: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    [REGULAR, BOLD].into_iter().for_each(|face| fonts.load_font_data(face.to_vec()));
    Arc::new(fonts)
});

/// How SVG is read here: in this family, whatever the machine has.
pub fn svg_options() -> usvg::Options<'static> {
    usvg::Options { fontdb: FAMILY.clone(), font_family: "Atkinson Hyperlegible".to_owned(), ..usvg::Options::default() }
}
