//! Trials that a simulated technician runs, against the truth of the simulator.

use crate::rig::{Rig, driven};
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_acquisition::simulator::fault::Fault;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::truth::Truth;
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::trial::{
    Outcome::{self, NotShown, Sound, Unsound},
    TrialKind, TrialOrder, TrialResult,
};

const RATE: f64 = 100_000.0;
/// Seconds before the trial is ordered.
const BEFORE: f64 = 3.0;

fn idle(seconds: f64) -> Segment {
    Segment::Idle { seconds }
}

fn speed(rpm: f64, seconds: f64, ramp: f64) -> Segment {
    let load = 0.0;
    Segment::Speed {
        rpm,
        seconds,
        ramp,
        load,
    }
}

/// What the technician does when asked for this trial.
fn script(kind: TrialKind) -> Vec<Segment> {
    match kind {
        TrialKind::RestAtIdle | TrialKind::RestUnplugged => vec![idle(5.0)],
        TrialKind::SnapRev => vec![idle(5.0), speed(3200.0, 1.2, 4000.0)],
        TrialKind::SlowSweep => vec![idle(5.0), speed(3400.0, 8.0, 400.0)],
        TrialKind::StepAndReturn => vec![idle(5.0), speed(2600.0, 4.0, 5000.0)],
        TrialKind::Hold => vec![idle(5.0), speed(2600.0, 20.0, 2000.0)],
        TrialKind::RestRepeated => vec![idle(5.0), speed(2600.0, 2.5, 4000.0)],
    }
}

struct Run {
    result: TrialResult,
    /// The truth once a millisecond while the trial ran.
    truth: Vec<Truth>,
    instructions: Vec<String>,
    seconds: f64,
}

fn run(scenario: &Scenario, kind: TrialKind, cam: Cam, seed: u64, most: f64) -> Run {
    let mut driven = driven(&scenario.name, script(kind));
    driven.engine = scenario.engine.clone();
    driven.faults.clone_from(&scenario.faults);
    driven.repeat_from = Some(1);
    let mut rig = Rig::new(&driven, seed, RATE, 1.0);
    let mut truth = Vec::new();
    let (mut next, mut instructions) = (0u64, Vec::<String>::new());
    let id = [CamId::INTAKE, CamId::EXHAUST][cam.index()];
    rig.run(BEFORE, |_, _| {});
    let order = TrialOrder {
        kind,
        cam: id,
        oil: Some(90.0),
    };
    rig.pipeline.start_trial(order);
    let mut done = false;
    let mut seconds = 0.0;
    let mut after = 0;
    // A little longer than the trial, so that the truth of its last step is complete.
    while (!done && seconds < most) || after < 75 {
        rig.run(0.02, |pipeline, engine| {
            if next == 0 {
                next = engine.made();
            }
            while next + 100 < engine.made() {
                truth.extend(engine.truth_at(next));
                next += 100;
            }
            let view = pipeline.snapshot().trials;
            if let Some(status) = &view.running {
                if instructions.last() != Some(&status.instruct) {
                    instructions.push(status.instruct.clone());
                }
                assert!((0.0..=1.0).contains(&status.progress));
            }
            done = view.running.is_none();
        });
        if done {
            after += 1;
        } else {
            seconds += 0.02;
            if seconds >= most {
                rig.pipeline.stop_trial();
            }
        }
    }
    let view = rig.pipeline.snapshot().trials;
    assert_eq!(view.results.len(), 1);
    Run {
        result: view.results[0].clone(),
        truth,
        instructions,
        seconds,
    }
}

fn figure(result: &TrialResult, name: &str) -> (f64, f64) {
    let found = result.measures.iter().find(|m| m.name == name);
    let found = found.unwrap_or_else(|| panic!("no {name}: {result:#?}"));
    let value = found
        .value
        .unwrap_or_else(|| panic!("{name}: {}", found.why));
    (value, found.uncertainty.unwrap_or(0.0))
}

/// One step as it truly was.
#[derive(Debug)]
struct Due {
    away: bool,
    dead: f64,
    rate: f64,
    overshoot: f64,
}

