//! The pipeline on signals made from their definitions: a 60-2 wheel whose tooth centres are falling zero crossings,
//! cam windows of the sheet shifted by a known phase, a switched pin with flyback.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "made samples lie well within the counts"
)]

use super::*;
use crate::engine::EdgeKind;
use crate::reading::{Reading, Why};
use crate::snapshot::{AgreementState, ProofState};
use crate::units::Volts;

const RATE: f64 = 50_000.0;
const COUNTS_PER_VOLT: f64 = 400.0;

fn sheet() -> EngineSheet {
    EngineSheet::from_toml(include_str!("../../../app/assets/sheets/light-van.toml"))
        .expect("sheet")
}

fn plan() -> LeadPlan {
    LeadPlan::from_toml(include_str!(
        "../../../app/assets/sheets/light-van-leads.toml"
    ))
    .expect("plan")
}

fn inputs() -> Vec<Input> {
    (1..=8)
        .map(|number| Input {
            number,
            scale: 1.0 / COUNTS_PER_VOLT,
            offset: 0.0,
            low: -80.0,
            high: 80.0,
            unit: "V".to_owned(),
        })
        .collect()
}

/// A still engine's world: speed, cam phases and duties that do not change.
struct World {
    rpm: f64,
    phases: [f64; 2],
    duties: [f64; 2],
    sheet: EngineSheet,
    /// What a lead shows instead, given its input (from 0), the time, and all leads' volts.
    instead: fn(usize, f64, &[f64; 8]) -> f64,
}

impl World {
    fn volts(&self, t: f64) -> [f64; 8] {
        let angle = (6.0 * self.rpm * t).rem_euclid(720.0);
        let in_turn = (angle + self.sheet.crank.gap_to_tdc.0).rem_euclid(360.0);
        // Teeth 0 to 57 have their centres at 0°, 6°, ...; the wheel's last two are missing.
        let near = (in_turn / 6.0).round();
        let crank = if near <= 57.0 || near >= 60.0 {
            -5.0 * (std::f64::consts::TAU * (in_turn - 6.0 * near) / 6.0).sin()
        } else {
            0.0
        };
        let cam = |k: usize| {
            let high = self.sheet.cams[k].windows.iter().any(|[rise, fall]| {
                (angle + self.phases[k] - rise).rem_euclid(720.0) < fall - rise
            });
            if high { 5.0 } else { 0.2 }
        };
        let pin = |k: usize, hertz: f64| {
            let x = (t * hertz).fract();
            if x < self.duties[k] {
                0.4
            } else if (x - self.duties[k]) / hertz < 2e-4 {
                53.0
            } else {
                13.6
            }
        };
        // Rises while on and falls while off, between 0.2 and 0.8 A through a clamp of 10 A/V.
        let clamp = |k: usize, hertz: f64| {
            let (x, duty) = ((t * hertz).fract(), self.duties[k]);
            let part = if x < duty {
                x / duty
            } else {
                1.0 - (x - duty) / (1.0 - duty)
            };
            0.02 + 0.06 * part
        };
        [
            crank,
            cam(0),
            cam(1),
            pin(0, 200.0),
            pin(1, 250.0),
            13.7,
            clamp(1, 250.0),
            0.0,
        ]
    }

    fn samples(&self, seconds: f64) -> Vec<Vec<i16>> {
        let n = (seconds * RATE) as usize;
        let mut out = vec![Vec::new(); 8];
        for i in 0..n {
            let t = i as f64 / RATE;
            let volts = self.volts(t);
            for (k, lead) in out.iter_mut().enumerate() {
                let shown = (self.instead)(k, t, &volts);
                lead.push((shown * COUNTS_PER_VOLT).round() as i16);
            }
        }
        out
    }
}

fn world() -> World {
    World {
        rpm: 1500.0,
        phases: [12.0, 0.0],
        duties: [0.45, 0.08],
        sheet: sheet(),
        instead: |k, _, v| v[k],
    }
}

fn pipeline() -> Pipeline {
    Pipeline::new(&sheet(), &plan(), &inputs(), Hertz(RATE)).expect("pipeline")
}

