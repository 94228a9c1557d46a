//! What a depot's enrolment code holds, and reading it from a photo.

use serde::{Deserialize, Serialize};

use crate::error::CoreError;
use crate::ids::Sha256Hex;
use crate::photo::reduced::{Reduced, reduced};
use crate::photo::{Photo, PhotoLimits, load_photo};

/// A code that is good once. [`Right::Once`].
pub const ENROLMENT_KIND: &str = "enrolment/2";
/// Codes of older depots, and of programs. [`Right::Token`].
const WITH_TOKEN_KIND: &str = "enrolment/1";

/// Least random bytes that a device makes its token of.
const LEAST_SECRET_BYTES: usize = 32;

/// By what right a device is let in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Right {
    /// A code that is good once: the device shows it with a token of its own ([`crate::wire::v1::LET_IN_PATH`]). Whoever shows it
    /// later with another token is refused, so that a picture of the code lets nobody in beside the device.
    Once(String),
    /// The bearer token itself: whoever holds it can write to the depot.
    Token(String),
}

/// Where a device sends to, and by what right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Enrolment {
    /// Address of the depot, `https://...` or, on one's own machine, `http://...`; none where the depot did not know it.
    pub depot: Option<String>,
    /// What the depot calls this device.
    pub name: String,
    /// By what right.
    pub right: Right,
    /// SHA-256 of the depot's public key (the DER of its SubjectPublicKeyInfo, RFC 5280 4.1.2.7). Where it stands, nothing goes to
    /// a depot with another key, whatever its certificate says; where it is absent (older codes, a proxy with a certificate of a
    /// public authority) the shell's own trust decides.
    pub key_sha256: Option<Sha256Hex>,
}

/// What a device keeps of a code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Admission {
    /// As in the code.
    pub depot: Option<String>,
    /// As in the code.
    pub name: String,
    /// What the device sends with every request from now on: a secret.
    pub token: String,
    /// Shown with the first requests until the depot has taken the token ([`super::OutboxEvent::LetIn`]); none for codes that hold
    /// a token.
    pub code: Option<String>,
    /// As in the code.
    pub key_sha256: Option<Sha256Hex>,
}

/// The code as it is written.
#[derive(Serialize, Deserialize)]
struct Written {
    #[serde(rename = "gritbook")]
    kind: String,
    depot: Option<String>,
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    code: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    token: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    key_sha256: Option<Sha256Hex>,
}

/// Long sides at which a code is looked for, px: far ones show in the large picture, blurred and noisy ones in the small.
const LONG_SIDES_PX: [u32; 3] = [1200, 2000, 800];

impl Enrolment {
    /// The text of the code.
    pub fn payload(&self) -> String {
        let (kind, code, token) = match &self.right {
            Right::Once(code) => (ENROLMENT_KIND, Some(code.clone()), None),
            Right::Token(token) => (WITH_TOKEN_KIND, None, Some(token.clone())),
        };
        let Self { depot, name, key_sha256, .. } = self.clone();
        // A few strings always serialise.
        serde_json::to_string(&Written { kind: kind.to_owned(), depot, name, code, token, key_sha256 }).unwrap_or_default()
    }

    /// Reads the text of a code.
    ///
    /// # Errors
    /// `not_an_enrolment`, also for an address that is neither http nor https, and for a key on an address that would not use it.
    pub fn of_payload(payload: &str) -> Result<Self, CoreError> {
        let other_kind = || refused("the code is of another kind");
        let Written { kind, depot, name, code, token, key_sha256 } =
            serde_json::from_str(payload).map_err(|cause| other_kind().because(cause))?;
        let some = |text: Option<String>| text.filter(|text| !text.is_empty()).ok_or_else(other_kind);
        let right = match kind.as_str() {
            ENROLMENT_KIND => Right::Once(some(code)?),
            WITH_TOKEN_KIND => Right::Token(some(token)?),
            _ => return Err(other_kind()),
        };
        let web = |url: &String| ["https://", "http://"].iter().any(|scheme| url.len() > scheme.len() && url.starts_with(scheme));
        if depot.as_ref().is_some_and(|url| !web(url)) {
            return Err(refused("the depot's address in the code is no web address"));
        }
        if key_sha256.is_some() && depot.as_ref().is_some_and(|url| url.starts_with("http://")) {
            return Err(refused("the code holds a depot's key and an address that is not encrypted"));
        }
        Ok(Self { depot, name, right, key_sha256 })
    }

