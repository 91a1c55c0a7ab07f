//! The first pass: what the whole file holds. Nothing is written before this is known.

use super::clock::{Clock, Place, plain_rate};
use super::error::ImportError;
use super::feed::{Feed, LEVEL};
use super::layout::Layout;
use super::number::Cell;
use super::pace;
use super::plan::{Decimal, Holes, Kind, TimeUnit};
use super::pulse;
use super::range::Range;
use std::path::Path;

/// Edges whose instants are kept to choose a rate by.
const KEPT: usize = 2048;
/// Most edges closer than can be kept: beyond this they are the signal, not spikes on it.
const CLOSE: f64 = 0.02;
/// Most rows without a number in a column whose holes are gaps.
const HOLES: f64 = 0.5;
/// Rate in a plan and that of the time column must agree this well.
const SAME_RATE: f64 = 0.01;
/// A list of edges over more than a day is one whose unit was taken wrongly.
const LONGEST: f64 = 86_400.0;

/// Levels of one column.
#[derive(Debug, Clone, Default)]
pub(crate) struct Levels {
    pub first: Option<bool>,
    last: Option<bool>,
    changed: Option<f64>,
    pub edges: u64,
    /// Seconds, and the line at which the shorter of two intervals ends.
    pub shortest: Option<(f64, u64)>,
    /// Edges closer than can be kept, and the line of the first.
    pub close: u64,
    pub first_close: u64,
    instants: Vec<f64>,
}

/// What the file holds.
#[derive(Debug)]
pub(crate) struct Survey {
    pub rows: u64,
    pub bytes: u64,
    pub digest: String,
    pub decimal: Option<Decimal>,
    pub is_cut: bool,
    /// Rate of the recording.
    pub rate: f64,
    /// Time of the first row in units of the column, and of its last.
    pub first: f64,
    pub last: f64,
    pub clock: Option<Clock>,
    pub ranges: Vec<Range>,
    pub levels: Vec<Levels>,
}

/// The level a cell holds; none where it holds nothing, so that the one before stays.
pub(crate) fn level(
    feed: &Feed<'_>,
    layout: &Layout,
    column: usize,
) -> Result<Option<bool>, ImportError> {
    match feed.cells[column] {
        Cell::Hole => Ok(None),
        Cell::Number(x) if x.abs() < f64::EPSILON => Ok(Some(false)),
        Cell::Number(x) if (x - 1.0).abs() < f64::EPSILON => Ok(Some(true)),
        Cell::Number(_) | Cell::Above | Cell::Below => Err(feed.odd(
            layout.columns[column].position,
            LEVEL,
            "say kind = \"samples\" and a unit in the plan if these are volts",
        )),
    }
}

/// Looks through the whole file.
pub(crate) fn of(path: &Path, layout: &Layout, feed: &mut Feed<'_>) -> Result<Survey, ImportError> {
    let mut survey = Survey {
        rows: 0,
        bytes: 0,
        digest: String::new(),
        decimal: None,
        is_cut: false,
        rate: 0.0,
        first: 0.0,
        last: 0.0,
        clock: first_clock(layout),
        ranges: vec![Range::default(); layout.columns.len()],
        levels: vec![Levels::default(); layout.columns.len()],
    };
    let unit = edge_unit(layout);
    while feed.advance()? {
        if feed.count == 1 {
            survey.first = feed.time;
        }
        match layout.kind {
            Kind::Samples => survey.sample_row(layout, feed)?,
            Kind::Edges => survey.edge_row(layout, feed, unit)?,
        }
        survey.last = feed.time;
    }
    survey.rows = feed.count;
    survey.bytes = feed.bytes();
    survey.digest = feed.digest();
    survey.decimal = feed.decimal();
    survey.is_cut = feed.is_cut;
    let wrong = |what: String| ImportError::Capture {
        path: path.to_owned(),
        what,
    };
    match layout.kind {
        Kind::Samples => survey.judge_samples(layout).map_err(wrong)?,
        Kind::Edges => survey.judge_edges(layout).map_err(wrong)?,
    }
    Ok(survey)
}

