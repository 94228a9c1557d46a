//! What a depot's enrolment code holds, and reading it from a photo.

use serde::{Deserialize, Serialize};

use crate::error::CoreError;
use crate::ids::Sha256Hex;
use crate::photo::reduced::{Reduced, reduced};
use crate::photo::{Photo, PhotoLimits, load_photo};

/// The kind of code that this program reads.
pub const ENROLMENT_KIND: &str = "enrolment/1";

/// Where a device sends to, and by what right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Enrolment {
    /// Always [`ENROLMENT_KIND`].
    #[serde(rename = "gritbook")]
    pub kind: String,
    /// Address of the depot, `https://...` or, on one's own machine, `http://...`; null where the depot did not know it.
    pub depot: Option<String>,
    /// What the depot calls this device.
    pub name: String,
    /// The bearer token. Whoever holds it can write to the depot.
    pub token: String,
    /// SHA-256 of the depot's public key (the DER of its SubjectPublicKeyInfo, RFC 5280 4.1.2.7). Where it stands, nothing goes to
    /// a depot with another key, whatever its certificate says; where it is absent (older codes, a proxy with a certificate of a
    /// public authority) the shell's own trust decides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key_sha256: Option<Sha256Hex>,
}

/// Long sides at which a code is looked for, px: far ones show in the large picture, blurred and noisy ones in the small.
const LONG_SIDES_PX: [u32; 3] = [1200, 2000, 800];

impl Enrolment {
    /// A new enrolment.
    pub fn new(depot: Option<&str>, name: &str, token: &str, key_sha256: Option<Sha256Hex>) -> Self {
        let depot = depot.map(str::to_owned);
        Self { kind: ENROLMENT_KIND.to_owned(), depot, name: name.to_owned(), token: token.to_owned(), key_sha256 }
    }

    /// The text of the code.
    pub fn payload(&self) -> String {
        // A few strings always serialise.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// Reads the text of a code.
    ///
    /// # Errors
    /// `not_an_enrolment`, also for an address that is neither http nor https, and for a key on an address that would not use it.
    pub fn of_payload(payload: &str) -> Result<Self, CoreError> {
        let found: Self = serde_json::from_str(payload).map_err(|cause| refused("the code is of another kind").because(cause))?;
        if found.kind != ENROLMENT_KIND || found.token.is_empty() {
            return Err(refused("the code is of another kind"));
        }
        let web = |url: &String| ["https://", "http://"].iter().any(|scheme| url.len() > scheme.len() && url.starts_with(scheme));
        if found.depot.as_ref().is_some_and(|url| !web(url)) {
            return Err(refused("the depot's address in the code is no web address"));
        }
        if found.key_sha256.is_some() && found.depot.as_ref().is_some_and(|url| url.starts_with("http://")) {
            return Err(refused("the code holds a depot's key and an address that is not encrypted"));
        }
        Ok(found)
    }

    /// Reads the code in a photo.
    ///
    /// # Errors
    /// What [`load_photo`] gives; `no_code` where none is legible; `not_an_enrolment` where another one is.
    pub fn of_photo(bytes: &[u8]) -> Result<Self, CoreError> {
        let photo = load_photo(bytes, &PhotoLimits::default())?;
        let mut other = None;
        for long_side_px in LONG_SIDES_PX {
            for payload in codes(&photo, long_side_px) {
                match Self::of_payload(&payload) {
                    Ok(found) => return Ok(found),
                    Err(error) => other = Some(error),
                }
            }
        }
        Err(other.unwrap_or_else(|| {
            CoreError::refused(
                "no_code",
                "no code can be read in the photo",
                "fill the picture with the code, hold still, no glare on the screen",
            )
        }))
    }
}

fn refused(reason: &str) -> CoreError {
    CoreError::refused("not_an_enrolment", reason, "photograph the code that `gritbook enroll` shows")
}

/// Every legible code in the photo reduced to about this size.
fn codes(photo: &Photo, long_side_px: u32) -> Vec<String> {
    let factor = photo.width_px.max(photo.height_px).div_ceil(long_side_px).max(1);
    let Reduced { width, height, luma, .. } = reduced(photo, [0, 0], [photo.width_px, photo.height_px], factor);
    // rqrr works on what a photo says: a panic inside means that it cannot be read.
    std::panic::catch_unwind(|| {
        let mut prepared = rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| luma[y * width + x]);
        prepared.detect_grids().iter().filter_map(|grid| grid.decode().ok().map(|(_, payload)| payload)).collect()
    })
    .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture_of(payload: &str, module_px: u32) -> Vec<u8> {
        let code = qrcode::QrCode::with_error_correction_level(payload, qrcode::EcLevel::M).unwrap();
        let side = code.width() as u32;
        let picture = image::RgbImage::from_fn((side + 8) * module_px, (side + 12) * module_px, |x, y| {
            let (column, row) = (x / module_px, y / module_px);
            let dark = (4..side + 4).contains(&column)
                && (4..side + 4).contains(&row)
                && code[((column - 4) as usize, (row - 4) as usize)] == qrcode::Color::Dark;
            image::Rgb(if dark { [30, 28, 33] } else { [228, 226, 219] })
        });
        let mut bytes = Vec::new();
        picture.write_to(&mut std::io::Cursor::new(&mut bytes), image::ImageFormat::Png).unwrap();
        bytes
    }

