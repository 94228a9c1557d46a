//! Checks of flatness against exact constructions, published points and other programs.

use proptest::prelude::*;

use super::*;

fn points(list: &[[f64; 3]]) -> Vec<PlatePoint> {
    list.iter().map(|&[x_mm, y_mm, height_mm]| PlatePoint { x_mm, y_mm, height_mm }).collect()
}

fn of(list: &[[f64; 3]]) -> Flatness {
    flatness(&points(list), &PlateSettings { resolution_mm: 0.001, limit_mm: 0.1 }).unwrap()
}

fn grid(height: impl Fn(f64, f64) -> f64) -> Vec<[f64; 3]> {
    let at = [-100.0, 0.0, 100.0];
    at.iter().flat_map(|&x| at.iter().map(move |&y| [x, y]).collect::<Vec<_>>()).map(|[x, y]| [x, y, height(x, y)]).collect()
}

/// Constructions whose zone is known exactly: a twist (contact 2-2), a dome (3-1), a saddle, a bowl.
#[test]
fn exact_constructions_have_their_exact_zone() {
    let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-8, "{got} against {want}");
    let twist = of(&[[0.0, 0.0, 0.0], [100.0, 0.0, 0.0], [0.0, 100.0, 0.0], [100.0, 100.0, 0.08]]);
    close(twist.minimum_zone_mm, 0.04);
    assert_eq!((twist.contacts.len(), twist.centre), (4, Centre::NotSeen));
    let dome = of(&[[0.0, 0.0, 0.0], [200.0, 0.0, 0.0], [0.0, 200.0, 0.0], [50.0, 50.0, 0.06]]);
    close(dome.minimum_zone_mm, 0.06);
    close(dome.least_squares_mm, 0.065_454_545_454_545);
    close(of(&grid(|x, y| 0.05 * x * y / 1e4)).minimum_zone_mm, 0.10);
    let bowl = of(&grid(|x, y| 0.04 * (x * x + y * y) / 1e4));
    close(bowl.minimum_zone_mm, 0.08);
    assert_eq!(bowl.centre, Centre::Low);
    close(bowl.centre_low_mm.unwrap(), 0.08);
    assert_eq!(of(&grid(|x, y| 0.3 - 0.04 * (x * x + y * y) / 1e4)).centre, Centre::High);
}

/// Five points read at eng-tips.com, viewthread qid 393584 (no answer is published there); least squares and minimum zone by
/// scipy 1.17.1 linear programming and by enumeration of contacts, which agree.
#[test]
fn five_published_points_give_the_zone_that_two_programs_agree_on() {
    let found = of(&[[11.5, 7.0, 1.1], [18.5, 6.9, 1.03], [4.5, 13.0, 1.02], [25.5, 30.0, 1.03], [11.5, 37.5, 1.02]]);
    assert!((found.minimum_zone_mm - 0.067_262_295_081_967).abs() < 1e-9, "{}", found.minimum_zone_mm);
    assert!((found.least_squares_mm - 0.072_097_313_176_042).abs() < 1e-9, "{}", found.least_squares_mm);
}

/// Twelve made-up heights in um on a 60 x 40 mm raster; minimum zone 18.5, least squares 22.2333 (scipy 1.17.1).
#[test]
fn plate_of_twelve_stations_gives_18_5_um() {
    let heights = [12.0, 5.0, -3.0, 9.0, -8.0, -6.0, 4.0, -11.0, -2.0, 2.0, -5.0, 6.0];
    let list: Vec<_> = (0..12).map(|i| [60.0 * f64::from(i % 3), 40.0 * f64::from(i / 3), heights[i as usize] / 1000.0]).collect();
    let found = of(&list);
    assert!((found.minimum_zone_mm - 0.0185).abs() < 1e-9, "{}", found.minimum_zone_mm);
    assert!((found.least_squares_mm - 0.022_233_333_333).abs() < 1e-9);
    assert_eq!(found.verdict, Verdict::Good);
}

#[test]
fn too_few_points_points_in_line_and_nonsense_are_refused() {
    let settings = PlateSettings::default();
    let code = |list: &[[f64; 3]]| flatness(&points(list), &settings).unwrap_err().code();
    assert_eq!(code(&[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), "bad_points");
    assert_eq!(code(&[[0.0, 0.0, 0.0], [1.0, 1.0, 0.0], [2.0, 2.0, 0.1], [3.0, 3.0, 0.0]]), "bad_points");
    assert_eq!(code(&[[0.0, 0.0, f64::NAN], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 1.0, 0.0]]), "bad_points");
    let bad = PlateSettings { resolution_mm: 0.0, ..settings };
    assert_eq!(flatness(&points(&grid(|_, _| 0.0)), &bad).unwrap_err().code(), "bad_setting");
}

proptest! {
    #[test]
    fn prop_zone_is_never_wider_than_least_squares_and_no_tilt_changes_it(
        heights in prop::collection::vec(-0.2..0.2_f64, 9), a in -0.01..0.01_f64, b in -0.01..0.01_f64, c in -5.0..5.0_f64,
    ) {
        let flat: Vec<_> = grid(|_, _| 0.0).iter().zip(&heights).map(|(p, h)| [p[0], p[1], *h]).collect();
        let tilted: Vec<_> = flat.iter().map(|p| [p[0], p[1], p[2] + a * p[0] + b * p[1] + c]).collect();
        let (one, two) = (of(&flat), of(&tilted));
        prop_assert!(one.minimum_zone_mm <= one.least_squares_mm + 1e-9);
        prop_assert!((one.minimum_zone_mm - two.minimum_zone_mm).abs() < 1e-7);
        // No plane does better: nudging the found one never narrows the zone.
        for nudge in [[1e-6, 0.0], [-1e-6, 0.0], [0.0, 1e-6], [0.0, -1e-6]] {
            let r: Vec<f64> = flat.iter().map(|p| p[2] - (one.plane[0] + nudge[0]) * p[0] - (one.plane[1] + nudge[1]) * p[1]).collect();
            let width = r.iter().copied().fold(f64::NEG_INFINITY, f64::max) - r.iter().copied().fold(f64::INFINITY, f64::min);
            prop_assert!(width >= one.minimum_zone_mm - 1e-8);
        }
    }
}
