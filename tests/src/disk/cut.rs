//! The disk as it stands, and as a power cut leaves it.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::path::{Path, PathBuf};

use super::notes::Note;
use crate::draws::Draws;

const SECTOR: usize = 512;

/// How much a cut takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// All that was not synced.
    All,
    /// Nothing: as a kill.
    Nothing,
    /// Some of it, by draws; names in the order they were made.
    SomeInOrder,
    /// Some of it, by draws; names in any order.
    Some,
}

#[derive(Debug, Clone)]
enum Change {
    Write(usize, Range<usize>),
    Length(usize),
}

#[derive(Debug, Default, Clone)]
struct File {
    safe: Vec<u8>,
    open: Vec<Change>,
}

#[derive(Debug, Clone)]
enum Naming {
    Make(PathBuf, usize),
    Folder(PathBuf),
    Move(PathBuf, PathBuf, usize),
    Remove(PathBuf),
}

#[derive(Debug, Default, Clone)]
struct Names {
    files: BTreeMap<PathBuf, usize>,
    folders: BTreeSet<PathBuf>,
}

impl Names {
    fn take(&mut self, naming: &Naming) {
        match naming {
            Naming::Make(path, file) => drop(self.files.insert(path.clone(), *file)),
            Naming::Folder(path) => drop(self.folders.insert(path.clone())),
            Naming::Move(from, to, file) => {
                // Another file may have the old name by now.
                if self.files.get(from) == Some(file) {
                    self.files.remove(from);
                }
                self.files.insert(to.clone(), *file);
            }
            Naming::Remove(path) => drop(self.files.remove(path)),
        }
    }
}

/// See the module.
pub struct Disk<'a> {
    log: &'a [u8],
    root: PathBuf,
    files: Vec<File>,
    now: Names,
    safe: Names,
    open: Vec<Naming>,
    fds: BTreeMap<u32, Result<usize, PathBuf>>,
}

impl<'a> Disk<'a> {
    /// An empty disk below `root`, whose notes stand in `log`.
    pub fn new(log: &'a [u8], root: &Path) -> Self {
        let names = Names { files: BTreeMap::new(), folders: BTreeSet::from([root.to_owned()]) };
        Self { log, root: root.to_owned(), files: Vec::new(), now: names.clone(), safe: names, open: Vec::new(), fds: BTreeMap::new() }
    }

    fn name(&mut self, naming: Naming) {
        self.now.take(&naming);
        self.open.push(naming);
    }

    /// Does what a note says.
    pub fn take(&mut self, note: &Note) {
        match note {
            Note::Open { fd, path, .. } if self.now.folders.contains(path) => drop(self.fds.insert(*fd, Err(path.clone()))),
            Note::Open { fd, path, new, empty } => {
                let file = match self.now.files.get(path) {
                    Some(file) => *file,
                    None => {
                        assert!(*new, "{} was there before", path.display());
                        self.files.push(File::default());
                        self.name(Naming::Make(path.clone(), self.files.len() - 1));
                        self.files.len() - 1
                    }
                };
                if *empty && (!self.files[file].safe.is_empty() || !self.files[file].open.is_empty()) {
                    self.files[file].open.push(Change::Length(0));
                }
                self.fds.insert(*fd, Ok(file));
            }
            Note::Write { fd, offset, bytes } => self.change(*fd, Change::Write(*offset, bytes.clone())),
            Note::Length { fd, length } => self.change(*fd, Change::Length(*length)),
            Note::Sync { fd } => match self.fds.get(fd) {
                Some(Ok(file)) => {
                    let file = &mut self.files[*file];
                    for change in std::mem::take(&mut file.open) {
                        apply(&mut file.safe, &change, self.log);
                    }
                }
                Some(Err(folder)) => {
                    let folder = folder.clone();
                    let inside = |path: &Path| path.parent() == Some(&folder);
                    let (now_safe, still): (Vec<_>, Vec<_>) = self.open.drain(..).partition(|naming| match naming {
                        Naming::Make(path, _) | Naming::Folder(path) | Naming::Remove(path) | Naming::Move(_, path, _) => inside(path),
                    });
                    self.open = still;
                    now_safe.iter().for_each(|naming| self.safe.take(naming));
                }
                None => {}
            },
            Note::Close { fd } => drop(self.fds.remove(fd)),
            Note::Move { from, to } => {
                let file = self.now.files[from];
                self.name(Naming::Move(from.clone(), to.clone(), file));
            }
            Note::Remove { path } => self.name(Naming::Remove(path.clone())),
            Note::Folder { path } => self.name(Naming::Folder(path.clone())),
            Note::Said { .. } => {}
        }
    }

    fn change(&mut self, fd: u32, change: Change) {
        if let Some(Ok(file)) = self.fds.get(&fd) {
            self.files[*file].open.push(change);
        }
    }

