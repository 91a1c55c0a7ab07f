//! What `keyway compare --json` prints, as types; `keyway compare --schema` prints the schema that is
//! made from them and their comments.

use super::sentence::summary;
use super::side::Side;
use super::table::{reason, word};
use super::{Comparison, letters};
use keyway_analysis::comparison::{
    BY_CHANCE, Compared, Conditions, Estimate, Finding, Group, Measure,
};
use schemars::{JsonSchema, Schema, schema_for};
use serde::Serialize;

/// Number of this form. It changes when a field goes away or changes its meaning; new fields leave it.
const FORM: u32 = 1;

/// Recordings compared by Keyway, each with the first. Angles are crank degrees, advance positive;
/// a difference is the other less the first. What is not known is null with a reason beside it.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields, title = "Keyway comparison")]
pub struct Document {
    /// Number of this form: 1. It changes when a field goes away or changes its meaning.
    pub form: u32,
    /// The recordings in the order of the command line; of banks, the banks of one.
    pub recordings: Vec<Origin>,
    /// Each of the others beside the first.
    pub comparisons: Vec<Pair>,
}

/// A recording that was compared.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Origin {
    /// A, B, C ...
    pub letter: String,
    /// What it is called.
    pub name: String,
    /// File, as it was named on the command line.
    pub file: String,
    /// Name of the engine in the engine sheet.
    pub engine: String,
    /// When the recording was started, nanoseconds since 1970-01-01 UTC.
    pub started_ns: u64,
    /// Length, seconds.
    pub seconds: f64,
    /// What of the file cannot be read and why, in a sentence; null if it is whole.
    pub shortfall: Option<String>,
}

/// Two recordings.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Pair {
    /// Place of the first in `recordings`, from 0.
    pub base: usize,
    /// Place of the other.
    pub other: usize,
    /// What changed and what did not, in plain words.
    pub sentence: String,
    /// Whether both are taken to be of one engine: then what its wheels and sensors add cancels.
    pub same_engine: bool,
    /// Whether both were made with one scope.
    pub same_scope: bool,
    /// How the judgement of many measures is kept from finding differences by chance: "Holm".
    pub control: &'static str,
    /// The chance that a table between whose recordings nothing differs shows a difference.
    pub by_chance: f64,
    /// The measures that were judged together.
    pub judged: usize,
    /// The measures.
    pub measures: Vec<Row>,
}

/// A measure.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Row {
    /// Its name for programs: "intake.phase-at-rest".
    pub key: String,
    /// Its name for people.
    pub name: String,
    /// "position", "movement", "command", "circuit", "engine", "agreement", "recording".
    pub group: &'static str,
    /// Its unit; empty for a state.
    pub unit: &'static str,
    /// In the first recording.
    pub base: Found,
    /// In the other.
    pub other: Found,
    /// The other less the first; null where that would say nothing.
    pub difference: Option<Between>,
    /// "exceeds", "exceeds alone", "within", "differs", "alike", "not comparable", "not shown".
    pub verdict: &'static str,
    /// Why it is not comparable or not shown; null otherwise.
    pub reason: Option<String>,
}

/// What a recording gives of a measure.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Found {
    /// The figure; null for a state and where there is none.
    pub value: Option<f64>,
    /// Its standard uncertainty from scatter (GUM, type A); null if not known.
    pub standard_uncertainty: Option<f64>,
    /// Degrees of freedom of that; null where it is taken as known.
    pub degrees_of_freedom: Option<f64>,
    /// Values it rests on; of a count, the events.
    pub values: Option<u64>,
    /// To how many independent values those amount, by their autocorrelation.
    pub independent_values: Option<f64>,
    /// Half width of what the way of measuring may add and scatter does not show.
    pub bound: Option<f64>,
    /// Half width of what the wheels and sensors of another engine of the type add.
    pub engine_bound: Option<f64>,
    /// Half width of what another scope and its probes add.
    pub scope_bound: Option<f64>,
    /// A state in words; null for a figure.
    pub state: Option<String>,
    /// Why there is nothing; null if there is.
    pub reason: Option<String>,
    /// Under what it was measured, in words; empty if under nothing particular.
    pub conditions: String,
    /// Engine speed meanwhile: least, mean and greatest, rpm; null if not known.
    pub speed_rpm: Option<[f64; 3]>,
    /// Mean duty meanwhile, percent; null where the measure does not follow it.
    pub duty_pct: Option<f64>,
    /// Oil temperature as the technician read it, degrees Celsius; null if it was not read.
    pub oil_celsius: Option<f64>,
}

