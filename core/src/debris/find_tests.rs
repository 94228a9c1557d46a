use proptest::prelude::*;

use super::*;
use crate::debris::card::MarkPlace;
use crate::debris::test_scene::{Painter, Scene};
use crate::photo::{PhotoLimits, load_photo};

/// Errors against the truth.
#[derive(Debug)]
struct Errors {
    /// Worst over the window's corners and centre, mm on the card.
    place_mm: f64,
    /// Of the scale at the centre, percent.
    scale_percent: f64,
}

fn errors(scene: &Scene, found: &CardPose) -> Errors {
    let truth = scene.pose();
    let [w, h] = truth.window_mm;
    let points = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h], [w / 2.0, h / 2.0]];
    let off = |point: [f64; 2]| {
        let seen = truth.window_mm_at(found.photo_px(point)).unwrap();
        (seen[0] - point[0]).hypot(seen[1] - point[1])
    };
    let place_mm = points.into_iter().map(off).fold(0.0, f64::max);
    Errors { place_mm, scale_percent: 100.0 * (found.px_per_mm() / truth.px_per_mm() - 1.0) }
}

/// Through a JPEG file, as a phone would hand it on.
fn by_jpeg(photo: &Photo, quality: u8) -> Photo {
    let mut file = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, quality)
        .encode(&photo.rgb, photo.width_px, photo.height_px, image::ExtendedColorType::Rgb8)
        .unwrap();
    load_photo(&file, &PhotoLimits::default()).unwrap()
}

fn check(scene: &Scene, marks: u32) {
    let found = locate_card(&by_jpeg(&scene.photo(), 90)).unwrap_or_else(|error| panic!("{}: {error} in {scene:?}", error.code()));
    let errors = errors(scene, &found);
    println!(
        "{:5.1} deg roll {:6.1}: {errors:?} residual {:.4} bend {:.4} k {:+.4} {:?}",
        scene.tilt_deg, scene.roll_deg, found.residual_mm, found.bend_mm, found.lens.k, found.sharpness
    );
    assert_eq!(found.marks_found, marks, "{scene:?}");
    assert!(errors.place_mm < 0.05 && errors.scale_percent.abs() < 0.2, "{errors:?} in {scene:?}");
    assert!(found.residual_mm < 0.06, "{} in {scene:?}", found.residual_mm);
}

#[test]
fn card_seen_straight_is_found_to_a_hundredth_of_a_millimetre() {
    let scene = Scene::default();
    let found = locate_card(&scene.photo()).unwrap();
    let errors = errors(&scene, &found);
    assert!(errors.place_mm < 0.01 && errors.scale_percent.abs() < 0.02, "{errors:?}");
    assert_eq!((found.marks_found, found.window_mm), (4, [60.0, 60.0]));
}

#[test]
fn tilt_to_35_degrees_and_any_roll_keep_scale_and_place() {
    for (index, roll_deg) in (0..12).map(|index| (index, f64::from(index) * 30.0 + 7.0)) {
        let tilt_deg = [0.0, 12.0, 24.0, 35.0][index as usize % 4];
        check(&Scene { tilt_deg, roll_deg, tilt_towards_deg: f64::from(index) * 77.0, ..Scene::default() }, 4);
    }
}

#[test]
fn blur_noise_and_uneven_light_keep_scale_and_place() {
    check(&Scene { blur_px: 1.8, noise: 8.0, tilt_deg: 20.0, tilt_towards_deg: 30.0, roll_deg: 200.0, ..Scene::default() }, 4);
    check(&Scene { light_ratio: 4.0, tilt_deg: 15.0, roll_deg: 95.0, ..Scene::default() }, 4);
    check(&Scene { white: 0.08, noise: 4.0, roll_deg: 10.0, ..Scene::default() }, 4);
}

#[test]
fn any_two_marks_suffice() {
    for covered in [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]] {
        check(&Scene { covered: covered.to_vec(), tilt_deg: 15.0, tilt_towards_deg: 60.0, roll_deg: 33.0, ..Scene::default() }, 2);
    }
}

#[test]
fn lens_that_bends_lines_is_taken_out_with_three_marks_or_four() {
    check(&Scene { lens_k: -0.02, tilt_deg: 20.0, roll_deg: 45.0, ..Scene::default() }, 4);
    check(&Scene { lens_k: 0.015, tilt_deg: 10.0, covered: vec![2], ..Scene::default() }, 3);
}

#[test]
fn far_card_with_small_marks_is_found_on_a_finer_picture() {
    let scene = Scene { size_px: [3000, 2200], px_per_mm: 7.0, centre: [0.3, 0.6], tilt_deg: 20.0, roll_deg: 70.0, ..Scene::default() };
    check(&scene, 4);
}

fn refused(scene: &Scene) -> &'static str {
    locate_card(&scene.photo()).unwrap_err().code()
}

#[test]
fn window_partly_outside_is_cut_off_however_many_marks_are_left() {
    // Moved along one axis, two marks are left; along both, one.
    assert_eq!(refused(&Scene { centre: [0.9, 0.5], ..Scene::default() }), "card_cut_off");
    assert_eq!(refused(&Scene { centre: [0.92, 0.9], ..Scene::default() }), "card_cut_off");
}