/// The clock for the time column; none where the rows themselves are the samples, or edges.
fn first_clock(layout: &Layout) -> Option<Clock> {
    let time = &layout.time;
    if layout.kind == Kind::Edges || time.position.is_none() {
        return None;
    }
    match (time.unit, time.look) {
        (TimeUnit::Sample, _) => Some(Clock::counting()),
        (_, Some((look, rounding))) => Some(Clock::new(look, rounding)),
        (_, None) => None,
    }
}

/// Seconds of one unit of the time column of an edge list.
pub(crate) fn edge_unit(layout: &Layout) -> f64 {
    let counted = || layout.time.rate.map_or(1.0, |rate| 1.0 / rate);
    layout.time.unit.seconds().unwrap_or_else(counted)
}

/// The place of the present row, or what is wrong with its time.
pub(crate) fn place(clock: &mut Clock, feed: &Feed<'_>, before: f64) -> Result<u64, ImportError> {
    match clock.push(feed.time, feed.rounding) {
        Place::After(missing) => Ok(missing),
        Place::Backwards => Err(feed.wrong(format!(
            "the time runs backwards, from {before} to {}; divide the file here, or say [time] column",
            feed.time
        ))),
        Place::Repeated => Err(feed.wrong(format!(
            "the time {before} is there twice; remove one of the rows, or say [time] column = 0 and rate if rows are even samples whose times are written too coarsely"
        ))),
    }
}

impl Survey {
    fn sample_row(&mut self, layout: &Layout, feed: &Feed<'_>) -> Result<(), ImportError> {
        if let Some(clock) = &mut self.clock {
            let _missing = place(clock, feed, self.last)?;
            if feed.count.is_multiple_of(4096) && clock.is_uneven() {
                return Err(feed.wrong(uneven(clock)));
            }
        }
        for (i, column) in layout.columns.iter().enumerate() {
            if column.unit.is_none() {
                let _level = level(feed, layout, i)?;
            }
            self.ranges[i].push(feed.cells[i], || feed.last_digit(column));
        }
        Ok(())
    }

    fn edge_row(&mut self, layout: &Layout, feed: &Feed<'_>, unit: f64) -> Result<(), ImportError> {
        if feed.time < self.last && feed.count > 1 {
            return Err(feed.wrong(format!(
                "the time runs backwards, from {} to {}; sort the rows, or divide the file here",
                self.last, feed.time
            )));
        }
        let now = (feed.time - self.first) * unit;
        let limit = pulse::APART / recording_limit(layout);
        for (i, levels) in self.levels.iter_mut().enumerate() {
            let Some(level) = level(feed, layout, i)? else {
                continue;
            };
            let before = levels.last.replace(level);
            if levels.first.is_none() {
                levels.first = Some(level);
            }
            if before.is_none_or(|b| b == level) {
                continue;
            }
            levels.edges += 1;
            if levels.instants.len() < KEPT {
                levels.instants.push(now);
            }
            let Some(changed) = levels.changed.replace(now) else {
                continue;
            };
            let interval = now - changed;
            if interval <= 0.0 {
                return Err(feed.wrong(format!(
                    "\"{}\" changes twice at the time {}; write more digits, or remove one of the rows",
                    layout.columns[i].name, feed.time
                )));
            }
            if levels.shortest.is_none_or(|(s, _)| interval < s) {
                levels.shortest = Some((interval, feed.line()));
            }
            if interval < limit {
                levels.close += 1;
                if levels.close == 1 {
                    levels.first_close = feed.line();
                }
            }
        }
        Ok(())
    }