/// A difference.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Between {
    /// The other less the first.
    pub by: f64,
    /// Combined standard uncertainty.
    pub standard_uncertainty: f64,
    /// Effective degrees of freedom by Welch and Satterthwaite; null where there are no end of them.
    pub degrees_of_freedom: Option<f64>,
    /// Half width of its 95 % range.
    pub half_width_95: f64,
    /// How often chance alone gives such a difference or a greater one, 0 to 1.
    pub probability: f64,
}

/// The schema of [`Document`]: JSON Schema, draft 2020-12.
pub fn schema() -> Schema {
    schema_for!(Document)
}

impl Document {
    /// Puts together what was compared.
    pub fn new(sides: &[Side], comparisons: &[Comparison]) -> Self {
        Self {
            form: FORM,
            recordings: (sides.iter().zip(letters()))
                .map(|(side, letter)| Origin {
                    letter,
                    name: side.name.clone(),
                    file: side.file.display().to_string(),
                    engine: side.engine.clone(),
                    started_ns: side.started_ns,
                    seconds: side.seconds,
                    shortfall: side.shortfall.clone(),
                })
                .collect(),
            comparisons: (comparisons.iter())
                .map(|c| Pair {
                    base: 0,
                    other: c.other,
                    sentence: summary(sides, c),
                    same_engine: c.relation.same_engine,
                    same_scope: c.relation.same_scope,
                    control: "Holm",
                    by_chance: BY_CHANCE,
                    judged: c.rows.iter().filter(|r| r.difference.is_some()).count(),
                    measures: c.rows.iter().map(Row::of).collect(),
                })
                .collect(),
        }
    }
}

/// What a measure is about, in a word.
pub fn group_word(group: Group) -> &'static str {
    match group {
        Group::Position => "position",
        Group::Movement => "movement",
        Group::Command => "command",
        Group::Circuit => "circuit",
        Group::Engine => "engine",
        Group::Agreement => "agreement",
        Group::Recording => "recording",
    }
}

impl Row {
    fn of(row: &Compared) -> Self {
        Self {
            key: row.base.key.clone(),
            name: row.base.name.clone(),
            group: group_word(row.base.group),
            unit: row.base.unit,
            base: Found::of(&row.base),
            other: Found::of(&row.other),
            difference: row.difference.map(|d| Between {
                by: d.by,
                standard_uncertainty: d.uncertainty,
                degrees_of_freedom: finite(d.freedom),
                half_width_95: d.half_width,
                probability: d.probability,
            }),
            verdict: word(&row.verdict),
            reason: reason(&row.verdict).map(str::to_owned),
        }
    }
}

fn finite(value: f64) -> Option<f64> {
    Some(value).filter(|v| v.is_finite())
}

impl Found {
    fn of(measure: &Measure) -> Self {
        let nothing = Self::under(&measure.conditions);
        match &measure.finding {
            Finding::Figure(e) => nothing.figure(e),
            Finding::Count(tally) => Self {
                value: Some(tally.per_minute()),
                standard_uncertainty: Some(tally.uncertainty()),
                values: Some(tally.events),
                ..nothing
            },
            Finding::Alone(value, why) => Self {
                value: Some(*value),
                reason: Some(why.clone()),
                ..nothing
            },
            Finding::State(words) => Self {
                state: Some(words.clone()),
                ..nothing
            },
            Finding::NotShown(why) => Self {
                reason: Some(why.clone()),
                ..nothing
            },
        }
    }

    fn figure(self, e: &Estimate) -> Self {
        Self {
            value: Some(e.value),
            standard_uncertainty: Some(e.uncertainty),
            degrees_of_freedom: finite(e.freedom),
            values: u64::try_from(e.values).ok(),
            independent_values: finite(e.independent),
            bound: Some(e.bound),
            engine_bound: Some(e.engine_bound),
            scope_bound: Some(e.scope_bound),
            ..self
        }
    }

    fn under(conditions: &Conditions) -> Self {
        Self {
            value: None,
            standard_uncertainty: None,
            degrees_of_freedom: None,
            values: None,
            independent_values: None,
            bound: None,
            engine_bound: None,
            scope_bound: None,
            state: None,
            reason: None,
            conditions: conditions.words.clone(),
            speed_rpm: (conditions.speed).map(|s| [s.range.low.0, s.mean.0, s.range.high.0]),
            duty_pct: conditions.duty.map(|d| d.0),
            oil_celsius: conditions.oil,
        }
    }
}
