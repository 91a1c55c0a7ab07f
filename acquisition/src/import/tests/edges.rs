//! Lists of edges.

use super::*;

/// Instants at which an input crosses the middle level, in samples, by lines between samples.
fn crossings(imported: &Imported, input: usize) -> Vec<f64> {
    let channel = &imported.stream.device.channels[input];
    let mid = (channel.low + channel.high) / 2.0;
    imported
        .values(input)
        .windows(2)
        .filter(|w| (w[0].1 < mid) != (w[1].1 < mid))
        .map(|w| w[0].0 as f64 + (mid - w[0].1) / (w[1].1 - w[0].1))
        .collect()
}

#[test]
fn instants_come_back_to_a_thousandth_of_a_sample() {
    // Teeth whose period grows and shrinks, in nanoseconds.
    let mut at = -5_000_000i64;
    let mut text = String::from("Time [ns],crank\n");
    let mut instants = Vec::new();
    for i in 0..4000i64 {
        text += &format!("{at},{}\n", i % 2);
        instants.push(at);
        at += 83_333 + (i * 7919) % 41_000;
    }
    let imported = import(text.as_bytes(), "").unwrap();
    let rate = imported.stream.rate_hz;
    let found = crossings(&imported, 0);
    // The first row is the level at which it begins.
    assert_eq!(found.len(), instants.len() - 1);
    for (found, meant) in found.iter().zip(&instants[1..]) {
        let meant = (*meant - instants[0]) as f64 * 1e-9 * rate + 4.0;
        assert!((found - meant).abs() < 1e-3, "{found} {meant}");
    }
    assert_eq!(imported.summary.columns[0].edges, Some(3999));
    assert!(rate >= 190_000.0, "{rate}");
}

#[test]
fn several_columns_change_at_rows_of_their_own() {
    let text = "time_us;crank;cam in;command intake\n0;0;1;1\n100,5;1;;\n200;0;0;1\n300,25;1;0;0\n400;0;0;0\n500;1;1;0\n620;0;1;1\n";
    let imported = import(text.as_bytes(), "").unwrap();
    assert_eq!(imported.roles(), ["crank", "cam intake", "command intake"]);
    let rate = imported.stream.rate_hz;
    for (input, edges) in [
        (0, vec![100.5, 200.0, 300.25, 400.0, 500.0, 620.0]),
        (1, vec![200.0, 500.0]),
        (2, vec![300.25, 620.0]),
    ] {
        let found = crossings(&imported, input);
        assert_eq!(found.len(), edges.len(), "{input}: {found:?}");
        for (found, us) in found.iter().zip(edges) {
            let meant = us * 1e-6 * rate + 4.0;
            assert!((found - meant).abs() < 1e-3, "{input}: {found} {meant}");
        }
    }
    // A command switches a supply, a sensor does not.
    assert!(imported.stream.device.channels[2].high > 12.0);
    assert!(imported.stream.device.channels[0].high < 6.0);
}

#[test]
fn levels_sampled_evenly_stay_samples() {
    let mut text = String::from("time_ms,crank\n");
    for i in 0..400 {
        text += &format!("{:.2},{}\n", f64::from(i) * 0.01, (i / 7) % 2);
    }
    let imported = import(text.as_bytes(), "").unwrap();
    assert_eq!(imported.values(0).len(), 400);
    assert!((imported.values(0)[7].1 - 5.0).abs() < 1e-9);
    assert_eq!(imported.summary.columns[0].edges, None);
}

#[test]
fn spikes_are_told_and_a_signal_of_spikes_is_refused() {
    let (mut text, mut worse) = (
        String::from("time_us,crank\n"),
        String::from("time_us,crank\n"),
    );
    let mut at = 0.0;
    for i in 0..1000 {
        text += &format!("{at:.1},{}\n", i % 2);
        worse += &format!("{:.3},{}\n", at / 50.0, i % 2);
        at += if i % 400 == 3 { 0.5 } else { 100.0 };
    }
    let imported = import(text.as_bytes(), "").unwrap();
    let told = imported.summary.remarks.iter();
    assert!(
        told.clone()
            .any(|r| r.contains("3 of 999 edges of crank are closer")),
        "{:?}",
        imported.summary.remarks
    );
    let error = import(worse.as_bytes(), "").err().unwrap().to_string();
    assert!(error.contains("closer than 3.0 µs"), "{error}");
    assert!(error.contains("line "), "{error}");
}
