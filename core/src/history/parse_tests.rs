use proptest::prelude::*;

use super::*;

const SMALL: &str = "\
at,pump,cup,event,pump_m3,level,note
2026-01-05T07:00:00Z,P1,,counter,1200,,
2026-01-05T06:00:00Z,P1,A,fitted,1000,,new
2026-01-06T06:00:00-06:00,P1,,checked,1300,1,\"grey, fine\"
";

fn code(text: &[u8]) -> &'static str {
    parse(text).unwrap_err().error.code()
}

#[test]
fn rows_are_sorted_by_moment_and_cells_are_read() {
    let history = parse(SMALL.as_bytes()).unwrap();
    assert_eq!(history.rows.iter().map(|row| row.event).collect::<Vec<_>>(), [Event::Fitted, Event::Counter, Event::Checked]);
    assert_eq!(history.rows[2].note, "grey, fine");
    assert_eq!(history.rows[2].level, Some(1));
    assert_eq!(history.rows[2].at.to_rfc3339(), "2026-01-06T12:00:00+00:00");
    assert_eq!(history.rows[0].line, 3);
}

#[test]
fn comma_before_three_digits_is_refused_where_commas_part_the_cells_and_decimal_where_semicolons_do() {
    let total =
        |text: &str| parse(text.as_bytes()).map(|history| history.rows[0].pump_m3).map_err(|refusal| refusal.rows[0].reason.clone());
    let commas = |cell: &str| total(&format!("at,pump,event,pump_m3\n2026-05-04T07:30:00-06:00,P,counter,\"{cell}\"\n"));
    assert_eq!(commas("18,250").unwrap_err(), "pump_m3 `18,250` is 18250 or 18.250: write it without the comma");
    assert_eq!(commas("1060,25").unwrap(), Some(1060.25));
    assert_eq!(commas("0,125").unwrap(), Some(0.125));
    assert_eq!(commas("18250,125").unwrap(), Some(18250.125));
    assert!(commas("1,018,250").unwrap_err().contains("is not a number"));
    assert_eq!(total("at;pump;event;pump_m3\n2026-05-04T07:30:00-06:00;P;counter;18,250\n").unwrap(), Some(18.25));
}

#[test]
fn semicolons_decimal_commas_other_columns_and_their_order_are_fine() {
    let text = "\u{feff}Driver;pump_m3;event;AT;pump\r\nAna;12,5;counter;2026-01-05T07:00:00Z;P1\r\n";
    let history = parse(text.as_bytes()).unwrap();
    assert_eq!(history.rows[0].pump_m3, Some(12.5));
    assert_eq!(history.other_columns, ["driver"]);
    assert_eq!(history.rows[0].others, ["Ana"]);
}

#[test]
fn same_moment_rows_stand_in_the_stated_order() {
    let events = ["counter", "poured", "checked", "graded", "measured", "in_use", "fitted", "failed", "removed"];
    let mut text = "at,pump,event,pump_m3,grade,measure,value\n".to_owned();
    for event in events {
        text.push_str(&format!("2026-01-05T07:00:00Z,P1,{event},100,1,m,1\n"));
    }
    // What they tell of one cup contradicts itself; their order does not.
    let sorted: Vec<_> = parse_rows(text.as_bytes()).unwrap().iter().map(|row| row.event).collect();
    let expected: Vec<_> = Event::ALL.iter().map(|(event, _)| *event).collect();
    assert_eq!(sorted, expected);
    assert_eq!(expected[0], Event::Removed);
}

#[test]
fn text_that_is_not_utf8_is_refused_with_its_line() {
    let mut text = SMALL.as_bytes().to_vec();
    text.extend(b"2026-01-07T06:00:00Z,P\xf1,,counter,1400,,\n");
    let refusal = parse(&text).unwrap_err();
    assert_eq!(refusal.error.code(), "not_utf8");
    assert_eq!(refusal.rows[0].line, 5);
    let utf16: Vec<u8> = SMALL.encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert!(parse(&utf16).is_err());
}

#[test]
fn half_written_last_row_is_refused_with_its_line() {
    for tail in ["2026-01-07T06:0", "2026-01-07T06:00:00Z,P1,A,che", "2026-01-07T06:00:00Z,P1,A,checked,1400,1,\"sand and"] {
        let refusal = parse(format!("{SMALL}{tail}").as_bytes()).unwrap_err();
        assert_eq!(refusal.error.code(), "half_written_row", "{tail}");
        assert_eq!(refusal.rows.last().unwrap().line, 5);
        assert!(refusal.error.reason().contains("line 5"));
    }
}

#[test]
fn every_bad_row_is_listed_and_nothing_is_taken() {
    let text = "\
at,pump,cup,event,pump_m3,level,grade,mix_factor
yesterday,P1,,counter,1200,,,
2026-01-05T06:00:00Z,,A,fitted,1000,,,
2026-01-05T06:00:00Z,P1,C,fitted,1000,,,
2026-01-05T06:00:00Z,P1,A,mended,1000,,,
2026-01-05T06:00:00Z,P1,A,fitted,-5,,,
2026-01-05T06:00:00Z,P1,,checked,1000,4,,
2026-01-05T06:00:00Z,P1,A,graded,1000,,2.5,
2026-01-05T06:00:00Z,P1,A,graded,1000,,,
2026-01-05T06:00:00Z,P1,,poured,,,,1
2026-01-05T06:00:00Z,P1,,counter,12.3.4,,,
2026-01-05T06:00:00Z,P1,,poured,1000,,,0
2026-01-05T06:00:00Z,P1,,counter,1000,,
2026-01-05T06:00:00Z,P1,,counter,NaN,,,
";
    // A row of another width is met first: cells cannot be told apart then.
    let refusal = parse(text.as_bytes()).unwrap_err();
    assert_eq!(refusal.rows.iter().map(|row| row.line).collect::<Vec<_>>(), [13]);
    let refusal = parse(text.replace("1000,,\n", "1000,,,\n").as_bytes()).unwrap_err();
    assert_eq!(refusal.error.code(), "bad_rows");
    assert_eq!(refusal.rows.iter().map(|row| row.line).collect::<Vec<_>>(), [2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 14]);
    assert!(refusal.rows[5].reason.contains("outside 0 to 3"));
}

#[test]
fn falling_total_is_refused() {
    let text = format!("{SMALL}2026-01-08T06:00:00Z,P1,,counter,900,,\n");
    let refusal = parse(text.as_bytes()).unwrap_err();
    assert_eq!(refusal.rows[0].line, 5);
    assert!(refusal.rows[0].reason.contains("below 1300"));
}

#[test]
fn tables_that_are_none_are_refused() {
    assert_eq!(code(b""), "empty_table");
    assert_eq!(code(b"a,b\n1,2\n"), "missing_columns");
    assert_eq!(code(b"at,pump,event,at\n"), "bad_header");
    assert_eq!(code(b"at,pump,event\n\0,1,2\n"), "not_a_table");
    assert!(parse(b"at,pump,event\n").unwrap().rows.is_empty());
}

proptest! {
    #[test]
    fn prop_no_text_is_a_panic(text in "\\PC{0,200}") {
        let _ = parse(text.as_bytes());
    }

    #[test]
    fn prop_cutting_the_file_anywhere_never_panics_and_never_invents_a_row(cut in 0..SMALL.len()) {
        if let Ok(history) = parse(&SMALL.as_bytes()[..cut]) {
            let whole = parse(SMALL.as_bytes()).unwrap();
            prop_assert!(history.rows.len() <= whole.rows.len());
        }
    }
}
