//! The same samples in many dialects.

use super::super::inspect;
use super::super::plan::{Decimal, Kind, TimeUnit};
use super::*;
use proptest::prelude::*;

/// Time in milliseconds at 100 kS/s, crank in volts, supply in volts.
const TRUTH: [(f64, f64, f64); 6] = [
    (0.00, 0.0, 13.5),
    (0.01, 1.25, 13.52),
    (0.02, -2.5, 13.5),
    (0.03, 3.75, 13.49),
    (0.04, -5.0, 13.5),
    (0.05, 0.5, 13.51),
];

/// Each is the truth, as some instrument might write it.
const DIALECTS: [(&str, &str); 13] = [
    (
        "the unit as the name of the time",
        "us,crank,supply\n0,0,13.5\n10,1.25,13.52\n20,-2.5,13.5\n30,3.75,13.49\n40,-5,13.5\n50,0.5,13.51\n",
    ),
    (
        "plain",
        "time,crank,supply\n0.00000,0,13.5\n0.00001,1.25,13.52\n0.00002,-2.5,13.5\n0.00003,3.75,13.49\n0.00004,-5,13.5\n0.00005,0.5,13.51\n",
    ),
    (
        "semicolon and decimal comma, carriage returns",
        "Time (ms);Crank (V);Supply (V)\r\n0,00;0;13,5\r\n0,01;1,25;13,52\r\n0,02;-2,5;13,5\r\n0,03;3,75;13,49\r\n0,04;-5;13,5\r\n0,05;0,5;13,51\r\n",
    ),
    (
        "unit row",
        "t;crank;supply\n(ms);(V);(V)\n\n0;0;13,5\n0,01;1,25;13,52\n0,02;-2,5;13,5\n0,03;3,75;13,49\n0,04;-5;13,5\n0,05;0,5;13,51\n",
    ),
    (
        "tabs, millivolts, exponents",
        "Time\tcrank\tsupply\ns\tmV\tmV\n0.0e0\t0e3\t1.3500e4\n1.0e-5\t1.25E+3\t1.3520E4\n2.0e-5\t-2.5E+3\t1.350e4\n3.0e-5\t3.75e3\t1.349e4\n4.0e-5\t-5e3\t1.35e4\n5.0e-5\t.5e3\t1.351e4\n",
    ),
    (
        "preamble, comments, mark of byte order",
        "\u{feff}Some instrument; 2026\nInterval = 10 us\n\n# Time [us], crank [V], supply [V]\n0, 0, 13.5\n10, 1.25, 13.52\n# overload\n20, -2.5, 13.5\n30, 3.75, 13.49\n40, -5, 13.5\n50, 0.5, 13.51\n\n\n\n",
    ),
    (
        "decimal comma in quotation marks",
        "\"Time, ms\",\"crank\",\"supply\"\n\"0,00\",\"0\",\"13,5\"\n\"0,01\",\"1,25\",\"13,52\"\n\"0,02\",\"-2,5\",\"13,5\"\n\"0,03\",\"3,75\",\"13,49\"\n\"0,04\",\"-5\",\"13,5\"\n\"0,05\",\"0,5\",\"13,51\"\n",
    ),
    (
        "aligned with spaces",
        "  time_us   crank   supply\n        0       0     13.5\n       10    1.25    13.52\n       20    -2.5    13.50\n       30    3.75    13.49\n       40   -5.00    13.50\n       50    0.50    13.51\n",
    ),
    (
        "delimiter at the end, no line end at the end",
        "time/ms,crank/V,supply/V,\n0.00,0,13.5,\n0.01,1.25,13.52,\n0.02,-2.5,13.5,\n0.03,3.75,13.49,\n0.04,-5,13.5,\n0.05,0.5,13.51,",
    ),
    (
        "a text column",
        "time_us|state|crank|supply\n0|ok|0|13.5\n10|ok|1.25|13.52\n20|late|-2.5|13.5\n30|ok|3.75|13.49\n40|ok|-5|13.5\n50|ok|0.5|13.51\n",
    ),
    (
        "old line ends",
        "time_us,crank,supply\r0,0,13.5\r10,1.25,13.52\r20,-2.5,13.5\r30,3.75,13.49\r40,-5,13.5\r50,0.5,13.51\r",
    ),
    (
        "bare delimiters below",
        "time_us,crank,supply\n0,0,13.5\n10,1.25,13.52\n20,-2.5,13.5\n30,3.75,13.49\n40,-5,13.5\n50,0.5,13.51\n,,\n,,\n",
    ),
    (
        "negative begin",
        "time_us,crank,supply\n-20,0,13.5\n-10,1.25,13.52\n0,-2.5,13.5\n10,3.75,13.49\n20,-5,13.5\n30,0.5,13.51\n",
    ),
];

