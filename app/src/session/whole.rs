//! A recording measured from end to end beside the player, as fast as the machine can: findings,
//! trials and base timing rest on the whole of it, wherever the player stands.

use super::analyser::Analyser;
use super::orders::Script;
use crate::fault::Fault;
use crate::setup::Setup;
use arc_swap::ArcSwap;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::{Hertz, SampleTime};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Time between two reports of how far it is.
const REPORT_EVERY: Duration = Duration::from_millis(200);

/// How far it is, and what was found up to there.
#[derive(Debug, Clone, Default)]
pub struct Standing {
    /// Share that is measured, 0 to 1.
    pub share: f64,
    /// What was found up to there; none before the first samples.
    pub found: Option<Found>,
}

/// What was found, and how its times are those of the recording.
#[derive(Debug, Clone)]
pub struct Found {
    /// The state of everything at the end of what was measured.
    pub snapshot: Arc<Snapshot>,
    /// First sample of its stream.
    begin: SampleTime,
    /// Seconds from the start of the recording to that sample.
    offset: f64,
    rate: Hertz,
}

impl Found {
    /// Of a recording that consists of one stream from its first sample on.
    pub fn at_rate(snapshot: &Arc<Snapshot>) -> Self {
        Self {
            snapshot: Arc::clone(snapshot),
            begin: SampleTime(0.0),
            offset: 0.0,
            rate: Hertz(snapshot.at.0 / snapshot.elapsed.0),
        }
    }

    /// Seconds from the start of the recording.
    pub fn seconds(&self, at: SampleTime) -> f64 {
        (self.offset + at.since(self.begin, self.rate).0).max(0.0)
    }
}

/// The measuring. Dropping it stops it and waits for its end.
#[derive(Debug)]
pub struct Whole {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Whole {
    /// Begins; results are put into `place`. What stands there stays until the first new ones.
    pub fn start(
        recording: &Recording,
        setup: &Setup,
        script: &Script,
        place: &Arc<ArcSwap<Standing>>,
    ) -> Result<Self, Fault> {
        let stop = Arc::new(AtomicBool::new(false));
        let analyser = Analyser::new(setup.clone());
        let thread = std::thread::Builder::new()
            .name("whole".to_owned())
            .spawn({
                let (recording, script) = (recording.clone(), script.clone());
                let (stop, place) = (Arc::clone(&stop), Arc::clone(place));
                move || measure(&recording, analyser, script, &stop, &place)
            })
            .map_err(|e| Fault::Start {
                what: "the measuring of the recording",
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            stop,
            thread: Some(thread),
        })
    }
}

impl Drop for Whole {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the measuring of the recording stopped by a fault of the program");
        }
    }
}

fn measure(
    recording: &Recording,
    mut analyser: Analyser,
    mut script: Script,
    stop: &AtomicBool,
    place: &ArcSwap<Standing>,
) {
    // What cannot be read the player says; the rest is measured all the same.
    let Ok(mut blocks) = recording.blocks() else {
        return;
    };
    let length = recording.duration().as_secs_f64().max(1e-3);
    let mut stream: Option<(u64, SampleTime, f64, Hertz)> = None;
    let mut reported = Instant::now();
    let found = |analyser: &Analyser, stream: Option<(u64, SampleTime, f64, Hertz)>| {
        let ((_, begin, offset, rate), snapshot) = (stream?, analyser.snapshot()?);
        Some(Found {
            snapshot: Arc::new(snapshot),
            begin,
            offset,
            rate,
        })
    };
    while let Some(block) = blocks.next() {
        if stop.load(Ordering::Relaxed) {
            return;
        }
        let Ok(block) = block else {
            continue;
        };
        let position = blocks.position().as_secs_f64();
        if stream.map(|s| s.0) != Some(block.generation) {
            let Some(info) = recording.stream(block.generation) else {
                continue;
            };
            if analyser.begin(info).is_err() {
                return;
            }
            let begin = block.first_index;
            script.begin(&mut analyser, block.generation, begin);
            let seconds = block.len() as f64 / info.rate_hz;
            stream = Some((
                block.generation,
                SampleTime(begin as f64),
                position - seconds,
                Hertz(info.rate_hz),
            ));
        }
        script.feed(&mut analyser, &block);
        if reported.elapsed() >= REPORT_EVERY {
            reported = Instant::now();
            place.store(Arc::new(Standing {
                share: (position / length).min(1.0),
                found: found(&analyser, stream),
            }));
        }
    }
    place.store(Arc::new(Standing {
        share: 1.0,
        found: found(&analyser, stream),
    }));
}
