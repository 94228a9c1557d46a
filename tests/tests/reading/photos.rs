//! Odd photos are read, bad ones are refused with a code that is right for them, cut ones are never read.

use gritbook_core::debris::read::read_photo;
use gritbook_core::debris::settings::ReadSettings;

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

#[test]
fn a_photo_cut_at_any_length_is_an_error_and_never_a_reading() {
    for name in ["golden_touching.jpg", "good/progressive.jpg", "good/grey.jpg", "good/plain.png"] {
        let whole = bytes(name);
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
