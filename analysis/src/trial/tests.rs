//! Trials fed with looks made here.

use super::*;
use crate::observation::{EngineView, PositionView};
use crate::units::{CrankDegrees, Percent, Rpm, Volts};

const RATE: Hertz = Hertz(10_000.0);
const IN: CamId = CamId::INTAKE;

fn sheet() -> EngineSheet {
    EngineSheet::from_toml(
        r#"
name = "made here"
cylinders = 4
firing_order = [1, 3, 4, 2]
idle = { low = 700, high = 950 }
supply = { low = 13, high = 15 }
crank = { wheel = "60-2", sensor = "hall", gap_to_tdc = 108, active_edge = "falling" }
[[cams]]
cam = "intake"
windows = [[40, 130], [400, 520]]
known_good = true
tolerance = 3
phaser = { rest = "retarded", authority = 50, hold = { low = 30, high = 70 }, rest_below = 20, slowest = 8, always_driven = true }
"#,
    )
    .expect("a sheet")
}

struct Bench {
    runner: Runner,
    proofs: Vec<(Role, ProofState)>,
    command: CommandView,
    rpm: f64,
    looks: u32,
}

impl Bench {
    fn new(kind: TrialKind) -> Self {
        let mut runner = Runner::new(&sheet(), RATE);
        let (cam, oil) = (IN, None);
        runner.start(TrialOrder { kind, cam, oil }, SampleTime(0.0));
        let roles = [Role::Crank, Role::Cam(IN), Role::Command(IN)];
        Self {
            runner,
            proofs: roles.map(|role| (role, ProofState::Proven)).to_vec(),
            command: CommandView::Duty(Percent(8.0)),
            rpm: 800.0,
            looks: 0,
        }
    }

    /// Looks with one cam edge and four periods each.
    fn run(&mut self, seconds: f64, phase: impl Fn(f64) -> f64) -> &mut Self {
        let mut t = 0.0;
        while t < seconds {
            t += 0.02;
            self.looks += 1;
            let now = f64::from(self.looks) * 0.02 * RATE.0;
            let wave = 0.04 * f64::from(self.looks % 5) - 0.08;
            let phase = CrankDegrees(phase(t) + wave);
            self.runner.phase(&PhaseSample {
                cam: 0,
                at: SampleTime(now - 7.0),
                edge: 0,
                phase,
                learnt: None,
            });
            if let CommandView::Duty(duty) = self.command {
                for k in 0..4 {
                    let end = SampleTime(now - 50.0 * f64::from(3 - k));
                    let (low, length) = (0.5 * duty.0, 50.0);
                    self.runner.period(IN, &Period { end, low, length });
                }
            }
            let seen = Observation {
                at: SampleTime(now),
                engine: EngineView::Cycle(Rpm(self.rpm)),
                command: self.command,
                position: PositionView::Phase(phase),
                supply: Some(Volts(14.0)),
            };
            self.runner.look(&[seen], &self.proofs);
        }
        self
    }

    fn running(&self) -> TrialStatus {
        self.runner.view().running.clone().expect("it runs")
    }

    fn result(&self) -> TrialResult {
        let view = self.runner.view();
        assert_eq!((view.results.len(), &view.running), (1, &None));
        view.results[0].clone()
    }
}

#[test]
fn an_unplugged_trial_waits_until_the_pin_shows_no_valve() {
    let mut bench = Bench::new(TrialKind::RestUnplugged);
    bench.runner.circuit(IN, Condition::Sound);
    let status = bench.run(3.0, |_| 0.0).running();
    assert!(status.hindrance.contains("still switches"), "{status:?}");
    assert!(status.instruct.contains("Unplugging stores a code"));
    // The command lead does not count here: a floating pin proves nothing.
    bench.command = CommandView::Doubtful;
    bench.proofs[2].1 = ProofState::Doubtful;
    bench.runner.circuit(IN, Condition::NoLoad);
    let result = bench.run(14.0, |_| 0.5).result();
    assert_eq!(result.outcome, Outcome::Sound, "{result:?}");
    assert_eq!(result.rests_on, [Role::Crank, Role::Cam(IN)]);
    assert!(!result.sentence.contains("word"), "{}", result.sentence);
    // A pin that stands shows neither.
    let mut bench = Bench::new(TrialKind::RestUnplugged);
    bench.command = CommandView::Stands(Volts(14.0), SampleTime(0.0));
    let result = bench.run(14.0, |_| 9.0).result();
    assert_eq!(result.outcome, Outcome::Unsound);
    assert!(
        result.sentence.contains("technician's word"),
        "{}",
        result.sentence
    );
}

