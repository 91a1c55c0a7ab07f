//! The first rows of a file, from which everything is found that the plan does not say.

use super::cells::{Cells, text_of};
use super::dialect::{self, Dialect};
use super::error::ImportError;
use super::heading::{self, Heading};
use super::number::{Cell, Numbers, last_digit};
use super::plan::{Plan, TextPlan};
use super::rows::Rows;
use std::path::Path;

/// Enough rows to tell dialects apart and a period from its rounding; more takes longer to look at.
const MOST_BYTES: usize = 1 << 18;
const MOST_LINES: usize = 5000;

/// The first rows.
#[derive(Debug)]
pub(crate) struct Opening {
    pub dialect: Dialect,
    pub heading: Heading,
    /// Rows of numbers, each with its line from 1 and its cells.
    pub rows: Vec<(u64, Vec<Vec<u8>>)>,
}

impl Opening {
    /// Reads the first rows.
    pub fn read(path: &Path, plan: &Plan) -> Result<Self, ImportError> {
        let lines = first_lines(path, &plan.text)?;
        let Some(dialect) = dialect::of(&lines, &plan.text) else {
            return Err(ImportError::NoNumbers {
                path: path.to_owned(),
                rows: lines.len(),
            });
        };
        let heading = heading::above(&lines, &dialect, &plan.text);
        let mut cells = Cells::new(dialect.delimiter.0);
        let mut rows = Vec::new();
        for (at, line) in lines.iter().enumerate().skip(dialect.begin) {
            if !dialect::is_passed_over(line) && cells.divide(line) {
                let row = (0..cells.len()).map(|i| cells.get(line, i).to_vec());
                rows.push((at as u64 + 1, row.collect()));
            }
        }
        Ok(Self {
            dialect,
            heading,
            rows,
        })
    }

    /// The cells of a column.
    pub fn column(&self, position: usize) -> impl Iterator<Item = &[u8]> {
        self.rows
            .iter()
            .map(move |(_, row)| row.get(position).map_or(&b""[..], Vec::as_slice))
    }

    /// The numbers of a column, those cells left out that are none.
    pub fn numbers(&self, position: usize) -> Vec<f64> {
        let mut numbers = Numbers {
            decimal: self.dialect.decimal,
        };
        self.column(position)
            .filter_map(|cell| match numbers.read(cell) {
                Some(Cell::Number(x)) => Some(x),
                _ => None,
            })
            .collect()
    }

    /// The finest last digit in a column.
    pub fn rounding(&self, position: usize) -> f64 {
        let finest = self.column(position).map(last_digit).min().unwrap_or(0);
        10f64.powi(finest.max(-18))
    }

    /// Whether all numbers of a column are written as levels: 0 and 1, or in words.
    pub fn is_levels(&self, position: usize) -> bool {
        self.column(position).all(|cell| {
            matches!(
                cell.to_ascii_lowercase().as_slice(),
                b"" | b"0"
                    | b"1"
                    | b"0.0"
                    | b"1.0"
                    | b"low"
                    | b"high"
                    | b"off"
                    | b"on"
                    | b"false"
                    | b"true"
            )
        })
    }

    /// Share of rows in which one of these columns differs from the row before.
    pub fn changes(&self, positions: &[usize]) -> f64 {
        let changed = self.rows.windows(2).filter(|pair| {
            positions
                .iter()
                .any(|&p| pair[0].1.get(p) != pair[1].1.get(p))
        });
        changed.count() as f64 / self.rows.len().saturating_sub(1).max(1) as f64
    }

    /// The name of a column, its number where it has none.
    pub fn name(&self, position: usize) -> String {
        match self.heading.names.get(position).map(String::as_str) {
            None | Some("") => (position + 1).to_string(),
            Some(name) => name.to_owned(),
        }
    }

    /// The first rows as text.
    pub fn texts(&self, count: usize) -> Vec<Vec<String>> {
        let rows = self.rows.iter().take(count);
        rows.map(|(_, row)| row.iter().map(|c| text_of(c)).collect())
            .collect()
    }
}

fn first_lines(path: &Path, plan: &TextPlan) -> Result<Vec<Vec<u8>>, ImportError> {
    let mut rows = Rows::open(path, b',', false)?;
    let mut lines = Vec::new();
    let mut bytes = 0;
    // A long preamble that the plan tells of does not count.
    let skipped = plan.skip_rows.unwrap_or(0);
    while lines.len() < MOST_LINES + skipped && bytes < MOST_BYTES && rows.skip()? {
        // A line that was cut off says nothing of the file.
        if rows.is_whole() || lines.len() < 3 {
            if lines.len() >= skipped {
                bytes += rows.text().len() + 1;
            }
            lines.push(rows.text().to_vec());
        }
    }
    Ok(lines)
}
