//! Quantities as people write them.

use std::time::Duration;

use panestep::stand::{AxisUnit, Way};
use panestep::units::{
    Acceleration, Angle, Degrees, Jerk, Kind, Length, Millimetres, QuantityError, Speed,
    parse_duration, parse_frequency_hz, parse_mass_kg, parse_torque_nm,
};
use proptest::prelude::*;

fn length(text: &str) -> i64 {
    text.parse::<Length>()
        .unwrap_or_else(|error| panic!("{error}"))
        .pm()
}

/// 1 in = 25.4 mm and 1 ft = 304.8 mm exactly: international yard and pound agreement of 1959;
/// NIST Special Publication 811, appendix B.
#[test]
fn published_conversions() {
    assert_eq!(length("1 in"), 25_400_000_000);
    assert_eq!(length("1 ft"), 304_800_000_000);
    assert_eq!(length("12 in"), length("1 ft"));
    assert_eq!(length("1 in"), length("25.4 mm"));
}

#[test]
fn every_way_of_writing() {
    for (text, pm) in [
        ("12.5 mm", 12_500_000_000),
        ("12.5mm", 12_500_000_000),
        (" +12.50 mm ", 12_500_000_000),
        (".5 mm", 500_000_000),
        ("5. mm", 5_000_000_000),
        ("-3/16 in", -4_762_500_000),
        ("1 3/16 in", 30_162_500_000),
        ("- 1 3/16\"", -30_162_500_000),
        ("3 / 16 in", 4_762_500_000),
        ("2'", 609_600_000_000),
        ("-0 mm", 0),
        ("1 \u{b5}m", 1_000_000),
        ("1 \u{3bc}m", 1_000_000),
        ("\u{2212}1 um", -1_000_000),
        ("2 cm", 20_000_000_000),
        ("1.5 m", 1_500_000_000_000),
        // Nearest picometre, halves away from zero.
        ("1/3 mm", 333_333_333),
        ("2/3 mm", 666_666_667),
        ("0.0000000005 mm", 1),
        ("-0.0000000005 mm", -1),
        ("0.0000000004 mm", 0),
    ] {
        assert_eq!(length(text), pm, "{text}");
    }
    assert_eq!("-90 deg".parse(), Ok(Angle::from_microdegrees(-90_000_000)));
    assert_eq!("1/4\u{b0}".parse(), Ok(Angle::from_microdegrees(250_000)));
    assert_eq!(parse_duration("1.2 s"), Ok(Duration::from_millis(1200)));
    assert_eq!(parse_duration("1/2 min"), Ok(Duration::from_secs(30)));
    let mm = AxisUnit::Millimetre;
    assert_eq!(Speed::parse("1/4 in/s", mm).unwrap().per_second(), 6.35);
    assert_eq!(
        Speed::parse("5 deg/s", AxisUnit::Degree)
            .unwrap()
            .per_second(),
        5.0
    );
    for text in ["60 mm/s2", "60 mm/s^2", "60 mm/s\u{b2}", "60 mm / s2"] {
        assert_eq!(
            Acceleration::parse(text, mm).unwrap().per_second(),
            60.0,
            "{text}"
        );
    }
    for text in ["400 mm/s3", "400 mm/s^3", "400 mm/s\u{b3}", "40 cm/s3"] {
        assert_eq!(Jerk::parse(text, mm).unwrap().per_second(), 400.0, "{text}");
    }
}

#[test]
fn every_wrong_text_says_what_is_wrong() {
    use QuantityError as Q;
    let error = |text: &str| text.parse::<Length>().expect_err(text);
    for text in ["", "  "] {
        assert!(matches!(error(text), Q::Empty { .. }), "{text}");
    }
    for text in ["12", "-1/2", "1 1/2", "0"] {
        assert!(matches!(error(text), Q::BareNumber { .. }), "{text}");
    }
    for text in [
        "1 furlong",
        "1 MM",
        "1 mm mm",
        "1 mm2",
        "1 mm/h",
        "1 s/s",
        "1 inch",
        "1e3 mm",
        "1,mm",
    ] {
        assert!(
            matches!(error(text), Q::UnknownUnit { .. }),
            "{text}: {:?}",
            error(text)
        );
    }
    for text in ["1,5 mm", "-0,25", "1,000 in"] {
        let comma = error(text);
        assert!(matches!(comma, Q::Comma { .. }), "{text}: {comma:?}");
        assert!(comma.to_string().contains("behind a point"), "{comma}");
    }
    for (text, is) in [
        ("1 s", Kind::Time),
        ("1 deg", Kind::Angle),
        ("1 mm/s", Kind::Rate(AxisUnit::Millimetre, 1)),
    ] {
        match error(text) {
            Q::WrongKind {
                is: found,
                expected: Kind::Length,
                ..
            } => assert_eq!(found, is),
            other => panic!("{text}: {other:?}"),
        }
    }
    for text in [
        "mm",
        "nan mm",
        "inf mm",
        "- mm",
        "--1 mm",
        "+-1 mm",
        "1.2.3 mm",
        "1 2 mm",
        "1//2 mm",
        "/2 mm",
        "1/ mm",
        "1.5/2 mm",
        "1 -1/2 mm",
        ". mm",
        "1/2/3 mm",
        "1/2 1/2 mm",
    ] {
        let error = error(text);
        assert!(
            matches!(error, Q::NotANumber { .. } | Q::UnknownUnit { .. }),
            "{text}: {error:?}"
        );
    }
    for text in ["1/0 in", "0/0 in", "1 1/0 in"] {
        assert!(matches!(error(text), Q::DivisionByZero { .. }), "{text}");
    }
    for text in [
        "9300000 m",
        "-9300000 m",
        "99999999999999999999999999 mm",
        "1/99999999999999999999 mm",
    ] {
        assert!(matches!(error(text), Q::OutOfRange { .. }), "{text}");
    }
    assert!(matches!(parse_duration("-1 s"), Err(Q::Negative { .. })));
    // Strokes are minutes and seconds of arc where an angle is wanted: no guess.
    assert!(matches!("5'".parse::<Angle>(), Err(Q::UnknownUnit { .. })));
    assert_eq!(
        error("12 s").to_string(),
        "`12 s` is a time, but a length is wanted, such as `12.5 mm` or `1 3/16 in`"
    );
}

