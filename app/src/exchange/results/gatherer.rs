//! Gathers what was measured of a stream until it is final, then makes rows of it.

use super::row::{Stretch, row};
use crate::exchange::table::Table;
use crate::fault::Fault;
use crate::session::analyser::Analyser;
use keyway_acquisition::block::SampleBlock;
use keyway_analysis::duty::Period;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::CamId;
use keyway_analysis::rotation::PhaseSample;
use keyway_analysis::series::Look;
use keyway_analysis::snapshot::HistoryPoint;
use keyway_analysis::units::{Hertz, SampleTime};
use std::ops::Range;
use std::sync::Arc;

/// Seconds of samples between two looks at the history, which reaches back 60 s.
const GATHER_EVERY: f64 = 20.0;
/// An onset of a state is written back by less than this.
const FINAL_AFTER: f64 = 40.0;

/// One engine cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cycle {
    pub begin: SampleTime,
    pub end: SampleTime,
    /// Whether it begins at the firing TDC of cylinder 1; otherwise at its firing or its exchange TDC.
    pub is_known: bool,
}

/// A stream that is being measured.
#[derive(Debug)]
pub(super) struct Gatherer {
    stream: usize,
    sheet: Arc<EngineSheet>,
    rate: Hertz,
    /// First sample, and its time since the start of the recording.
    first: SampleTime,
    begin: f64,
    span: Range<f64>,
    due: f64,
    at: f64,
    rows: u64,
    cycles: Vec<Cycle>,
    phases: Vec<PhaseSample>,
    periods: Vec<(CamId, Period)>,
    looks: Vec<Look>,
    points: Vec<HistoryPoint>,
}

impl Gatherer {
    /// Before the first block, which begins `begin` seconds after the recording.
    pub fn begin(
        stream: usize,
        begin: f64,
        block: &SampleBlock,
        rate: f64,
        sheet: &Arc<EngineSheet>,
        span: Range<f64>,
    ) -> Self {
        let first = block.first_index as f64;
        Self {
            stream,
            sheet: Arc::clone(sheet),
            rate: Hertz(rate),
            first: SampleTime(first),
            begin,
            span,
            due: first + GATHER_EVERY * rate,
            at: first,
            rows: 0,
            cycles: Vec::new(),
            phases: Vec::new(),
            periods: Vec::new(),
            looks: Vec::new(),
            points: Vec::new(),
        }
    }

    /// Number of the stream, from 1.
    pub fn stream(&self) -> usize {
        self.stream
    }

    /// Takes what was measured up to this index; rows that are final go into the table.
    pub fn take(
        &mut self,
        analyser: &mut Analyser,
        end: u64,
        table: &mut Table,
    ) -> Result<(), Fault> {
        self.at = end as f64;
        self.drain(analyser);
        if self.at >= self.due {
            self.due = self.at + GATHER_EVERY * self.rate.0;
            self.gather(analyser);
            self.write(SampleTime(self.at - FINAL_AFTER * self.rate.0), table)?;
        }
        Ok(())
    }

    /// Whether everything in the span is final.
    pub fn is_done(&self) -> bool {
        self.seconds(SampleTime(self.at)) > self.span.end + FINAL_AFTER
    }

    /// The stream has ended: the rest is final.
    pub fn finish(mut self, analyser: &mut Analyser, table: &mut Table) -> Result<(), Fault> {
        self.drain(analyser);
        self.gather(analyser);
        self.write(SampleTime(f64::INFINITY), table)
    }

    /// Seconds since the start of the recording.
    fn seconds(&self, at: SampleTime) -> f64 {
        self.begin + at.since(self.first, self.rate).0
    }

    fn drain(&mut self, analyser: &mut Analyser) {
        let series = analyser.drain_series();
        self.phases.extend(series.phases);
        self.periods.extend(series.periods);
        self.looks.extend(series.looks);
        for found in analyser.drain_cycles() {
            let (Some(&begin), Some(&end)) = (found.times.first(), found.times.last()) else {
                continue;
            };
            // Of cycles that overlap the later given is the better.
            self.cycles
                .retain(|c| c.end.0 <= begin.0 + 1.0 || c.begin.0 >= end.0 - 1.0);
            let place = self.cycles.partition_point(|c| c.begin.0 < begin.0);
            self.cycles.insert(
                place,
                Cycle {
                    begin,
                    end,
                    is_known: found.is_known,
                },
            );
        }
    }

    /// Points that a snapshot has again replace the earlier ones.
    fn gather(&mut self, analyser: &Analyser) {
        let Some(snapshot) = analyser.snapshot() else {
            return;
        };
        if let Some(first) = snapshot.history.first() {
            let keep = self.points.partition_point(|p| p.at.0 < first.at.0);
            self.points.truncate(keep);
            self.points.extend(snapshot.history.iter().cloned());
        }
    }

    /// Writes the cycles that ended before this instant.
    fn write(&mut self, until: SampleTime, table: &mut Table) -> Result<(), Fault> {
        let ready = self.cycles.partition_point(|c| c.end.0 < until.0);
        let cycles: Vec<Cycle> = self.cycles.drain(..ready).collect();
        for cycle in &cycles {
            let (begin, end) = (self.seconds(cycle.begin), self.seconds(cycle.end));
            if begin < self.span.start || end > self.span.end {
                continue;
            }
            self.rows += 1;
            table.push(row(&Stretch {
                stream: self.stream,
                number: self.rows,
                begin,
                end,
                cycle: *cycle,
                rate: self.rate,
                sheet: &self.sheet,
                phases: within(&self.phases, cycle, |p| p.at.0),
                periods: within(&self.periods, cycle, |(_, p)| p.end.0),
                looks: &self.looks,
                points: &self.points,
            }))?;
        }
        // A little is kept for the cycle that comes next.
        if let Some(last) = cycles.last() {
            let keep = last.begin.0 - self.rate.0;
            self.phases.retain(|p| p.at.0 >= keep);
            self.periods.retain(|(_, p)| p.end.0 >= keep);
            self.looks.retain(|l| l.at.0 >= keep);
            self.points.retain(|p| p.at.0 >= keep);
        } else if until.0.is_finite() {
            self.forget(until.0 - self.rate.0);
        }
        Ok(())
    }

    /// With a crank that stands there are no cycles, and nothing waits for them.
    fn forget(&mut self, before: f64) {
        self.phases.retain(|p| p.at.0 >= before);
        self.periods.retain(|(_, p)| p.end.0 >= before);
        self.looks.retain(|l| l.at.0 >= before);
    }
}

/// What lies in a cycle of a list that is nearly in order: cams are a tooth apart.
fn within<'a, T>(list: &'a [T], cycle: &Cycle, at: impl Fn(&T) -> f64) -> Vec<&'a T> {
    list.iter()
        .filter(|x| (cycle.begin.0..cycle.end.0).contains(&at(x)))
        .collect()
}
