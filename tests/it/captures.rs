//! Captures with known truth, read through the import and measured like any recording. A Python script makes
//! them from the definitions alone (`tests/reference/captures.py`) and shares nothing with Keyway.
//!
//! Of each capture all that is said must be true, at any time, and from the third turn on nothing may be missing.

use crate::engines;
use crate::workbench::Folder;
use keyway_acquisition::import::plan::{Kind, Plan};
use keyway_acquisition::import::summary::Summary;
use keyway_acquisition::import::{self, Card};
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::damage::Flaw;
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::lead::{CamId, LeadPlan};
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::series::Series;
use keyway_analysis::snapshot::{Snapshot, Sync};
use keyway_analysis::units::Hertz;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What a capture truly holds. Times in seconds from its first row.
#[derive(Deserialize)]
struct Truth {
    seconds: f64,
    revolutions: Vec<TrueTurn>,
    cams: BTreeMap<String, Vec<TrueEdge>>,
    #[serde(default)]
    duty: Vec<TrueDuty>,
    #[serde(default)]
    gaps: Vec<TrueGap>,
    missing_tooth: Option<usize>,
    stand: Option<Span>,
}

#[derive(Deserialize)]
struct TrueTurn {
    start: f64,
    end: f64,
    rpm: f64,
}

#[derive(Deserialize)]
struct TrueEdge {
    at: f64,
    kind: EdgeKind,
    edge: usize,
    phase: f64,
}

#[derive(Deserialize)]
struct TrueDuty {
    cam: CamId,
    from: f64,
    to: f64,
    percent: f64,
    frequency: f64,
}

#[derive(Deserialize)]
struct TrueGap {
    from: f64,
    to: f64,
    samples: u64,
}

#[derive(Deserialize, Clone, Copy)]
struct Span {
    from: f64,
    to: f64,
}

/// A capture after import and analysis.
struct Measured {
    rate: f64,
    /// Index of the capture's first row.
    begin: f64,
    series: Series,
    last: Snapshot,
    truth: Truth,
}

/// Samples of the first levels that a recording of an edge list has before the first row.
const BEFORE_EDGES: f64 = 4.0;

fn captures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/captures")
}

