//! A stretch of a recording cut into engine cycles, against the truth of the simulated engine.

use crate::workpiece::{self, File, Workpiece};
use keyway::review::locked::{Locked, cut};
use keyway::setup::Setup;
use keyway::work::Progress;
use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::reader::Recording;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::script::Segment;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::lead::{CamId, Role};
use std::path::Path;

const RATE: f64 = 200_000.0;
const BLOCK: usize = 5_000;
/// Columns of a tenth of a degree.
const COLUMNS: usize = 7200;
/// An edge of a cam window lies at its true angle to within this, degrees: what a single edge of a cam is
/// measured to (`tests/it/accuracy.rs`), and half a column.
const BOUND: f64 = 0.35;
/// Samples that lie between two at an edge: a column of the fastest is shorter than a sample, and the edge is
/// only known to a part of it.
const BETWEEN: f64 = 0.5;

/// A recording of crank and cams with its truth.
struct Driven {
    file: tempfile::File,
    engine: Engine,
    scenario: Scenario,
}

/// A file that is gone after the test.
mod tempfile {
    use std::path::{Path, PathBuf};

    pub struct File(pub PathBuf);

    impl File {
        pub fn path(&self) -> &Path {
            &self.0
        }
    }

    impl Drop for File {
        fn drop(&mut self) {
            drop(std::fs::remove_file(&self.0));
        }
    }
}

fn driven(name: &str, scenario: &str, driver: Vec<Segment>, seconds: f64) -> Driven {
    let mut scenario = Scenario::named(scenario).unwrap();
    scenario.driver = driver;
    scenario.repeat_from = None;
    let path =
        std::env::temp_dir().join(format!("keyway-{}-locked-{name}.mcap", std::process::id()));
    let setup = Setup::load(None, None, &scenario.sheet).unwrap();
    let header = RecordingHeader {
        engine_sheet: setup.sheet_text.to_string(),
        lead_plan: setup.plan_text.to_string(),
        ..RecordingHeader::default()
    };
    let mut engine = Engine::from_scenario(&scenario, 7)
        .with_truth(seconds + 1.0)
        .with_inputs(3);
    engine.set_rate(RATE);
    let channels = engine.channels();
    let inputs = channels.len();
    let mut recorder = Recorder::create(&path, &header).unwrap();
    recorder
        .stream(&StreamInfo {
            device: DeviceInfo {
                maker: "Invented".to_owned(),
                model: "Bench Three".to_owned(),
                serial: String::new(),
                firmware: "1".to_owned(),
                channels,
                max_rate_hz: RATE,
            },
            generation: 0,
            rate_hz: RATE,
            enabled: (0..inputs).collect(),
        })
        .unwrap();
    let mut first_index = 0;
    while (first_index as f64) < seconds * RATE {
        let mut channels = vec![Vec::new(); inputs];
        engine.fill(BLOCK, &mut channels);
        recorder
            .block(&SampleBlock {
                generation: 0,
                first_index,
                channels,
            })
            .unwrap();
        first_index += BLOCK as u64;
    }
    let _bytes = recorder.finish().unwrap();
    Driven {
        file: tempfile::File(path),
        engine,
        scenario,
    }
}

fn cut_of(path: &Path, from: f64, to: f64, columns: usize, most: usize) -> Locked {
    let (recording, setup) = keyway::session::playback::open(path).unwrap();
    cut(
        &recording,
        &setup,
        from..to,
        columns,
        most,
        &Progress::default(),
    )
    .unwrap()
}

/// Angle nearest to `near` at which a cycle passes half way between its levels, columns being as wide as they are.
fn crossing(cycle: &[f32], near: f64) -> Option<f64> {
    let (low, high) = cycle
        .iter()
        .fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    let level = f32::midpoint(low, high);
    let width = 720.0 / cycle.len() as f64;
    let at = cycle.windows(2).enumerate().filter_map(|(k, v)| {
        let is_passed = (v[0] < level) != (v[1] < level);
        let part = f64::from((level - v[0]) / (v[1] - v[0]));
        is_passed.then_some((k as f64 + 0.5 + part) * width)
    });
    at.min_by(|a, b| (a - near).abs().total_cmp(&(b - near).abs()))
}

