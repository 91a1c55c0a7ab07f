//! What is imported, and how: the plan, completed with what the first rows show.

use super::clock::{Clock, FirstLook, first_look, plain_rate};
use super::error::ImportError;
use super::opening::Opening;
use super::plan::{ColumnKey, ColumnPlan, Holes, Kind, Plan, TextPlan, TimePlan, TimeUnit, Unit};
use super::role;
use std::path::Path;

/// A row in nearly every one of which a level changes is written at changes, even where these come evenly.
const AT_CHANGES: f64 = 0.9;

/// The time column.
#[derive(Debug, Clone)]
pub(crate) struct TimeColumn {
    /// Position in a row; without one the rows are the samples.
    pub position: Option<usize>,
    pub unit: TimeUnit,
    pub rate: Option<f64>,
    /// What the first rows show, and the rounding of their times.
    pub look: Option<(FirstLook, f64)>,
    /// The rate that the first rows show, in samples per second.
    pub rate_seen: Option<f64>,
}

/// A column that is imported.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    pub position: usize,
    pub name: String,
    pub role: String,
    /// None for levels.
    pub unit: Option<Unit>,
    pub factor: f64,
    pub holes: Holes,
}

/// What is imported, and how.
#[derive(Debug, Clone)]
pub(crate) struct Layout {
    pub kind: Kind,
    pub time: TimeColumn,
    pub columns: Vec<Column>,
    /// What was taken for granted, as sentences.
    pub assumed: Vec<String>,
    /// What has to be said before anything can be imported, as sentences.
    pub lacking: Vec<String>,
}

impl Layout {
    /// Completes the plan.
    pub fn of(path: &Path, opening: &Opening, plan: &Plan) -> Result<Self, ImportError> {
        let mut maker = Maker {
            path,
            opening,
            plan,
            assumed: Vec::new(),
            lacking: Vec::new(),
        };
        let position = maker.time_position()?;
        let wanted = maker.wanted(position)?;
        let mut time = maker.time(position)?;
        let (kind, wanted) = maker.kind(&time, wanted)?;
        let columns = maker.columns(kind, wanted)?;
        maker.rate(kind, &mut time);
        Ok(Self {
            kind,
            time,
            columns,
            assumed: maker.assumed,
            lacking: maker.lacking,
        })
    }

    /// The plan that says all of it.
    pub fn plan(&self, opening: &Opening, given: &Plan) -> Plan {
        let key = |position: usize| {
            let name = opening.name(position);
            let names = &opening.heading.names;
            if names.iter().filter(|n| **n == name).count() == 1 {
                ColumnKey::Name(name)
            } else {
                ColumnKey::Number(position + 1)
            }
        };
        let dialect = &opening.dialect;
        Plan {
            name: given.name.clone(),
            text: TextPlan {
                delimiter: Some(dialect.delimiter),
                decimal: dialect.decimal,
                header_rows: Some(opening.heading.header_rows),
                unit_row: Some(opening.heading.unit_row),
                skip_rows: Some(opening.heading.skip_rows),
            },
            time: TimePlan {
                column: Some(self.time.position.map_or(ColumnKey::Number(0), key)),
                unit: Some(self.time.unit),
                rate: given.time.rate,
            },
            columns: self
                .columns
                .iter()
                .map(|c| ColumnPlan {
                    column: key(c.position),
                    role: Some(c.role.clone()),
                    kind: Some(self.kind),
                    unit: c.unit,
                    factor: c.factor,
                    holes: c.holes,
                })
                .collect(),
        }
    }
}

/// A column that is wanted, with what the plan says of it.
type Wanted<'a> = (usize, Option<&'a ColumnPlan>);

struct Maker<'a> {
    path: &'a Path,
    opening: &'a Opening,
    plan: &'a Plan,
    assumed: Vec<String>,
    lacking: Vec<String>,
}

impl<'a> Maker<'a> {
    fn wrong<T>(&self, what: String) -> Result<T, ImportError> {
        Err(ImportError::Plan {
            path: self.path.to_owned(),
            what,
        })
    }

