//! A recording measured from end to end beside the player, as fast as the machine can: findings,
//! trials and base timing rest on the whole of it, wherever the player stands.

use super::analyser::Analyser;
use super::orders::Script;
use crate::fault::Fault;
use crate::review::course::Course;
use crate::review::course::builder::{Builder, Leg};
use crate::review::course::side_file::{self, Owner};
use crate::setup::Setup;
use crate::work::Progress;
use arc_swap::ArcSwap;
use keyway_acquisition::recording::error::ReadError;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::{Hertz, SampleTime};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Time between two reports of how far it is.
const REPORT_EVERY: Duration = Duration::from_millis(200);

/// Time between two new courses: each is a copy of all points so far, a few megabytes for an hour.
const COURSE_EVERY: Duration = Duration::from_secs(1);

/// How far it is, and what was found up to there.
#[derive(Debug, Clone, Default)]
pub struct Standing {
    /// Share that is measured, 0 to 1.
    pub share: f64,
    /// What was found up to there; none before the first samples.
    pub found: Option<Found>,
    /// The course up to there, or the whole one where it was kept beside the recording.
    pub course: Option<Arc<Course>>,
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
    /// With an `owner` the course is kept beside the recording, and one that is kept is shown first.
    pub fn start(
        recording: &Recording,
        setup: &Setup,
        script: &Script,
        owner: Option<Owner>,
        place: &Arc<ArcSwap<Standing>>,
    ) -> Result<Self, Fault> {
        let stop = Arc::new(AtomicBool::new(false));
        let analyser = Analyser::new(setup.clone());
        let thread = std::thread::Builder::new()
            .name("whole".to_owned())
            .spawn({
                let measuring = Measuring {
                    recording: recording.clone(),
                    analyser,
                    script: script.clone(),
                    builder: Builder::new(&setup.sheet),
                    owner,
                    kept: None,
                };
                let (stop, place) = (Arc::clone(&stop), Arc::clone(place));
                move || measuring.run(&stop, &place)
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

/// The course of a whole recording: the one that is kept beside it if it fits, else measured here,
/// which may take a while. Nothing is written.
pub fn course_of(
    recording: &Recording,
    setup: &Setup,
    script: Script,
    progress: &Progress,
) -> Result<Arc<Course>, Fault> {
    if let Some(kept) = side_file::read(recording.path(), &Owner::of(recording, setup)) {
        return Ok(Arc::new(kept));
    }
    let place = ArcSwap::from_pointee(Standing::default());
    let measuring = Measuring {
        recording: recording.clone(),
        analyser: Analyser::new(setup.clone()),
        script,
        builder: Builder::new(&setup.sheet),
        owner: None,
        kept: None,
    };
    measuring.run(progress.flag(), &place);
    progress.check()?;
    let course = place.load().course.clone();
    course.filter(|c| c.is_complete).ok_or_else(|| {
        Fault::Recording(Arc::from(format!(
            "{} cannot be measured with its engine sheet and lead plan",
            recording.path().display()
        )))
    })
}

struct Measuring {
    recording: Recording,
    analyser: Analyser,
    script: Script,
    builder: Builder,
    /// What the course belongs to, if it is to be kept.
    owner: Option<Owner>,
    /// The whole course as it was kept.
    kept: Option<Arc<Course>>,
}

impl Measuring {
    fn run(mut self, stop: &AtomicBool, place: &ArcSwap<Standing>) {
        let owner = self.owner.as_ref();
        self.kept = owner
            .and_then(|owner| side_file::read(self.recording.path(), owner))
            .map(Arc::new);
        if self.kept.is_some() {
            let before = place.load_full();
            place.store(Arc::new(Standing {
                course: self.kept.clone(),
                ..(*before).clone()
            }));
        }
        // What cannot be read the player says; the rest is measured all the same.
        let Ok(mut blocks) = self.recording.blocks() else {
            return;
        };
        let length = self.recording.duration().as_secs_f64().max(1e-3);
        let (mut reported, mut copied) = (Instant::now(), None);
        while let Some(block) = blocks.next() {
            if stop.load(Ordering::Relaxed) {
                return;
            }
            let block = match block {
                Ok(block) => block,
                Err(ReadError::Damaged {
                    from_seconds,
                    to_seconds,
                    ..
                }) => {
                    self.builder.damaged(from_seconds, to_seconds);
                    continue;
                }
                Err(_) => continue,
            };
            let position = blocks.position().as_secs_f64();
            if self.builder.leg().map(|l| l.generation) != Some(block.generation) {
                let Some(info) = self.recording.stream(block.generation).cloned() else {
                    continue;
                };
                self.gather();
                if self.analyser.begin(&info).is_err() {
                    return;
                }
                let begin = block.first_index;
                let seconds = block.len() as f64 / info.rate_hz;
                self.builder.begin(Leg {
                    generation: block.generation,
                    begin: SampleTime(begin as f64),
                    offset: position - seconds,
                    rate: Hertz(info.rate_hz),
                });
                self.script
                    .begin(&mut self.analyser, block.generation, begin);
            }
            self.script.feed(&mut self.analyser, &block);
            if self.builder.passed(&block, position) {
                self.gather();
            }
            if reported.elapsed() >= REPORT_EVERY {
                reported = Instant::now();
                let is_due = copied.is_none_or(|c: Instant| c.elapsed() >= COURSE_EVERY);
                if is_due {
                    copied = Some(Instant::now());
                    self.gather();
                }
                let course = match &self.kept {
                    Some(kept) => Some(Arc::clone(kept)),
                    None if is_due => Some(Arc::new(self.builder.so_far())),
                    None => place.load().course.clone(),
                };
                place.store(Arc::new(Standing {
                    share: (position / length).min(1.0),
                    found: self.found(),
                    course,
                }));
            }
        }
        self.gather();
        let found = self.found();
        let course = self
            .builder
            .finished(self.recording.duration().as_secs_f64());
        if let Some(owner) = &self.owner
            && self.kept.is_none()
            && let Err(e) = side_file::save(self.recording.path(), owner, &course)
        {
            tracing::info!("the course is not kept: {e}");
        }
        place.store(Arc::new(Standing {
            share: 1.0,
            found,
            course: Some(Arc::new(course)),
        }));
    }

    fn gather(&mut self) {
        if let Some(snapshot) = self.analyser.snapshot() {
            self.builder.gather(&snapshot);
        }
    }

    fn found(&self) -> Option<Found> {
        let (leg, snapshot) = (self.builder.leg()?, self.analyser.snapshot()?);
        Some(Found {
            snapshot: Arc::new(snapshot),
            begin: leg.begin,
            offset: leg.offset,
            rate: leg.rate,
        })
    }
}