/// Pushes blocks of `block` samples, without those in `lost`.
fn run(samples: &[Vec<i16>], block: usize, lost: std::ops::Range<usize>) -> Pipeline {
    let mut p = pipeline();
    let mut push = |from: usize, to: usize| {
        let mut at = from;
        while at < to {
            let end = (at + block).min(to);
            let refs: Vec<&[i16]> = samples.iter().map(|c| &c[at..end]).collect();
            p.push(at as u64, &refs);
            at = end;
        }
    };
    push(0, lost.start);
    push(lost.end, samples[0].len());
    p
}

#[test]
fn known_signals_give_their_figures() {
    let p = run(&world().samples(5.0), 1000, 0..0);
    let s = p.snapshot();
    assert_eq!(s.sync, Sync::Cycle);
    let near = |got: Option<f64>, want: f64, by: f64, what: &str| {
        assert!(
            got.is_some_and(|g| (g - want).abs() <= by),
            "{what}: {got:?}, not {want}"
        );
    };
    near(s.speed.valid().map(|v| v.0), 1500.0, 0.5, "speed");
    near(s.supply.valid().map(|v| v.0), 13.7, 0.01, "supply");
    let [intake, exhaust] = s.cams.as_slice() else {
        panic!("two cams");
    };
    near(intake.phase.valid().map(|v| v.0), 12.0, 0.1, "intake phase");
    near(
        exhaust.phase.valid().map(|v| v.0),
        0.0,
        0.1,
        "exhaust phase",
    );
    near(intake.command.duty.valid().map(|v| v.0), 45.0, 0.2, "duty");
    near(exhaust.command.duty.valid().map(|v| v.0), 8.0, 0.2, "duty");
    near(
        intake.command.frequency.valid().map(|v| v.0),
        200.0,
        0.1,
        "frequency",
    );
    near(intake.command.low.valid().map(|v| v.0), 0.4, 0.01, "low");
    near(intake.command.high.valid().map(|v| v.0), 13.6, 0.01, "high");
    assert_eq!(intake.agreement.state, AgreementState::Following);
    assert_eq!(exhaust.agreement.state, AgreementState::Following);
    assert_eq!(s.counts.stray_cam_edges, 0);
    for lead in &s.leads {
        let want = match lead.role {
            Role::Spare => ProofState::Spare,
            _ => ProofState::Proven,
        };
        assert_eq!(lead.proof, want, "{}: {}", lead.role, lead.note);
    }
}

/// The exhaust is commanded to rest, the intake is driven: only what rests teaches its runout.
#[test]
fn only_a_cam_commanded_to_rest_teaches_its_runout() {
    let s = run(&world().samples(4.0), 1000, 0..0).snapshot();
    let [driven, resting] = [&s.cams[0].detail, &s.cams[1].detail];
    assert_eq!(driven.learnt, None);
    assert!(resting.learnt.as_ref().is_some_and(|l| l.revolutions > 10));
    assert!(resting.cleaned.is_some_and(|c| c.phase.0.abs() < 0.1));
    for detail in [driven, resting] {
        assert!(detail.age.is_some_and(|a| a.age.0 < 0.05));
        assert_eq!(detail.rising.map(|f| f.edges), Some(4));
        assert!(detail.difference.is_some_and(|d| d.0.abs() < 0.1));
    }
}

#[test]
fn without_a_cam_lead_the_cams_are_not_blamed() {
    let mut plan = plan();
    plan.leads.retain(|l| !matches!(l.role, Role::Cam(_)));
    let mut p = Pipeline::new(&sheet(), &plan, &inputs(), Hertz(RATE)).expect("pipeline");
    let samples = world().samples(4.0);
    let refs: Vec<&[i16]> = samples.iter().map(Vec::as_slice).collect();
    p.push(0, &refs);
    let s = p.snapshot();
    assert_eq!(s.sync, Sync::Revolution);
    let told = |text: &str| s.events.iter().any(|e| e.text.contains(text));
    assert!(told("which of the two revolutions") && !told("do not fit"));
}

