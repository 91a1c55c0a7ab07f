//! Recordings compared: every measure of one beside that of another, with what is known of each.
//!
//! Each recording goes through the same pipeline as live. Values are taken where like can be compared
//! with like, such as at idle with the command at rest, and only while every lead they rest on is
//! proven.

pub mod banks;
pub mod command;
pub mod course;
pub mod cylinders;
pub mod document;
pub mod engine;
pub mod laid;
pub mod movement;
pub mod position;
pub mod sentence;
pub mod side;
pub mod standing;
pub mod table;
pub mod take;
pub mod trials;
pub mod watch;

use crate::fault::Fault;
use crate::work::Progress;
use keyway_analysis::comparison::{self, Compared, Finding, Group, Measure, Relation};
use laid::Laid;
use side::Side;
use std::path::PathBuf;

/// Two recordings side by side in every measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Place of the other among the recordings that are compared; the first is the base.
    pub other: usize,
    /// What the two have in common.
    pub relation: Relation,
    /// One row per measure.
    pub rows: Vec<Compared>,
}

/// What came of comparing recordings.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The recordings; the first is the base.
    pub sides: Vec<Side>,
    /// Each of the others beside it.
    pub comparisons: Vec<Comparison>,
    /// Their cycles under each of some conditions.
    pub laid: Vec<Laid>,
}

/// Part of the work that measuring takes; the rest is cutting into cycles, for which the analysis runs
/// up again before each stretch.
const MEASURING: f64 = 0.5;

impl Outcome {
    /// Measures, compares, and cuts what can be laid on each other into cycles.
    pub fn of(
        files: &[(PathBuf, String)],
        same_engine: bool,
        progress: &Progress,
    ) -> Result<Self, Fault> {
        let sides = measure(files, &progress.part(0.0, MEASURING))?;
        let laid = laid::all(&sides, &progress.part(MEASURING, 1.0))?;
        let comparisons = with_first(&sides, same_engine);
        Ok(Self {
            sides,
            comparisons,
            laid,
        })
    }

    /// The same with other names, or taken as of other engines; nothing is measured again.
    pub fn renewed(&mut self, names: &[String], same_engine: bool) {
        for (side, name) in self.sides.iter_mut().zip(names) {
            side.name.clone_from(name);
        }
        self.comparisons = with_first(&self.sides, same_engine);
    }
}

/// Files with what they are called: the names that are given, then letters.
pub fn named(files: Vec<PathBuf>, names: Vec<String>) -> Vec<(PathBuf, String)> {
    let names = names.into_iter().map(Some).chain(std::iter::repeat(None));
    (files.into_iter().zip(names.zip(letters())))
        .map(|(file, (name, letter))| (file, name.unwrap_or(letter)))
        .collect()
}

/// Measures all, one after another.
pub fn measure(files: &[(PathBuf, String)], progress: &Progress) -> Result<Vec<Side>, Fault> {
    let count = files.iter().map(|_| 1.0).sum::<f64>();
    let mut sides = Vec::with_capacity(files.len());
    for (file, name) in files {
        let done = sides.iter().map(|_| 1.0).sum::<f64>();
        let part = progress.part(done / count, (done + 1.0) / count);
        sides.push(Side::measure(file, name.clone(), &part)?);
    }
    Ok(sides)
}

/// Compares every recording with the first.
pub fn with_first(sides: &[Side], same_engine: bool) -> Vec<Comparison> {
    let Some((base, others)) = sides.split_first() else {
        return Vec::new();
    };
    (others.iter().zip(1..))
        .map(|(other, place)| {
            let relation = Relation {
                same_engine,
                same_scope: base.scope == other.scope,
            };
            let names = [base.name.as_str(), other.name.as_str()];
            let mut rows = comparison::compare(&base.measures, &other.measures, relation, names);
            rows.retain(says_something);
            Comparison {
                other: place,
                relation,
                rows,
            }
        })
        .collect()
}

/// What recordings are called when nobody gives them a name: A, B, C ...
pub fn letters() -> impl Iterator<Item = String> {
    ('A'..='Z').cycle().map(String::from)
}

/// A state of agreement that was never seen in either, or an event that never happened, says nothing
/// and would only take from what can be told of the others.
fn says_something(row: &Compared) -> bool {
    let is_none = |measure: &Measure| match &measure.finding {
        Finding::Figure(e) => measure.group == Group::Agreement && e.value == 0.0,
        Finding::Count(tally) => tally.events == 0,
        Finding::Alone(..) | Finding::State(_) | Finding::NotShown(_) => false,
    };
    !(is_none(&row.base) && is_none(&row.other))
}