    #[test]
    fn code_in_a_picture_gives_back_what_went_into_it() {
        let key = Sha256Hex::of(b"a depot's key");
        for enrolment in [
            Enrolment::new(Some("https://depot.example:8443"), "phone of the north yard", "t0ken-_~", None),
            Enrolment::new(Some("https://depot.example:8443"), "phone of the north yard", "t0ken-_~", Some(key)),
        ] {
            for module_px in [4, 9, 40] {
                assert_eq!(Enrolment::of_photo(&picture_of(&enrolment.payload(), module_px)).unwrap(), enrolment, "{module_px}");
            }
        }
    }

    #[test]
    fn code_of_an_older_depot_without_a_key_is_read() {
        let old = r#"{"gritbook":"enrolment/1","depot":"http://127.0.0.1:8470","name":"a","token":"t"}"#;
        let found = Enrolment::of_payload(old).unwrap();
        assert_eq!((found.depot.as_deref(), found.key_sha256), (Some("http://127.0.0.1:8470"), None));
        assert_eq!(found.payload(), old);
    }

    #[test]
    fn key_that_is_none_or_on_an_open_address_is_refused() {
        for (depot, key) in [("https://d", "12ab"), ("https://d", ""), ("http://127.0.0.1:1", &Sha256Hex::of(b"k").to_string())] {
            let payload = format!(r#"{{"gritbook":"enrolment/1","depot":"{depot}","name":"a","token":"t","key_sha256":"{key}"}}"#);
            assert_eq!(Enrolment::of_payload(&payload).unwrap_err().code(), "not_an_enrolment", "{payload}");
        }
    }

    #[test]
    fn other_codes_and_pictures_without_one_are_refused() {
        let code_of = |payload: &str| Enrolment::of_photo(&picture_of(payload, 6)).unwrap_err().code();
        assert_eq!(code_of("https://example.org"), "not_an_enrolment");
        assert_eq!(code_of(r#"{"gritbook":"enrolment/1","depot":"file:///etc","name":"a","token":"t"}"#), "not_an_enrolment");
        assert_eq!(code_of(r#"{"gritbook":"enrolment/9","depot":null,"name":"a","token":"t"}"#), "not_an_enrolment");
        let mut grey = Vec::new();
        image::RgbImage::from_pixel(300, 300, image::Rgb([120; 3]))
            .write_to(&mut std::io::Cursor::new(&mut grey), image::ImageFormat::Png)
            .unwrap();
        assert_eq!(Enrolment::of_photo(&grey).unwrap_err().code(), "no_code");
        assert_eq!(Enrolment::of_photo(b"text").unwrap_err().code(), "not_a_photo");
    }
}
