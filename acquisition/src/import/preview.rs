//! What was found in the first rows of a capture, before anything is imported.

use super::error::ImportError;
use super::layout::Layout;
use super::opening::Opening;
use super::plan::{Decimal, Kind, Plan, TimeUnit};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Rows that are shown.
const SHOWN_ROWS: usize = 12;

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Preview {
    /// The file.
    pub path: PathBuf,
    /// Its size.
    pub bytes: u64,
    /// What stands between cells, in words: ";", "tab".
    pub delimiter: String,
    /// The decimal sign; none while no number has one.
    pub decimal: Option<Decimal>,
    /// Line of the first row of numbers, from 1.
    pub first_line: u64,
    /// Name of each column of the file; empty where it has none.
    pub names: Vec<String>,
    /// Unit of each column as written.
    pub units: Vec<String>,
    /// The first rows of numbers as written.
    pub rows: Vec<Vec<String>>,
    /// The time.
    pub time: TimePreview,
    /// Whether rows are samples or changes of level.
    pub kind: Kind,
    /// The columns that are imported, in the order of the inputs they become.
    pub columns: Vec<ColumnPreview>,
    /// What was taken for granted, as sentences.
    pub assumed: Vec<String>,
    /// What the plan must say before the capture can be imported, as sentences.
    pub lacking: Vec<String>,
    /// The plan that says all of this, ready to be changed and used.
    pub plan: Plan,
}

/// The time column.
#[derive(Debug, Clone, PartialEq)]
pub struct TimePreview {
    /// Column from 1; none where rows are the samples.
    pub column: Option<usize>,
    /// Its unit.
    pub unit: TimeUnit,
    /// Samples per second that the first rows show or the plan says; of edges it is known after a whole pass.
    pub rate_hz: Option<f64>,
    /// Time of the first row, in its unit.
    pub first: Option<f64>,
}

/// A column that is imported.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnPreview {
    /// Column from 1.
    pub number: usize,
    /// Its name, or its number where it has none.
    pub name: String,
    /// Its role, as in a lead plan.
    pub role: String,
    /// Its unit as in a plan; none for levels.
    pub unit: Option<&'static str>,
    /// Units at the probe tip per unit at the input.
    pub factor: f64,
    /// Least and greatest value in the first rows, in its unit.
    pub range: Option<[f64; 2]>,
}

impl Preview {
    /// The lead plan of the recording as TOML: each column an input, in order.
    pub fn lead_plan(&self) -> String {
        let file = self.path.file_name().unwrap_or_default().to_string_lossy();
        let leads = self
            .columns
            .iter()
            .enumerate()
            .map(|(i, c)| Lead {
                input: i + 1,
                role: &c.role,
                place: format!("column \"{}\" of {file}", c.name),
                factor: c.factor,
            })
            .collect();
        let plan = Leads {
            name: format!("Columns of {file}"),
            leads,
        };
        // Plain strings and numbers can always be written.
        toml::to_string(&plan).unwrap_or_default()
    }
}

/// A lead plan as it is written. What it means is known to whoever reads it.
#[derive(Serialize)]
struct Leads<'a> {
    name: String,
    leads: Vec<Lead<'a>>,
}

#[derive(Serialize)]
struct Lead<'a> {
    input: usize,
    role: &'a str,
    place: String,
    factor: f64,
}

/// Looks at the first rows. What the plan leaves out is found from them.
///
/// # Errors
/// Why the file cannot be read, has no rows of numbers, or does not have what the plan names. What
/// is only missing stands in [`Preview::lacking`].
pub fn inspect(path: &Path, plan: &Plan) -> Result<Preview, ImportError> {
    let opening = Opening::read(path, plan)?;
    let layout = Layout::of(path, &opening, plan)?;
    Ok(of(path, &opening, &layout, plan))
}

pub(crate) fn of(path: &Path, opening: &Opening, layout: &Layout, plan: &Plan) -> Preview {
    let dialect = &opening.dialect;
    let time = &layout.time;
    Preview {
        path: path.to_owned(),
        bytes: std::fs::metadata(path).map_or(0, |m| m.len()),
        delimiter: dialect.delimiter.word(),
        decimal: dialect.decimal,
        first_line: dialect.begin as u64 + 1,
        names: opening.heading.names.clone(),
        units: opening.heading.units.clone(),
        rows: opening.texts(SHOWN_ROWS),
        time: TimePreview {
            column: time.position.map(|p| p + 1),
            unit: time.unit,
            rate_hz: match layout.kind {
                Kind::Samples => time.rate.or(time.rate_seen),
                Kind::Edges => time.rate,
            },
            first: time
                .position
                .and_then(|p| opening.numbers(p).first().copied()),
        },
        kind: layout.kind,
        columns: layout
            .columns
            .iter()
            .map(|c| ColumnPreview {
                number: c.position + 1,
                name: c.name.clone(),
                role: c.role.clone(),
                unit: c.unit.map(super::plan::Unit::word),
                factor: c.factor,
                range: ends(&opening.numbers(c.position)),
            })
            .collect(),
        assumed: layout.assumed.clone(),
        lacking: layout.lacking.clone(),
        plan: layout.plan(opening, plan),
    }
}

fn ends(values: &[f64]) -> Option<[f64; 2]> {
    let (low, high) = values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), &v| {
            (lo.min(v), hi.max(v))
        });
    (low <= high).then_some([low, high])
}
