//! The judge against a phaser made here: rate proportional to the duty's distance from a hold duty
//! the judge does not know, a dead band, a delay, stops; a PI controller; a phase that is a rolling mean.

mod drawn;

use super::*;
use crate::engine::EngineSheet;
use crate::units::{Percent, Volts};

const SHEET: &str = include_str!("../../../app/assets/sheets/light-van.toml");
const RATE: f64 = 200_000.0;
/// Seconds between looks.
const STEP: f64 = 0.02;

/// What is wrong with the phaser.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    None,
    Sticks,
    Crawls,
    Reversed,
}

#[derive(Debug, Clone)]
struct Bench {
    judge: Judge,
    sign: f64,
    t: f64,
    x: f64,
    /// Zero error of the timing, along the drive.
    base: f64,
    hold: f64,
    gain: f64,
    band: f64,
    quickest: f64,
    delay: usize,
    fault: Fault,
    integral: f64,
    rpm: f64,
    supply: f64,
    duties: VecDeque<f64>,
    phases: VecDeque<f64>,
    random: u64,
    changes: Vec<(f64, AgreementState)>,
}

impl Bench {
    fn new(cam: usize) -> Self {
        let sheet = EngineSheet::from_toml(SHEET).expect("sheet");
        let rest = sheet.cams[cam].phaser.as_ref().expect("phaser").rest;
        Self {
            judge: Judge::new(&sheet.cams[cam], sheet.idle.low, Hertz(RATE)),
            sign: rest.drive_sign(),
            t: 0.0,
            x: 0.0,
            base: 0.0,
            hold: 50.0,
            gain: 2.5,
            band: 2.0,
            quickest: 100.0,
            delay: 2,
            fault: Fault::None,
            integral: 0.0,
            rpm: 2000.0,
            supply: 13.7,
            duties: VecDeque::from(vec![10.0; 40]),
            phases: VecDeque::from(vec![0.0; 4]),
            random: 1,
            changes: Vec::new(),
        }
    }