    fn judge_samples(&mut self, layout: &Layout) -> Result<(), String> {
        if self.rows < 2 {
            return Err(format!(
                "there are {} rows of numbers, and at least two are needed",
                self.rows
            ));
        }
        for (range, column) in self.ranges.iter().zip(&layout.columns) {
            let share = range.holes as f64 / self.rows as f64;
            if range.numbers == 0 {
                return Err(format!(
                    "\"{}\" holds no number at all; leave it out of the plan",
                    column.name
                ));
            }
            if column.holes == Holes::Gap && share > HOLES {
                return Err(format!(
                    "\"{}\" holds no number in {:.0} % of the rows; say holes = \"hold\" for it in the plan if its last value stays, or leave it out",
                    column.name,
                    100.0 * share
                ));
            }
        }
        self.rate = match (&self.clock, layout.time.unit.seconds()) {
            (Some(clock), Some(unit)) => {
                if clock.is_uneven() {
                    return Err(uneven(clock));
                }
                let (period, uncertainty) = clock.period();
                let seen = plain_rate(period * unit, uncertainty / period);
                match layout.time.rate {
                    Some(given) if (given / seen - 1.0).abs() > SAME_RATE => {
                        return Err(format!(
                            "the times say {seen:.1} samples per second, the plan {given}; correct [time] rate or unit, or leave rate out"
                        ));
                    }
                    Some(given) => given,
                    None => seen,
                }
            }
            _ => layout.time.rate.unwrap_or_default(),
        };
        Ok(())
    }

    fn judge_edges(&mut self, layout: &Layout) -> Result<(), String> {
        let edges: u64 = self.levels.iter().map(|l| l.edges).sum();
        if edges == 0 {
            return Err("no level changes in the whole file: there are no edges".to_owned());
        }
        let length = (self.last - self.first) * edge_unit(layout);
        if length > LONGEST {
            return Err(format!(
                "the edges span {:.0} hours with times in {}; say [time] unit",
                length / 3600.0,
                layout.time.unit.word()
            ));
        }
        for (levels, column) in self.levels.iter().zip(&layout.columns) {
            let apart = pulse::APART / recording_limit(layout);
            if levels.close as f64 > CLOSE * levels.edges as f64 && levels.close > 2 {
                return Err(format!(
                    "{} of {} edges of \"{}\" are closer than {:.1} µs, the first at line {}, and would run into each other; {}",
                    levels.close,
                    levels.edges,
                    column.name,
                    apart * 1e6,
                    levels.first_close,
                    if layout.time.rate.is_some() {
                        "say a higher [time] rate, or the right unit"
                    } else {
                        "say [time] unit if it is another, or take the spikes out"
                    }
                ));
            }
        }
        let shortest = self.levels.iter().filter_map(|l| l.shortest);
        // Spikes do not make the recording faster, unless all is spikes.
        let shortest = shortest
            .map(|(s, _)| s)
            .fold(f64::INFINITY, f64::min)
            .max(pulse::APART / pace::FASTEST);
        let instants: Vec<Vec<f64>> = self
            .levels
            .iter_mut()
            .map(|l| std::mem::take(&mut l.instants))
            .collect();
        self.rate = match layout
            .time
            .rate
            .filter(|_| layout.time.unit != TimeUnit::Sample)
        {
            Some(given) => given,
            None => pace::rate(shortest.is_finite().then_some(shortest), &instants),
        };
        Ok(())
    }
}

/// The fastest the recording of these edges may be.
fn recording_limit(layout: &Layout) -> f64 {
    layout
        .time
        .rate
        .filter(|_| layout.time.unit != TimeUnit::Sample)
        .unwrap_or(pace::FASTEST)
}

fn uneven(clock: &Clock) -> String {
    let (missing, places) = clock.gaps();
    format!(
        "the times are no sample clock: of {} rows {places} come late, by {missing} samples together, and the others early or even; say [time] column = 0 and rate if the rows are even samples, or kind = \"edges\" if they are levels",
        clock.rows()
    )
}
