//! The cells of a line.

use csv_core::{ReadRecordResult, ReaderBuilder, Terminator};

/// Cells that a row may have; a thousand are more than any instrument has inputs.
const MOST_CELLS: usize = 4096;

/// Divides lines at one delimiter and keeps where the cells of the last one are.
#[derive(Debug)]
pub(crate) struct Cells {
    delimiter: u8,
    csv: csv_core::Reader,
    places: Vec<(usize, usize)>,
    /// The text of the cells where quotation marks had to be taken off.
    unquoted: Vec<u8>,
    is_quoted: bool,
    ends: Vec<usize>,
}

impl Cells {
    /// A space stands for any number of spaces and tabs.
    pub fn new(delimiter: u8) -> Self {
        Self {
            delimiter,
            csv: ReaderBuilder::new()
                .delimiter(delimiter)
                .terminator(Terminator::Any(b'\n'))
                .build(),
            places: Vec::new(),
            unquoted: Vec::new(),
            is_quoted: false,
            ends: vec![0; MOST_CELLS],
        }
    }

    /// Divides a line without its end; false when a quotation mark is still open, so that the next
    /// line belongs to it.
    pub fn divide(&mut self, text: &[u8]) -> bool {
        self.places.clear();
        self.is_quoted = self.delimiter != b' ' && memchr::memchr(b'"', text).is_some();
        if self.is_quoted {
            return self.unquote(text);
        }
        if self.delimiter == b' ' {
            let mut begin = 0;
            for word in text.split(|b| matches!(b, b' ' | b'\t')) {
                if !word.is_empty() {
                    self.places.push((begin, begin + word.len()));
                }
                begin += word.len() + 1;
            }
            return true;
        }
        let mut begin = 0;
        for end in memchr::memchr_iter(self.delimiter, text) {
            self.places.push((begin, end));
            begin = end + 1;
        }
        self.places.push((begin, text.len()));
        true
    }

    fn unquote(&mut self, text: &[u8]) -> bool {
        self.csv.reset();
        self.unquoted.resize(text.len() + 1, 0);
        let (mut result, _, mut written, mut count) =
            self.csv
                .read_record(text, &mut self.unquoted, &mut self.ends);
        if result == ReadRecordResult::InputEmpty {
            let (r, _, w, c) = self.csv.read_record(
                b"\n",
                &mut self.unquoted[written..],
                &mut self.ends[count..],
            );
            // The ends go on counting from the begin of the record.
            (result, written, count) = (r, written + w, count + c);
        }
        self.unquoted.truncate(written);
        let mut begin = 0;
        for &end in &self.ends[..count] {
            self.places.push((begin, end));
            begin = end;
        }
        result == ReadRecordResult::Record
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.places.len()
    }

    /// A cell of the line that was divided last, trimmed; empty beyond the end of the row.
    pub fn get<'a>(&'a self, text: &'a [u8], position: usize) -> &'a [u8] {
        let Some(&(from, to)) = self.places.get(position) else {
            return b"";
        };
        let text = if self.is_quoted { &self.unquoted } else { text };
        text.get(from..to).unwrap_or_default().trim_ascii()
    }
}

/// The text of a cell. Bytes that are no UTF-8 are read as Latin-1, in which most instruments that
/// know no UTF-8 write their micro sign.
pub(crate) fn text_of(cell: &[u8]) -> String {
    match std::str::from_utf8(cell) {
        Ok(text) => text.to_owned(),
        Err(_) => cell.iter().map(|&b| char::from(b)).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn divided(text: &str, delimiter: u8) -> Option<Vec<String>> {
        let mut cells = Cells::new(delimiter);
        cells.divide(text.as_bytes()).then(|| {
            (0..cells.len())
                .map(|i| text_of(cells.get(text.as_bytes(), i)))
                .collect()
        })
    }

    #[test]
    fn cells_of_lines() {
        for (text, delimiter, expected) in [
            ("1, 2 ,3", b',', vec!["1", "2", "3"]),
            ("1;;3;", b';', vec!["1", "", "3", ""]),
            ("  1   2\t3 ", b' ', vec!["1", "2", "3"]),
            ("\"1,5\",\"2\"", b',', vec!["1,5", "2"]),
            ("\"a\nb\",c", b',', vec!["a\nb", "c"]),
            ("5\" pipe,2", b',', vec!["5\" pipe", "2"]),
            ("", b',', vec![""]),
        ] {
            assert_eq!(divided(text, delimiter).unwrap(), expected, "{text}");
        }
        assert_eq!(divided("\"open,2", b','), None);
    }
}
