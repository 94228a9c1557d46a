//! How values cross: one small trait, and two macros that write a mirror with its conversion field by field.
//!
//! A mirror names every field and every variant of what it mirrors, so the compiler finds what a change in core forgets here.

use std::path::PathBuf;

use gritbook_core::ids::{DeviceId, EntryId, PumpId, Sha256Hex, WorkId};
use gritbook_core::model::part::Grade;

/// A conversion that cannot fail. Not `From`, because `Option` and `Vec` have to cross too.
pub(crate) trait Cross<To> {
    /// The same value on the other side.
    fn cross(self) -> To;
}

macro_rules! crosses_as_it_is {
    ($($type:ty),+) => { $(impl Cross<$type> for $type { fn cross(self) -> $type { self } })+ };
}
crosses_as_it_is!(bool, u16, u32, u64, i32, i64, f64, String, Vec<u8>);

macro_rules! crosses_as_text {
    ($($type:ty),+) => { $(impl Cross<String> for $type { fn cross(self) -> String { self.to_string() } })+ };
}
crosses_as_text!(&'static str, PumpId, EntryId, DeviceId, Sha256Hex, WorkId);

impl Cross<String> for PathBuf {
    fn cross(self) -> String {
        self.to_string_lossy().into_owned()
    }
}

impl Cross<u8> for Grade {
    fn cross(self) -> u8 {
        self.number()
    }
}

impl Cross<u64> for usize {
    fn cross(self) -> u64 {
        self as u64
    }
}

impl<From: Cross<To>, To> Cross<Option<To>> for Option<From> {
    fn cross(self) -> Option<To> {
        self.map(Cross::cross)
    }
}

/// Marks what may stand in a list that is converted piece by piece (bytes cross as they are).
pub(crate) trait Piece {}

impl<From: Cross<To> + Piece, To> Cross<Vec<To>> for Vec<From> {
    fn cross(self) -> Vec<To> {
        self.into_iter().map(Cross::cross).collect()
    }
}

macro_rules! pieces {
    ($($type:ty),+) => { $(impl Piece for $type {})+ };
}
pieces!(f64, PathBuf, EntryId, Sha256Hex, [f64; 2], [f64; 4]);

/// A record that mirrors a struct of core; with `both` it also crosses back.
macro_rules! record {
    (both $(#[$meta:meta])* $name:ident = $core:path { $($(#[$field_meta:meta])* $field:ident: $type:ty),+ $(,)? }) => {
        $crate::cross::record!($(#[$meta])* $name = $core { $($(#[$field_meta])* $field: $type),+ });
        impl $crate::cross::Cross<$core> for $name {
            fn cross(self) -> $core {
                let Self { $($field),+ } = self;
                $core { $($field: $crate::cross::Cross::cross($field)),+ }
            }
        }
    };
    ($(#[$meta:meta])* $name:ident = $core:path { $($(#[$field_meta:meta])* $field:ident: $type:ty),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, PartialEq, uniffi::Record)]
        pub struct $name { $($(#[$field_meta])* pub $field: $type),+ }
        impl $crate::cross::Piece for $core {}
        impl $crate::cross::Cross<$name> for $core {
            fn cross(self) -> $name {
                let $core { $($field),+ } = self;
                $name { $($field: $crate::cross::Cross::cross($field)),+ }
            }
        }
    };
}

/// An enum without data that mirrors one of core, both ways.
macro_rules! choice {
    ($(#[$meta:meta])* $name:ident = $core:path { $($(#[$variant_meta:meta])* $variant:ident),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
        pub enum $name { $($(#[$variant_meta])* $variant),+ }
        impl $crate::cross::Cross<$name> for $core {
            fn cross(self) -> $name {
                match self { $(<$core>::$variant => $name::$variant),+ }
            }
        }
        impl $crate::cross::Cross<$core> for $name {
            fn cross(self) -> $core {
                match self { $(Self::$variant => <$core>::$variant),+ }
            }
        }
    };
}

pub(crate) use {choice, record};