#[test]
fn the_numbers_do_not_depend_on_the_blocks() {
    let samples = world().samples(3.0);
    let show = |p: &Pipeline| {
        format!(
            "{:?} {:?} {:?}",
            p.snapshot(),
            p.traces(Seconds(0.3), 200),
            p.crank_locked(180)
        )
    };
    for lost in [0..0, 70_123..71_456] {
        let whole = show(&run(&samples, samples[0].len(), lost.clone()));
        for block in [1, 7, 249, 250, 251, 997, 4096] {
            assert!(
                show(&run(&samples, block, lost.clone())) == whole,
                "blocks of {block}, lost {lost:?}"
            );
        }
    }
}

#[test]
fn cycles_are_the_same_whatever_the_blocks_and_never_lie_across_a_gap() {
    let samples = world().samples(3.0);
    let lost = 60_000..61_500;
    let cycles = |block: usize| {
        let mut p = pipeline();
        p.collect_cycles(720);
        for (from, to) in [(0, lost.start), (lost.end, samples[0].len())] {
            for at in (from..to).step_by(block) {
                let end = (at + block).min(to);
                let refs: Vec<&[i16]> = samples.iter().map(|c| &c[at..end]).collect();
                p.push(at as u64, &refs);
            }
        }
        p.drain_cycles()
    };
    let seen = cycles(500);
    assert_eq!(seen, cycles(4096));
    assert_eq!(seen, cycles(37));
    let known: Vec<_> = seen.iter().filter(|c| c.is_known).collect();
    // 1500 rpm for three seconds are 37 cycles, less what is needed to find the pattern, twice.
    assert!(known.len() > 25, "{}", known.len());
    for cycle in known {
        assert_eq!(cycle.times.len(), 721);
        let (begin, end) = (cycle.times[0].0, cycle.times[720].0);
        assert!(end < 60_001.0 || begin > 61_499.0, "{begin} to {end}");
        assert!((end - begin - 0.08 * RATE).abs() < 2.0, "{begin} to {end}");
        assert!(cycle.times.windows(2).all(|w| w[1].0 > w[0].0));
    }
}

#[test]
fn nothing_is_measured_across_a_gap() {
    let samples = world().samples(3.0);
    let mut p = pipeline();
    p.collect_series();
    for at in (0..samples[0].len()).step_by(500) {
        if (60_000..61_500).contains(&at) {
            continue;
        }
        let refs: Vec<&[i16]> = samples.iter().map(|c| &c[at..at + 500]).collect();
        p.push(at as u64, &refs);
    }
    let s = p.snapshot();
    assert_eq!((s.counts.gaps, s.counts.lost), (1, 1500));
    assert_eq!(s.counts.samples, 148_500);
    let series = p.drain_series();
    assert!(!series.periods.is_empty() && !series.phases.is_empty());
    for (_, period) in &series.periods {
        assert!(period.length < RATE / 199.0, "{period:?}");
    }
    for turn in &series.revolutions {
        assert!((turn.speed.0 - 1500.0).abs() < 1.0, "{turn:?}");
    }
    for phase in &series.phases {
        let want = if phase.cam == 0 { 12.0 } else { 0.0 };
        assert!((phase.phase.0 - want).abs() < 0.3, "{phase:?}");
    }
}

#[test]
fn samples_seen_twice_count_once() {
    let samples = world().samples(1.0);
    let refs = |a: usize, b: usize| -> Vec<&[i16]> { samples.iter().map(|c| &c[a..b]).collect() };
    let mut p = pipeline();
    p.push(0, &refs(0, 30_000));
    p.push(10_000, &refs(10_000, 20_000));
    p.push(25_000, &refs(25_000, 50_000));
    let once = run(&samples, 50_000, 0..0);
    assert_eq!(
        format!("{:?}", p.snapshot()),
        format!("{:?}", once.snapshot())
    );
}

