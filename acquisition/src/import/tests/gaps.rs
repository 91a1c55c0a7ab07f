//! What is missing in a capture is missing in the recording.

use super::*;

#[test]
fn dropped_samples_are_gaps_and_never_filled() {
    let mut text = String::from("time,crank\n");
    let missing = [100, 101, 102, 5000];
    let rows: Vec<u64> = (0..20_000).filter(|i| !missing.contains(i)).collect();
    for &i in &rows {
        // Six digits, a period of 10.4 µs: steps of 10 and 11 µs take turns.
        text += &format!("{:.6},{}\n", i as f64 * 10.4e-6, i % 50);
    }
    let imported = import(text.as_bytes(), "").unwrap();
    assert!((imported.stream.rate_hz * 10.4e-6 - 1.0).abs() < 1e-9);
    let places: Vec<u64> = imported.values(0).iter().map(|v| v.0).collect();
    assert_eq!(places, rows);
    assert_eq!((imported.summary.missing, imported.summary.gaps), (4, 2));
}

#[test]
fn cells_without_a_number() {
    let text = "time_ms,crank,supply\n0,1.5,13.5\n1,NaN,13.5\n2,inf,13.6\n3,-2.5,\n4,-inf,13.5\n5,0.5,13.5\n";
    let imported = import(text.as_bytes(), "").unwrap();
    let places: Vec<u64> = imported.values(0).iter().map(|v| v.0).collect();
    assert_eq!(places, [0, 2, 4, 5]);
    let values: Vec<f64> = imported.values(0).iter().map(|v| v.1).collect();
    for (value, truth) in values.iter().zip([1.5, 1.5, -2.5, 0.5]) {
        assert!((value - truth).abs() < 1e-9, "{values:?}");
    }
    // Held at its end, which the recording gives as the end of the range.
    let channel = &imported.stream.device.channels[0];
    assert!((channel.high - 1.5).abs() < 1e-9 && (channel.low + 2.5).abs() < 1e-9);
    assert_eq!(imported.summary.columns[0].clipped, 2);
    assert_eq!(imported.summary.left_out, 2);
    let plan =
        "[[columns]]\ncolumn = \"crank\"\n[[columns]]\ncolumn = \"supply\"\nholes = \"hold\"\n";
    let held = import(text.as_bytes(), plan).unwrap();
    let supply: Vec<(u64, f64)> = held.values(1);
    assert!(
        supply
            .iter()
            .any(|(i, v)| *i == 3 && (v - 13.6).abs() < 1e-9)
    );
}

#[test]
fn a_last_line_that_was_cut_is_left_out_and_told() {
    let text = "time_ms,crank,supply\n0,1.5,13.5\n1,1.6,13.5\n2,1.7,13.5\n3,1.";
    let imported = import(text.as_bytes(), "").unwrap();
    assert_eq!(imported.values(0).len(), 3);
    assert!(
        imported
            .summary
            .remarks
            .iter()
            .any(|r| r.contains("cut off"))
    );
}
