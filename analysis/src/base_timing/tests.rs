//! Base timing of cams made here: where they rest is data, and so is what must be said of it.

use super::*;
use crate::phase::PhaseDetail;
use Conclusion::{AllOutAlike, Good, NotJudged, OneOut, OneOutByTeeth, SeveralOut};

const RATE: Hertz = Hertz(1000.0);
const IN: CamId = CamId::INTAKE;
const EX: CamId = CamId::EXHAUST;

/// The intake rests retarded, the exhaust advanced; 50 degrees of travel, sprockets of so many teeth.
fn sheet(teeth: u16, known_good: bool) -> EngineSheet {
    let cam = |cam: &str, rest: &str| {
        format!(
            r#"
[[cams]]
cam = "{cam}"
windows = [[40, 130], [220, 270], [400, 520], [580, 620]]
known_good = {known_good}
tolerance = 3
sprocket_teeth = {teeth}
phaser = {{ rest = "{rest}", authority = 50, hold = {{ low = 30, high = 70 }}, rest_below = 20, slowest = 8, always_driven = true }}
"#
        )
    };
    EngineSheet::from_toml(&format!(
        r#"
name = "made here"
cylinders = 4
firing_order = [1, 3, 4, 2]
idle = {{ low = 700, high = 950 }}
supply = {{ low = 13, high = 15 }}
crank = {{ wheel = "60-2", sensor = "hall", gap_to_tdc = 108, active_edge = "falling" }}
{}{}"#,
        cam("intake", "retarded"),
        cam("exhaust", "advanced")
    ))
    .expect("a sheet")
}

fn proven() -> Vec<(Role, ProofState)> {
    let state = ProofState::Proven;
    [
        Role::Crank,
        Role::Cam(IN),
        Role::Cam(EX),
        Role::Command(IN),
        Role::Command(EX),
    ]
    .map(|role| (role, state))
    .to_vec()
}

struct Bench {
    assessor: Assessor,
    proofs: Vec<(Role, ProofState)>,
    rpm: f64,
    step: u32,
}

impl Bench {
    fn new(sheet: &EngineSheet) -> Self {
        Self {
            assessor: Assessor::new(sheet, RATE),
            proofs: proven(),
            rpm: 800.0,
            step: 0,
        }
    }

    /// Ten looks a second; a little of noise that repeats.
    fn run(&mut self, seconds: f64, phases: [f64; 2], at_rest: bool) -> &mut Self {
        let detail = PhaseDetail::default();
        let mut left = seconds;
        while left > 0.0 {
            left -= 0.1;
            self.step += 1;
            let noise = 0.05 * f64::from(self.step % 5) - 0.1;
            let looks = phases.map(|phase| BaseLook {
                phase: Reading::Valid(CrankDegrees(phase + noise)),
                spread: Some(CrankDegrees(0.3)),
                detail: &detail,
                at_rest,
            });
            let at = SampleTime(f64::from(self.step) * 100.0);
            let speed = Some(Rpm(self.rpm));
            self.assessor.look(at, speed, &looks, &self.proofs);
        }
        self
    }

    fn seen(&self) -> BaseTiming {
        (*self.assessor.view()).clone()
    }
}

