//! What an import has made, and what has to be known of it.

use super::layout::Layout;
use super::plan::{Holes, Kind};
use super::pulse;
use super::range::Scaling;
use super::survey::Survey;
use super::transfer::{Written, level_volts};

/// A jitter beyond this share of a sample period is told: it is an error of every instant.
const JITTER: f64 = 0.05;

/// What an import has made.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Rows of numbers in the file.
    pub rows: u64,
    /// Bytes of the file.
    pub bytes: u64,
    /// Its SHA-256, in hexadecimal digits.
    pub sha256: String,
    /// Samples per second of the recording.
    pub rate_hz: f64,
    /// Samples per input.
    pub samples: u64,
    /// Length of the recording, gaps included.
    pub seconds: f64,
    /// Bytes of the recording.
    pub recording_bytes: u64,
    /// Samples that the time column says are missing.
    pub missing: u64,
    /// Places at which samples are missing.
    pub gaps: u64,
    /// Rows left out because a column had no number there; each a gap too.
    pub left_out: u64,
    /// The columns, in the order of their inputs.
    pub columns: Vec<ColumnSummary>,
    /// What was taken for granted and what else has to be known, as sentences.
    pub remarks: Vec<String>,
}

/// One column.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnSummary {
    /// Name, or number where it has none.
    pub name: String,
    /// Role.
    pub role: String,
    /// Least and greatest value in the file, in its unit there; none for edges.
    pub range: Option<[f64; 2]>,
    /// That unit, as in a plan; none for levels.
    pub unit: Option<&'static str>,
    /// Units in the file per count.
    pub resolution: f64,
    /// Changes of level; none for samples.
    pub edges: Option<u64>,
    /// Values at the end of the instrument's range, held there.
    pub clipped: u64,
}

pub(crate) fn of(
    layout: &Layout,
    survey: &Survey,
    scalings: &[Scaling],
    written: Written,
    recording_bytes: u64,
) -> Summary {
    let columns = layout
        .columns
        .iter()
        .enumerate()
        .map(|(i, column)| {
            let range = &survey.ranges[i];
            let is_edges = layout.kind == Kind::Edges;
            ColumnSummary {
                name: column.name.clone(),
                role: column.role.clone(),
                range: (!is_edges).then_some([range.low, range.high]),
                unit: column.unit.map(super::plan::Unit::word),
                resolution: scalings[i].scale,
                edges: is_edges.then_some(survey.levels[i].edges),
                clipped: range.above + range.below,
            }
        })
        .collect();
    Summary {
        rows: survey.rows,
        bytes: survey.bytes,
        sha256: survey.digest.clone(),
        rate_hz: survey.rate,
        samples: written.samples,
        seconds: written.end as f64 / survey.rate,
        recording_bytes,
        missing: written.missing,
        gaps: written.gaps,
        left_out: written.left_out,
        columns,
        remarks: remarks(layout, survey, scalings, written),
    }
}

fn remarks(
    layout: &Layout,
    survey: &Survey,
    scalings: &[Scaling],
    written: Written,
) -> Vec<String> {
    let mut remarks = layout.assumed.clone();
    if survey.is_cut {
        remarks.push("the last line is cut off and left out".to_owned());
    }
    if survey.first.abs() > 0.0 {
        remarks.push(format!(
            "the recording begins at the time {} {} of the file",
            survey.first,
            layout.time.unit.word()
        ));
    }
    if written.missing > 0 {
        remarks.push(format!(
            "{} samples are missing at {} places, as the times say: the recording has gaps there",
            written.missing, written.gaps
        ));
    }
    if written.left_out > 0 {
        remarks.push(format!(
            "{} rows in which a column has no number are left out: the recording has gaps there",
            written.left_out
        ));
    }
    match layout.kind {
        Kind::Samples => of_samples(layout, survey, scalings, &mut remarks),
        Kind::Edges => of_edges(layout, survey, &mut remarks),
    }
    remarks
}

fn of_samples(layout: &Layout, survey: &Survey, scalings: &[Scaling], remarks: &mut Vec<String>) {
    if let Some(clock) = &survey.clock {
        if clock.coarse_rows() > 0 {
            remarks.push(format!(
                "the times of {} rows are written so coarsely that a single missing sample would not show there",
                clock.coarse_rows()
            ));
        } else if clock.jitter() > JITTER {
            remarks.push(format!(
                "times are up to {:.0} % of a sample period off the even clock, from rounding or jitter; samples are placed evenly",
                100.0 * clock.jitter()
            ));
        }
    }
    for ((column, range), scaling) in layout.columns.iter().zip(&survey.ranges).zip(scalings) {
        let name = &column.name;
        let Some(unit) = column.unit else {
            remarks.push(format!(
                "the levels of {name} are written as 0 and {} V, which were not measured",
                level_volts(&column.role)
            ));
            continue;
        };
        if range.above + range.below > 0 {
            remarks.push(format!(
                "{} values of {name} are beyond the instrument's range and held at its end",
                range.above + range.below
            ));
        }
        if column.holes == Holes::Hold && range.holes > 0 {
            remarks.push(format!(
                "{} cells of {name} hold no number, and the value before them stays there",
                range.holes
            ));
        }
        if !scaling.is_exact {
            remarks.push(format!(
                "{name} is kept to {:.2e} {}, 1/65,000 of its range; the file has more digits than 16 bits hold",
                scaling.scale,
                unit.word()
            ));
        }
        if let Some(counts) = range.few_counts() {
            remarks.push(format!(
                "a few values of {name} reach from {} to {} {}, so that its usual range has only {counts:.0} steps; take them out for more",
                range.low,
                range.high,
                unit.word()
            ));
        }
    }
}

fn of_edges(layout: &Layout, survey: &Survey, remarks: &mut Vec<String>) {
    remarks.push(format!(
        "edges are written as ramps at {:.0} samples per second, so that their instants are kept to {:.1} ns where they are {} samples or more apart",
        survey.rate,
        2.0 * pulse::PRECISION / survey.rate * 1e9,
        pulse::APART
    ));
    for (column, levels) in layout.columns.iter().zip(&survey.levels) {
        let name = &column.name;
        remarks.push(format!(
            "the levels of {name} are written as 0 and {} V, which were not measured",
            level_volts(&column.role)
        ));
        if levels.close > 0 {
            remarks.push(format!(
                "{} of {} edges of {name} are closer than {} samples, the first at line {}, and are not kept exactly",
                levels.close,
                levels.edges,
                pulse::APART,
                levels.first_close
            ));
        }
        if levels.edges == 0 {
            remarks.push(format!("{name} never changes"));
        }
    }
}