    /// The position of the column a plan names.
    fn find(&self, key: &ColumnKey) -> Result<usize, ImportError> {
        let (names, cells) = (&self.opening.heading.names, self.opening.dialect.cells);
        match key {
            ColumnKey::Number(n) if (1..=cells).contains(n) => Ok(n - 1),
            ColumnKey::Number(n) => self.wrong(format!(
                "the plan names column {n}, rows have columns 1 to {cells}; correct the number, or say [text] delimiter if rows are divided wrongly"
            )),
            ColumnKey::Name(name) => {
                let wanted = name.trim().to_lowercase();
                let matching = |exact: bool| -> Vec<usize> {
                    (0..cells)
                        .filter(|&i| {
                            if exact {
                                names[i] == name.trim()
                            } else {
                                names[i].to_lowercase() == wanted
                            }
                        })
                        .collect()
                };
                let mut found = matching(true);
                if found.is_empty() {
                    found = matching(false);
                }
                match found[..] {
                    [position] => Ok(position),
                    [] => self.wrong(format!(
                        "the plan names the column \"{name}\", the columns are called {}; correct the name or give the number, counted from 1",
                        quoted(names)
                    )),
                    _ => self.wrong(format!(
                        "\"{name}\" is the name of {} columns; give the number, counted from 1",
                        found.len()
                    )),
                }
            }
        }
    }

    fn time_position(&mut self) -> Result<Option<usize>, ImportError> {
        let opening = self.opening;
        if let Some(key) = &self.plan.time.column {
            return match key {
                ColumnKey::Number(0) => Ok(None),
                key => self.find(key).map(Some),
            };
        }
        let (names, units) = (&opening.heading.names, &opening.heading.units);
        let numeric = || (0..opening.dialect.cells).filter(|&i| opening.dialect.numeric[i]);
        let named = numeric()
            .find(|&i| role::is_time(&names[i]) || TimeUnit::named(&names[i]).is_some())
            .or_else(|| numeric().find(|&i| TimeUnit::named(&units[i]).is_some()))
            .or_else(|| numeric().find(|&i| role::is_count(&names[i])));
        if named.is_some() {
            return Ok(named);
        }
        let Some(first) = numeric().next().filter(|_| numeric().count() > 1) else {
            return Ok(None);
        };
        let times = opening.numbers(first);
        let runs_on = times.len() > 2
            && times.windows(2).all(|w| w[1] >= w[0])
            && times.first() < times.last();
        // A level that rises once runs on as well.
        if runs_on && !opening.is_levels(first) {
            self.assumed.push(format!(
                "column {} is taken for the time, because it always grows",
                opening.name(first)
            ));
            return Ok(Some(first));
        }
        Ok(None)
    }

    fn time(&mut self, position: Option<usize>) -> Result<TimeColumn, ImportError> {
        let given = &self.plan.time;
        if let Some(rate) = given.rate
            && !(rate.is_finite() && rate > 0.0)
        {
            return self.wrong(format!("[time] rate is {rate}; it must be above 0"));
        }
        let Some(position) = position else {
            return Ok(TimeColumn {
                position: None,
                unit: TimeUnit::Sample,
                rate: given.rate,
                look: None,
                rate_seen: None,
            });
        };
        let times = self.opening.numbers(position);
        let rounding = self.opening.rounding(position);
        let unit = match given
            .unit
            .or_else(|| TimeUnit::named(&self.opening.heading.units[position]))
            .or_else(|| TimeUnit::named(&self.opening.heading.names[position]))
        {
            Some(unit) => unit,
            None if role::is_count(&self.opening.heading.names[position])
                || times.windows(2).all(|w| (w[1] - w[0] - 1.0).abs() < 1e-9)
                    && rounding >= 1.0 =>
            {
                self.assumed.push(format!(
                    "column {} is taken to count samples",
                    self.opening.name(position)
                ));
                TimeUnit::Sample
            }
            None => {
                let name = self.opening.name(position);
                if rounding < 1.0 {
                    self.assumed.push(format!(
                        "the time in column {name} has no unit and is taken for seconds"
                    ));
                } else {
                    self.lacking.push(format!(
                        "column {name} has times in whole numbers and no unit: say [time] unit = \"us\", or another of s, ms, us, ns, sample"
                    ));
                }
                TimeUnit::S
            }
        };
        let look = first_look(&times, rounding).map(|look| (look, rounding));
        let rate_seen = look.filter(|(look, _)| look.is_even).and_then(|(look, _)| {
            let mut clock = Clock::new(look, rounding);
            times.iter().for_each(|&t| {
                let _place = clock.push(t, rounding);
            });
            let (period, uncertainty) = clock.period();
            Some(plain_rate(period * unit.seconds()?, uncertainty / period))
        });
        Ok(TimeColumn {
            position: Some(position),
            unit,
            rate: given.rate,
            look,
            rate_seen,
        })
    }

