//! Any edges at any times, in any order: the rotation never panics, and what it says is a number that can be.

use keyway_analysis::edge::Edge;
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::reading::Reading;
use keyway_analysis::rotation::Rotation;
use keyway_analysis::units::{CrankAngle, Hertz, SampleTime, Seconds};
use proptest::collection::vec;
use proptest::prelude::*;

const RATE: f64 = 100_000.0;

/// One of each kind of wheel: a gap, several, none, a tooth more, a list, a coded one, one on the cam.
const WHEELS: [&str; 8] = [
    "60-2",
    "36-1",
    "36-2-2-2",
    "24",
    "4+1",
    "at 0 70 180 250",
    "24 narrow/wide",
    "cam 12+1",
];

fn rotation(wheel: &str) -> Rotation {
    let mut sheet =
        EngineSheet::from_toml(include_str!("../../app/assets/sheets/small-hatch.toml"))
            .expect("the sheet in the assets");
    sheet.crank.wheel = wheel.to_owned();
    sheet.crank.gap_to_tdc.0 = 3.0;
    Rotation::new(&sheet, Hertz(RATE)).expect("a rotation")
}

#[derive(Debug, Clone)]
enum Step {
    Crank(f64, bool),
    Cam(usize, f64, bool),
    Settle(f64),
    Gap(f64),
}

/// Samples to the step before: mostly forwards by about a tooth, now and then anything.
fn stride() -> impl Strategy<Value = f64> {
    prop_oneof![
        20 => 10.0..600.0_f64,
        4 => Just(0.0),
        2 => -1000.0..0.0_f64,
        2 => 0.0..1e5_f64,
        1 => prop_oneof![Just(1e300), Just(-1e300), Just(f64::MIN_POSITIVE)],
    ]
}

fn step() -> impl Strategy<Value = (f64, u8, usize, bool)> {
    (stride(), 0..24_u8, 0..4_usize, any::<bool>())
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    vec(step(), 1..600).prop_map(|list| {
        let mut at = 0.0_f64;
        list.into_iter()
            .map(|(stride, what, cam, up)| {
                let here = at + stride;
                // Beyond all samples a stream can have, only once: after it time goes on from where it was.
                if here.abs() < 1e12 {
                    at = here;
                }
                match what {
                    0 => Step::Gap(here),
                    1..=3 => Step::Settle(here),
                    4..=7 => Step::Cam(cam, here, up),
                    _ => Step::Crank(here, up),
                }
            })
            .collect()
    })
}

fn edge(at: f64, up: bool) -> Edge {
    Edge {
        at: SampleTime(at),
        kind: if up {
            EdgeKind::Rising
        } else {
            EdgeKind::Falling
        },
    }
}

fn could_be(angle: CrankAngle) -> bool {
    (0.0..720.0).contains(&angle.degrees())
}

