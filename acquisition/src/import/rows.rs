//! Rows of cells from a file of any size, one line in memory at a time.

use super::cells::Cells;
use super::error::ImportError;
use encoding_rs_io::{DecodeReaderBytes, DecodeReaderBytesBuilder};
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;

/// A row of three thousand columns; a line beyond this is no row. Quoted cells may span lines up to here.
const LONGEST_LINE: usize = 1 << 16;
const BUFFER_BYTES: usize = 1 << 18;

/// What was read so far.
#[derive(Debug, Default)]
struct Tally {
    bytes: u64,
    digest: Option<Sha256>,
}

/// The file, counted and if wished digested as it is read.
#[derive(Debug)]
struct Counted {
    file: File,
    tally: Rc<RefCell<Tally>>,
}

impl Read for Counted {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let n = self.file.read(buffer)?;
        let mut tally = self.tally.borrow_mut();
        tally.bytes += n as u64;
        if let Some(digest) = &mut tally.digest {
            digest.update(&buffer[..n]);
        }
        Ok(n)
    }
}

/// The rows of a file.
#[derive(Debug)]
pub(crate) struct Rows {
    path: PathBuf,
    reader: BufReader<DecodeReaderBytes<Counted, Vec<u8>>>,
    tally: Rc<RefCell<Tally>>,
    terminator: u8,
    /// Line the row began at, from 1, and lines read.
    line: u64,
    read: u64,
    text: Vec<u8>,
    /// Whether the last line had its terminator: without one the file may have been cut off.
    is_whole: bool,
    cells: Cells,
}

impl Rows {
    /// Opens the file; a byte order mark is passed over, UTF-16 with one is read too.
    pub fn open(path: &Path, delimiter: u8, digest: bool) -> Result<Self, ImportError> {
        let unread = |e| ImportError::Read(path.to_owned(), Arc::new(e));
        let mut file = File::open(path).map_err(unread)?;
        if !file.metadata().map_err(unread)?.is_file() {
            return Err(ImportError::NoFile(path.to_owned()));
        }
        let mut begin = Vec::new();
        (&file)
            .take(LONGEST_LINE as u64)
            .read_to_end(&mut begin)
            .and_then(|_| file.rewind())
            .map_err(unread)?;
        // Line ends of a bare carriage return, where there is no line feed at all.
        let bare =
            memchr::memchr(b'\n', &begin).is_none() && memchr::memchr(b'\r', &begin).is_some();
        let tally = Rc::new(RefCell::new(Tally {
            bytes: 0,
            digest: digest.then(Sha256::new),
        }));
        let counted = Counted {
            file,
            tally: Rc::clone(&tally),
        };
        let reader = BufReader::with_capacity(
            BUFFER_BYTES,
            DecodeReaderBytesBuilder::new()
                .utf8_passthru(true)
                .strip_bom(true)
                .bom_override(true)
                .build_with_buffer(counted, vec![0; BUFFER_BYTES])
                .map_err(unread)?,
        );
        Ok(Self {
            path: path.to_owned(),
            reader,
            tally,
            terminator: if bare { b'\r' } else { b'\n' },
            line: 0,
            read: 0,
            text: Vec::new(),
            is_whole: true,
            cells: Cells::new(delimiter),
        })
    }

    /// Bytes of the file that were read.
    pub fn bytes(&self) -> u64 {
        self.tally.borrow().bytes
    }

    /// SHA-256 of what was read, in hexadecimal digits; empty when it was not asked for.
    pub fn digest(&self) -> String {
        let tally = self.tally.borrow();
        let digest = tally.digest.clone().map(Sha256::finalize);
        digest
            .iter()
            .flatten()
            .map(|byte| format!("{byte:02x}"))
            .collect()
    }

    /// Bytes of the whole file.
    pub fn size(&self) -> Result<u64, ImportError> {
        std::fs::metadata(&self.path)
            .map(|m| m.len())
            .map_err(|e| ImportError::Read(self.path.clone(), Arc::new(e)))
    }

    /// Line that will be read next, from 1.
    pub fn next_line(&self) -> u64 {
        self.read + 1
    }

    /// Line at which the present row begins, from 1.
    pub fn line(&self) -> u64 {
        self.line
    }

    /// Whether the present row ends with a line end, as all do but those cut off.
    pub fn is_whole(&self) -> bool {
        self.is_whole
    }

    /// The present line, without its end.
    pub fn text(&self) -> &[u8] {
        &self.text
    }

    /// Cells of the present row.
    pub fn len(&self) -> usize {
        self.cells.len()
    }

    /// A cell, trimmed; empty beyond the end of the row.
    pub fn cell(&self, position: usize) -> &[u8] {
        self.cells.get(&self.text, position)
    }

    /// Goes to the next line and divides it; false at the end of the file.
    pub fn advance(&mut self) -> Result<bool, ImportError> {
        self.text.clear();
        self.line = self.read + 1;
        if !self.take_line()? {
            return Ok(false);
        }
        while !self.cells.divide(&self.text) {
            self.text.push(b'\n');
            if !self.take_line()? {
                return Err(ImportError::Row {
                    path: self.path.clone(),
                    line: self.line,
                    what: "a quotation mark is opened here and never closed; remove it".to_owned(),
                });
            }
        }
        Ok(true)
    }

    /// Goes to the next line without dividing it; false at the end of the file.
    pub fn skip(&mut self) -> Result<bool, ImportError> {
        self.text.clear();
        self.line = self.read + 1;
        self.take_line()
    }

    /// Appends the next line to `text`, without its end.
    fn take_line(&mut self) -> Result<bool, ImportError> {
        let begin = self.text.len();
        let mut limited = (&mut self.reader).take((LONGEST_LINE - begin.min(LONGEST_LINE)) as u64);
        let n = limited
            .read_until(self.terminator, &mut self.text)
            .map_err(|e| ImportError::Read(self.path.clone(), Arc::new(e)))?;
        if n == 0 && begin < LONGEST_LINE {
            return Ok(false);
        }
        self.read += 1;
        self.is_whole = self.text.last() == Some(&self.terminator);
        if !self.is_whole && self.text.len() >= LONGEST_LINE {
            return Err(ImportError::Row {
                path: self.path.clone(),
                line: self.line,
                what: format!(
                    "this row has more than {LONGEST_LINE} characters; is a quotation mark not closed, or is it no text?"
                ),
            });
        }
        if self.is_whole {
            let _ = self.text.pop();
        }
        if self.text.last() == Some(&b'\r') {
            let _ = self.text.pop();
        }
        Ok(true)
    }
}