/// Every edge of every window in every cycle against the angle of the crank at the instant at which the window's
/// edge truly passed its sensor.
fn errors(driven: &Driven, from: f64, to: f64) -> Vec<f64> {
    let locked = cut_of(driven.file.path(), from, to, COLUMNS, 40);
    assert_eq!(locked.hindrance, None);
    assert!(locked.cycles.len() > 3, "{} cycles", locked.cycles.len());
    let truth = |seconds: f64| driven.engine.truth_at_instant(seconds * RATE).unwrap();
    let mut errors = Vec::new();
    let plan = &driven.scenario.engine;
    for (index, (id, cam)) in [
        (CamId::INTAKE, &plan.intake),
        (CamId::EXHAUST, &plan.exhaust),
    ]
    .into_iter()
    .enumerate()
    {
        let lead = locked
            .leads
            .iter()
            .find(|l| l.role == Role::Cam(id))
            .unwrap();
        for (cycle, values) in locked.cycles.iter().zip(&lead.cycles) {
            assert!(cycle.is_known);
            assert_eq!(values.len(), COLUMNS);
            let turns = (truth(cycle.begin).angle / 720.0).round() * 720.0;
            for edge in cam.windows.iter().flatten() {
                // Angle and phase together grow with time: the edge passes when they come to its place.
                let passed = |t: f64| {
                    truth(t).angle + truth(t).cams[index].shown - turns - edge.rem_euclid(720.0)
                };
                let (mut a, mut b) = (cycle.begin, cycle.end);
                if passed(a) > 0.0 || passed(b) < 0.0 {
                    continue;
                }
                while b - a > 1e-7 {
                    let middle = f64::midpoint(a, b);
                    if passed(middle) < 0.0 {
                        a = middle
                    } else {
                        b = middle
                    }
                }
                let due = truth(a).angle - turns;
                if (5.0..715.0).contains(&due) {
                    let seen = crossing(values, due).unwrap();
                    errors.push(seen - due);
                }
            }
        }
    }
    errors
}

fn check(what: &str, driver: Vec<Segment>, from: f64, to: f64, fastest: f64) {
    let driven = driven(what, "healthy", driver, to + 0.6);
    let errors = errors(&driven, from, to);
    let bound = BOUND + BETWEEN * fastest * 6.0 / RATE;
    let worst = errors.iter().fold(0.0f64, |w, e| w.max(e.abs()));
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    eprintln!(
        "{what:10} {:4} edges  mean {mean:+.4}°  worst {worst:.4}°  bound {bound:.3}°",
        errors.len()
    );
    assert!(errors.len() > 20, "{what}: {} edges", errors.len());
    assert!(
        worst <= bound,
        "{what}: {worst}° off, at most {bound}° is promised"
    );
    assert!(mean.abs() <= 0.06, "{what}: {mean}° off in the mean");
}

fn fixed(rpm: f64) -> Vec<Segment> {
    vec![Segment::Fixed { rpm, seconds: 1e6 }]
}

#[test]
fn an_edge_of_a_cam_window_lies_at_its_true_angle_from_idle_to_the_limit() {
    check("700", fixed(700.0), 1.5, 3.5, 700.0);
    check("3000", fixed(3000.0), 1.5, 2.5, 3000.0);
    check("6500", fixed(6500.0), 1.5, 2.2, 6500.0);
}

#[test]
fn an_edge_lies_at_its_true_angle_while_the_speed_changes_fast() {
    let swung = |from: f64, to: f64, seconds: f64| Segment::Profile {
        from,
        to,
        seconds,
        ripple: vec![[2.0, 0.06]],
    };
    // From 1000 to 6000 rpm within a second, and back.
    let driver = vec![
        swung(1000.0, 1000.0, 1.5),
        swung(1000.0, 6000.0, 1.0),
        swung(6000.0, 1000.0, 1.0),
        swung(1000.0, 1000.0, 1e3),
    ];
    check("revved", driver, 1.5, 3.5, 6000.0);
    // Slowed and sped up by every compression, as the starter turns it.
    let driver = vec![Segment::Profile {
        from: 250.0,
        to: 250.0,
        seconds: 1e3,
        ripple: vec![[2.0, 0.4]],
    }];
    check("cranked", driver, 2.5, 7.5, 300.0);
}

