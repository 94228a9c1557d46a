//! Words for people, in both languages of the trade's sites.

/// The same in both languages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    /// English.
    pub en: &'static str,
    /// Spanish, as spoken on Latin American sites.
    pub es: &'static str,
}
