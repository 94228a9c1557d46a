//! Odd photos are read, bad ones are refused with a code that is right for them, cut ones are never read.

use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::settings::ReadSettings;
use gritbook_core::photo::{PhotoLimits, load_photo};

use super::{bytes, json};

/// Reads each photo of a folder and lists those that met something else than `expected.json` says.
fn surprises(folder: &str) -> Vec<String> {
    let expected = json(&format!("{folder}/expected.json"));
    let expected = expected.as_object().expect("an object by file name");
    assert!(expected.len() >= 8, "the list of {folder} is short");
    let mut surprises = Vec::new();
    for (name, wanted) in expected {
        let codes: Vec<&str> = wanted["codes"].as_array().into_iter().flatten().filter_map(|code| code.as_str()).collect();
        let may_read = wanted["reads"].as_bool().unwrap_or(false);
        match read_photo(&bytes(&format!("{folder}/{name}")), &ReadSettings::default()) {
            Ok(_) if may_read => {}
            Ok(reading) => surprises.push(format!("{name}: read as {:?}, wanted {codes:?}", reading.level.code)),
            Err(refusal) if codes.contains(&refusal.error.code()) => assert!(!refusal.error.advice().is_empty(), "{name}: no advice"),
            Err(refusal) => surprises.push(format!("{name}: {} ({}), wanted {codes:?}", refusal.error.code(), refusal.error)),
        }
    }
    surprises
}

#[test]
fn odd_photos_are_read() {
    assert_eq!(surprises("good"), Vec::<String>::new());
}

#[test]
fn bad_photos_are_refused_with_a_code_that_is_right_for_them() {
    assert_eq!(surprises("bad"), Vec::<String>::new());
}

/// Every photo of the fixtures that is whole, by name.
fn whole_photos() -> Vec<String> {
    let mut names = Vec::new();
    for folder in ["", "good/", "bad/"] {
        for file in std::fs::read_dir(super::fixture(folder)).expect("a folder of photos") {
            let name = file.expect("a file").file_name().into_string().expect("a plain name");
            if name.ends_with(".jpg") || name.ends_with(".png") {
                names.push(format!("{folder}{name}"));
            }
        }
    }
    names.retain(|name| load_photo(&bytes(name), &PhotoLimits::default()).is_ok());
    names.sort();
    names
}

#[test]
fn a_photo_cut_at_any_length_is_an_error_and_never_a_reading() {
    let names = whole_photos();
    assert!(names.len() >= 25, "only {names:?}");
    for name in names {
        let mut whole = bytes(&name);
        if let Some(end) = whole.windows(2).rposition(|pair| pair == [0xff, 0xd9]).filter(|_| name.ends_with(".jpg")) {
            // What a camera wrote behind the picture's end is none of the picture.
            whole.truncate(end + 2);
        }
        let settings = ReadSettings::default();
        // 24 lengths over the file, and the last bytes one by one, where a careless decoder lets the cut pass.
        let lengths = (0..24).map(|part| whole.len() * part / 24).chain(whole.len() - 4..whole.len() - 1);
        for length in lengths {
            let refusal = read_photo(&whole[..length], &settings).err();
            let code = refusal.as_ref().map(|refusal| refusal.error.code());
            assert!(matches!(code, Some("cut_off_file" | "not_a_photo")), "{name} cut at {length} of {}: {code:?}", whole.len());
        }
    }
}