#[test]
fn a_plan_that_cannot_be_is_refused() {
    let try_plan = |change: fn(&mut LeadPlan)| {
        let mut plan = plan();
        change(&mut plan);
        Pipeline::new(&sheet(), &plan, &inputs(), Hertz(RATE)).map(|_| ())
    };
    assert_eq!(try_plan(|_| {}), Ok(()));
    assert_eq!(
        try_plan(|p| p.leads[1].input = 1),
        Err(PipelineError::Shared(1))
    );
    assert_eq!(
        try_plan(|p| p.leads[1].role = Role::Crank),
        Err(PipelineError::Twice(Role::Crank))
    );
    assert_eq!(
        try_plan(|p| p.leads[0].factor = 0.0),
        Err(PipelineError::Factor(1))
    );
}

/// Mains hum on a lead that touches nothing.
fn hum(t: f64) -> f64 {
    0.1 * (std::f64::consts::TAU * 50.0 * t).sin()
}

#[test]
fn each_lead_is_proven_and_nothing_is_blamed_through_one_that_is_not() {
    use AgreementState as A;
    use ProofState as L;
    let intake = CamId::INTAKE;
    type Instead = fn(usize, f64, &[f64; 8]) -> f64;
    let rows: [(&str, Instead, Role, L, &str, A); 9] = [
        (
            "cam lead slipped off after 3 s",
            |k, t, v| if k == 1 && t > 3.0 { hum(t) } else { v[k] },
            Role::Cam(intake),
            L::Silent,
            "slipped off",
            A::NotJudged,
        ),
        (
            "cam sensor silent after 3 s",
            |k, t, v| if k == 1 && t > 3.0 { 5.0 } else { v[k] },
            Role::Cam(intake),
            L::Proven,
            "stands at 5.0 V, no edge for 2.0 s",
            A::NoPosition,
        ),
        (
            "command lead slipped off after 3 s",
            |k, t, v| if k == 3 && t > 3.0 { hum(t) } else { v[k] },
            Role::Command(intake),
            L::Silent,
            "slipped off",
            A::NotJudged,
        ),
        (
            "command stands at supply",
            |k, _, v| if k == 3 { v[5] } else { v[k] },
            Role::Command(intake),
            L::Doubtful,
            "not explained yet",
            A::NotJudged,
        ),
        (
            "command lost after 3 s",
            |k, t, v| if k == 3 && t > 3.0 { v[5] } else { v[k] },
            Role::Command(intake),
            L::Proven,
            "at the supply; switched 2 s ago",
            A::NoCommand,
        ),
        (
            "probe at ten to one, factor one",
            |k, _, v| if k == 3 { 0.1 * v[k] } else { v[k] },
            Role::Command(intake),
            L::Doubtful,
            "a tenth of the supply",
            A::NotJudged,
        ),
        (
            "cam leads swapped",
            |k, _, v| match k {
                1 => v[2],
                2 => v[1],
                _ => v[k],
            },
            Role::Cam(intake),
            L::Doubtful,
            "shows the signal of the cam exhaust lead",
            A::NotJudged,
        ),
        (
            "supply lead off",
            |k, t, v| if k == 5 { hum(t) } else { v[k] },
            Role::Supply,
            L::Silent,
            "or the lead is off",
            A::Following,
        ),
        (
            "crank lead off",
            |k, t, v| if k == 0 { hum(t) } else { v[k] },
            Role::Crank,
            L::Silent,
            "no teeth while the cams turn",
            A::NotJudged,
        ),
    ];
    for (what, instead, role, life, note, state) in rows {
        let world = World { instead, ..world() };
        let p = run(&world.samples(5.0), 1000, 0..0);
        let s = p.snapshot();
        let lead = s.leads.iter().find(|l| l.role == role).expect("lead");
        assert_eq!(lead.proof, life, "{what}: {}", lead.note);
        assert!(lead.note.contains(note), "{what}: {}", lead.note);
        let agreement = &s.cams[0].agreement;
        assert_eq!(agreement.state, state, "{what}: {}", agreement.sentence);
    }
}

