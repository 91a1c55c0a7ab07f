//! What stands between cells, the decimal sign, and where the rows of numbers begin: decided by which
//! reading makes most sense of the first rows together, not by any single one.

use super::cells::Cells;
use super::number::{Cell, Numbers};
use super::plan::{Decimal, Delimiter, TextPlan};

/// A column counts as numbers when this share of its cells does: a few odd cells are then reported
/// with their line instead of losing the column.
const NUMERIC: f64 = 0.9;
/// A column with this share of cells like "05" is the other half of numbers with a decimal comma.
const HALVES: f64 = 0.1;

/// How the text is divided.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Dialect {
    pub delimiter: Delimiter,
    /// None while no cell that was looked at has a decimal sign.
    pub decimal: Option<Decimal>,
    /// Cells of a row.
    pub cells: usize,
    /// Which of them hold numbers.
    pub numeric: Vec<bool>,
    /// Position of the first row of numbers among the lines.
    pub begin: usize,
}

/// A line that was divided.
struct Row {
    /// Position among the lines.
    at: usize,
    cells: Vec<Vec<u8>>,
}

/// The dialect in which most of these lines are rows of numbers. Lines are those from the start of
/// the file, blank ones included.
pub(crate) fn of(lines: &[Vec<u8>], plan: &TextPlan) -> Option<Dialect> {
    let delimiters = plan
        .delimiter
        .map_or_else(|| Delimiter::TRIED.to_vec(), |given| vec![given]);
    let decimals = plan
        .decimal
        .map_or_else(|| vec![Decimal::Point, Decimal::Comma], |given| vec![given]);
    // Lines above the numbers of which the plan says what they are.
    let from = plan.skip_rows.unwrap_or(0)
        + plan.header_rows.unwrap_or(0)
        + usize::from(plan.unit_row == Some(true));
    let mut best: Option<(usize, Dialect)> = None;
    for &delimiter in &delimiters {
        let rows = divided(lines, from, delimiter);
        for &decimal in &decimals {
            if let Some((score, dialect)) = attempt(&rows, delimiter, decimal)
                && best.as_ref().is_none_or(|b| score > b.0)
            {
                best = Some((score, dialect));
            }
        }
    }
    let (_, mut dialect) = best?;
    dialect.decimal = plan.decimal.or(dialect.decimal);
    Some(dialect)
}

fn divided(lines: &[Vec<u8>], from: usize, delimiter: Delimiter) -> Vec<Row> {
    let mut cells = Cells::new(delimiter.0);
    let mut rows = Vec::new();
    for (at, line) in lines.iter().enumerate().skip(from) {
        if !is_passed_over(line) && cells.divide(line) {
            let cells = (0..cells.len()).map(|i| cells.get(line, i).to_vec());
            rows.push(Row {
                at,
                cells: cells.collect(),
            });
        }
    }
    rows
}

/// The dialect these rows would have, and how much of them it makes sense of: rows that fit, times
/// columns of numbers.
fn attempt(rows: &[Row], delimiter: Delimiter, decimal: Decimal) -> Option<(usize, Dialect)> {
    let mut numbers = Numbers {
        decimal: Some(decimal),
    };
    let read: Vec<Vec<Option<Cell>>> = rows
        .iter()
        .map(|row| row.cells.iter().map(|c| numbers.read(c)).collect())
        .collect();
    // The top may be anything; the latter three quarters are rows of numbers if any are.
    let tail = &read[read.len() / 4..];
    let width = mode(tail.iter().map(Vec::len))?;
    let of_width: Vec<_> = tail.iter().filter(|r| r.len() == width).collect();
    let is_number = |c: &Option<Cell>| matches!(c, Some(Cell::Number(_)));
    let numeric: Vec<bool> = (0..width)
        .map(|c| {
            let understood = of_width.iter().filter(|r| r[c].is_some()).count();
            of_width.iter().any(|r| is_number(&r[c]))
                && understood as f64 >= NUMERIC * of_width.len() as f64
        })
        .collect();
    let columns = numeric.iter().filter(|&&n| n).count();
    let fits = |row: &Vec<Option<Cell>>| {
        let used = || {
            row.iter()
                .zip(&numeric)
                .filter(|(_, n)| **n)
                .map(|(c, _)| c)
        };
        row.len() == width && used().all(Option::is_some) && used().any(is_number)
    };
    let good: Vec<bool> = read.iter().map(fits).collect();
    // Two in succession: a lone one may be a line of settings above.
    let first = (0..rows.len()).find(|&i| good[i] && good.get(i + 1).copied().unwrap_or(true))?;
    let body = || {
        rows[first..]
            .iter()
            .zip(&good[first..])
            .filter(|(_, g)| **g)
    };
    if delimiter.0 == b',' {
        let halved = body().filter(|(row, _)| row.cells.iter().skip(1).any(|c| is_half(c)));
        if halved.count() as f64 > HALVES * body().count() as f64 {
            return None;
        }
    }
    // Where no number has a decimal sign nothing is decided yet.
    let is_decided = delimiter.0 == b','
        || body().any(|(row, _)| {
            let mut used = row.cells.iter().zip(&numeric).filter(|(_, n)| **n);
            used.any(|(cell, _)| memchr::memchr2(b'.', b',', cell).is_some())
        });
    let score = columns * good.iter().filter(|g| **g).count();
    let dialect = Dialect {
        delimiter,
        decimal: is_decided.then_some(decimal),
        cells: width,
        numeric,
        begin: rows[first].at,
    };
    Some((score, dialect))
}

/// "05" and "001": with a comma between cells these are the digits after a decimal comma.
fn is_half(cell: &[u8]) -> bool {
    cell.len() > 1 && cell[0] == b'0' && cell.iter().all(u8::is_ascii_digit)
}

/// Blank lines and comments among the numbers.
pub(crate) fn is_passed_over(line: &[u8]) -> bool {
    let line = line.trim_ascii();
    line.is_empty()
        || matches!(line[0], b'#' | b'%')
        || line.starts_with(b"//")
        // A row of bare delimiters, as spreadsheets leave below the numbers.
        || line.iter().all(|b| matches!(b, b',' | b';' | b'\t' | b' ' | b'|' | b'"'))
}

/// The commonest value; of equally common ones the greatest.
fn mode(values: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts = std::collections::BTreeMap::new();
    for value in values {
        *counts.entry(value).or_insert(0usize) += 1;
    }
    counts.into_iter().max_by_key(|&(_, n)| n).map(|(v, _)| v)
}