    /// What a device keeps of the code. `device_secret`: at least 32 random bytes that the device made once and shows to nobody. Of
    /// the same code and secret comes the same token: a code that is photographed twice leaves the device as it was.
    ///
    /// # Errors
    /// `short_secret`.
    pub fn kept_by(self, device_secret: &[u8]) -> Result<Admission, CoreError> {
        if device_secret.len() < LEAST_SECRET_BYTES {
            let reason = format!("{} secret bytes are too few to make a token of", device_secret.len());
            return Err(CoreError::refused("short_secret", reason, "make at least 32 of the system's random bytes"));
        }
        let Self { depot, name, right, key_sha256 } = self;
        let (token, code) = match right {
            Right::Once(code) => {
                let made_of = [b"gritbook.token:", code.as_bytes(), b":", device_secret].concat();
                (Sha256Hex::of(&made_of).to_string(), Some(code))
            }
            Right::Token(token) => (token, None),
        };
        Ok(Admission { depot, name, token, code, key_sha256 })
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
        for (right, key_sha256) in [
            (Right::Once("c0de-_~".into()), None),
            (Right::Once("c0de-_~".into()), Some(key)),
            (Right::Token("t0ken-_~".into()), Some(key)),
        ] {
            let depot = Some("https://depot.example:8443".to_owned());
            let enrolment = Enrolment { depot, name: "phone of the north yard".into(), right, key_sha256 };
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
        let kept = found.kept_by(&[7; 32]).unwrap();
        assert_eq!((kept.token.as_str(), kept.code), ("t", None));
    }

    #[test]
    fn device_makes_a_token_of_its_own_and_the_same_one_each_time() {
        let kept = |code: &str, secret: &[u8]| {
            let payload = format!(r#"{{"gritbook":"enrolment/2","depot":"https://d","name":"a","code":"{code}"}}"#);
            Enrolment::of_payload(&payload).unwrap().kept_by(secret)
        };
        let one = kept("abc", &[1; 32]).unwrap();
        assert_eq!(one, kept("abc", &[1; 32]).unwrap());
        assert_eq!((one.code.as_deref(), one.token.len()), (Some("abc"), 64));
        assert_ne!(one.token, kept("abc", &[2; 32]).unwrap().token, "another device");
        assert_ne!(one.token, kept("abd", &[1; 32]).unwrap().token, "another code");
        assert_eq!(kept("abc", &[1; 31]).unwrap_err().code(), "short_secret");
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
        // Each kind holds its own right and no other.
        assert_eq!(code_of(r#"{"gritbook":"enrolment/2","depot":null,"name":"a","token":"t"}"#), "not_an_enrolment");
        assert_eq!(code_of(r#"{"gritbook":"enrolment/1","depot":null,"name":"a","code":"c"}"#), "not_an_enrolment");
        assert_eq!(code_of(r#"{"gritbook":"enrolment/2","depot":null,"name":"a","code":""}"#), "not_an_enrolment");
        let mut grey = Vec::new();
        image::RgbImage::from_pixel(300, 300, image::Rgb([120; 3]))
            .write_to(&mut std::io::Cursor::new(&mut grey), image::ImageFormat::Png)
            .unwrap();
        assert_eq!(Enrolment::of_photo(&grey).unwrap_err().code(), "no_code");
        assert_eq!(Enrolment::of_photo(b"text").unwrap_err().code(), "not_a_photo");
    }
}
