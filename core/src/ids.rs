//! Names of things: UUIDv7 for what a person made, SHA-256 for photos and sealed entries.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::error::CoreError;

macro_rules! uuid_id {
    ($(#[$meta:meta])* $name:ident) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A fresh UUIDv7 stamped with `now`. Never order by it: phone clocks jump back.
            pub fn new(now: DateTime<Utc>) -> Self {
                let seconds = u64::try_from(now.timestamp()).unwrap_or(0);
                let stamp = uuid::Timestamp::from_unix(uuid::NoContext, seconds, now.timestamp_subsec_nanos());
                Self(Uuid::new_v7(stamp))
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = CoreError;

            fn from_str(text: &str) -> Result<Self, CoreError> {
                Uuid::parse_str(text).map(Self).map_err(|cause| {
                    CoreError::refused("bad_id", format!("`{text}` is not an id"), "use an id as the book prints it").because(cause)
                })
            }
        }
    };
}

uuid_id!(
    /// An entry of the record.
    EntryId
);
uuid_id!(
    /// A pump.
    PumpId
);
uuid_id!(
    /// A phone or another device that writes a book.
    DeviceId
);
uuid_id!(
    /// A piece of work as it was begun on a device: recorded twice after a crash, it stands once.
    WorkId
);

impl PumpId {
    /// The id that follows from a pump's name (UUIDv8, RFC 9562 section 5.8, over the folded name's SHA-256): two devices that
    /// add the same pump out of signal give it the same id. Upper case and doubled spaces make no difference.
    pub fn named(name: &str) -> Self {
        let folded = name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        let digest: [u8; 32] = Sha256::digest(format!("gritbook.pump:{folded}")).into();
        let mut bytes = [0_u8; 16];
        bytes.iter_mut().zip(digest).for_each(|(byte, from)| *byte = from);
        Self(uuid::Builder::from_custom_bytes(bytes).into_uuid())
    }
}

/// SHA-256 of some bytes: the name of a photo, the seal of an entry. Prints as 64 lower-case hex digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Sha256Hex([u8; 32]);

/// A photo is named by the hash of its bytes.
pub type PhotoId = Sha256Hex;

impl Sha256Hex {
    /// The hash of `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// Wraps a digest computed elsewhere, for example while streaming.
    pub fn from_bytes(digest: [u8; 32]) -> Self {
        Self(digest)
    }

    /// The 32 bytes.
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Sha256Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Sha256Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Sha256Hex {
    type Err = CoreError;

    fn from_str(text: &str) -> Result<Self, CoreError> {
        let bad = || CoreError::refused("bad_hash", format!("`{text}` is not a SHA-256"), "use 64 hexadecimal digits");
        if text.len() != 64 || !text.is_ascii() {
            return Err(bad());
        }
        let mut digest = [0_u8; 32];
        for (byte, pair) in digest.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            let pair = std::str::from_utf8(pair).map_err(|_| bad())?;
            *byte = u8::from_str_radix(pair, 16).map_err(|_| bad())?;
        }
        Ok(Self(digest))
    }
}

impl Serialize for Sha256Hex {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Sha256Hex {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(feature = "schema")]
impl schemars::JsonSchema for Sha256Hex {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Sha256Hex".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "string", "pattern": "^[0-9a-f]{64}$" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uuid_v7_carries_the_moment_it_was_given() {
        // RFC 9562 appendix A.6: 2022-02-22T19:22:22Z is 0x017f22e279b0 ms.
        let now = DateTime::parse_from_rfc3339("2022-02-22T19:22:22Z").unwrap().to_utc();
        let id = EntryId::new(now);
        assert_eq!(id.0.get_version_num(), 7);
        assert!(id.to_string().starts_with("017f22e2-79b0-7"));
    }

    #[test]
    fn pump_named_alike_on_two_devices_is_the_same_pump() {
        assert_eq!(PumpId::named("Trailer 3"), PumpId::named("  trailer  3 "));
        assert_ne!(PumpId::named("Trailer 3"), PumpId::named("Trailer 4"));
        assert_eq!(PumpId::named("Trailer 3").0.get_version_num(), 8);
    }

    #[test]
    fn hash_prints_and_parses() {
        // FIPS 180-4 example: SHA-256 of "abc".
        let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Sha256Hex::of(b"abc").to_string(), text);
        assert_eq!(text.parse::<Sha256Hex>().unwrap(), Sha256Hex::of(b"abc"));
        assert_eq!("ba78".parse::<Sha256Hex>().unwrap_err().code(), "bad_hash");
    }
}
