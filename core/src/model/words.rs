//! Words for people, in both languages of the trade's sites.

/// The same in both languages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    /// English.
    pub en: &'static str,
    /// Spanish, as spoken on Latin American sites.
    pub es: &'static str,
}

/// The months, from the first on. Their first three letters are what both languages shorten them to.
pub const MONTHS: [Words; 12] = [
    Words { en: "January", es: "enero" },
    Words { en: "February", es: "febrero" },
    Words { en: "March", es: "marzo" },
    Words { en: "April", es: "abril" },
    Words { en: "May", es: "mayo" },
    Words { en: "June", es: "junio" },
    Words { en: "July", es: "julio" },
    Words { en: "August", es: "agosto" },
    Words { en: "September", es: "septiembre" },
    Words { en: "October", es: "octubre" },
    Words { en: "November", es: "noviembre" },
    Words { en: "December", es: "diciembre" },
];
