//! Rows as numbers, the same way for both passes over the file.

use super::cells::text_of;
use super::dialect::is_passed_over;
use super::error::{ImportError, OddCell};
use super::layout::{Column, Layout};
use super::number::{Cell, Numbers, last_digit};
use super::opening::Opening;
use super::plan::Decimal;
use super::rows::Rows;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

/// Rows between two looks at the wish to stop, and two reports of how far it is: some milliseconds.
const LOOK_EVERY: u64 = 16_384;
/// Characters of a cell that an error shows.
const SHOWN: usize = 40;

/// How far an import is. The file is read twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Bytes read, in both passes together.
    pub bytes: u64,
    /// Bytes to read.
    pub of: u64,
}

impl Progress {
    /// From 0 to 1.
    pub fn share(self) -> f64 {
        if self.of == 0 {
            return 1.0;
        }
        (self.bytes as f64 / self.of as f64).min(1.0)
    }
}

/// Who is told how far an import is, and who may stop it.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Called a few times a second or more often, on the thread that imports.
    pub progress: &'a dyn Fn(Progress),
    /// Raised by whoever wants it to stop.
    pub stop: &'a AtomicBool,
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Watch")
            .field("stop", self.stop)
            .finish_non_exhaustive()
    }
}

/// A file read row by row.
pub(crate) struct Feed<'a> {
    path: PathBuf,
    rows: Rows,
    layout: &'a Layout,
    numbers: Numbers,
    /// Cells a row must have, and line of the first row of numbers.
    width: usize,
    first_line: u64,
    watch: Watch<'a>,
    /// Bytes of passes before this one, and of all.
    bytes_before: u64,
    bytes_of_all: u64,
    looked: u64,
    /// Time in units of the column, the rounding it is written with, and the cells of the columns.
    pub time: f64,
    pub rounding: f64,
    pub cells: Vec<Cell>,
    /// Rows so far.
    pub count: u64,
    /// Whether the last line was cut off and is left out.
    pub is_cut: bool,
}

impl<'a> Feed<'a> {
    /// Opens the file for one of `passes` passes, the first of which is 0.
    pub fn open(
        path: &Path,
        opening: &Opening,
        layout: &'a Layout,
        decimal: Option<Decimal>,
        pass: u64,
        watch: Watch<'a>,
    ) -> Result<Self, ImportError> {
        let rows = Rows::open(path, opening.dialect.delimiter.0, pass == 0)?;
        let size = rows.size()?;
        Ok(Self {
            path: path.to_owned(),
            rows,
            layout,
            numbers: Numbers { decimal },
            width: opening.dialect.cells,
            first_line: opening.dialect.begin as u64 + 1,
            watch,
            bytes_before: pass * size,
            bytes_of_all: 2 * size,
            looked: 0,
            time: 0.0,
            rounding: 0.0,
            cells: Vec::with_capacity(layout.columns.len()),
            count: 0,
            is_cut: false,
        })
    }

    /// Goes to the next row of numbers; false at the end of the file.
    pub fn advance(&mut self) -> Result<bool, ImportError> {
        while self.rows.next_line() < self.first_line {
            if !self.rows.skip()? {
                return Ok(false);
            }
        }
        loop {
            self.looked += 1;
            if self.looked.is_multiple_of(LOOK_EVERY) {
                self.look()?;
            }
            if !self.rows.advance()? {
                return Ok(false);
            }
            if is_passed_over(self.rows.text()) {
                continue;
            }
            if self.rows.len() != self.width && !self.has_blank_rest()? {
                return Ok(false);
            }
            self.take()?;
            self.count += 1;
            return Ok(true);
        }
    }

    /// Reports how far it is, and ends if that is wished.
    fn look(&self) -> Result<(), ImportError> {
        (self.watch.progress)(Progress {
            bytes: self.bytes_before + self.rows.bytes(),
            of: self.bytes_of_all,
        });
        if self.watch.stop.load(Ordering::Relaxed) {
            Err(ImportError::Stopped)
        } else {
            Ok(())
        }
    }

    /// Whether a row of another width only has empty cells too many; false at a last line that was cut off.
    fn has_blank_rest(&mut self) -> Result<bool, ImportError> {
        let found = self.rows.len();
        if found > self.width && (self.width..found).all(|i| self.rows.cell(i).is_empty()) {
            return Ok(true);
        }
        if found < self.width && !self.rows.is_whole() {
            self.is_cut = true;
            return Ok(false);
        }
        let shown: String = text_of(self.rows.text()).chars().take(SHOWN).collect();
        Err(self.wrong(format!(
            "expected {} cells, found {found} in \"{shown}\"; correct the line, or say [text] delimiter and decimal in the plan if rows are divided wrongly",
            self.width
        )))
    }

    fn take(&mut self) -> Result<(), ImportError> {
        if let Some(position) = self.layout.time.position {
            let cell = self.rows.cell(position);
            self.rounding = 10f64.powi(last_digit(cell).max(-30));
            self.time = match self.numbers.read(cell) {
                Some(Cell::Number(time)) => time,
                _ => return Err(self.odd(position, "a time", "correct or remove the line")),
            };
        }
        self.cells.clear();
        for column in &self.layout.columns {
            match self.numbers.read(self.rows.cell(column.position)) {
                Some(cell) => self.cells.push(cell),
                None => {
                    return Err(self.odd(
                        column.position,
                        "a number",
                        "say [text] decimal and delimiter in the plan if numbers are written otherwise",
                    ));
                }
            }
        }
        Ok(())
    }

    /// Power of ten of the last digit in the cell of a column.
    pub fn last_digit(&self, column: &Column) -> i32 {
        last_digit(self.rows.cell(column.position))
    }

    /// The line of the present row.
    pub fn line(&self) -> u64 {
        self.rows.line()
    }

    /// The decimal sign that was met.
    pub fn decimal(&self) -> Option<Decimal> {
        self.numbers.decimal
    }

    /// SHA-256 of the file, once it is read to its end.
    pub fn digest(&self) -> String {
        self.rows.digest()
    }

    /// Bytes of the file that were read.
    pub fn bytes(&self) -> u64 {
        self.rows.bytes()
    }

    /// Something is wrong with the present row.
    pub fn wrong(&self, what: String) -> ImportError {
        ImportError::Row {
            path: self.path.clone(),
            line: self.rows.line(),
            what,
        }
    }

    /// A cell of the present row is not what was expected.
    pub fn odd(&self, position: usize, expected: &str, advice: &'static str) -> ImportError {
        let name = match self.layout.columns.iter().find(|c| c.position == position) {
            Some(column) => column.name.clone(),
            None => "time".to_owned(),
        };
        let sign = match self.numbers.decimal {
            Some(decimal) if expected != LEVEL => format!(" with decimal {}", decimal.word()),
            _ => String::new(),
        };
        ImportError::Cell(Box::new(OddCell {
            path: self.path.clone(),
            line: self.rows.line(),
            column: position + 1,
            name,
            expected: format!("{expected}{sign}"),
            found: text_of(self.rows.cell(position))
                .chars()
                .take(SHOWN)
                .collect(),
            advice,
        }))
    }
}

/// What a cell of a column of levels should hold.
pub(crate) const LEVEL: &str = "a level, 0 or 1";
