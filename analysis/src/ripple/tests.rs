//! Ripple against a rigid crank whose kinetic energy is given in closed form; the instants of its teeth are the
//! integral of dθ/ω.

use super::{CylinderView, NotJudged, Ripple, Share};
use crate::edge::Edge;
use crate::engine::{EdgeKind, EngineSheet};
use crate::rotation::Rotation;
use crate::units::{Hertz, SampleTime};
use std::f64::consts::TAU;

const RATE: Hertz = Hertz(1e6);
const WINDOWS: [[f64; 2]; 4] = [
    [40.0, 130.0],
    [220.0, 270.0],
    [400.0, 520.0],
    [580.0, 620.0],
];

fn sheet(order: &[u8]) -> EngineSheet {
    EngineSheet::from_toml(&format!(
        r#"
name = "closed form"
cylinders = {}
firing_order = {order:?}
idle = {{ low = 700, high = 950 }}
supply = {{ low = 13, high = 15 }}
crank = {{ wheel = "60-2", sensor = "hall", gap_to_tdc = 0, active_edge = "falling" }}
[[cams]]
cam = "intake"
windows = {WINDOWS:?}
known_good = true
tolerance = 3
"#,
        order.len()
    ))
    .expect("a sheet")
}

/// Square of the speed, rpm², at a crank angle counted on from the start.
type Energy<'a> = &'a dyn Fn(f64) -> f64;