fn is_the_truth(name: &str, imported: &Imported) {
    assert!(
        (imported.stream.rate_hz - 100_000.0).abs() < 1e-6,
        "{name}: {}",
        imported.stream.rate_hz
    );
    assert_eq!(imported.roles(), ["crank", "supply"], "{name}");
    for (input, pick) in [(0, 1), (1, 2)] {
        let values = imported.values(input);
        assert_eq!(values.len(), TRUTH.len(), "{name}");
        for ((index, value), truth) in values.iter().zip(TRUTH) {
            let (at, truth) = (truth.0 / 0.01, [truth.0, truth.1, truth.2][pick]);
            assert!((*index as f64 - at).abs() < 1e-6, "{name}: {index}");
            assert!((value - truth).abs() < 1e-9, "{name}: {value} {truth}");
        }
    }
}

#[test]
fn the_same_samples_come_out_of_every_dialect() {
    for (name, text) in DIALECTS {
        let imported = import(text.as_bytes(), "").unwrap_or_else(|e| panic!("{name}: {e}"));
        is_the_truth(name, &imported);
    }
    // UTF-16 with its byte order mark, and the micro sign as one byte.
    let (_, text) = DIALECTS[1];
    let wide: Vec<u8> = std::iter::once(0xFEFF)
        .chain(text.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    is_the_truth("UTF-16", &import(&wide, "").unwrap());
    let latin = DIALECTS[7].1.replace("time_us", "time/Xs").into_bytes();
    let latin: Vec<u8> = latin
        .iter()
        .map(|&b| if b == b'X' { 0xB5 } else { b })
        .collect();
    is_the_truth("Latin-1", &import(&latin, "").unwrap());
}

#[test]
fn the_plan_that_is_shown_gives_the_same_again() {
    for (name, text) in DIALECTS {
        let folder = Folder::new();
        let preview = inspect(&folder.capture(text.as_bytes()), &Plan::default()).unwrap();
        let toml = preview.plan.to_toml();
        let imported =
            import(text.as_bytes(), &toml).unwrap_or_else(|e| panic!("{name}: {e}\n{toml}"));
        is_the_truth(name, &imported);
        assert!(
            imported
                .summary
                .remarks
                .iter()
                .all(|r| !r.contains("taken for")),
            "{name}: {:?}",
            imported.summary.remarks
        );
    }
}

#[test]
fn a_preview_shows_what_was_found() {
    let folder = Folder::new();
    let (_, text) = DIALECTS[2];
    let preview = inspect(&folder.capture(text.as_bytes()), &Plan::default()).unwrap();
    assert_eq!(preview.delimiter, ";");
    assert_eq!(preview.decimal, Some(Decimal::Comma));
    assert_eq!((preview.first_line, preview.kind), (2, Kind::Samples));
    assert_eq!(preview.names, ["Time", "Crank", "Supply"]);
    assert_eq!(preview.units, ["ms", "V", "V"]);
    assert_eq!(preview.rows[1], ["0,01", "1,25", "13,52"]);
    assert_eq!(
        (preview.time.column, preview.time.unit),
        (Some(1), TimeUnit::Ms)
    );
    assert!((preview.time.rate_hz.unwrap() - 100_000.0).abs() < 1e-6);
    assert_eq!(preview.columns[0].range, Some([-5.0, 3.75]));
    assert_eq!(preview.lacking, Vec::<String>::new());
}

#[test]
fn the_origin_can_be_told_later() {
    let (_, text) = DIALECTS[1];
    let imported = import(text.as_bytes(), "").unwrap();
    let header = imported.recording.header();
    assert_eq!(header.note, "from the shelf");
    assert_eq!(header.engine_sheet, "name = \"Van\"\n");
    // Python: hashlib.sha256 of the same bytes.
    let digits = "9da110562b01f5c10a9e8b75da7550f3b3e19071ac581bc00e6de2e969eba468";
    assert_eq!(imported.summary.sha256, digits);
    assert!(
        header.import_plan.contains("\"capture.csv\""),
        "{}",
        header.import_plan
    );
    assert!(header.import_plan.contains(digits));
    assert_eq!(imported.stream.device.model, "capture.csv");
    let plan = Plan::from_toml(&header.import_plan).unwrap();
    assert_eq!(plan.columns.len(), 2);
}

#[test]
fn columns_without_a_time_need_a_rate() {
    let text = "1,5\n2,5\n-3,25\n0,05\n";
    let error = import(text.as_bytes(), "").err().unwrap().to_string();
    assert!(error.contains("say [time] rate"), "{error}");
    let imported = import(text.as_bytes(), "[time]\nrate = 48000").unwrap();
    assert!((imported.stream.rate_hz - 48_000.0).abs() < 1e-9);
    let values: Vec<f64> = imported.values(0).iter().map(|v| v.1).collect();
    for (value, truth) in values.iter().zip([1.5, 2.5, -3.25, 0.05]) {
        assert!((value - truth).abs() < 1e-9, "{values:?}");
    }
    // The same with a column that counts, from anywhere.
    let text = "n;crank\n7;1,5\n8;2,5\n10;3,5\n";
    let imported = import(text.as_bytes(), "[time]\nrate = 48000").unwrap();
    let places: Vec<u64> = imported.values(0).iter().map(|v| v.0).collect();
    assert_eq!(places, [0, 1, 3]);
}

#[test]
fn units_and_factors_of_the_plan() {
    let text = "time,p,clamp\n0.000,1.0,20\n0.001,2.0,30\n0.002,1.5,25\n";
    let plan = "[[columns]]\ncolumn = 2\nrole = \"pressure\"\nunit = \"bar\"\n[[columns]]\ncolumn = \"CLAMP\"\nrole = \"current intake\"\nunit = \"mV\"\nfactor = 10\n";
    let imported = import(text.as_bytes(), plan).unwrap();
    assert_eq!(imported.stream.device.channels[0].unit, "kPa");
    assert!((imported.values(0)[1].1 - 200.0).abs() < 1e-6);
    assert!((imported.values(1)[1].1 - 0.03).abs() < 1e-9);
    assert_eq!(imported.roles(), ["pressure", "current intake"]);
    assert!(
        imported
            .recording
            .header()
            .lead_plan
            .contains("factor = 10")
    );
}

/// Numbers in a dialect.
fn written(rows: &[(i16, i16)], delimiter: &str, comma: bool, places: usize, crlf: bool) -> String {
    let mut text = format!("time_us{delimiter}crank{delimiter}supply\n");
    for (i, (a, b)) in rows.iter().enumerate() {
        let number = |x: f64| {
            let plain = format!("{x:.places$}");
            if comma {
                plain.replace('.', ",")
            } else {
                plain
            }
        };
        text += &format!(
            "{}{delimiter}{}{delimiter}{}\n",
            i * 5,
            number(f64::from(*a) / 1000.0),
            number(f64::from(*b) / 7.0)
        );
    }
    if crlf {
        text.replace('\n', "\r\n")
    } else {
        text
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_samples_in_any_dialect_come_out_within_half_a_count(
        rows in prop::collection::vec((any::<i16>(), any::<i16>()), 8..80),
        dialect in 0usize..6,
        places in 3usize..9,
        crlf: bool,
    ) {
        let (delimiter, comma) = [(",", false), (";", false), (";", true), ("\t", true), ("|", false), (" ", true)][dialect];
        let text = written(&rows, delimiter, comma, places, crlf);
        let plan = "[[columns]]\ncolumn = \"crank\"\nunit = \"V\"\n[[columns]]\ncolumn = \"supply\"\nunit = \"V\"\n";
        let imported = import(text.as_bytes(), plan).unwrap();
        prop_assert!((imported.stream.rate_hz - 200_000.0).abs() < 1e-6);
        for input in 0..2 {
            let scale = imported.stream.device.channels[input].scale;
            let values = imported.values(input);
            prop_assert_eq!(values.len(), rows.len());
            for ((_, value), row) in values.iter().zip(&rows) {
                let meant = if input == 0 { f64::from(row.0) / 1000.0 } else { f64::from(row.1) / 7.0 };
                let rounded: f64 = format!("{meant:.places$}").parse().unwrap();
                prop_assert!((value - rounded).abs() <= 0.501 * scale, "{value} {rounded} {scale}");
            }
        }
    }
}