    /// The columns to import: those of the plan, or all that hold numbers.
    fn wanted(&mut self, time: Option<usize>) -> Result<Vec<Wanted<'a>>, ImportError> {
        let opening = self.opening;
        let mut wanted: Vec<Wanted<'a>> = Vec::new();
        for column in &self.plan.columns {
            let position = self.find(&column.column)?;
            let name = opening.name(position);
            if wanted.iter().any(|w| w.0 == position) {
                return self.wrong(format!(
                    "the plan has the column \"{name}\" twice; keep one"
                ));
            }
            if Some(position) == time {
                return self.wrong(format!(
                    "the column \"{name}\" is the time and cannot be a signal too; say [time] column"
                ));
            }
            if !(column.factor.is_finite() && column.factor.abs() > 0.0) {
                return self.wrong(format!(
                    "the factor of \"{name}\" must be a number other than 0"
                ));
            }
            wanted.push((position, Some(column)));
        }
        if wanted.is_empty() {
            for position in 0..opening.dialect.cells {
                let unit = &opening.heading.units[position];
                let is_known = unit.is_empty() || Unit::named(unit).is_some();
                if Some(position) == time {
                } else if !opening.dialect.numeric[position] {
                    if opening.column(position).any(|c| !c.is_empty()) {
                        self.assumed.push(format!(
                            "column {} is left out, because it does not hold numbers",
                            opening.name(position)
                        ));
                    }
                } else if !is_known || role::is_count(&opening.heading.names[position]) {
                    self.assumed.push(format!(
                        "column {} is left out, because it is no signal in V, A, kPa or their like",
                        opening.name(position)
                    ));
                } else {
                    wanted.push((position, None));
                }
            }
        }
        if wanted.is_empty() {
            return self.wrong("there is no column of numbers beside the time; say [text] delimiter and decimal, or [time] column, in the plan".to_owned());
        }
        Ok(wanted)
    }

    /// Samples or edges, and the columns that are of this kind.
    fn kind(
        &mut self,
        time: &TimeColumn,
        wanted: Vec<Wanted<'a>>,
    ) -> Result<(Kind, Vec<Wanted<'a>>), ImportError> {
        let said = |kind: Kind| {
            wanted
                .iter()
                .any(|w| w.1.and_then(|c| c.kind) == Some(kind))
        };
        match (said(Kind::Samples), said(Kind::Edges)) {
            (true, true) => {
                return self.wrong("some columns are samples and some edges: a file is either a row per sample or a row per change; give all columns one kind, or none".to_owned());
            }
            (true, false) => return Ok((Kind::Samples, wanted)),
            (false, true) => return Ok((Kind::Edges, wanted)),
            (false, false) => {}
        }
        let levels: Vec<usize> = wanted
            .iter()
            .filter(|w| w.1.and_then(|c| c.unit).is_none() && self.opening.is_levels(w.0))
            .map(|w| w.0)
            .collect();
        let Some((look, _)) = time.look.filter(|_| time.unit != TimeUnit::Sample) else {
            return Ok((Kind::Samples, wanted));
        };
        if levels.is_empty() {
            return Ok((Kind::Samples, wanted));
        }
        let at_changes =
            levels.len() == wanted.len() && self.opening.changes(&levels) >= AT_CHANGES;
        if look.is_even && !at_changes {
            return Ok((Kind::Samples, wanted));
        }
        self.assumed.push(format!(
            "rows are taken for changes of level, because {}",
            if look.is_even {
                "a level changes in nearly every one"
            } else {
                "they come at uneven times"
            }
        ));
        let (kept, left): (Vec<_>, Vec<_>) = wanted
            .into_iter()
            .partition(|w| levels.contains(&w.0) || w.1.is_some());
        for (position, _) in left {
            self.assumed.push(format!(
                "column {} is left out, because it does not hold levels 0 and 1",
                self.opening.name(position)
            ));
        }
        Ok((Kind::Edges, kept))
    }

    fn columns(&mut self, kind: Kind, wanted: Vec<Wanted<'a>>) -> Result<Vec<Column>, ImportError> {
        let mut columns: Vec<Column> = Vec::new();
        for (position, plan) in wanted {
            let name = self.opening.name(position);
            let written = &self.opening.heading.units[position];
            let unit = match (kind, plan.and_then(|c| c.unit), Unit::named(written)) {
                (Kind::Edges, ..) => None,
                (Kind::Samples, Some(unit), _) | (Kind::Samples, None, Some(unit)) => Some(unit),
                (Kind::Samples, None, None) if !written.is_empty() => {
                    return self.wrong(format!(
                        "\"{name}\" is in {written}, which is not known; say unit in the plan: V, mV, A, mA, kPa, bar or psi"
                    ));
                }
                (Kind::Samples, None, None) if self.opening.is_levels(position) => {
                    self.assumed.push(format!(
                        "column {name} holds levels 0 and 1, not volts, because only these are in its first rows"
                    ));
                    None
                }
                (Kind::Samples, None, None) => {
                    self.assumed
                        .push(format!("column {name} has no unit and is taken for volts"));
                    Unit::named("V")
                }
            };
            let said = plan.and_then(|c| c.role.clone());
            let proposed = role::proposed(&self.opening.heading.names[position]);
            let taken =
                |role: &str| role != "spare" && columns.iter().any(|c: &Column| c.role == role);
            let role = match (said, proposed) {
                (Some(role), _) => role,
                (None, Some(role)) if taken(&role) => {
                    self.assumed.push(format!(
                        "column {name} looks like {role}, which another column is already, and is spare"
                    ));
                    "spare".to_owned()
                }
                (None, Some(role)) => {
                    self.assumed
                        .push(format!("column {name} is taken for {role}, by its name"));
                    role
                }
                (None, None) => {
                    self.assumed.push(format!(
                        "column {name} is spare, because its name says no role"
                    ));
                    "spare".to_owned()
                }
            };
            columns.push(Column {
                position,
                name,
                role,
                unit,
                factor: plan.map_or(1.0, |c| c.factor),
                holes: plan.map_or(Holes::Gap, |c| c.holes),
            });
        }
        Ok(columns)
    }

    /// Completes what is known of the rate, or says what is lacking.
    fn rate(&mut self, kind: Kind, time: &mut TimeColumn) {
        let counts = time.unit == TimeUnit::Sample;
        if kind == Kind::Edges {
            if counts && time.rate.is_none() || time.position.is_none() {
                self.lacking.push(
                    "edges need a time column with a unit: say [time] column and unit".to_owned(),
                );
            }
            return;
        }
        if counts {
            if time.rate.is_none() {
                let what = if time.position.is_some() {
                    "the time column only counts samples"
                } else {
                    "there is no time column"
                };
                self.lacking
                    .push(format!("{what}: say [time] rate, in samples per second"));
            }
            return;
        }
        match time.look {
            None => self.lacking.push(
                "the first times do not run on, or are fewer than three: say [time] column, or column = 0 and rate if the rows are the samples".to_owned(),
            ),
            Some((look, _)) if !look.is_even => self.lacking.push(
                "rows come at uneven times, and not all columns are levels: say kind = \"edges\" for levels, or [time] column = 0 and rate if the rows are even samples".to_owned(),
            ),
            Some(_) => {}
        }
    }
}

fn quoted(names: &[String]) -> String {
    let names: Vec<String> = names
        .iter()
        .filter(|n| !n.is_empty())
        .map(|n| format!("\"{n}\""))
        .collect();
    if names.is_empty() {
        "nothing: there is no header".to_owned()
    } else {
        names.join(", ")
    }
}