#[test]
fn numbers_for_messages() {
    assert_eq!(Millimetres(-12.3451).to_string(), "-12.345 mm");
    assert_eq!(format!("{:+.1}", Degrees(4.25)), "+4.2 deg");
    assert_eq!(Millimetres(-0.0001).to_string(), "0.000 mm");
}

proptest! {
    #[test]
    fn a_length_reads_back(pm in any::<i64>()) {
        let length = Length::from_pm(pm);
        prop_assert_eq!(length.to_string().parse(), Ok(length));
    }

    #[test]
    fn an_angle_reads_back(microdegrees in any::<i64>()) {
        let angle = Angle::from_microdegrees(microdegrees);
        prop_assert_eq!(angle.to_string().parse(), Ok(angle));
    }

    #[test]
    fn a_speed_reads_back(thousandths in -1_000_000_000_i64..1_000_000_000) {
        let text = format!("{}/1000 in/s", thousandths.abs());
        let speed = Speed::parse(&text, AxisUnit::Millimetre).unwrap();
        prop_assert_eq!(Speed::parse(&speed.to_string(), AxisUnit::Millimetre), Ok(speed));
    }

    /// 1/512 in = 25 400 000 000 pm / 512 = 49 609 375 pm.
    #[test]
    fn binary_fractions_of_an_inch_are_exact(whole in 0_i64..1000, over in 0_i64..512) {
        prop_assert_eq!(length(&format!("{whole} {over}/512 in")), (whole * 512 + over) * 49_609_375);
    }

    #[test]
    fn no_text_panics(text in "\\PC{0,40}") {
        let _ = text.parse::<Length>();
        let _ = text.parse::<Angle>();
        let _ = parse_duration(&text);
        let _ = Jerk::parse(&text, AxisUnit::Degree);
    }

    #[test]
    fn no_near_quantity_panics(text in "[-+]?[0-9 ./]{0,24}(mm|in|deg|s|\"|ft/s3|mm/s)?") {
        let _ = text.parse::<Length>();
        let _ = text.parse::<Angle>();
        let _ = parse_duration(&text);
        let _ = Jerk::parse(&text, AxisUnit::Millimetre);
    }
}

/// A pound is 0.45359237 kg (NIST SP 811, appendix B), and an ounce-force inch 7.061 552 mN m (the
/// same; from memory); a kilogram-force is 9.80665 N.
#[test]
fn masses_torques_and_frequencies() {
    let close =
        |value: f64, expected: f64| assert!((value / expected - 1.0).abs() < 1e-7, "{value}");
    close(parse_mass_kg("3.2 kg").expect("a mass"), 3.2);
    close(parse_mass_kg("1 1/2 lb").expect("a mass"), 0.680_388_555);
    close(parse_mass_kg("16 oz").expect("a mass"), 0.453_592_37);
    for text in ["0.4 N m", "0.4 Nm", "0.4 N\u{b7}m", "40 N cm", "400 mN m"] {
        close(parse_torque_nm(text).expect(text), 0.4);
    }
    close(parse_torque_nm("100 oz in").expect("a torque"), 0.706_155_2);
    close(
        parse_torque_nm("16 oz in").expect("a torque"),
        parse_torque_nm("1 lb in").expect("a torque"),
    );
    close(parse_torque_nm("4 kg cm").expect("a torque"), 0.392_266);
    close(parse_frequency_hz("4.2 Hz").expect("a frequency"), 4.2);
    assert!(parse_mass_kg("3.2 N m").is_err());
    assert!(parse_torque_nm("3.2 kg").is_err());
    assert!(parse_frequency_hz("4.2 s").is_err());
}

/// Every word that the program says for a direction can be typed, and no word means two.
#[test]
fn directions_are_understood_as_they_are_said() {
    let ways = [Way::East, Way::North, Way::Lift, Way::Turn, Way::Focus];
    let mut known = std::collections::BTreeMap::new();
    for way in ways {
        for (by, back) in [(1.0, false), (-1.0, true)] {
            let said = way.toward(by);
            let word = said.rsplit(' ').next().expect("a word");
            assert_eq!(Way::of_word(word), Some((way, back)), "{said}");
        }
        assert_eq!(Way::of_word(way.name()), Some((way, false)));
        for word in way.words() {
            let other = known.insert(word, way);
            assert!(
                other.is_none_or(|other| other == way),
                "{word} is {other:?} too"
            );
        }
    }
    for (word, meant) in [
        ("west", (Way::East, true)),
        ("up", (Way::Lift, false)),
        ("lift", (Way::Lift, false)),
        ("down", (Way::Lift, true)),
        ("clockwise", (Way::Turn, true)),
        ("near", (Way::Focus, true)),
    ] {
        assert_eq!(Way::of_word(word), Some(meant), "{word}");
    }
    for word in ["", "East", "left", "toward", "e"] {
        assert_eq!(Way::of_word(word), None, "{word}");
    }
}
