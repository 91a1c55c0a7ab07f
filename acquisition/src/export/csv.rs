//! CSV: a line of names, then a line per sample. Where samples are missing stands a blank line, and
//! the time tells how many.

use super::Summary;
use super::error::ExportError;
use super::layout::Line;
use super::walk::{Piece, Walk};
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

/// Digits of a time after the point, at most: a nanosecond, far below a sample.
const FINEST_TIME: u32 = 9;
/// Digits of a value after the point, at most.
const FINEST_VALUE: u32 = 12;
/// Where no number of digits writes every count exactly, a count is written to this share of itself.
const SHARE: f64 = 0.01;

/// Writes all of it.
pub(crate) fn write(walk: &Walk<'_>, file: File, out: &Path) -> Result<Summary, ExportError> {
    let wrong = |e| ExportError::writing(out, e);
    let mut file = BufWriter::with_capacity(1 << 20, file);
    writeln!(file, "time_s,{}", walk.layout.names().join(",")).map_err(wrong)?;
    let mut stream: Option<(usize, Times, Vec<Option<Texts>>)> = None;
    let mut row = Vec::new();
    let summary = walk.run(|piece| {
        if let Some((open, ..)) = &stream
            && *open != piece.stream
        {
            return Err(ExportError::SeveralStreams {
                at: piece.clock.seconds(piece.first),
                form: "CSV",
                stream: open + 1,
                next: piece.stream + 1,
            });
        }
        let (_, times, texts) = stream.get_or_insert_with(|| {
            let columns = &walk.layout.streams[piece.stream].columns;
            let texts = columns
                .iter()
                .map(|c| {
                    c.as_ref()
                        .map(|(_, line)| Texts::new(*line, walk.wish.counts))
                })
                .collect();
            (piece.stream, Times::new(piece), texts)
        });
        row.clear();
        if piece.missing > 0 {
            row.push(b'\n');
        }
        for i in 0..piece.length {
            times.put(piece.clock.seconds(piece.first + i as u64), &mut row);
            for (samples, texts) in piece.columns.iter().zip(texts.iter_mut()) {
                row.push(b',');
                if let (Some(samples), Some(texts)) = (samples, texts) {
                    texts.put(samples[i], &mut row);
                }
            }
            row.push(b'\n');
        }
        file.write_all(&row).map_err(wrong)
    })?;
    file.flush().map_err(wrong)?;
    Ok(summary)
}

/// Times as decimals, by whole numbers: that is exact where the sample period is a decimal.
struct Times {
    digits: usize,
    per_second: f64,
}

impl Times {
    fn new(piece: &Piece<'_>) -> Self {
        let exact = |digits: &u32| {
            let per_second = 10f64.powi(digits.cast_signed());
            [
                per_second / piece.clock.rate,
                per_second * piece.clock.begin,
            ]
            .iter()
            .all(|x| is_whole(*x))
        };
        let digits = (3..FINEST_TIME).find(exact).unwrap_or(FINEST_TIME);
        Self {
            digits: digits as usize,
            per_second: 10f64.powi(digits.cast_signed()),
        }
    }

    fn put(&self, seconds: f64, row: &mut Vec<u8>) {
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a time since the start in nanoseconds at most"
        )]
        let mut units = (seconds * self.per_second).round() as u64;
        let mut text = [b'0'; 32];
        let mut at = text.len();
        let mut written = 0;
        while units > 0 || written <= self.digits {
            if written == self.digits {
                at -= 1;
                text[at] = b'.';
            }
            at -= 1;
            text[at] = b'0' + u8::try_from(units % 10).unwrap_or(0);
            units /= 10;
            written += 1;
        }
        row.extend_from_slice(&text[at..]);
    }
}

/// The values of a lead as text. There are no more than counts, and most occur many times: each is
/// written once.
struct Texts {
    line: Option<Line>,
    digits: usize,
    known: Vec<Option<Box<[u8]>>>,
}

impl Texts {
    fn new(line: Line, counts: bool) -> Self {
        Self {
            line: (!counts).then_some(line),
            digits: digits(line),
            known: vec![None; 1 << 16],
        }
    }

    fn put(&mut self, count: i16, row: &mut Vec<u8>) {
        let text = self.known[usize::from(count.cast_unsigned())].get_or_insert_with(|| {
            let text = match self.line {
                None => count.to_string(),
                Some(line) => {
                    // Plus zero, so that no "-0.000" is written.
                    let text = format!("{:.*}", self.digits, line.value(count));
                    match text.strip_prefix('-') {
                        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => {
                            rest.to_owned()
                        }
                        _ => text,
                    }
                }
            };
            text.into_bytes().into_boxed_slice()
        });
        row.extend_from_slice(text);
    }
}

/// Digits after the point with which every value is exact, or else fine enough.
fn digits(line: Line) -> usize {
    let exact = |digits: &u32| {
        let power = 10f64.powi(digits.cast_signed());
        is_whole(line.scale * power) && is_whole(line.offset * power)
    };
    let fine =
        (0..=FINEST_VALUE).find(|d| 10f64.powi(-d.cast_signed()) <= SHARE * line.scale.abs());
    // Beyond what is fine an exact writing says nothing more.
    let most = fine.unwrap_or(FINEST_VALUE);
    (0..=most).find(exact).unwrap_or(most) as usize
}

/// Whether a product is whole but for the arithmetic.
fn is_whole(x: f64) -> bool {
    (x - x.round()).abs() <= 1e-9 * x.abs().max(1e-3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_values_have_the_digits_they_need() {
        let times = Times {
            digits: 6,
            per_second: 1e6,
        };
        for (seconds, text) in [
            (0.0, "0.000000"),
            (0.000_005, "0.000005"),
            (61.25, "61.250000"),
            (3_600.000_005, "3600.000005"),
        ] {
            let mut row = Vec::new();
            times.put(seconds, &mut row);
            assert_eq!(row, text.as_bytes());
        }
        let digits = |scale, offset| digits(Line { scale, offset });
        assert_eq!(digits(0.005, -0.5), 3);
        assert_eq!(digits(1.0, 0.0), 0);
        // A third of a volt: to a hundredth of itself or finer.
        assert_eq!(digits(1.0 / 3.0, 0.0), 3);
        let mut texts = Texts::new(
            Line {
                scale: 0.001,
                offset: 0.0,
            },
            false,
        );
        let mut row = Vec::new();
        for count in [0, -1, 1, -20_000] {
            texts.put(count, &mut row);
            row.push(b' ');
        }
        assert_eq!(row, b"0.000 -0.001 0.001 -20.000 ");
    }
}
