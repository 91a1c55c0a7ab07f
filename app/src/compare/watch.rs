//! What is noted of a recording while it is measured: the state of everything four times a second, so
//! that like can be taken with like.

use crate::session::analyser::Analyser;
use keyway_acquisition::block::SampleBlock;
use keyway_analysis::engine::{CamSheet, EngineSheet};
use keyway_analysis::lead::Role;
use keyway_analysis::proof::{GROUND, ProofState};
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::{CamSnapshot, Snapshot};

/// Seconds between two looks: more than the 0.2 s over which a figure of the snapshot is a mean, so
/// that two looks share no sample.
pub const EVERY: f64 = 0.25;
/// A command must have been at rest for this long, seconds: a warm phaser is home from full travel in
/// 1.2 s, and the phase is a mean over a cam revolution (as the watch of the base timing takes it).
const RESTS_AFTER: f64 = 2.0;
/// The speed must have been at idle for this long, seconds: the controller settles.
const IDLES_AFTER: f64 = 1.0;

/// The state of everything at one instant.
#[derive(Debug, Clone)]
pub struct Tick {
    /// Seconds from the begin of the stream.
    pub at: f64,
    /// Engine speed, rpm, if valid.
    pub speed: Option<f64>,
    /// Whether it has idled for a while.
    pub idles: bool,
    /// Mean supply and its ripple, volts, if valid.
    pub supply: [Option<f64>; 2],
    /// Per cam of the sheet.
    pub cams: Vec<CamTick>,
    /// The leads that are proven.
    pub proven: Vec<Role>,
}

/// One cam at one instant.
#[derive(Debug, Clone, Copy)]
pub struct CamTick {
    /// What the command does.
    pub command: Does,
    /// Whether the command has let it rest for a while.
    pub rests: bool,
    /// Level while on, volts; level while off, volts; mean current, amperes; each if valid.
    pub levels: [Option<f64>; 3],
}

/// What a command does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Does {
    /// It lets the cam rest, or the cam has no phaser.
    Rest,
    /// It drives.
    Drive,
    /// Not known.
    Unknown,
}

/// Looks on while a recording is measured.
#[derive(Debug, Default)]
pub struct Watch {
    /// One list per stream.
    pub streams: Vec<Vec<Tick>>,
    /// Index of the first sample of the stream, and its number.
    stream: Option<(u64, u64)>,
    due: f64,
    idle_since: Option<f64>,
    rest_since: Vec<Option<f64>>,
}

impl Watch {
    /// A block was measured.
    pub fn look(&mut self, block: &SampleBlock, analyser: &Analyser, rate: f64) {
        if self.stream.map(|(_, generation)| generation) != Some(block.generation) {
            *self = Self {
                streams: std::mem::take(&mut self.streams),
                stream: Some((block.first_index, block.generation)),
                due: EVERY,
                ..Self::default()
            };
            self.streams.push(Vec::new());
        }
        let first = self.stream.map_or(0, |(first, _)| first);
        let at = block.end_index().saturating_sub(first) as f64 / rate;
        if at < self.due {
            return;
        }
        self.due = at + EVERY;
        if let Some(snapshot) = analyser.snapshot() {
            let tick = self.tick(at, &snapshot, &analyser.setup().sheet);
            if let Some(stream) = self.streams.last_mut() {
                stream.push(tick);
            }
        }
    }

    fn tick(&mut self, at: f64, snapshot: &Snapshot, sheet: &EngineSheet) -> Tick {
        let speed = snapshot.speed.valid();
        let lasts = |since: &mut Option<f64>, is_so: bool, least: f64| {
            *since = if is_so { since.or(Some(at)) } else { None };
            since.is_some_and(|since| at - since >= least)
        };
        let idling = speed.is_some_and(|s| sheet.idle.contains(s));
        let idles = lasts(&mut self.idle_since, idling, IDLES_AFTER);
        self.rest_since.resize(sheet.cams.len(), None);
        let cams = (sheet.cams.iter().zip(&snapshot.cams))
            .zip(&mut self.rest_since)
            .map(|((sheet, cam), since)| {
                let command = does(sheet, cam);
                CamTick {
                    command,
                    rests: lasts(since, command == Does::Rest, RESTS_AFTER),
                    levels: [
                        cam.command.low.valid().map(|v| v.0),
                        cam.command.high.valid().map(|v| v.0),
                        cam.command.current.valid().map(|v| v.0),
                    ],
                }
            })
            .collect();
        let ripple = snapshot.supply_ripple.valid();
        Tick {
            at,
            speed: speed.map(|s| s.0),
            idles,
            supply: [snapshot.supply.valid(), ripple].map(|v| v.map(|v| v.0)),
            cams,
            proven: (snapshot.leads.iter())
                .filter(|lead| lead.proof == ProofState::Proven)
                .map(|lead| lead.role)
                .collect(),
        }
    }
}

/// What the command of a cam does.
fn does(sheet: &CamSheet, cam: &CamSnapshot) -> Does {
    let Some(phaser) = &sheet.phaser else {
        return Does::Rest;
    };
    match cam.command.duty {
        Reading::Valid(duty) if duty < phaser.rest_below => Does::Rest,
        Reading::Valid(_) => Does::Drive,
        Reading::Missing(Why::Static(volts)) if volts >= GROUND => Does::Rest,
        Reading::Stale(..) | Reading::Suspect(..) | Reading::Missing(_) => Does::Unknown,
    }
}
