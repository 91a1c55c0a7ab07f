//! Joins the histories of snapshots, each 60 s long, into the course of a whole recording.

use super::{Absent, Course, Event, Why};
use keyway_acquisition::block::SampleBlock;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::snapshot::{AgreementState, HistoryPoint, Snapshot};
use keyway_analysis::units::{Band, CrankDegrees, Hertz, SampleTime};

/// Seconds of samples between two looks at the history, which reaches back 60 s; an onset is
/// written back by less than the difference.
pub const GATHER_EVERY: f64 = 20.0;

/// Where a stream stands in the recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    /// Stream.
    pub generation: u64,
    /// Its first recorded sample.
    pub begin: SampleTime,
    /// Seconds from the start of the recording to that sample.
    pub offset: f64,
    /// Samples per second and channel.
    pub rate: Hertz,
}

impl Leg {
    /// Seconds since the start of the recording.
    pub fn seconds(&self, at: SampleTime) -> f64 {
        self.offset + at.since(self.begin, self.rate).0
    }
}

/// A course that grows.
#[derive(Debug, Clone)]
pub struct Builder {
    course: Course,
    leg: Option<Leg>,
    /// Points and events before the present stream.
    earlier: [usize; 2],
    /// When the history is to be looked at next, as an index of the stream.
    due: f64,
    /// Stream, next index and time of the samples so far.
    before: Option<(u64, u64, f64)>,
}

impl Builder {
    /// Nothing measured yet.
    pub fn new(sheet: &EngineSheet) -> Self {
        Self {
            course: Course::new(sheet.cams.iter().map(|c| c.cam)),
            leg: None,
            earlier: [0; 2],
            due: 0.0,
            before: None,
        }
    }

    /// A stream begins; the one before has been gathered to its end.
    pub fn begin(&mut self, leg: Leg) {
        self.earlier = [self.course.len(), self.course.events.len()];
        self.due = leg.begin.0 + GATHER_EVERY * leg.rate.0;
        self.leg = Some(leg);
    }

    /// The present stream.
    pub fn leg(&self) -> Option<Leg> {
        self.leg
    }

    /// A block was fed that ends at `end`, seconds since the start of the recording: what is
    /// missing before it is noted. Whether the history has to be gathered now.
    pub fn passed(&mut self, block: &SampleBlock, end: f64) -> bool {
        let Some(leg) = self.leg else {
            return false;
        };
        let begin = end - block.len() as f64 / leg.rate.0;
        if let Some((generation, index, to)) = self.before {
            let why = if generation != block.generation {
                Some(Why::NoStream)
            } else if block.first_index > index {
                Some(Why::Lost(block.first_index - index))
            } else {
                None
            };
            self.course.absent.extend(why.map(|why| Absent {
                from: to,
                to: begin,
                why,
            }));
        }
        self.before = Some((block.generation, block.end_index(), end));
        block.end_index() as f64 >= self.due
    }

    /// A stretch of the file cannot be read.
    pub fn damaged(&mut self, from: f64, to: f64) {
        self.course.absent.push(Absent {
            from,
            to,
            why: Why::Damaged,
        });
        self.before = None;
    }

    /// Takes in the history of a snapshot of the present stream. Points it has again replace the
    /// earlier ones, because an onset found late is written back into them.
    pub fn gather(&mut self, snapshot: &Snapshot) {
        let Some(leg) = self.leg else {
            return;
        };
        self.due = snapshot.at.0 + GATHER_EVERY * leg.rate.0;
        // A recording may begin in the middle of a stream that was measured before.
        let first = snapshot.history.partition_point(|p| p.at < leg.begin);
        let points = &snapshot.history[first..];
        if let Some(first) = points.first() {
            let again = leg.seconds(first.at) - 1e-9;
            let own = &self.course.at[self.earlier[0]..];
            let keep = self.earlier[0] + own.partition_point(|at| *at < again);
            self.course.truncate(keep);
            for point in points {
                self.push(leg, point);
            }
        }
        self.course.events.truncate(self.earlier[1]);
        let events = snapshot.events.iter().filter(|e| e.at >= leg.begin);
        self.course.events.extend(events.map(|e| Event {
            at: leg.seconds(e.at),
            cam: e.cam,
            is_disagreement: e.state.is_some_and(AgreementState::is_disagreement),
            text: e.text.clone(),
        }));
        // Live they stand in the order in which they were decided; here in that of their onsets.
        self.course.events[self.earlier[1]..].sort_by(|a, b| a.at.total_cmp(&b.at));
        self.course.measured = leg.seconds(snapshot.at).max(self.course.measured);
    }

    fn push(&mut self, leg: Leg, point: &HistoryPoint) {
        let course = &mut self.course;
        course.at.push(leg.seconds(point.at));
        course.speed.push(point.speed.map(|v| single(v.0)));
        course.supply.push(point.supply.map(|v| single(v.0)));
        for (i, cam) in course.cams.iter_mut().enumerate() {
            let measured = point.cams.get(i);
            cam.duty
                .push(measured.and_then(|c| c.duty).map(|v| single(v.0)));
            cam.phase
                .push(measured.and_then(|c| c.phase).map(|v| single(v.0)));
            cam.due.push(measured.and_then(|c| c.due).map(band));
            cam.state
                .push(measured.map_or(AgreementState::NotJudged, |c| c.state));
        }
    }

    /// What there is so far.
    pub fn so_far(&self) -> Course {
        self.course.clone()
    }

    /// What there is at the end of the recording, `length` seconds long.
    pub fn finished(mut self, length: f64) -> Course {
        self.course.measured = length;
        self.course.is_complete = true;
        self.course
    }
}

fn band(due: Band<CrankDegrees>) -> [f32; 2] {
    [single(due.low.0), single(due.high.0)]
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "f32 holds seven digits, more than any of these has"
)]
fn single(value: f64) -> f32 {
    value as f32
}
