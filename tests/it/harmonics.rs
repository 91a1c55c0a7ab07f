//! Speed ripple of a rigid crank whose motion SciPy has integrated, its harmonics by NumPy; the values are
//! made by `tests/reference/harmonics.py`.

use keyway_analysis::edge::Edge;
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::ripple::{CylinderView, Ripple, Share, harmonics};
use keyway_analysis::rotation::Rotation;
use keyway_analysis::units::{Hertz, SampleTime};
use serde::Deserialize;

/// The times are exact, so any rate serves.
const RATE: Hertz = Hertz(1e6);

#[derive(Deserialize)]
struct Table {
    windows: Vec<[f64; 2]>,
    cases: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    name: String,
    order: Vec<u8>,
    cranking: bool,
    /// Seconds of each tooth of the 60-2 wheel, the first of them after the gap 0° after TDC.
    teeth: Vec<f64>,
    /// Seconds of each cam edge, and whether it rises.
    cam: Vec<(f64, bool)>,
    /// Percent in firing order.
    shares: Vec<f64>,
    /// Order, rpm, crank degrees of the peak.
    harmonics: Vec<(f64, f64, f64)>,
}

fn seen(case: &Case, windows: &[[f64; 2]]) -> CylinderView {
    let sheet = EngineSheet::from_toml(&format!(
        r#"
name = "rigid crank"
cylinders = {}
firing_order = {:?}
idle = {{ low = 650, high = 950 }}
supply = {{ low = 13, high = 15 }}
crank = {{ wheel = "60-2", sensor = "hall", gap_to_tdc = 0, active_edge = "falling" }}
[[cams]]
cam = "intake"
windows = {windows:?}
known_good = true
tolerance = 3
"#,
        case.order.len(),
        case.order,
    ))
    .expect("a sheet");
    let mut rotation = Rotation::new(&sheet, RATE).expect("a sheet");
    let mut ripple = Ripple::new(&sheet, RATE);
    let mut cam = case.cam.iter().peekable();
    for &tooth in &case.teeth {
        while let Some(&(at, rises)) = cam.next_if(|c| c.0 < tooth) {
            let kind = if rises {
                EdgeKind::Rising
            } else {
                EdgeKind::Falling
            };
            let at = SampleTime(at * RATE.0);
            rotation.push_cam(0, Edge { at, kind });
        }
        let at = SampleTime(tooth * RATE.0);
        let kind = EdgeKind::Falling;
        rotation.push_crank(Edge { at, kind });
        rotation.settle(at);
        ripple.observe(&rotation, None);
    }
    (*ripple.view()).clone()
}

fn check(case: &Case, shares: &[Share], within: f64) {
    assert_eq!(shares.len(), case.shares.len());
    for ((share, due), number) in shares.iter().zip(&case.shares).zip(&case.order) {
        eprintln!(
            "{}: {} {:.2} %, due {due:.2} %",
            case.name,
            share.name(),
            share.value.0
        );
        assert_eq!(share.cylinder, Some(*number));
        assert!((share.value.0 - due).abs() < within, "{share:?}, due {due}");
    }
}

#[test]
fn shares_and_harmonics_are_those_of_the_integrated_motion() {
    let text = include_str!("../reference/harmonics.json");
    let table: Table = serde_json::from_str(text).expect("harmonics.json");
    assert_eq!(table.cases.len(), 3);
    for case in &table.cases {
        let view = seen(case, &table.windows);
        if case.cranking {
            let compression = view.cranking.expect("judged");
            check(case, &compression.cylinders, 2.0);
            assert_eq!(compression.low, [2]);
            continue;
        }
        let balance = view.running.expect("judged");
        check(case, &balance.cylinders, 2.0);
        assert_eq!(balance.weak.len(), 1);
        assert_eq!(balance.half_order_points_to, Some(balance.weak[0].place));
        assert_eq!(balance.harmonics.len(), case.harmonics.len());
        for (found, &(order, amplitude, peak)) in balance.harmonics.iter().zip(&case.harmonics) {
            // The gap of 18 degrees is bridged by a cubic, which the higher orders feel.
            let error = (found.amplitude.0 - amplitude).abs();
            assert!(
                error < 0.02 + 0.01 * amplitude,
                "{found:?}, due {amplitude} at {peak}"
            );
            let period = 360.0 / order;
            let off = (found.peak.0 - peak).rem_euclid(period);
            let off = off.min(period - off) * order;
            assert!(off < 2.0 + 2.0 / amplitude, "{found:?}, due at {peak}");
        }
    }
}

/// A series of one order alone, from the definition.
#[test]
fn a_pure_order_is_found_as_it_is() {
    let wave = |k: i32| 800.0 + 5.0 * (1.5 * (f64::from(k) * 6.0 - 100.0)).to_radians().cos();
    let cycle: Vec<f64> = (0..120).map(wave).collect();
    let found = harmonics(&[cycle.clone(), cycle], 6);
    for harmonic in &found {
        let due = if (harmonic.order - 1.5).abs() < 0.1 {
            5.0
        } else {
            0.0
        };
        assert!((harmonic.amplitude.0 - due).abs() < 1e-9, "{harmonic:?}");
        assert!(harmonic.error.0 < 1e-9);
    }
    assert!((found[2].peak.0 - 100.0).abs() < 1e-9);
}
