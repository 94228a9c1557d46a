use super::*;
use crate::debris::find::locate_card;
use crate::debris::rectify::{window_by_hand, window_from_card};
use crate::debris::test_scene::Scene;

fn judged(scene: &Scene) -> Quality {
    let photo = scene.photo();
    let pose = locate_card(&photo).unwrap_or_else(|error| panic!("{}: {error}", error.code()));
    judge(&window_from_card(&photo, &pose), &pose.scale(), &pose.sharpness, &Gates::default())
}

fn first_code(quality: &Quality) -> &str {
    assert!(!quality.accepted);
    let error = refusal(quality, ScaleSource::Card).unwrap();
    assert_eq!(error.code(), quality.findings[0].code);
    &quality.findings[0].code
}

#[test]
fn good_photo_passes_without_a_word() {
    let quality = judged(&Scene { tilt_deg: 20.0, ..Scene::default() });
    assert!(quality.accepted && quality.findings.is_empty() && refusal(&quality, ScaleSource::Card).is_none(), "{quality:?}");
}

#[test]
fn blur_is_refused_from_a_seventh_of_a_millimetre() {
    // 9 px/mm: 0.14 mm are 1.3 px.
    assert!(judged(&Scene { blur_px: 1.0, px_per_mm: 9.0, ..Scene::default() }).accepted);
    assert_eq!(first_code(&judged(&Scene { blur_px: 1.6, px_per_mm: 9.0, ..Scene::default() })), "blurred");
    // A smear of 8 px has a standard deviation of 8 / sqrt(12) = 2.3 px, in one direction only.
    assert_eq!(first_code(&judged(&Scene { motion_px: 8.0, px_per_mm: 9.0, ..Scene::default() })), "blurred");
}

#[test]
fn dark_photo_is_refused_and_a_dim_one_is_not() {
    assert_eq!(first_code(&judged(&Scene { white: 0.03, noise: 1.0, ..Scene::default() })), "too_dark");
    assert!(judged(&Scene { white: 0.10, ..Scene::default() }).accepted);
}

#[test]
fn reflection_in_the_window_is_glare_and_bright_paper_is_not() {
    let glare = Scene { glare: Some(([30.0, 25.0], 9.0)), ..Scene::default() };
    let quality = judged(&glare);
    assert_eq!(first_code(&quality), "glare");
    // pi 9^2 of 3600 mm2 is 7.1 %; squares on the rim do not count.
    assert!((5.0..7.2).contains(&quality.findings[0].value), "{quality:?}");
    // A glint of 1.5 mm on a wet grain, and paper at the top of the range.
    assert!(judged(&Scene { glare: Some(([30.0, 25.0], 1.5)), ..Scene::default() }).accepted);
    let bright = judged(&Scene { white: 1.1, ..Scene::default() });
    assert!(bright.accepted && bright.findings[0].code == "overexposed", "{bright:?}");
}

#[test]
fn few_pixels_are_too_small() {
    assert_eq!(first_code(&judged(&Scene { size_px: [800, 600], px_per_mm: 4.5, blur_px: 0.5, ..Scene::default() })), "too_small");
}

#[test]
fn white_of_the_card_is_measured_beside_the_window() {
    let photo = Scene { white: 0.5, noise: 1.0, ..Scene::default() }.photo();
    let pose = locate_card(&photo).unwrap();
    let white = window_from_card(&photo, &pose).white.unwrap();
    // Linear 0.5 is 188 of 255 in sRGB (IEC 61966-2-1).
    assert!(white.iter().all(|channel| (channel - 188.0).abs() < 2.0), "{white:?}");
}

#[test]
fn strong_edges_tell_the_blur_of_a_photo_without_a_card() {
    for blur_px in [1.0, 2.0, 4.0] {
        let photo = Scene { blur_px, px_per_mm: 20.0, noise: 1.0, ..Scene::default() }.photo();
        let (window, scale) = window_by_hand(photo.clone(), 20.0, None).unwrap();
        let sharpness = sharpness_of_strong_edges(&window);
        // Rough by nature: linear light is blurred and code values are read.
        assert!((0.7..1.5).contains(&(sharpness.edge_sigma_px / blur_px)), "{sharpness:?} for {blur_px}");
        assert!((sharpness.edge_sigma_mm * 20.0 - sharpness.edge_sigma_px).abs() < 1e-9);
        assert!(judge(&window, &scale, &sharpness, &Gates::default()).accepted);
    }
}

#[test]
fn picture_without_edges_has_no_blur_to_tell() {
    let window =
        WindowImage { width_px: 40, height_px: 40, px_per_mm: 5.0, rgb: vec![120; 4800], white: None, edge_sigma_px: None, sight: None };
    assert_eq!(sharpness_of_strong_edges(&window).edge_sigma_px, 0.0);
    let tiny = WindowImage { width_px: 1, height_px: 1, px_per_mm: 5.0, rgb: vec![120; 3], white: None, edge_sigma_px: None, sight: None };
    assert_eq!(sharpness_of_strong_edges(&tiny).edge_sigma_px, 0.0);
}
