//! What a JPEG or PNG file says about itself before anything is decoded: size, EXIF block, and whether its end is there.
//!
//! Decoders forgive a missing end (the rest turns grey); a reading may not, so the end is looked for here.

/// Why a file cannot be decoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fault {
    /// Neither a JPEG nor a PNG signature, or no picture inside.
    NotAPhoto(&'static str),
    /// The file ends before the picture does.
    CutOff,
}

/// Kind of file, by its signature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Jpeg,
    Png,
}

/// What the headers say.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Outline<'a> {
    pub(crate) kind: Kind,
    pub(crate) width_px: u32,
    pub(crate) height_px: u32,
    /// Components of a JPEG (1, 3 or 4); 0 for PNG.
    pub(crate) components: u8,
    /// A JPEG of one pass from top to bottom (baseline or extended sequential).
    pub(crate) sequential: bool,
    /// TIFF block of the EXIF data, without its `Exif` label.
    pub(crate) exif: Option<&'a [u8]>,
    /// Bytes that belong to the picture; cameras append previews and clips after it.
    pub(crate) picture: &'a [u8],
}

const PNG_SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";

/// Reads the outline of `file` in one pass, without allocating.
pub(crate) fn outline(file: &[u8]) -> Result<Outline<'_>, Fault> {
    if file.starts_with(&[0xFF, 0xD8]) {
        jpeg(file)
    } else if file.starts_with(PNG_SIGNATURE) {
        png(file)
    } else if PNG_SIGNATURE.starts_with(file) || file == [0xFF] {
        // The very beginning of one, or nothing at all.
        Err(if file.is_empty() { Fault::NotAPhoto("the file is empty") } else { Fault::CutOff })
    } else {
        Err(Fault::NotAPhoto("the file starts as neither a JPEG nor a PNG does"))
    }
}

/// Marker codes by ITU-T T.81, table B.1.
fn jpeg(file: &[u8]) -> Result<Outline<'_>, Fault> {
    let mut at = 2;
    let mut frame = None;
    let mut exif = None;
    loop {
        let marker_start = at;
        // Any number of fill bytes 0xFF may stand before a marker.
        while *file.get(at).ok_or(Fault::CutOff)? == 0xFF {
            at += 1;
        }
        if at == marker_start {
            return Err(Fault::NotAPhoto("bytes between the parts of the JPEG that belong to none"));
        }
        let marker = file[at];
        at += 1;
        match marker {
            0xD9 => {
                let (width_px, height_px, components, sequential) = frame.ok_or(Fault::NotAPhoto("a JPEG without a picture"))?;
                return Ok(Outline { kind: Kind::Jpeg, width_px, height_px, components, sequential, exif, picture: &file[..at] });
            }
            // Stand-alone markers.
            0x01 | 0xD0..=0xD8 => continue,
            _ => {}
        }
        let length = usize::from(u16::from_be_bytes([*file.get(at).ok_or(Fault::CutOff)?, *file.get(at + 1).ok_or(Fault::CutOff)?]));
        if length < 2 {
            return Err(Fault::NotAPhoto("a part of the JPEG with an impossible length"));
        }
        let body = file.get(at + 2..at + length).ok_or(Fault::CutOff)?;
        at += length;
        match marker {
            // Start of frame, all kinds but the tables C4, C8, CC that share the range.
            0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF if frame.is_none() => {
                let [_, h1, h0, w1, w0, components, ..] = *body else {
                    return Err(Fault::NotAPhoto("a JPEG without a size"));
                };
                let (width_px, height_px) = (u32::from(u16::from_be_bytes([w1, w0])), u32::from(u16::from_be_bytes([h1, h0])));
                frame = Some((width_px, height_px, components, marker <= 0xC1));
            }
            0xE1 if exif.is_none() => exif = body.strip_prefix(b"Exif\0\0"),
            0xDA => at = end_of_scan(file, at)?,
            _ => {}
        }
    }
}

/// Position of the marker that ends the entropy-coded data starting at `at`.
fn end_of_scan(file: &[u8], mut at: usize) -> Result<usize, Fault> {
    loop {
        let rest = file.get(at..).ok_or(Fault::CutOff)?;
        let found = rest.iter().position(|byte| *byte == 0xFF).ok_or(Fault::CutOff)?;
        at += found;
        match *file.get(at + 1).ok_or(Fault::CutOff)? {
            // A stuffed byte or a restart marker: still inside.
            0x00 | 0xD0..=0xD7 => at += 2,
            0xFF => at += 1,
            _ => return Ok(at),
        }
    }
}

/// Chunks by the PNG specification (ISO/IEC 15948), section 5.
fn png(file: &[u8]) -> Result<Outline<'_>, Fault> {
    let mut at = PNG_SIGNATURE.len();
    let mut size = None;
    let mut exif = None;
    loop {
        let header = file.get(at..at + 8).ok_or(Fault::CutOff)?;
        let length = u32::from_be_bytes([header[0], header[1], header[2], header[3]]) as usize;
        let end = at.checked_add(8).and_then(|at| at.checked_add(length)).ok_or(Fault::CutOff)?;
        let body = file.get(at + 8..end).ok_or(Fault::CutOff)?;
        // Four bytes of checksum end each chunk.
        if file.len() < end + 4 {
            return Err(Fault::CutOff);
        }
        at = end + 4;
        match &header[4..8] {
            b"IHDR" => {
                let [w3, w2, w1, w0, h3, h2, h1, h0, ..] = *body else {
                    return Err(Fault::NotAPhoto("a PNG without a size"));
                };
                size = Some((u32::from_be_bytes([w3, w2, w1, w0]), u32::from_be_bytes([h3, h2, h1, h0])));
            }
            b"eXIf" => exif = Some(body),
            b"IEND" => {
                let (width_px, height_px) = size.ok_or(Fault::NotAPhoto("a PNG without a picture"))?;
                return Ok(Outline { kind: Kind::Png, width_px, height_px, components: 0, sequential: false, exif, picture: &file[..at] });
            }
            _ => {}
        }
        if size.is_none() {
            return Err(Fault::NotAPhoto("a PNG that does not start with its size"));
        }
    }
}