    /// Lays the disk into `out` as a cut leaves it.
    pub fn lay(&self, cut: Cut, draws: &mut Draws, out: &Path) {
        let mut names = self.safe.clone();
        let kept_in_order = draws.index(self.open.len() + 1);
        for (index, naming) in self.open.iter().enumerate() {
            let keep = match cut {
                Cut::All => false,
                Cut::Nothing => true,
                Cut::SomeInOrder => index < kept_in_order,
                Cut::Some => draws.one_in(2),
            };
            if keep {
                names.take(naming);
            }
        }
        let moved = |path: &Path| out.join(path.strip_prefix(&self.root).unwrap());
        for folder in &names.folders {
            // A folder whose own name is lost takes what is in it along.
            if folder.ancestors().skip(1).take_while(|above| above.starts_with(&self.root)).all(|above| names.folders.contains(above)) {
                std::fs::create_dir_all(moved(folder)).unwrap();
            }
        }
        for (path, file) in &names.files {
            if moved(path).parent().is_some_and(Path::is_dir) {
                std::fs::write(moved(path), self.bytes(*file, cut, draws)).unwrap();
            }
        }
    }

    fn bytes(&self, file: usize, cut: Cut, draws: &mut Draws) -> Vec<u8> {
        let File { safe, open } = &self.files[file];
        let mut bytes = safe.clone();
        // Seldom, half, mostly.
        let share = [1, 4, 7][draws.index(3)];
        for change in open {
            match (cut, change) {
                (Cut::All, _) => {}
                (Cut::Nothing, _) => apply(&mut bytes, change, self.log),
                (_, Change::Length(_)) => {
                    if draws.below(8) < share {
                        apply(&mut bytes, change, self.log);
                    }
                }
                (_, Change::Write(offset, range)) => {
                    if draws.one_in(4) {
                        // Torn: each sector for itself.
                        let mut at = *offset;
                        while at < offset + range.len() {
                            let end = (at / SECTOR + 1) * SECTOR;
                            let end = end.min(offset + range.len());
                            if draws.below(8) < share {
                                let part = range.start + (at - offset)..range.start + (end - offset);
                                apply(&mut bytes, &Change::Write(at, part), self.log);
                            }
                            at = end;
                        }
                    } else if draws.below(8) < share {
                        apply(&mut bytes, change, self.log);
                    }
                }
            }
        }
        bytes
    }
}

fn apply(bytes: &mut Vec<u8>, change: &Change, log: &[u8]) {
    match change {
        Change::Length(length) => bytes.resize(*length, 0),
        Change::Write(offset, range) => {
            let end = offset + range.len();
            if bytes.len() < end {
                bytes.resize(end, 0);
            }
            bytes[*offset..end].copy_from_slice(&log[range.clone()]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid(notes: &[Note], log: &[u8], cut: Cut) -> Vec<(String, Vec<u8>)> {
        let mut disk = Disk::new(log, Path::new("/r"));
        notes.iter().for_each(|note| disk.take(note));
        let out = tempfile::tempdir().unwrap();
        disk.lay(cut, &mut Draws::new(1), out.path());
        let mut found: Vec<_> = std::fs::read_dir(out.path())
            .unwrap()
            .map(|file| file.unwrap())
            .map(|file| (file.file_name().into_string().unwrap(), std::fs::read(file.path()).unwrap_or_default()))
            .collect();
        found.sort();
        found
    }

    #[test]
    fn what_is_not_synced_goes_and_what_is_stays() {
        let log = b"hello world";
        let new = |fd, path: &str| Note::Open { fd, path: path.into(), new: true, empty: false };
        let folder = Note::Open { fd: 9, path: "/r".into(), new: false, empty: false };
        let mut notes = vec![folder, new(3, "/r/a"), Note::Write { fd: 3, offset: 0, bytes: 0..5 }];
        assert_eq!(laid(&notes, log, Cut::All), [], "neither name nor bytes");
        assert_eq!(laid(&notes, log, Cut::Nothing), [("a".to_owned(), b"hello".to_vec())]);
        notes.push(Note::Sync { fd: 3 });
        assert_eq!(laid(&notes, log, Cut::All), [], "bytes without a name");
        notes.push(Note::Sync { fd: 9 });
        assert_eq!(laid(&notes, log, Cut::All), [("a".to_owned(), b"hello".to_vec())]);
        notes.push(Note::Move { from: "/r/a".into(), to: "/r/b".into() });
        notes.push(Note::Write { fd: 3, offset: 5, bytes: 5..11 });
        assert_eq!(laid(&notes, log, Cut::All), [("a".to_owned(), b"hello".to_vec())]);
        assert_eq!(laid(&notes, log, Cut::Nothing), [("b".to_owned(), b"hello world".to_vec())]);
        notes.push(Note::Sync { fd: 9 });
        assert_eq!(laid(&notes, log, Cut::All), [("b".to_owned(), b"hello".to_vec())]);
    }
}
