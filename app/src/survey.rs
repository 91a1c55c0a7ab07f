//! A whole recording measured with the same pipeline as live: what `analyse` prints and draws.

use crate::fault::Fault;
use crate::output;
use crate::session::analyser::Analyser;
use keyway_acquisition::block::SampleBlock;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::{AgreementState, CamPoint, Counts, Event, HistoryPoint, Snapshot};
use keyway_analysis::units::{Hertz, SampleTime};
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The measurements.
#[derive(Debug, Clone)]
pub struct Survey {
    /// Engine, file.
    pub title: String,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Instant of the first sample: a recording may begin in the middle of a stream.
    pub begin: SampleTime,
    /// Length.
    pub seconds: f64,
    /// 20 points a second over the whole length.
    pub points: Vec<HistoryPoint>,
    /// Changes of state.
    pub events: Vec<Event>,
    /// Counts.
    pub counts: Counts,
    /// Engine speed in rpm; none if never known.
    pub speed: Option<Spread>,
    /// Per cam of the sheet.
    pub cams: Vec<CamSurvey>,
}

/// One cam over the whole recording.
#[derive(Debug, Clone, Serialize)]
pub struct CamSurvey {
    /// Which.
    pub id: CamId,
    /// Phase in crank degrees, advance positive.
    pub phase: Option<Spread>,
    /// Duty in percent.
    pub duty: Option<Spread>,
    /// Seconds in each agreement state, by its words.
    pub states: BTreeMap<&'static str, f64>,
    /// Whether any of them was a disagreement.
    pub disagreed: bool,
}

/// Mean, standard deviation and ends of the points that were valid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// Points it rests on, 20 a second.
    pub points: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub spread: f64,
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

impl Spread {
    /// Over any number of values; none over none. Two passes, so that no digits cancel.
    pub fn of(values: impl Iterator<Item = f64> + Clone) -> Option<Self> {
        let points = values.clone().count();
        if points == 0 {
            return None;
        }
        let n = points as f64;
        let mean = values.clone().sum::<f64>() / n;
        let square = values.clone().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
        Some(Self {
            points,
            mean,
            spread: square.sqrt(),
            low: values.clone().fold(f64::INFINITY, f64::min),
            high: values.fold(f64::NEG_INFINITY, f64::max),
        })
    }
}

/// Seconds of samples between two looks at the history, which reaches back 60 s; an onset is
/// written back by less than the difference.
const GATHER_EVERY: f64 = 20.0;

/// One survey per stream of the recording, in order: across a reconnection nothing is measured.
/// What cannot be read is told and passed over.
pub fn of(
    recording: &Recording,
    mut analyser: Analyser,
    title: &str,
) -> Result<Vec<Survey>, Fault> {
    let mut surveys = Vec::new();
    let mut leg: Option<Leg> = None;
    let blocks = recording
        .blocks()
        .map_err(|e| Fault::Recording(Arc::from(e.to_string())))?;
    for block in blocks {
        let block = match block {
            Ok(block) => block,
            Err(e) => {
                output::complain(&e.to_string());
                continue;
            }
        };
        if leg.as_ref().map(|l| l.generation) != Some(block.generation) {
            surveys.extend(leg.take().and_then(|l| l.finish(title, &analyser)));
            let Some(stream) = recording.stream(block.generation) else {
                continue;
            };
            analyser.begin(stream)?;
            leg = Some(Leg::begin(&block, stream.rate_hz));
        }
        analyser.push(&block);
        if let Some(leg) = &mut leg {
            leg.gather_if_due(block.end_index(), &analyser);
        }
    }
    surveys.extend(leg.and_then(|l| l.finish(title, &analyser)));
    Ok(surveys)
}

/// A stream that is being surveyed.
#[derive(Debug)]
struct Leg {
    generation: u64,
    rate_hz: f64,
    begin: SampleTime,
    points: Vec<HistoryPoint>,
    due: f64,
}

impl Leg {
    fn begin(first: &SampleBlock, rate_hz: f64) -> Self {
        let begin = SampleTime(first.first_index as f64);
        Self {
            generation: first.generation,
            rate_hz,
            begin,
            points: Vec::new(),
            due: begin.0 + GATHER_EVERY * rate_hz,
        }
    }

    fn gather_if_due(&mut self, end: u64, analyser: &Analyser) {
        if end as f64 >= self.due
            && let Some(snapshot) = analyser.snapshot()
        {
            self.due = end as f64 + GATHER_EVERY * self.rate_hz;
            self.gather(&snapshot);
        }
    }

    /// Takes in a snapshot. Points it has again replace the earlier ones, because an onset found
    /// late is written back into them.
    fn gather(&mut self, snapshot: &Snapshot) {
        if let Some(first) = snapshot.history.first() {
            let keep = self.points.partition_point(|p| p.at.0 < first.at.0);
            self.points.truncate(keep);
            self.points.extend(snapshot.history.iter().cloned());
        }
    }

    /// The survey; the last snapshot has events and counts.
    fn finish(mut self, title: &str, analyser: &Analyser) -> Option<Survey> {
        let last = analyser.snapshot()?;
        self.gather(&last);
        let points = self.points;
        // Live they stand in the order in which they were decided; here in that of their onsets.
        let mut events = last.events.to_vec();
        events.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
        let cams = last
            .cams
            .iter()
            .enumerate()
            .map(|(i, cam)| cam_survey(cam.id, i, &points))
            .collect();
        Some(Survey {
            title: title.to_owned(),
            rate_hz: self.rate_hz,
            begin: self.begin,
            seconds: last.at.since(self.begin, Hertz(self.rate_hz)).0,
            speed: Spread::of(points.iter().filter_map(|p| p.speed).map(|s| s.0)),
            events,
            counts: last.counts,
            cams,
            points,
        })
    }
}

impl Survey {
    /// Seconds from the begin of the recording.
    pub fn seconds_at(&self, at: SampleTime) -> f64 {
        at.since(self.begin, Hertz(self.rate_hz)).0
    }
}

fn cam_survey(id: CamId, index: usize, points: &[HistoryPoint]) -> CamSurvey {
    let own = points.iter().filter_map(|p| p.cams.get(index));
    let mut counts: BTreeMap<AgreementState, usize> = BTreeMap::new();
    for CamPoint { state, .. } in own.clone() {
        *counts.entry(*state).or_default() += 1;
    }
    CamSurvey {
        id,
        phase: Spread::of(own.clone().filter_map(|c| c.phase).map(|p| p.0)),
        duty: Spread::of(own.filter_map(|c| c.duty).map(|d| d.0)),
        disagreed: counts.keys().any(|state| state.is_disagreement()),
        states: counts
            .into_iter()
            .map(|(state, n)| (state.words(), n as f64 / 20.0))
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_of_known_values() {
        let s = Spread::of([2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0].into_iter()).unwrap();
        assert!((s.mean - 5.0).abs() < 1e-12 && (s.spread - 2.0).abs() < 1e-12);
        assert!((s.low - 2.0).abs() < 1e-12 && (s.high - 9.0).abs() < 1e-12);
        assert_eq!(Spread::of(std::iter::empty()), None);
    }
}