fn cycles_of(file: &File, from: f64, to: f64, most: usize) -> Locked {
    cut_of(Path::new(file.path()), from, to, 360, most)
}

#[test]
fn a_gap_and_a_second_stream_cost_the_cycles_they_cut_and_are_told() {
    let file = workpiece::recorded(&Workpiece {
        gap: Some(3.0),
        streams: 2,
        ..Workpiece::of("healthy", 5.0)
    });
    let whole = Recording::open(Path::new(file.path()))
        .unwrap()
        .duration()
        .as_secs_f64();
    let locked = cycles_of(&file, 0.0, whole, 1000);
    let hindrance = locked.hindrance.clone().unwrap();
    assert!(
        hindrance.contains("samples were lost 2 times (0.020 s)"),
        "{hindrance}"
    );
    assert!(
        hindrance.contains("the stream began anew 1 time"),
        "{hindrance}"
    );
    for pair in locked.cycles.windows(2) {
        assert!(pair[1].begin > pair[0].end - 1e-6, "{pair:?}");
    }
    // Neither across the gap nor from stream to stream.
    for cut in [3.0, whole / 2.0] {
        let across = |c: &&keyway::review::locked::Cycle| c.begin < cut && c.end > cut + 0.01;
        assert_eq!(locked.cycles.iter().find(across), None);
    }
    assert!(locked.cycles.iter().any(|c| c.begin > whole / 2.0 + 2.0));
    // Of the eight inputs one is spare.
    assert_eq!(locked.leads.len(), 7);
    for lead in &locked.leads {
        assert_eq!(lead.cycles.len(), locked.cycles.len());
        assert!(
            lead.cycles.iter().flatten().all(|v| v.is_finite()),
            "{:?}",
            lead.role
        );
    }
    // A cycle is the same whichever stretch it was asked for with, and so is what is in it.
    let [from, to] = [1, 4].map(|n| locked.cycles[n + 6].begin - 1e-4);
    let part = cycles_of(&file, from, to + 2e-4, 1000);
    assert_eq!(part.cycles, locked.cycles[7..10]);
    for (some, all) in part.leads.iter().zip(&locked.leads) {
        assert_eq!(some.cycles, all.cycles[7..10]);
    }
    // Of more than are wanted, some are left out.
    let few = cycles_of(&file, 0.0, whole, 6);
    assert_eq!(
        (few.cycles.len(), few.left_out),
        (6, locked.cycles.len() - 6)
    );
    assert!(few.cycles.iter().all(|c| locked.cycles.contains(c)));
}

#[test]
fn where_there_are_no_cycles_it_is_told_why() {
    let file = workpiece::recorded(&Workpiece::of("healthy", 4.0));
    let short = cycles_of(&file, 3.0, 3.05, 100);
    assert!(short.cycles.is_empty());
    let why = short.hindrance.unwrap();
    assert!(why.contains("choose a longer stretch"), "{why}");
    // Without a cam lead only the revolution is known.
    let (recording, mut setup) = keyway::session::playback::open(Path::new(file.path())).unwrap();
    let mut plan = (*setup.plan).clone();
    plan.leads.retain(|l| !matches!(l.role, Role::Cam(_)));
    setup.plan = plan.clone().into();
    let guess = cut(&recording, &setup, 2.0..4.0, 360, 100, &Progress::default()).unwrap();
    assert!(guess.cycles.len() > 5 && guess.cycles.iter().all(|c| !c.is_known));
    let why = guess.hindrance.unwrap();
    assert!(why.starts_with("No cam has told"), "{why}");
    plan.leads.retain(|l| l.role != Role::Crank);
    setup.plan = plan.into();
    let none = cut(&recording, &setup, 2.0..4.0, 360, 100, &Progress::default()).unwrap();
    assert!(none.cycles.is_empty());
    let why = none.hindrance.unwrap();
    assert!(why.contains("No crank lead"), "{why}");
    // And work that is stopped ends.
    let progress = Progress::default();
    progress.cancel();
    assert!(cut(&recording, &setup, 2.0..4.0, 360, 100, &progress).is_err());
}