#[test]
fn one_legible_mark_is_too_few() {
    assert_eq!(refused(&Scene { covered: vec![0, 1, 2], ..Scene::default() }), "no_card");
}

#[test]
fn bent_card_is_refused_and_a_barely_bent_one_is_told() {
    // Rolled to a cylinder; over the 108 mm of the marks a radius of 300 mm rises 4.9 mm, 2000 mm 0.7 mm.
    assert_eq!(refused(&Scene { bend_radius_mm: 150.0, ..Scene::default() }), "card_bent");
    assert_eq!(refused(&Scene { bend_radius_mm: 300.0, tilt_deg: 15.0, ..Scene::default() }), "card_bent");
    let bent = Scene { bend_radius_mm: 2000.0, ..Scene::default() };
    let found = locate_card(&bent.photo()).unwrap();
    let errors = errors(&bent, &found);
    assert!(found.bend_mm > 0.01 && errors.place_mm < 0.06 && errors.scale_percent.abs() < 0.1, "{errors:?} bend {}", found.bend_mm);
}

#[test]
fn photo_without_a_card_says_why() {
    let nothing = Scene { covered: vec![0, 1, 2, 3], ..Scene::default() };
    assert_eq!(refused(&nothing), "no_card");
    assert_eq!(refused(&Scene { blur_px: 9.0, ..Scene::default() }), "blurred");
    assert_eq!(refused(&Scene { motion_px: 30.0, ..Scene::default() }), "blurred");
    assert_eq!(refused(&Scene { white: 0.004, noise: 6.0, ..Scene::default() }), "too_dark");
    assert_eq!(refused(&Scene { size_px: [320, 240], px_per_mm: 1.8, ..Scene::default() }), "too_small");
    assert_eq!(refused(&Scene { white: 40.0, ..Scene::default() }), "glare");
}

#[test]
fn marks_of_two_cards_are_refused() {
    let card = Card::new();
    let mut other = card.marks[1];
    other.window_mm = [50.0, 50.0];
    let mixed = Painter::new(vec![card.marks[0], other, card.marks[2], card.marks[3]]);
    assert_eq!(locate_card(&Scene::default().photo_of(&mixed)).unwrap_err().code(), "two_cards");
    // Painted at one place, speaking of another.
    let mut astray = Painter::new(card.marks.to_vec());
    astray.swap_modules(0, 2);
    assert_eq!(locate_card(&Scene::default().photo_of(&astray)).unwrap_err().code(), "two_cards");
}

#[test]
fn card_of_another_size_is_read_by_what_its_marks_say() {
    let mark = |x: f64, y: f64| MarkPlace { window_mm: [40.0, 30.0], offset_mm: [x, y], side_mm: 25.0 };
    let painter = Painter::new(vec![mark(-30.0, 2.0), mark(45.0, 3.0)]);
    let scene = Scene { tilt_deg: 10.0, ..Scene::default() };
    let found = locate_card(&scene.photo_of(&painter)).unwrap();
    assert_eq!(found.window_mm, [40.0, 30.0]);
    let truth = scene.pose();
    for point in [[0.0, 0.0], [40.0, 30.0]] {
        let seen = truth.window_mm_at(found.photo_px(point)).unwrap();
        assert!((seen[0] - point[0]).hypot(seen[1] - point[1]) < 0.05, "{seen:?}");
    }
}

#[test]
fn same_photo_gives_the_same_pose_bit_for_bit() {
    let photo = Scene { tilt_deg: 20.0, roll_deg: 40.0, ..Scene::default() }.photo();
    assert_eq!(locate_card(&photo).unwrap(), locate_card(&photo).unwrap());
}

#[test]
fn edge_spread_is_the_blur_that_was_put_in() {
    for blur_px in [0.8, 1.5, 2.5] {
        let found = locate_card(&Scene { blur_px, noise: 1.0, px_per_mm: 9.0, ..Scene::default() }.photo()).unwrap();
        // The pixel's own square adds a variance of 1/12.
        let expected = f64::hypot(blur_px, (1.0_f64 / 12.0).sqrt());
        assert!((found.sharpness.edge_sigma_px / expected - 1.0).abs() < 0.12, "{:?} for {expected}", found.sharpness);
    }
}

proptest! {
    // A case takes a tenth of a second.
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn prop_any_pose_is_found_to_a_twentieth_of_a_millimetre(
        tilt_deg in 0.0..35.0_f64,
        tilt_towards_deg in 0.0..360.0_f64,
        roll_deg in 0.0..360.0_f64,
        px_per_mm in 5.5..6.8_f64,
        blur_px in 0.4..1.0_f64,
        noise in 0.0..6.0_f64,
        light_ratio in 0.4..2.5_f64,
        white in 0.2..0.8_f64,
        lens_k in -0.02..0.02_f64,
        covered in proptest::option::of(0_usize..4),
    ) {
        let covered: Vec<usize> = covered.into_iter().collect();
        let marks = 4 - covered.len() as u32;
        let scene = Scene { tilt_deg, tilt_towards_deg, roll_deg, px_per_mm, blur_px, noise, light_ratio, white, lens_k, covered, ..Scene::default() };
        check(&scene, marks);
    }
}