fn check(rotation: &mut Rotation, at: f64) -> Result<(), TestCaseError> {
    for t in [at, at - 37.5, at - 1e4, at + 50.0, 0.0, -1.0] {
        if let Some(angle) = rotation.angle_at(SampleTime(t)) {
            prop_assert!(could_be(angle), "{angle:?} at {t}");
        }
    }
    for speed in [
        rotation.speed(Seconds(0.2)),
        rotation.tooth_speed(),
        rotation.revolution_speed(),
        rotation.cycle_speed(),
    ] {
        if let Some(rpm) = speed.any() {
            prop_assert!(rpm.0.is_finite() && rpm.0 > 0.0, "{speed:?}");
        }
    }
    for cam in 0..3 {
        if let Reading::Valid(phase) = rotation.phase(cam) {
            prop_assert!(phase.0.abs() <= 360.0, "{phase:?}");
        }
        prop_assert!(rotation.spread(cam).is_none_or(|s| s.0 >= 0.0));
        prop_assert!(rotation.windows(cam).iter().flatten().all(|&a| could_be(a)));
    }
    for sample in rotation.drain_phase_samples() {
        prop_assert!(sample.phase.0.abs() <= 360.0, "{sample:?}");
    }
    for turn in rotation.drain_revolutions() {
        prop_assert!(turn.end.0 > turn.start.0 && turn.speed.0 > 0.0, "{turn:?}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    #[test]
    fn nothing_panics_and_every_number_can_be(wheel in 0..WHEELS.len(), steps in steps()) {
        let mut rotation = rotation(WHEELS[wheel]);
        for step in steps {
            let at = match step {
                Step::Crank(at, up) => { rotation.push_crank(edge(at, up)); at }
                Step::Cam(cam, at, up) => { rotation.push_cam(cam, edge(at, up)); at }
                Step::Settle(at) => { rotation.settle(SampleTime(at)); at }
                Step::Gap(at) => { rotation.gap(SampleTime(at)); at }
            };
            check(&mut rotation, at)?;
        }
    }

    /// An engine that turns forwards never has an angle that goes back, whatever its speed does from tooth to
    /// tooth (up to 5 % each, far more than any torque does to a crank) and whichever teeth are missed or doubled.
    #[test]
    fn an_angle_that_is_given_never_goes_back(
        changes in vec(-0.05..0.05_f64, 58 * 8),
        faults in vec((0..58 * 8_usize, any::<bool>()), 0..3),
    ) {
        let mut rotation = rotation("60-2");
        let (mut at, mut length) = (1000.0, 120.0_f64);
        let mut last: Option<(f64, CrankAngle)> = None;
        let mut given = 0;
        for (n, change) in changes.iter().enumerate() {
            length = (length * (1.0 + change)).clamp(40.0, 600.0);
            at += if n % 58 == 0 { 3.0 * length } else { length };
            let fault = faults.iter().find(|f| f.0 == n).map(|f| f.1);
            if fault != Some(false) {
                rotation.push_crank(edge(at, false));
            }
            if fault == Some(true) {
                rotation.push_crank(edge(at + 0.3 * length, false));
            }
            cams(&mut rotation, n, at, length);
            rotation.settle(SampleTime(at));
            // From the last tooth but three to the last: what was said there must still be so.
            for k in 0..12 {
                let t = at - f64::from(12 - k) * 0.25 * length;
                if let Some(angle) = rotation.angle_at(SampleTime(t)) {
                    if let Some((earlier, before)) = last.filter(|l| l.0 < t) {
                        let moved = angle.since(before).0;
                        prop_assert!(moved >= -1e-6, "{moved} degrees from {earlier} to {t}");
                    }
                    last = Some((t, angle));
                    given += 1;
                }
            }
            last = None;
        }
        // Two turns to find the gap and two of the cam to tell the cycle leave the last two of eight.
        prop_assert!(!faults.is_empty() || given > 12 * 58, "{given} angles");
    }
}

/// The intake cam's edges of the small hatch while the engine turns, near enough to tell the cycle.
fn cams(rotation: &mut Rotation, tooth: usize, at: f64, length: f64) {
    let turn = if (tooth / 58).is_multiple_of(2) {
        0.0
    } else {
        360.0
    };
    let angle = turn - 3.0 + 6.0 * (tooth % 58) as f64;
    let gap = if (tooth + 1).is_multiple_of(58) {
        18.0
    } else {
        6.0
    };
    for (cam, windows) in [
        [[30.0, 145.0], [260.0, 320.0], [425.0, 640.0]],
        [[80.0, 200.0], [300.0, 420.0], [565.0, 615.0]],
    ]
    .iter()
    .enumerate()
    {
        for (place, up) in windows.iter().flat_map(|w| [(w[0], true), (w[1], false)]) {
            let after: f64 = (place - angle + 720.0_f64) % 720.0;
            if after < gap {
                rotation.push_cam(cam, edge(at + after / 6.0 * length, up));
            }
        }
    }
}