/// The steps in the truth: where the command left for good, and what the cam did.
fn steps(truth: &[Truth], cam: Cam, sign: f64) -> Vec<Due> {
    let duty = |i: usize| truth[i].cam(cam).wanted_duty;
    let phase = |i: usize| sign * truth[i].cam(cam).shown;
    let median = |from: usize, to: usize| {
        let mut values: Vec<f64> = (from..to).map(phase).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    let ends = |from: usize, to: usize| {
        (from..to).fold((f64::MAX, f64::MIN), |(a, b), k| {
            (a.min(phase(k)), b.max(phase(k)))
        })
    };
    let mut found = Vec::new();
    let mut i = 600;
    while i + 1000 < truth.len() {
        // The cam has stood, and is on its way 30 ms later.
        let (low, high) = ends(i - 500, i);
        let leaves = high - low < 1.5 && (phase(i + 30) > high + 0.3 || phase(i + 30) < low - 0.3);
        if !leaves {
            i += 1;
            continue;
        }
        // Until it has stood for 0.6 s again.
        let still = |k: usize| {
            let (low, high) = ends(k - 600, k);
            high - low < 1.0
        };
        let Some(end) = (i + 1000..truth.len()).find(|&k| still(k)) else {
            break;
        };
        let (from, to) = (median(i - 500, i), median(end - (end - i) / 4, end));
        let part = |k: usize| (phase(k) - from) / (to - from);
        let size = (to - from).abs();
        if size >= 5.0 {
            let first = |level: f64| (i..end).find(|&k| part(k) >= level).expect("it got there");
            let (ten, ninety) = (first(0.1), first(0.9));
            let noise = (i - 500..i).map(|k| part(k).abs()).fold(0.0, f64::max);
            let moved = (i - 500..ten)
                .rfind(|&k| part(k) < noise.max(0.2 / size))
                .expect("it stood before");
            // The command had left its level before.
            let mut level: Vec<f64> = (moved - 500..moved - 250).map(duty).collect();
            level.sort_by(f64::total_cmp);
            let quiet = 0.6f64.max(0.5 * (level[237] - level[12]));
            let told = (moved - 250..moved)
                .rfind(|&k| (duty(k) - level[125]).abs() <= quiet)
                .map_or(moved - 250, |k| k + 1);
            found.push(Due {
                away: to > from,
                dead: (moved - told) as f64,
                rate: 0.8 * size / (ninety - ten) as f64 * 1000.0,
                overshoot: 100.0 * ((i..end).map(part).fold(0.0, f64::max) - 1.0),
            });
        }
        i = end;
    }
    found
}

/// Runs the trial and holds its figures against the truth.
fn check_steps(what: &str, scenario: &Scenario, cam: Cam, seed: u64) {
    let sign = match cam {
        Cam::Intake => 1.0,
        Cam::Exhaust => -1.0,
    };
    let run = run(scenario, TrialKind::StepAndReturn, cam, seed, 90.0);
    let said = &run.result.sentence;
    eprintln!("{what} {cam:?} {:.0} s: {said}", run.seconds);
    assert_eq!(run.result.outcome, Sound, "{said}\n{:#?}", run.instructions);
    let due = steps(&run.truth, cam, sign);
    for (way, away) in [("away from rest", true), ("back to rest", false)] {
        let due: Vec<&Due> = due.iter().filter(|d| d.away == away).collect();
        assert!(due.len() >= 2, "{due:?}");
        let n = due.len() as f64;
        let mean = |f: fn(&Due) -> f64| due.iter().map(|d| f(d)).sum::<f64>() / n;
        let (rate, half) = figure(&run.result, &format!("rate 10 to 90 %, {way}"));
        let name = format!("dead time, {way}");
        let dead = (run.result.measures.iter())
            .find(|m| m.name == name)
            .and_then(|m| m.value.zip(m.uncertainty));
        let (overshoot, _) = figure(&run.result, &format!("overshoot, {way}"));
        eprintln!(
            "   {way}: rate {rate:.2} ± {half:.2} (due {:.2}), dead time {dead:.0?} ms (due {:.1}), overshoot {overshoot:.1} % (due {:.1})",
            mean(|d| d.rate),
            mean(|d| d.dead),
            mean(|d| d.overshoot)
        );
        assert!(
            (rate / mean(|d| d.rate) - 1.0).abs() < 0.05,
            "{way}: {due:?}"
        );
        if let Some((value, within)) = dead {
            let off = (value - mean(|d| d.dead)).abs();
            assert!(off <= within + 1.0, "{way}: {value} ± {within}, {due:?}");
        }
        assert!(
            (overshoot - mean(|d| d.overshoot)).abs() < 3.0,
            "{way}: {overshoot}"
        );
    }
    assert!(run.instructions[0].contains("Parking brake"));
    assert!(
        run.instructions
            .iter()
            .any(|i| i.contains("rev quickly to"))
    );
    assert_eq!(run.result.rests_on.len(), 3);
}

#[test]
fn a_step_and_its_return_are_measured_as_they_are() {
    let cases = [
        ("healthy", Cam::Intake),
        ("healthy", Cam::Exhaust),
        ("small-hatch-healthy", Cam::Intake),
        ("estate-six-healthy", Cam::Exhaust),
        ("cold-thick-oil", Cam::Intake),
    ];
    for (seed, (name, cam)) in (1..).zip(cases) {
        let scenario = Scenario::named(name).expect("an embedded scenario");
        check_steps(name, &scenario, cam, seed);
    }
}

/// Phasers, valves and controllers drawn at random within what is common in the trade (from memory).
#[test]
fn steps_of_phasers_never_seen_are_measured_as_they_are() {
    let mut state = 20_261_125_u64;
    // Knuth's linear congruence (MMIX); the upper bits are good enough to draw from.
    let mut draw = |low: f64, high: f64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let engines = ["healthy", "small-hatch-healthy", "estate-six-healthy"];
    for case in 0..6 {
        let name = engines[case % 3];
        let cam = Cam::ALL[case / 3];
        let mut scenario = Scenario::named(name).expect("an embedded scenario");
        let plan = match cam {
            Cam::Intake => &mut scenario.engine.intake,
            Cam::Exhaust => &mut scenario.engine.exhaust,
        };
        plan.jitter = draw(0.02, 0.3);
        let phaser = plan.phaser.as_mut().expect("a phaser");
        let hold = draw(35.0, 50.0);
        phaser.hold_duty = hold;
        phaser.control.learned_hold = 1.2 * hold;
        phaser.gain = draw(3.0, 6.0);
        phaser.hot_rate = draw(60.0, 150.0);
        phaser.hold_band = draw(1.0, 2.5);
        // With more of both the loop of the simulated controller swings for ever, and there are no steps.
        phaser.dead_time = draw(5.0, 20.0);
        phaser.flutter = draw(0.0, 0.2);
        phaser.valve.frequency = draw(100.0, 300.0);
        let far = draw(20.0, 35.0);
        let targets = [[1100.0, 0.0], [draw(1300.0, 2000.0), far], [6500.0, far]];
        phaser.control.targets = targets.to_vec();
        check_steps(
            &format!("drawn {case}, {name}"),
            &scenario,
            cam,
            40 + case as u64,
        );
    }
}

/// Trial, scenario, cam, outcome, words of its sentence.
#[test]
fn every_trial_comes_out_as_the_engine_is() {
    use TrialKind::{Hold, RestAtIdle, RestRepeated, SlowSweep, SnapRev, StepAndReturn};
    let table: &[(TrialKind, &str, Cam, Outcome, &str)] = &[
        (RestAtIdle, "healthy", Cam::Intake, Sound, "within ±3.0°"),
        (
            RestAtIdle,
            "small-hatch-healthy",
            Cam::Exhaust,
            Sound,
            "within ±3.0°",
        ),
        (
            RestAtIdle,
            "pick-up-healthy",
            Cam::Intake,
            Sound,
            "within ±3.0°",
        ),
        (
            RestAtIdle,
            "intake-chain-one-tooth",
            Cam::Intake,
            Unsound,
            "-17.1",
        ),
        (SnapRev, "healthy", Cam::Intake, Sound, "answered"),
        (
            SnapRev,
            "estate-six-healthy",
            Cam::Exhaust,
            Sound,
            "answered",
        ),
        (
            SnapRev,
            "stuck-at-rest",
            Cam::Intake,
            Unsound,
            "outside the hold zone",
        ),
        (SlowSweep, "healthy", Cam::Exhaust, Sound, "everywhere"),
        (
            SlowSweep,
            "small-hatch-healthy",
            Cam::Intake,
            Sound,
            "everywhere",
        ),
        (
            SlowSweep,
            "stuck-at-rest",
            Cam::Intake,
            Unsound,
            "did not follow",
        ),
        (
            StepAndReturn,
            "stuck-at-rest",
            Cam::Intake,
            Unsound,
            "did not answer",
        ),
        (
            Hold,
            "healthy",
            Cam::Intake,
            Sound,
            "no more than the tolerance",
        ),
        (
            Hold,
            "cold-thick-oil",
            Cam::Intake,
            Sound,
            "no more than the tolerance",
        ),
        (Hold, "hunting", Cam::Intake, Unsound, "does not hold still"),
        (
            RestRepeated,
            "healthy",
            Cam::Intake,
            Sound,
            "came to rest 4 times",
        ),
        (
            RestRepeated,
            "small-hatch-healthy",
            Cam::Exhaust,
            Sound,
            "came to rest 4 times",
        ),
        (
            RestRepeated,
            "stuck-at-rest",
            Cam::Intake,
            NotShown,
            "pushed away from rest",
        ),
        (
            StepAndReturn,
            "pick-up-healthy",
            Cam::Intake,
            NotShown,
            "no phaser",
        ),
        (
            RestAtIdle,
            "leads-swapped",
            Cam::Exhaust,
            NotShown,
            "not proven",
        ),
        (SnapRev, "probe-factor", Cam::Intake, NotShown, "not proven"),
    ];
    for (seed, &(kind, name, cam, due, words)) in (1..).zip(table) {
        let scenario = Scenario::named(name).expect("an embedded scenario");
        let run = run(&scenario, kind, cam, seed, 100.0);
        eprintln!(
            "{kind:?} {name} {cam:?}, {:.0} s: {:?}, {}",
            run.seconds, run.result.outcome, run.result.sentence
        );
        assert_eq!(
            run.result.outcome, due,
            "{:#?}\n{:#?}",
            run.result, run.instructions
        );
        assert!(
            run.result.sentence.contains(words),
            "{}",
            run.result.sentence
        );
        assert!(
            run.result
                .measures
                .iter()
                .all(|m| m.value.is_some() == m.why.is_empty())
        );
        assert!(run.result.rests_on.contains(&Role::Crank));
    }
}

/// A trial ends by itself when nothing comes of it, and at once when it is stopped.
#[test]
fn a_trial_that_nobody_runs_ends() {
    let mut scenario = Scenario::named("healthy").expect("an embedded scenario");
    scenario.faults = vec![Fault::LeadOff {
        input: 2,
        after: 0.0,
        until: f64::INFINITY,
    }];
    let off = run(&scenario, TrialKind::Hold, Cam::Intake, 1, 100.0);
    assert_eq!(off.result.outcome, NotShown);
    assert!((57.0..62.0).contains(&off.seconds), "{}", off.seconds);
    assert!(
        off.result.sentence.contains("'cam intake' is not proven"),
        "{}",
        off.result.sentence
    );
    let stopped = run(&scenario, TrialKind::Hold, Cam::Exhaust, 1, 4.0);
    assert_eq!(stopped.result.outcome, NotShown);
    assert!(
        stopped.result.sentence.contains("stopped"),
        "{}",
        stopped.result.sentence
    );
}
