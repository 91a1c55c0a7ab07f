//! Step responses made by SciPy, through the extraction that the trials use; the values are made by
//! `tests/reference/step_response.py`.

use keyway_analysis::step_response::{Point, extract};
use keyway_analysis::units::{CrankDegrees, Seconds};
use serde::Deserialize;

#[derive(Deserialize)]
struct Table {
    cases: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    name: String,
    /// Seconds from the command, crank degrees.
    points: Vec<(f64, f64)>,
    from: f64,
    to: f64,
    /// Dead time in seconds.
    dead: f64,
    /// What follows from the closed form.
    due: Figures,
    /// What NumPy makes of the same points.
    sampled: Figures,
}

#[derive(Deserialize)]
struct Figures {
    from: Option<f64>,
    to: Option<f64>,
    ten: f64,
    rise: f64,
    overshoot: f64,
    settled: f64,
}

#[test]
fn the_responses_of_known_systems_are_measured_as_they_are() {
    let text = include_str!("../reference/step_response.json");
    let table: Table = serde_json::from_str(text).expect("step_response.json");
    assert_eq!(table.cases.len(), 6);
    for case in &table.cases {
        let points: Vec<Point> = (case.points.iter())
            .map(|&(at, phase)| Point {
                at: Seconds(at),
                phase: CrankDegrees(phase),
            })
            .collect();
        let got = extract(&points, Seconds(0.0), CrankDegrees(5.0)).expect("a step");
        let settled = got.settling_time.expect("it settles");
        eprintln!(
            "{:36} dead {:.4} ± {:.4} s (due {:.4}), 10-90 % {:.4} s (due {:.4}), overshoot {:.2} % (due {:.2}), settled {:.4} s (due {:.4})",
            case.name,
            got.dead_time.value.0,
            got.dead_time.within.0,
            case.dead,
            got.rise_time.value.0,
            case.due.rise,
            got.overshoot.0,
            case.due.overshoot,
            settled.value.0,
            case.due.settled,
        );
        // The same points by the same definitions: the same figures.
        let same = [
            (Some(got.from.0), case.sampled.from),
            (Some(got.to.0), case.sampled.to),
            (Some(got.to_ten.value.0), Some(case.sampled.ten)),
            (Some(got.rise_time.value.0), Some(case.sampled.rise)),
            (Some(got.overshoot.0), Some(case.sampled.overshoot)),
            (Some(settled.value.0), Some(case.sampled.settled)),
        ];
        for (figure, (got, due)) in same.into_iter().enumerate() {
            let off = got.zip(due).map(|(got, due)| (got - due).abs());
            assert!(off.expect("both") < 1e-6, "{}, figure {figure}", case.name);
        }
        // The continuous response: within what is said of the edges that lie between.
        let within = |timed: keyway_analysis::step_response::Timed, due: f64| {
            (timed.value.0 - due).abs() <= timed.within.0 + 1e-3
        };
        assert!(within(got.dead_time, case.dead), "{}: {got:?}", case.name);
        assert!(within(got.to_ten, case.due.ten), "{}: {got:?}", case.name);
        assert!(
            within(got.rise_time, case.due.rise),
            "{}: {got:?}",
            case.name
        );
        assert!(within(settled, case.due.settled), "{}: {got:?}", case.name);
        assert!(
            (got.overshoot.0 - case.due.overshoot).abs() < 1.0,
            "{}",
            case.name
        );
        assert!(
            (got.rise_time.value.0 / case.due.rise - 1.0).abs() < 0.02,
            "{}",
            case.name
        );
        let rate = 0.8 * (case.to - case.from) / case.due.rise;
        assert!(
            (got.rate.0 / rate - 1.0).abs() < 0.02,
            "{}: {rate}",
            case.name
        );
    }
}