/// What is seen of some cycles. `early` is by how many degrees the tooth at an angle comes early.
fn seen(
    order: &[u8],
    cycles: u32,
    energy: Energy<'_>,
    early: &dyn Fn(f64) -> f64,
    cam: bool,
) -> CylinderView {
    let sheet = sheet(order);
    let mut rotation = Rotation::new(&sheet, RATE).expect("a sheet");
    let mut ripple = Ripple::new(&sheet, RATE);
    const FINE: f64 = 0.05;
    let mut at = 1000.0;
    let mut angle = -400.0;
    // Marks to come: angle, whether of the cam, direction.
    let mut marks: Vec<(f64, bool, EdgeKind)> = Vec::new();
    for turn in -2..i32::try_from(2 * cycles).expect("few") + 3 {
        let turn = f64::from(turn) * 360.0;
        for k in 0..58 {
            let place = f64::from(k) * 6.0;
            marks.push((turn + place - early(place), false, EdgeKind::Falling));
        }
        if turn.rem_euclid(720.0) == 0.0 && cam {
            for [rising, falling] in WINDOWS {
                marks.push((turn + rising, true, EdgeKind::Rising));
                marks.push((turn + falling, true, EdgeKind::Falling));
            }
        }
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut marks = marks.into_iter().filter(|m| m.0 > -400.0).peekable();
    while let Some((mark, is_cam, kind)) = marks.next_if(|_| true) {
        while angle < mark {
            let step = FINE.min(mark - angle);
            // Midpoint rule; rpm is six degrees a second.
            at += step * RATE.0 / (6.0 * energy(angle + step / 2.0).sqrt());
            angle += step;
        }
        let edge = Edge {
            at: SampleTime(at),
            kind,
        };
        if is_cam {
            rotation.push_cam(0, edge);
        } else {
            rotation.push_crank(edge);
        }
        rotation.settle(SampleTime(at));
        ripple.observe(&rotation, None);
    }
    (*ripple.view()).clone()
}

/// Energy at idle: between TDC and TDC it rises by `rise` and falls back, and `work` of each place is left.
fn idle(mean: f64, rise: f64, work: &[f64]) -> impl Fn(f64) -> f64 {
    let work = work.to_vec();
    move |angle| {
        let n = work.len();
        let intervals = angle.rem_euclid(720.0) * n as f64 / 720.0;
        let place = (0..n).rev().find(|&p| intervals >= p as f64).unwrap_or(0);
        let x = intervals - place as f64;
        let before: f64 = work[..place].iter().sum();
        mean + before
            + work[place] * (x - (TAU * x).sin() / TAU)
            + rise * (1.0 - (TAU * x).cos()) / 2.0
    }
}

/// Energy while the starter turns: it falls by `fall` of each place to its TDC.
fn cranked(mean: f64, falls: &[f64]) -> impl Fn(f64) -> f64 {
    let falls = falls.to_vec();
    move |angle| {
        let n = falls.len();
        let intervals = angle.rem_euclid(720.0) * n as f64 / 720.0;
        let place = (0..=n)
            .find(|&p| (intervals - p as f64).abs() <= 0.5)
            .unwrap_or(0);
        let x = intervals - place as f64;
        mean - falls[place % n] * (1.0 + (TAU * x).cos()) / 2.0
    }
}

fn even(_: f64) -> f64 {
    0.0
}

fn check(shares: &[Share], numbers: &[Option<u8>], expected: &[f64], within: f64) {
    assert_eq!(shares.len(), expected.len());
    for ((share, number), due) in shares.iter().zip(numbers).zip(expected) {
        assert_eq!(share.cylinder, *number);
        assert!((share.value.0 - due).abs() < within, "{share:?}, due {due}");
    }
}

fn known(order: &[u8]) -> Vec<Option<u8>> {
    order.iter().copied().map(Some).collect()
}

#[test]
fn contributions_are_the_work_of_the_closed_form() {
    let mean = 800.0 * 800.0;
    for (order, lacks) in [
        (&[1, 3, 4, 2][..], &[0.0, 0.0, 0.6, 0.0][..]),
        (&[1, 3, 4, 2], &[0.0, 0.0, 0.0, 0.0]),
        (&[1, 2, 3], &[0.0, 0.5, 0.0]),
        (&[1, 5, 3, 6, 2, 4], &[0.0, 0.0, 0.0, 0.0, 0.8, 0.0]),
        (
            &[1, 8, 4, 3, 6, 5, 7, 2],
            &[0.7, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        ),
    ] {
        let rise = 0.08 * mean;
        let n = order.len() as f64;
        let total: f64 = lacks.iter().sum();
        let work: Vec<f64> = lacks.iter().map(|l| (total / n - l) * rise).collect();
        let balance = seen(order, 20, &idle(mean, rise, &work), &even, true)
            .running
            .expect("judged");
        let expected: Vec<f64> = lacks
            .iter()
            .map(|l| 100.0 * (1.0 + total / n - l))
            .collect();
        // The mean over 12 degrees flattens a rise of 90 degrees by 5 %, one of 180 by 1 %.
        check(&balance.cylinders, &known(order), &expected, 3.5);
        let weak: Vec<usize> = balance.weak.iter().map(|w| w.place).collect();
        let due: Vec<usize> = (0..lacks.len()).filter(|&p| lacks[p] > 0.0).collect();
        assert_eq!(weak, due, "{order:?}");
        assert!(balance.weak.iter().all(|w| w.is_beyond_the_wheel));
        if let Some(place) = due.first() {
            assert_eq!(balance.half_order_points_to, Some(*place), "{order:?}");
        }
        assert!((balance.speed.0 - 810.0).abs() < 20.0, "{}", balance.speed);
    }
}

#[test]
fn a_lack_that_the_wheel_could_feign_is_said_to_be_one() {
    let mean = 800.0 * 800.0;
    let runout = |place: f64| 0.8 * place.to_radians().sin();
    let view = seen(
        &[1, 3, 4, 2],
        20,
        &idle(mean, 0.08 * mean, &[0.0; 4]),
        &runout,
        true,
    );
    let balance = view.running.expect("judged");
    assert_eq!(balance.weak.len(), 2);
    assert!(balance.weak.iter().all(|w| !w.is_beyond_the_wheel));
    assert!(balance.harmonics[0].amplitude.0 < 0.05);
    assert!(balance.harmonics[1].amplitude.0 > 5.0);
}

#[test]
fn compression_is_the_fall_of_energy_to_each_tdc() {
    let mean = 200.0 * 200.0;
    for (order, parts) in [
        (&[1, 3, 4, 2][..], &[1.0, 0.6, 0.95, 0.98][..]),
        (&[1, 3, 4, 2], &[1.0, 1.0, 1.0, 1.0]),
        (&[1, 2, 3], &[0.9, 1.0, 0.5]),
        (&[1, 5, 3, 6, 2, 4], &[1.0, 0.9, 0.9, 0.9, 0.7, 0.95]),
    ] {
        let falls: Vec<f64> = parts.iter().map(|p| 0.5 * mean * p).collect();
        let view = seen(order, 7, &cranked(mean, &falls), &even, true);
        let compression = view.cranking.expect("judged");
        let expected: Vec<f64> = parts.iter().map(|p| 100.0 * p).collect();
        check(&compression.cylinders, &known(order), &expected, 2.5);
        let due: Vec<usize> = (0..parts.len()).filter(|&p| parts[p] < 0.72).collect();
        assert_eq!(compression.low, due);
        assert!(compression.cycles >= 4 && compression.by_current.is_none());
    }
}

#[test]
fn without_the_cycle_places_are_told_but_no_numbers() {
    let mean = 200.0 * 200.0;
    let falls = [1.0, 0.6, 1.0, 1.0].map(|p| 0.5 * mean * p);
    let view = seen(&[1, 3, 4, 2], 7, &cranked(mean, &falls), &even, false);
    let compression = view.cranking.clone().expect("judged");
    assert_eq!(compression.low.len(), 1);
    assert!(compression.cylinders.iter().all(|s| s.cylinder.is_none()));
    assert!(
        view.rows()
            .iter()
            .any(|r| r.contains("which cylinder comes first"))
    );
    let view = seen(&[1, 2, 3], 7, &cranked(mean, &falls[..3]), &even, false);
    assert_eq!(view.cranking, Err(NotJudged::CycleUnresolved));
}

#[test]
fn a_changing_speed_is_not_judged() {
    // 1 % more energy each 100 degrees.
    let faster = |angle: f64| 640_000.0 * (angle * 1e-4).exp();
    let view = seen(&[1, 3, 4, 2], 12, &faster, &even, true);
    assert!(view.running.is_err(), "{view:?}");
    assert_eq!(view.cranking, Err(NotJudged::NotSeen));
}