#[test]
fn without_leads_every_reading_says_so() {
    let mut plan = plan();
    plan.leads.retain(|l| l.role == Role::Spare);
    let mut p = Pipeline::new(&sheet(), &plan, &inputs(), Hertz(RATE)).expect("pipeline");
    let silence = vec![0; 100_000];
    p.push(0, &[silence.as_slice(); 8]);
    let s = p.snapshot();
    assert_eq!(s.speed, Reading::Missing(Why::NoLead));
    assert_eq!(s.supply, Reading::Missing(Why::NoLead));
    for cam in &s.cams {
        assert_eq!(cam.phase, Reading::Missing(Why::NoLead));
        assert_eq!(cam.command.duty, Reading::Missing(Why::NoLead));
        assert_eq!(cam.agreement.state, AgreementState::NotJudged);
    }
}

#[test]
fn a_still_pin_is_no_duty_but_a_level() {
    let world = World {
        instead: |k, _, v| if k == 3 { v[5] } else { v[k] },
        ..world()
    };
    let s = run(&world.samples(1.0), 1000, 0..0).snapshot();
    match s.cams[0].command.duty {
        Reading::Missing(Why::Static(volts)) => assert!((volts - 13.7).abs() < 0.01),
        other => panic!("{other:?}"),
    }
    assert_eq!(
        s.cams[0].command.low,
        s.cams[0].command.duty.map(|_| Volts(0.0))
    );
    assert!(s.cams[0].command.high.valid().is_some());
}

/// Runs the world's samples through a pipeline whose sheet was changed.
fn with_sheet(change: impl Fn(&mut EngineSheet), seconds: f64) -> crate::snapshot::Snapshot {
    let mut other = sheet();
    change(&mut other);
    let mut p = Pipeline::new(&other, &plan(), &inputs(), Hertz(RATE)).expect("pipeline");
    let samples = world().samples(seconds);
    let refs: Vec<&[i16]> = samples.iter().map(Vec::as_slice).collect();
    p.push(0, &refs);
    p.snapshot()
}

#[test]
fn a_signal_that_differs_from_the_sheet_is_proposed_and_the_sheet_stays() {
    assert_eq!(with_sheet(|_| {}, 5.0).proposals, Vec::new());
    let s = with_sheet(
        |sheet| {
            sheet.crank.wheel = "36-1".to_owned();
            sheet.crank.active_edge = EdgeKind::Rising;
        },
        5.0,
    );
    let [proposal] = s.proposals.as_slice() else {
        panic!("{:?}", s.proposals);
    };
    assert_eq!(proposal.role, Role::Crank);
    assert_eq!(proposal.wheel.as_deref(), Some("60-2"), "{proposal:?}");
    assert_eq!(proposal.sensor, None, "the sheet's VR is right");
    assert_eq!(
        proposal.active_edge,
        Some(EdgeKind::Falling),
        "{proposal:?}"
    );
    assert!(s.events.iter().any(|e| e.text == proposal.text));
}

#[test]
fn windows_of_a_cam_that_does_not_fit_are_proposed() {
    let other = vec![[10.0, 60.0], [150.0, 350.0], [500.0, 530.0]];
    let s = with_sheet(
        |sheet| {
            for cam in &mut sheet.cams {
                cam.windows = other.clone();
            }
        },
        6.0,
    );
    let Some(proposal) = s
        .proposals
        .iter()
        .find(|p| p.role == Role::Cam(CamId::INTAKE))
    else {
        panic!("{:?} {:?}", s.sync, s.events);
    };
    // The world's intake cam is 12 degrees advanced; the revolution is told but for 360 degrees.
    let truth = sheet().cams[0].windows.clone();
    let fits = |turn: f64| {
        truth.iter().all(|[r, f]| {
            proposal.windows.iter().any(|[a, b]| {
                let off = (a.0 + turn + 12.0 - r).rem_euclid(720.0);
                off.min(720.0 - off) < 1.0 && ((b.0 - a.0) - (f - r)).abs() < 1.0
            })
        })
    };
    assert!(fits(0.0) || fits(360.0), "{proposal:?}");
    assert_eq!(proposal.windows.len(), truth.len());
}
