//! Names and units above the numbers.

use super::cells::{Cells, text_of};
use super::dialect::Dialect;
use super::plan::{TextPlan, TimeUnit, Unit};

/// What stands above the numbers.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Heading {
    /// Lines above everything else.
    pub skip_rows: usize,
    /// Rows with names.
    pub header_rows: usize,
    /// Whether a row of units follows them.
    pub unit_row: bool,
    /// Name of each cell, without its unit; empty where there is none.
    pub names: Vec<String>,
    /// Unit of each cell as written, without brackets; empty where there is none.
    pub units: Vec<String>,
}

/// The heading above the first row of numbers.
pub(crate) fn above(lines: &[Vec<u8>], dialect: &Dialect, plan: &TextPlan) -> Heading {
    let skip = plan.skip_rows.unwrap_or(0).min(dialect.begin);
    let mut rows: Vec<(usize, Vec<String>)> = lines[skip..dialect.begin]
        .iter()
        .enumerate()
        .map(|(at, line)| (skip + at, cells(line, dialect)))
        .filter(|(_, cells)| cells.iter().any(|c| !c.is_empty()))
        .collect();
    let units = match plan.unit_row {
        Some(false) => None,
        Some(true) => rows.pop(),
        None => rows
            .last()
            .is_some_and(|(_, cells)| are_units(cells))
            .then(|| rows.pop())
            .flatten(),
    };
    let count = plan.header_rows.unwrap_or_else(|| {
        // One more or one fewer where only one of header and rows ends with a delimiter.
        let fits = |cells: &Vec<String>| {
            cells.len().abs_diff(dialect.cells) <= 1 && (dialect.cells > 1 || cells.len() == 1)
        };
        usize::from(rows.last().is_some_and(|(_, cells)| fits(cells)))
    });
    let header = rows.split_off(rows.len().saturating_sub(count));
    let mut heading = Heading {
        skip_rows: header
            .first()
            .or(units.as_ref())
            .map_or(dialect.begin, |(at, _)| *at),
        header_rows: header.len(),
        unit_row: units.is_some(),
        names: vec![String::new(); dialect.cells],
        units: vec![String::new(); dialect.cells],
    };
    for position in 0..dialect.cells {
        let parts: Vec<&str> = header
            .iter()
            .filter_map(|(_, cells)| cells.get(position))
            .map(String::as_str)
            .filter(|part| !part.is_empty())
            .collect();
        let (name, unit) = divide(&parts.join(" "));
        heading.names[position] = name;
        heading.units[position] = units
            .as_ref()
            .and_then(|(_, cells)| cells.get(position))
            .map(|cell| bare(cell).to_owned())
            .filter(|cell| !cell.is_empty())
            .unwrap_or(unit);
    }
    heading
}

/// The cells of a line above the numbers; a comment sign in front of it is no part of them.
fn cells(line: &[u8], dialect: &Dialect) -> Vec<String> {
    let mut line = line.trim_ascii();
    while let [b'#' | b'%' | b'/', rest @ ..] = line {
        // "#" alone is a usual name for the column that counts.
        if rest
            .first()
            .is_none_or(|b| *b == dialect.delimiter.0 && *b != b' ')
        {
            break;
        }
        line = rest.trim_ascii_start();
    }
    let mut cells = Cells::new(dialect.delimiter.0);
    if !cells.divide(line) {
        return Vec::new();
    }
    (0..cells.len())
        .map(|i| text_of(cells.get(line, i)))
        .collect()
}

/// A row of units: none that is not short, some that are known.
fn are_units(cells: &[String]) -> bool {
    let known = |c: &&String| TimeUnit::named(bare(c)).is_some() || Unit::named(bare(c)).is_some();
    let short = |c: &String| bare(c).chars().count() <= 6 && (bare(c) != c || c.len() <= 4);
    let given: Vec<&String> = cells.iter().filter(|c| !c.is_empty()).collect();
    // A bare "t" and "a" are names as well as units, so half must be known.
    cells.iter().all(short) && 2 * given.iter().filter(|c| known(c)).count() >= given.len().max(1)
}

/// Without its brackets.
fn bare(word: &str) -> &str {
    let word = word.trim();
    [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')]
        .iter()
        .find_map(|&(open, close)| word.strip_prefix(open)?.strip_suffix(close))
        .unwrap_or(word)
        .trim()
}

/// A name and the unit in it: "Time (ms)", "crank [V]", "time/ms", "time_ms", "time ms".
fn divide(name: &str) -> (String, String) {
    let name = name.trim();
    if let Some(at) = name.rfind(['(', '[', '{']) {
        let unit = bare(&name[at..]);
        if at > 0 && unit.len() < name.len() - at {
            return (name[..at].trim().to_owned(), unit.to_owned());
        }
    }
    if let Some(at) = name.rfind(['/', '_', ' ', ',']) {
        let unit = name[at + 1..].trim();
        // A lone letter after a space is more often part of the name: "bank a", "phase s".
        let clear = name.as_bytes()[at] == b'/' || unit.chars().count() > 1;
        if clear && at > 0 && (TimeUnit::named(unit).is_some() || Unit::named(unit).is_some()) {
            return (name[..at].trim().to_owned(), unit.to_owned());
        }
    }
    (name.to_owned(), String::new())
}