fn text(name: &str, ending: &str) -> String {
    let path = captures().join(format!("{name}.{ending}"));
    fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Imports a capture, opens the recording as any program would, and measures it from end to end.
fn measure(name: &str) -> Measured {
    let folder = Folder::new(name);
    let recording = folder.file("session.mcap");
    let card = Card {
        engine_sheet: text(name, "sheet.toml"),
        ..Card::default()
    };
    let plan = Plan::from_toml(&text(name, "plan.toml")).expect("an import plan");
    let capture = captures().join(format!("{name}.csv"));
    let _: Summary =
        import::run_quietly(&capture, &plan, &recording, &card).unwrap_or_else(|e| panic!("{e}"));
    let recording = Recording::open(&recording).expect("a recording");
    let header = recording.header();
    let sheet = EngineSheet::from_toml(&header.engine_sheet).expect("the sheet");
    let leads = LeadPlan::from_toml(&header.lead_plan).expect("a lead plan");
    let mut blocks = recording.blocks().expect("opened").peekable();
    let generation = match blocks.peek() {
        Some(Ok(first)) => first.generation,
        other => panic!("{other:?}"),
    };
    let stream = recording.stream(generation).expect("the stream");
    let inputs = engines::inputs(&stream.device.channels);
    let mut pipeline =
        Pipeline::new(&sheet, &leads, &inputs, Hertz(stream.rate_hz)).expect("sheet and plan fit");
    pipeline.collect_series();
    for block in blocks {
        let block = block.expect("sound");
        let planes: Vec<&[i16]> = block.channels.iter().map(Vec::as_slice).collect();
        pipeline.push(block.first_index, &planes);
    }
    Measured {
        rate: stream.rate_hz,
        begin: match plan.columns[0].kind {
            Some(Kind::Edges) => BEFORE_EDGES,
            _ => 0.0,
        },
        series: pipeline.drain_series(),
        last: pipeline.snapshot(),
        truth: serde_json::from_str(&text(name, "json")).expect("the truth"),
    }
}

/// How near the figures must come.
struct Limits {
    /// Samples by which one edge may be off its instant.
    samples: f64,
    /// Crank degrees by which a phase may be off beside that.
    degrees: f64,
}

/// A fiftieth of a sample: the times in the file are rounded to a hundredth, and the import keeps an edge to
/// 1/8000. Between teeth a hundredth of a degree for what a cubic through four of them leaves of an ordinary ripple.
const EDGE_LIST: Limits = Limits {
    samples: 0.02,
    degrees: 0.01,
};
/// A tenth of a sample: noise of a fiftieth of a volt on a slope of some volts a sample, and a straight line
/// between samples of a curve.
const SAMPLED: Limits = Limits {
    samples: 0.1,
    degrees: 0.01,
};

/// Turns that may pass before each turn must be there: the gap has to be seen twice.
const LOCKED_AFTER: usize = 2;
/// Turns before each cam edge must be there: one turn of the cam tells the cycle, another confirms it.
const TOLD_AFTER: usize = LOCKED_AFTER + 4;

impl Measured {
    /// The instant in the recording of a time in the capture, in samples.
    fn index(&self, seconds: f64) -> f64 {
        self.begin + seconds * self.rate
    }

    /// When nothing was lost or stood still at `at`, nor within so many turns before.
    fn is_owed(&self, at: f64, turns: usize) -> bool {
        let gaps = self.truth.gaps.iter().map(|g| Span {
            from: g.from,
            to: g.to,
        });
        let begin = Span {
            from: -1.0,
            to: 0.0,
        };
        let mut breaks = gaps.chain(self.truth.stand).chain([begin]);
        breaks.all(|b| {
            let after = self.truth.revolutions.iter().filter(|t| t.start >= b.to);
            let owed_from = after.map(|t| t.start).nth(turns).unwrap_or(f64::INFINITY);
            // A cam edge waits for two teeth after it, so what came just before is lost with the teeth.
            at < b.from - 0.01 || at >= owed_from
        })
    }

    /// Every turn that was measured is a true one at its true speed, and none is missing.
    fn check_turns(&self, limits: &Limits) {
        let near = |a: f64, b: f64| (self.index(a) - b).abs() <= limits.samples;
        for r in &self.series.revolutions {
            let turn = |t: &&TrueTurn| near(t.start, r.start.0) && near(t.end, r.end.0);
            let t = self.truth.revolutions.iter().find(turn);
            let t = t.unwrap_or_else(|| panic!("no such turn: {r:?}"));
            let length = (t.end - t.start) * self.rate;
            let error = (r.speed.0 / t.rpm - 1.0).abs() * length;
            assert!(error <= 2.0 * limits.samples, "{r:?}: {} rpm", t.rpm);
        }
        for t in &self.truth.revolutions {
            let found = |r| near(t.start, r);
            // The tooth that ends a turn counts when the next has come.
            let told = t.end + 0.1 * (t.end - t.start) < self.truth.seconds;
            if told && self.is_owed(t.start, LOCKED_AFTER) && self.is_owed(t.end, LOCKED_AFTER) {
                let mut starts = self.series.revolutions.iter().map(|r| r.start.0);
                assert!(starts.any(found), "missed the turn at {} s", t.start);
            }
        }
    }

    /// Equal teeth do not tell where a turn begins: only its speed can be compared.
    fn check_speeds(&self) {
        assert!(self.series.revolutions.len() + LOCKED_AFTER >= self.truth.revolutions.len());
        for r in &self.series.revolutions {
            let during =
                |t: &&TrueTurn| self.index(t.end) > r.start.0 && self.index(t.start) < r.end.0;
            let speeds = self.truth.revolutions.iter().filter(during).map(|t| t.rpm);
            let (low, high) =
                speeds.fold((f64::INFINITY, 0.0_f64), |(l, h), s| (l.min(s), h.max(s)));
            // The speed of a turn lies between those of the turns that overlap it; at either end of the capture
            // only one does, and the next would differ by less than a percent.
            assert!(
                (0.99 * low..1.01 * high).contains(&r.speed.0),
                "{r:?}: {low} to {high}"
            );
        }
    }

    /// Every phase is that of a true edge, told by its number, and none is missing.
    fn check_phases(&self, cam: usize, limits: &Limits) {
        let id = self.last.cams[cam].id.to_string();
        let edges = &self.truth.cams[&id];
        let own: Vec<_> = self.series.phases.iter().filter(|p| p.cam == cam).collect();
        let near = |t: &TrueEdge, at: f64| (self.index(t.at) - at).abs() <= limits.samples;
        for p in &own {
            let t = edges.iter().find(|t| near(t, p.at.0));
            let t = t.unwrap_or_else(|| panic!("{id}: no such edge: {p:?}"));
            assert_eq!(p.edge, t.edge, "{id} at {} s", t.at);
            let rising = if t.kind == EdgeKind::Rising { 0 } else { 1 };
            assert_eq!(p.edge % 2, rising, "{id} at {} s", t.at);
            let speed = self
                .truth
                .revolutions
                .iter()
                .min_by(|a, b| (a.start - t.at).abs().total_cmp(&(b.start - t.at).abs()));
            let sample = 6.0 * speed.expect("turns").rpm / self.rate;
            // The cam edge itself, and the teeth about it: in a gap a cubic adds up to twice the error of one.
            let limit = limits.degrees + 3.0 * limits.samples * sample;
            let error = (p.phase.0 - t.phase).abs();
            assert!(
                error <= limit,
                "{id} at {} s: {} for {}, {limit} allowed",
                t.at,
                p.phase.0,
                t.phase
            );
        }
        for t in edges.iter().filter(|t| t.at < self.truth.seconds - 0.1) {
            if self.is_owed(t.at, TOLD_AFTER) {
                assert!(
                    own.iter().any(|p| near(t, p.at.0)),
                    "{id}: missed the edge at {} s",
                    t.at
                );
            }
        }
    }

    /// Every period of the command, and none missing.
    fn check_duty(&self, limits: &Limits) {
        for d in &self.truth.duty {
            let mut count = 0.0;
            for (cam, p) in &self.series.periods {
                let within = p.end.0 - p.length > self.index(d.from - 0.001)
                    && p.end.0 < self.index(d.to + 0.001);
                if *cam == d.cam && within {
                    count += 1.0;
                    // Either end of a pulse is as exact as any edge.
                    let error = 2.0 * limits.samples * d.frequency / self.rate;
                    let percent = 100.0 * p.low / p.length;
                    assert!(
                        (percent - d.percent).abs() <= 100.0 * error,
                        "{percent} % for {}",
                        d.percent
                    );
                    let frequency = self.rate / p.length;
                    assert!(
                        (frequency / d.frequency - 1.0).abs() <= error,
                        "{frequency} Hz"
                    );
                }
            }
            assert!(
                count > (d.to - d.from) * d.frequency - 3.0,
                "{count} periods"
            );
        }
    }
}

fn check(name: &str, limits: &Limits) -> Measured {
    let m = measure(name);
    if name == "even_teeth" {
        m.check_speeds();
    } else {
        m.check_turns(limits);
    }
    let cams = 0..m.last.cams.len();
    cams.for_each(|cam| m.check_phases(cam, limits));
    assert_eq!(m.last.cams.len(), m.truth.cams.len());
    m.check_duty(limits);
    let whole = if m.last.cams.is_empty() {
        Sync::Revolution
    } else {
        Sync::Cycle
    };
    assert_eq!(m.last.sync, whole);
    let counts = m.last.counts;
    assert_eq!(counts.gaps, m.truth.gaps.len() as u64);
    assert_eq!(
        counts.lost,
        m.truth.gaps.iter().map(|g| g.samples).sum::<u64>()
    );
    if m.truth.stand.is_none() {
        assert_eq!((counts.sync_losses, counts.stray_cam_edges), (0, 0));
    }
    m
}

#[test]
fn a_sampled_coil_with_decimal_commas_and_a_unit_row() {
    let _: Measured = check("vr_with_decimal_commas", &SAMPLED);
}

#[test]
fn edge_lists_of_a_crank_and_two_cams() {
    let _: Measured = check("hall_edge_list", &EDGE_LIST);
}

#[test]
fn a_wheel_of_three_gaps_at_the_starter() {
    // Its times are whole microseconds, a tenth of a sample; 0.3 degrees is what is to be reached under ripple.
    let limits = Limits {
        samples: 0.06,
        degrees: 0.3,
    };
    let _: Measured = check("cranking_ripple", &limits);
}

#[test]
fn equal_teeth_whose_place_the_cam_tells() {
    let _: Measured = check("even_teeth", &EDGE_LIST);
}

#[test]
fn a_phaser_step_and_its_command() {
    let m = check("phaser_step", &EDGE_LIST);
    assert_eq!(m.truth.duty.len(), 3);
    let last = m.last.cams[0].phase.valid().expect("a phase").0;
    assert!((last - 30.0).abs() < 0.1, "{last}");
}

#[test]
fn a_coil_with_spikes_drift_and_a_missing_tooth() {
    // A spike within three samples of a crossing makes another crossing, and the middle of both is taken. The
    // drift of the offset adds a tenth.
    let limits = Limits {
        samples: 1.6,
        ..SAMPLED
    };
    let m = check("vr_with_spikes", &limits);
    // Named from 0 by the analysis, from 1 by people.
    let named = (m.truth.missing_tooth.expect("a tooth") - 1, Flaw::Missing);
    assert_eq!(m.last.damaged_teeth, [named]);
}

#[test]
fn samples_that_the_instrument_lost() {
    let m = check("dropped_samples", &SAMPLED);
    for gap in &m.truth.gaps {
        let there = |at: f64| (at - m.index(gap.from)).abs() < 1.5;
        assert!(
            m.last.events.iter().any(|e| there(e.at.0)),
            "{} s",
            gap.from
        );
    }
}

#[test]
fn times_that_were_rounded() {
    // Until teeth have told it, the zero level of a coil is the mean of what was seen: off by the flux swing of a
    // tooth, 80 samples, over the time seen: 80^2 / (2 pi^2 * 400 samples) at the first turn, 0.8.
    let limits = Limits {
        samples: 0.8,
        ..SAMPLED
    };
    let _: Measured = check("rounded_time", &limits);
}

#[test]
fn a_stop_a_rock_back_and_a_restart() {
    // While the speed falls to nothing within a turn, a cubic is wrong by more.
    let limits = Limits {
        degrees: 0.3,
        ..EDGE_LIST
    };
    let m = check("stop_and_restart", &limits);
    assert!(m.truth.stand.is_some());
}