    /// Uniform in [0, 1): the multiplier of Knuth's MMIX generator.
    fn random(&mut self) -> f64 {
        self.random = self
            .random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.random >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// One look with the command at `duty`.
    fn drive(&mut self, duty: f64) {
        self.t += STEP;
        self.duties.push_back(duty);
        let _ = self.duties.pop_front();
        let felt = self.duties[self.duties.len() - 1 - self.delay];
        let excess = felt * self.supply / 13.5 - self.hold;
        let push = (excess.abs() - self.band).max(0.0) * excess.signum();
        let rate = (self.gain * push).clamp(-self.quickest, self.quickest)
            * match self.fault {
                Fault::None => 1.0,
                Fault::Sticks => 0.0,
                Fault::Crawls => 0.05,
                Fault::Reversed => -1.0,
            };
        self.x = (self.x + rate * STEP).clamp(0.0, if self.sign > 0.0 { 50.0 } else { 45.0 });
        let noise = 0.4 * (self.random() - 0.5);
        self.phases.push_back(self.x + self.base + noise);
        let _ = self.phases.pop_front();
        let phase = self.phases.iter().sum::<f64>() / self.phases.len() as f64;
        let n = self.duties.len();
        let mean = self.duties.range(n - 5..).sum::<f64>() / 5.0;
        self.look(
            CommandView::Duty(Percent(mean)),
            PositionView::Phase(CrankDegrees(self.sign * phase)),
        );
    }

    fn look(&mut self, command: CommandView, position: PositionView) {
        let seen = Observation {
            at: SampleTime(self.t * RATE),
            engine: EngineView::Cycle(Rpm(self.rpm)),
            command,
            position,
            supply: Some(Volts(self.supply)),
        };
        if let Some(change) = self.judge.observe(&seen) {
            self.changes.push((self.t, change.state));
        }
    }

    /// Lets the controller hold `target` for `seconds`; below 0.5° it commands rest.
    fn follow(&mut self, target: f64, seconds: f64, kp: f64) {
        for _ in 0..steps(seconds) {
            let measured = self.phases.back().copied().unwrap_or(0.0);
            let e = target - measured;
            let duty = if target < 0.5 {
                self.integral = 0.0;
                10.0
            } else {
                self.integral = (self.integral + 4.0 * e * STEP).clamp(-35.0, 35.0);
                (50.0 + kp * e + self.integral).clamp(5.0, 95.0)
            };
            self.drive(duty);
        }
    }

    fn hold(&mut self, duty: f64, seconds: f64) {
        for _ in 0..steps(seconds) {
            self.drive(duty);
        }
    }

    fn disagreements(&self) -> Vec<(f64, AgreementState)> {
        let mut all = self.changes.clone();
        all.retain(|(_, s)| s.is_disagreement());
        all
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a few seconds make a few hundred steps"
)]
fn steps(seconds: f64) -> usize {
    (seconds / STEP).round() as usize
}

/// Runs in, then checks that `act` ends in `state`, decided within 1.5 s after `act` began unless `within` says otherwise.
fn check(
    what: &str,
    cam: usize,
    within: f64,
    state: AgreementState,
    prepare: impl Fn(&mut Bench),
    act: impl Fn(&mut Bench),
) {
    let mut b = Bench::new(cam);
    b.hold(10.0, 3.0);
    prepare(&mut b);
    assert_eq!(b.disagreements(), [], "{what}: before");
    let began = b.t;
    act(&mut b);
    let first = b.disagreements().first().copied();
    let Some((at, got)) = first else {
        panic!("{what}: no disagreement; {:?}", b.judge.agreement());
    };
    assert_eq!(got, state, "{what}: {:?}", b.judge.agreement());
    assert!(at - began <= within, "{what}: after {:.2} s", at - began);
}

#[test]
fn a_gross_disagreement_is_flagged_within_a_second_and_a_half() {
    for cam in [0, 1] {
        check(
            "stuck at rest",
            cam,
            1.5,
            AgreementState::NotFollowing,
            |b| b.fault = Fault::Sticks,
            |b| b.hold(80.0, 2.0),
        );
        check(
            "stuck half-way, driven on",
            cam,
            1.5,
            AgreementState::NotFollowing,
            |b| b.follow(20.0, 3.0, 3.0),
            |b| {
                b.fault = Fault::Sticks;
                b.hold(90.0, 2.0);
            },
        );
        check(
            "stuck half-way, commanded to rest",
            cam,
            1.5,
            AgreementState::OffRest,
            |b| b.follow(20.0, 3.0, 3.0),
            |b| {
                b.fault = Fault::Sticks;
                b.hold(10.0, 2.0);
            },
        );
        check(
            "crawls",
            cam,
            1.5,
            AgreementState::NotFollowing,
            |b| (b.fault, b.gain) = (Fault::Crawls, 1.0),
            |b| b.hold(80.0, 2.0),
        );
        check(
            "moves against the drive",
            cam,
            1.5,
            AgreementState::AgainstCommand,
            |b| b.follow(25.0, 3.0, 3.0),
            |b| {
                b.fault = Fault::Reversed;
                b.gain = 0.5;
                b.hold(85.0, 2.0);
            },
        );
        check(
            "a tooth late at rest",
            cam,
            3.5,
            AgreementState::OffRest,
            |_| {},
            |b| {
                b.base = -17.1;
                b.hold(10.0, 3.0);
            },
        );
    }
}

#[test]
fn too_slow_is_lagging_and_says_so() {
    let mut b = Bench::new(0);
    b.gain = 0.1;
    b.hold(10.0, 3.0);
    b.hold(95.0, 5.0);
    assert_eq!(
        b.disagreements().first().map(|(_, s)| *s),
        Some(AgreementState::Lagging)
    );
}

#[test]
fn the_onset_is_when_the_drive_began_and_the_sentence_counts_from_there() {
    let mut b = Bench::new(1);
    b.fault = Fault::Sticks;
    b.hold(10.0, 3.0);
    let began = b.t;
    b.hold(78.0, 2.4);
    let a = b.judge.agreement();
    assert!((a.since.0 / RATE - began).abs() < 0.15, "{a:?}");
    assert!(
        a.sentence.starts_with("78 % commanded for 2.3 s, moved ")
            || a.sentence.starts_with("78 % commanded for 2.4 s, moved "),
        "{}",
        a.sentence
    );
    let due = b.judge.due().expect("a drive says what is due");
    assert!(due.high.0 < -3.0, "the exhaust is due later: {due:?}");
}

#[test]
fn a_phaser_that_did_not_follow_is_not_acquitted_by_silence_but_by_motion() {
    let mut b = Bench::new(0);
    b.follow(20.0, 6.0, 3.0);
    b.fault = Fault::Sticks;
    b.hold(90.0, 2.0);
    b.hold(50.0, 3.0);
    assert_eq!(b.judge.agreement().state, AgreementState::NotFollowing);
    b.fault = Fault::None;
    b.hold(80.0, 0.6);
    b.hold(50.0, 0.6);
    b.hold(20.5, 0.8);
    assert_eq!(b.judge.agreement().state, AgreementState::Following);
}

#[test]
fn hunting_at_steady_speed() {
    let mut b = Bench::new(0);
    b.follow(20.0, 6.0, 3.0);
    assert_eq!(b.disagreements(), []);
    for i in 0..300 {
        let swing = if (i / 25) % 2 == 0 { 60.0 } else { 39.0 };
        b.drive(swing);
    }
    assert_eq!(
        b.disagreements().first().map(|(_, s)| *s),
        Some(AgreementState::Hunting)
    );
}

#[test]
fn no_command_and_no_position() {
    let mut b = Bench::new(0);
    b.hold(10.0, 3.0);
    let edge = SampleTime(b.t * RATE);
    for _ in 0..100 {
        b.t += STEP;
        b.look(
            CommandView::Stands(Volts(13.7), edge),
            PositionView::Phase(CrankDegrees(0.0)),
        );
    }
    assert_eq!(b.disagreements().len(), 1);
    assert_eq!(b.judge.agreement().state, AgreementState::NoCommand);
    b.hold(10.0, 3.0);
    assert_eq!(b.judge.agreement().state, AgreementState::Following);
    let edge = SampleTime(b.t * RATE);
    for _ in 0..50 {
        b.t += STEP;
        b.look(
            CommandView::Duty(Percent(10.0)),
            PositionView::NoEdges(edge, Some(Volts(5.0))),
        );
    }
    assert_eq!(b.judge.agreement().state, AgreementState::NoPosition);
    assert!(b.judge.agreement().sentence.contains("5.0 V"));
}

#[test]
fn a_silent_lead_blames_nothing() {
    let mut b = Bench::new(0);
    b.hold(10.0, 3.0);
    for _ in 0..100 {
        b.t += STEP;
        b.look(CommandView::Silent, PositionView::Phase(CrankDegrees(0.0)));
    }
    assert_eq!(b.judge.agreement().state, AgreementState::NotJudged);
    assert_eq!(b.disagreements(), []);
}

/// Healthy engines, ten minutes each: hot and cold oil, shifted hold duty, low supply, timid and eager controllers, snap revs.
#[test]
fn ten_minutes_of_healthy_revving_without_a_false_flag() {
    let mut bad = Vec::new();
    for cam in [0, 1] {
        for (gain, quickest, delay) in [
            (4.0, 150.0, 1),
            (2.0, 80.0, 3),
            (0.6, 25.0, 6),
            (0.35, 13.0, 8),
        ] {
            for (hold, supply) in [(50.0, 13.7), (42.0, 14.4), (60.0, 13.0), (58.0, 11.0)] {
                for kp in [1.5, 4.0] {
                    let mut b = Bench::new(cam);
                    (b.gain, b.quickest, b.delay) = (gain, quickest, delay);
                    (b.hold, b.supply) = (hold, supply);
                    b.random = 77;
                    while b.t < 600.0 {
                        let target = if b.random() < 0.3 {
                            0.0
                        } else {
                            40.0 * b.random()
                        };
                        // Snaps last less than half a second, cruises up to five.
                        let seconds = if b.random() < 0.5 {
                            0.1 + 0.4 * b.random()
                        } else {
                            0.5 + 4.5 * b.random()
                        };
                        b.rpm = 800.0 + 80.0 * target;
                        b.follow(target, seconds, kp);
                    }
                    let flags = b.disagreements();
                    if !flags.is_empty() {
                        bad.push(format!(
                            "cam {cam} gain {gain} hold {hold} supply {supply} kp {kp}: {} flags, {:?}",
                            flags.len(),
                            &flags[..flags.len().min(3)]
                        ));
                    }
                }
            }
        }
    }
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}