#[test]
fn nothing_counts_through_an_unproven_lead_or_across_a_gap() {
    for role in 0..3 {
        let mut bench = Bench::new(TrialKind::RestAtIdle);
        bench.proofs[role].1 = ProofState::Doubtful;
        let status = bench.run(20.0, |_| 0.0).running();
        assert!(status.hindrance.contains("is not proven"), "{status:?}");
        assert!(status.progress <= 0.0);
    }
    let mut bench = Bench::new(TrialKind::RestAtIdle);
    let half = bench.run(1.8, |_| 0.0).running().progress;
    bench.runner.gap();
    let after = bench.run(0.1, |_| 0.0).running().progress;
    assert!(half > 0.2 && after <= 0.0, "{half} {after}");
}

#[test]
fn a_sweep_tells_a_cam_that_follows_from_one_that_does_not() {
    for (follows, due) in [(true, Outcome::Sound), (false, Outcome::Unsound)] {
        let mut bench = Bench::new(TrialKind::SlowSweep);
        let _ = bench.run(1.0, |_| 0.0);
        for step in 0..90 {
            let share = f64::from(step) / 90.0;
            bench.rpm = 800.0 + 2600.0 * share;
            let (duty, phase) = if follows {
                (48.0, 30.0 * share)
            } else {
                (95.0, 0.0)
            };
            bench.command = CommandView::Duty(Percent(duty));
            let _ = bench.run(0.1, |_| phase);
            if bench.runner.view().running.is_none() {
                break;
            }
        }
        let result = bench.result();
        assert_eq!(result.outcome, due, "{result:?}");
    }
}

#[test]
fn a_trial_that_another_takes_the_place_of_is_not_shown() {
    let mut bench = Bench::new(TrialKind::SnapRev);
    let (kind, cam, oil) = (TrialKind::RestAtIdle, IN, Some(80.0));
    let at = SampleTime(1.0);
    bench.runner.start(TrialOrder { kind, cam, oil }, at);
    assert_eq!(bench.result_of(0).outcome, Outcome::NotShown);
    assert!(bench.running().order.kind == kind);
    // A cam that is not on the sheet starts nothing.
    let cam = CamId::EXHAUST;
    bench.runner.start(TrialOrder { kind, cam, oil }, at);
    assert_eq!(bench.runner.view().running, None);
}

impl Bench {
    fn result_of(&self, index: usize) -> TrialResult {
        self.runner.view().results[index].clone()
    }
}

#[test]
fn a_step_found_in_the_command_is_timed_to_the_period() {
    let mut bench = Bench::new(TrialKind::StepAndReturn);
    for _ in 0..3 {
        bench.rpm = 800.0;
        bench.command = CommandView::Duty(Percent(8.0));
        let _ = bench.run(2.5, |t| (30.0 - 60.0 * (t - 0.06)).clamp(0.0, 30.0));
        bench.rpm = 2600.0;
        bench.command = CommandView::Duty(Percent(80.0));
        let _ = bench.run(0.8, |t| (60.0 * (t - 0.06)).clamp(0.0, 30.0));
        bench.command = CommandView::Duty(Percent(48.0));
        let _ = bench.run(2.0, |_| 30.0);
        if bench.runner.view().running.is_none() {
            break;
        }
    }
    bench.command = CommandView::Duty(Percent(8.0));
    bench.rpm = 800.0;
    let _ = bench.run(2.5, |t| (30.0 - 60.0 * (t - 0.06)).clamp(0.0, 30.0));
    let result = bench.result();
    assert_eq!(result.outcome, Outcome::Sound, "{result:#?}");
    for (name, due) in [
        ("rate 10 to 90 %, away from rest", 60.0),
        ("rate 10 to 90 %, back to rest", 60.0),
        ("dead time, away from rest", 60.0),
    ] {
        let found = result.measures.iter().find(|m| m.name == name);
        let found = found.expect("measured");
        let (value, half) = (
            found.value.expect("a figure"),
            found.uncertainty.expect("its range"),
        );
        assert!(
            (value - due).abs() <= half.max(1.0) && half < 25.0,
            "{found:?}"
        );
    }
}
