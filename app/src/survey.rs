//! A whole recording measured with the same pipeline as live: what `analyse` prints and draws.

pub mod cam;
pub mod column;
pub mod crank;
pub mod document;
pub mod noise;
pub mod report;
pub mod spread;
pub mod table;

use crate::fault::Fault;
use crate::output;
use crate::session::analyser::Analyser;
use crate::session::orders::Script;
use cam::CamSurvey;
use crank::CrankSurvey;
use keyway_acquisition::block::SampleBlock;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::series::Series;
use keyway_analysis::snapshot::{AgreementState, CamPoint, Event, HistoryPoint, Snapshot};
use keyway_analysis::units::{Hertz, SampleTime};
use spread::Spread;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The measurements of one stream: the time between two reconnections of the scope.
#[derive(Debug, Clone)]
pub struct Survey {
    /// Engine, file.
    pub title: String,
    /// The engine sheet it was measured with.
    pub sheet: Arc<EngineSheet>,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Instant of the first sample: a recording may begin in the middle of a stream.
    pub begin: SampleTime,
    /// Length.
    pub seconds: f64,
    /// 20 points a second over the whole length.
    pub points: Vec<HistoryPoint>,
    /// Changes of state, in the order of their onsets.
    pub events: Vec<Event>,
    /// Engine speed in rpm, 20 points a second; none if never known.
    pub speed: Option<Spread>,
    /// The crank.
    pub crank: CrankSurvey,
    /// Per cam of the sheet.
    pub cams: Vec<CamSurvey>,
    /// The state of everything at the end.
    pub last: Snapshot,
}

/// Seconds of samples between two looks at the history, which reaches back 60 s; an onset is
/// written back by less than the difference.
const GATHER_EVERY: f64 = 20.0;

/// One survey per stream of the recording, in order: across a reconnection nothing is measured.
/// What cannot be read is told and passed over. Single values are kept only `with_series`: about
/// 20 kB for a second of two driven cams.
pub fn of(
    recording: &Recording,
    analyser: Analyser,
    script: Script,
    title: &str,
    with_series: bool,
) -> Result<Vec<Survey>, Fault> {
    watched(recording, analyser, script, title, with_series, |_, _| {
        Ok(())
    })
}

/// The same, with someone who looks on after every block: at how far it is, at the state of
/// everything, and who ends it with a fault.
pub fn watched(
    recording: &Recording,
    mut analyser: Analyser,
    mut script: Script,
    title: &str,
    with_series: bool,
    mut watch: impl FnMut(&SampleBlock, &Analyser) -> Result<(), Fault>,
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
            surveys.extend(leg.take().and_then(|l| l.finish(title, &mut analyser)));
            let Some(stream) = recording.stream(block.generation) else {
                continue;
            };
            analyser.begin(stream)?;
            analyser.collect_series();
            script.begin(&mut analyser, block.generation, block.first_index);
            let sheet = &analyser.setup().sheet;
            leg = Some(Leg::begin(&block, stream.rate_hz, sheet, with_series));
        }
        script.feed(&mut analyser, &block);
        if let Some(leg) = &mut leg {
            leg.take_in(&analyser.drain_series());
            leg.gather_if_due(block.end_index(), &analyser);
        }
        watch(&block, &analyser)?;
    }
    surveys.extend(leg.and_then(|l| l.finish(title, &mut analyser)));
    Ok(surveys)
}

/// A stream that is being surveyed.
#[derive(Debug)]
struct Leg {
    generation: u64,
    rate: Hertz,
    begin: SampleTime,
    points: Vec<HistoryPoint>,
    due: f64,
    crank: CrankSurvey,
    cams: Vec<CamSurvey>,
}

impl Leg {
    fn begin(first: &SampleBlock, rate_hz: f64, sheet: &EngineSheet, with_series: bool) -> Self {
        let begin = SampleTime(first.first_index as f64);
        Self {
            generation: first.generation,
            rate: Hertz(rate_hz),
            begin,
            points: Vec::new(),
            due: begin.0 + GATHER_EVERY * rate_hz,
            crank: CrankSurvey::new(with_series),
            cams: sheet
                .cams
                .iter()
                .map(|cam| CamSurvey::new(cam, with_series))
                .collect(),
        }
    }

    /// Takes in single values as they were measured.
    fn take_in(&mut self, series: &Series) {
        let seconds = |at: SampleTime| at.since(self.begin, self.rate).0;
        for revolution in &series.revolutions {
            self.crank.push(seconds(revolution.end), revolution);
        }
        for loss in &series.losses {
            self.crank.losses.push(seconds(*loss));
        }
        for sample in &series.phases {
            if let Some(cam) = self.cams.get_mut(sample.cam) {
                cam.push_phase(seconds(sample.at), sample.edge, sample.phase.0);
            }
        }
        for (id, period) in &series.periods {
            if let Some(cam) = self.cams.iter_mut().find(|c| c.id == *id) {
                cam.push_period(seconds(period.end), period, self.rate.0);
            }
        }
    }

    fn gather_if_due(&mut self, end: u64, analyser: &Analyser) {
        if end as f64 >= self.due
            && let Some(snapshot) = analyser.snapshot()
        {
            self.due = end as f64 + GATHER_EVERY * self.rate.0;
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
    fn finish(mut self, title: &str, analyser: &mut Analyser) -> Option<Survey> {
        self.take_in(&analyser.drain_series());
        let last = analyser.snapshot()?;
        self.gather(&last);
        let points = self.points;
        // Live they stand in the order in which they were decided; here in that of their onsets.
        let mut events = last.events.to_vec();
        events.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
        for (index, cam) in self.cams.iter_mut().enumerate() {
            (cam.states, cam.disagreed) = states(index, &points);
        }
        Some(Survey {
            title: title.to_owned(),
            sheet: Arc::clone(&analyser.setup().sheet),
            rate_hz: self.rate.0,
            begin: self.begin,
            seconds: last.at.since(self.begin, self.rate).0,
            speed: Spread::of(points.iter().filter_map(|p| p.speed).map(|s| s.0)),
            events,
            crank: self.crank,
            cams: self.cams,
            points,
            last,
        })
    }
}

impl Survey {
    /// Seconds from the begin of the recording.
    pub fn seconds_at(&self, at: SampleTime) -> f64 {
        at.since(self.begin, Hertz(self.rate_hz)).0
    }
}

/// Seconds in each agreement state of a cam, and whether any of them was a disagreement.
fn states(cam: usize, points: &[HistoryPoint]) -> (BTreeMap<&'static str, f64>, bool) {
    let mut counts: BTreeMap<AgreementState, usize> = BTreeMap::new();
    for CamPoint { state, .. } in points.iter().filter_map(|p| p.cams.get(cam)) {
        *counts.entry(*state).or_default() += 1;
    }
    let disagreed = counts.keys().any(|state| state.is_disagreement());
    let seconds = counts
        .into_iter()
        .map(|(state, n)| (state.words(), n as f64 / 20.0))
        .collect();
    (seconds, disagreed)
}
