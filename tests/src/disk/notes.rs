//! The notes that a watched process leaves.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::io::Write as _;
use std::ops::Range;
use std::path::{Path, PathBuf};

/// One call, in the order they were made. `fd` is the descriptor, with its process's number in it.
#[allow(missing_docs, reason = "each field is what the call was given")]
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Note {
    /// A file or folder was opened; `new` asks for it to be made, `empty` for its bytes to go.
    Open { fd: u32, path: PathBuf, new: bool, empty: bool },
    /// Bytes were written; they stand in the log at that range.
    Write { fd: u32, offset: usize, bytes: Range<usize> },
    /// The length was set.
    Length { fd: u32, length: usize },
    /// `fsync` or `fdatasync` returned.
    Sync { fd: u32 },
    /// Closed.
    Close { fd: u32 },
    /// Moved.
    Move { from: PathBuf, to: PathBuf },
    /// Removed.
    Remove { path: PathBuf },
    /// A folder was made.
    Folder { path: PathBuf },
    /// Something was said to the outside.
    Said { text: Range<usize> },
}

const HEAD: usize = 24;
// Linux, fcntl.h.
const O_CREAT: u64 = 0o100;
const O_TRUNC: u64 = 0o1000;

/// Reads a log; what its last call left half-written is not there.
pub fn read(log: &[u8]) -> Vec<Note> {
    let mut notes = Vec::new();
    let mut at = 0;
    let small = |at: usize| u32::from_ne_bytes(log[at..at + 4].try_into().unwrap());
    let large = |at: usize| u64::from_ne_bytes(log[at..at + 8].try_into().unwrap());
    while at + HEAD <= log.len() {
        let (kind, fd, offset, length) = (small(at), small(at + 4), large(at + 8), usize::try_from(large(at + 16)).unwrap());
        let bytes = at + HEAD..at + HEAD + length;
        at = bytes.end;
        if at > log.len() {
            break;
        }
        let path = |range: Range<usize>| PathBuf::from(std::str::from_utf8(&log[range]).unwrap());
        let place = usize::try_from(offset).unwrap();
        notes.push(match u8::try_from(kind).unwrap() {
            b'O' => Note::Open { fd, path: path(bytes), new: offset & O_CREAT != 0, empty: offset & O_TRUNC != 0 },
            b'W' => Note::Write { fd, offset: place, bytes },
            b'T' => Note::Length { fd, length: place },
            b'S' => Note::Sync { fd },
            b'C' => Note::Close { fd },
            b'R' => {
                let middle = bytes.start + log[bytes.clone()].iter().position(|byte| *byte == 0).unwrap();
                Note::Move { from: path(bytes.start..middle), to: path(middle + 1..bytes.end) }
            }
            b'U' => Note::Remove { path: path(bytes) },
            b'K' => Note::Folder { path: path(bytes) },
            b'M' => Note::Said { text: bytes },
            other => panic!("a note of kind {other}"),
        });
    }
    notes
}

/// Adds something said to a log that another process writes: it stands after all that process has done so far.
pub fn say(log: &Path, text: &str) {
    let mut note = Vec::new();
    note.extend(u32::from(b'M').to_ne_bytes());
    note.extend(1_u32.to_ne_bytes());
    note.extend(0_u64.to_ne_bytes());
    note.extend((text.len() as u64).to_ne_bytes());
    note.extend(text.as_bytes());
    // One write with O_APPEND, as the library's.
    std::fs::OpenOptions::new().append(true).open(log).unwrap().write_all(&note).unwrap();
}