#[test]
fn what_cams_at_rest_say_together() {
    // Where they rest, whether they were driven away and came back, teeth, what is concluded, and words that must be said.
    let table: &[([f64; 2], bool, u16, Conclusion, &str)] = &[
        ([0.4, -0.5], false, 42, Good, "at its reference"),
        ([2.0, -2.5], false, 42, Good, "at its reference"),
        // Beyond the rest stop no phaser goes: known at the first look. One tooth of 36 to 50 (720/N).
        (
            [-20.0, 0.0],
            false,
            36,
            OneOutByTeeth(IN, -1),
            "beyond its rest stop",
        ),
        ([-18.947, 0.3], false, 38, OneOutByTeeth(IN, -1), "20"),
        ([-17.143, 0.0], false, 42, OneOutByTeeth(IN, -1), "17.1"),
        ([0.0, 16.364], false, 44, OneOutByTeeth(EX, 1), "16.4"),
        ([0.0, 15.652], false, 46, OneOutByTeeth(EX, 1), "early"),
        ([-15.0, 0.0], false, 48, OneOutByTeeth(IN, -1), "15.0"),
        ([-28.8, 0.0], false, 50, OneOutByTeeth(IN, -2), "2.0 teeth"),
        // Towards the travel a phaser may stand there: only what comes back is told in teeth.
        ([17.2, 0.0], false, 42, OneOut(IN), "may not be at rest"),
        (
            [17.2, 0.0],
            true,
            42,
            OneOutByTeeth(IN, 1),
            "comes back to the same place",
        ),
        (
            [0.0, -34.3],
            true,
            42,
            OneOutByTeeth(EX, -2),
            "comes back to the same place",
        ),
        ([11.0, 0.0], false, 42, OneOut(IN), "may not be at rest"),
        ([11.0, 0.0], true, 42, OneOut(IN), "tone wheel or sensor"),
        (
            [49.0, 0.0],
            false,
            42,
            OneOut(IN),
            "other end of its phaser's travel",
        ),
        (
            [-9.0, 0.0],
            false,
            42,
            OneOut(IN),
            "no whole number of teeth",
        ),
        ([-17.2, -17.0], false, 42, AllOutAlike, "crank sprocket"),
        ([34.0, 34.5], true, 42, AllOutAlike, "crank sprocket"),
        ([-5.0, -5.6], false, 42, AllOutAlike, "stretched"),
        ([11.0, 10.5], false, 42, AllOutAlike, "no whole number"),
        (
            [-17.2, 17.2],
            false,
            42,
            SeveralOut,
            "each by another amount",
        ),
    ];
    for &(phases, returned, teeth, due, words) in table {
        let mut bench = Bench::new(&sheet(teeth, true));
        let _ = bench.run(5.0, phases, true);
        if returned {
            let driven = [phases[0] + 25.0, phases[1] - 20.0];
            let _ = bench.run(2.0, driven, false).run(5.0, phases, true);
        }
        let seen = bench.seen();
        assert_eq!(seen.conclusion, due, "{phases:?}: {}", seen.sentence);
        if words != "20" {
            assert!(seen.sentence.contains(words), "{}", seen.sentence);
        }
        for (cam, due) in seen.cams.iter().zip(phases) {
            let offset = cam.offset.valid().expect("judged").0;
            let within = cam.uncertainty.expect("judged").0;
            assert!(
                (offset - due).abs() < 0.2 && (2.8..3.5).contains(&within),
                "{cam:?}"
            );
            assert_eq!(cam.looks, if returned { 2 } else { 1 });
        }
        assert_eq!(seen.next.is_none(), due == Good);
    }
}

#[test]
fn a_cam_is_judged_only_at_rest_through_proven_leads_and_against_a_reference() {
    let out = [-17.2, 0.0];
    let mut bench = Bench::new(&sheet(42, true));
    assert_eq!(bench.run(5.0, out, false).seen().conclusion, NotJudged);
    assert_eq!(bench.run(1.5, out, true).seen().conclusion, NotJudged);
    // A command that is not proven does not say that the cam rests.
    let mut bench = Bench::new(&sheet(42, true));
    bench.proofs[3].1 = ProofState::Doubtful;
    let seen = bench.run(5.0, out, true).seen();
    assert_eq!(seen.conclusion, NotJudged);
    assert!(
        seen.sentence.contains("'command intake' is not proven"),
        "{}",
        seen.sentence
    );
    assert!(seen.cams[0].offset.valid().is_none() && seen.cams[1].offset.valid().is_some());
    assert!(!seen.rests_on.contains(&Role::Command(IN)));
    let mut bench = Bench::new(&sheet(42, false));
    let seen = bench.run(5.0, out, true).seen();
    assert_eq!(seen.conclusion, NotJudged);
    assert_eq!(seen.cams[0].offset, Reading::Missing(Why::NoReference));
    assert!(
        seen.next
            .expect("how to get one")
            .contains("good engine of the same type")
    );
}

#[test]
fn at_the_starter_the_range_is_wider_and_running_takes_its_place() {
    let mut bench = Bench::new(&sheet(42, true));
    bench.rpm = 220.0;
    let seen = bench.run(5.0, [-17.2, 0.0], true).seen();
    let wide = seen.cams[0].uncertainty.expect("judged").0;
    assert!(
        wide > 4.0 && seen.sentence.contains("at the starter"),
        "{seen:?}"
    );
    assert_eq!(seen.conclusion, OneOutByTeeth(IN, -1));
    bench.rpm = 800.0;
    let seen = bench.run(5.0, [-17.2, 0.0], true).seen();
    assert!(seen.cams[0].uncertainty.expect("judged").0 < 3.5);
    assert_eq!(seen.cams[0].looks, 1);
}

#[test]
fn a_cam_that_rests_elsewhere_each_time_is_no_timing() {
    let mut bench = Bench::new(&sheet(42, true));
    for place in [0.0, 9.0, 4.0, 13.0] {
        let _ = bench
            .run(5.0, [place, 0.0], true)
            .run(2.0, [30.0, -20.0], false);
    }
    let seen = bench.seen();
    assert_eq!(seen.conclusion, OneOut(IN));
    assert!(
        seen.sentence.contains("does not come and go"),
        "{}",
        seen.sentence
    );
}
