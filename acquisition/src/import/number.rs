//! The number in a cell.

use super::plan::Decimal;

/// What a cell says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cell {
    /// A number.
    Number(f64),
    /// No number, said in one of the usual ways: empty, NaN, a dash.
    Hole,
    /// Beyond the upper end of what the instrument could measure.
    Above,
    /// Beyond the lower end.
    Below,
}

/// Longest number that is looked at: f64 never needs more than 24 characters, padding with zeros is common.
const LONGEST: usize = 64;

/// Reads cells with one decimal sign; without one it settles on the first that it meets.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Numbers {
    pub decimal: Option<Decimal>,
}

impl Numbers {
    /// What the cell says; `None` when it cannot be understood.
    pub fn read(&mut self, cell: &[u8]) -> Option<Cell> {
        if self.decimal.is_none() {
            self.decimal = match memchr::memchr2(b'.', b',', cell).map(|i| cell[i]) {
                Some(b',') => Some(Decimal::Comma),
                Some(_) => Some(Decimal::Point),
                None => None,
            };
        }
        let cell = cell.trim_ascii();
        let number = match self.decimal {
            Some(Decimal::Comma) => with_comma(cell),
            _ => fast_float2::parse::<f64, _>(cell).ok(),
        };
        match number {
            Some(x) if x.is_finite() => Some(Cell::Number(x)),
            Some(x) if x.is_nan() => Some(Cell::Hole),
            Some(x) => Some(if x > 0.0 { Cell::Above } else { Cell::Below }),
            None => self.word(cell),
        }
    }

    fn word(self, cell: &[u8]) -> Option<Cell> {
        if cell.len() > LONGEST {
            return None;
        }
        let text = String::from_utf8_lossy(cell).to_lowercase();
        Some(match text.as_str() {
            "" | "-" | "--" | "---" | "nan" | "na" | "n/a" | "#n/a" | "null" | "none" | "?"
            // Over which end is not said, so no value can stand for it.
            | "overflow" | "over" | "ol" | "overrange" => Cell::Hole,
            "\u{221e}" | "+\u{221e}" | "+ol" | "+overflow" | "+inf" | "+infinity" => Cell::Above,
            "-\u{221e}" | "-ol" | "-overflow" | "\u{2212}\u{221e}" => Cell::Below,
            "high" | "on" | "true" => Cell::Number(1.0),
            "low" | "off" | "false" => Cell::Number(0.0),
            // A typographic minus.
            minus if minus.starts_with('\u{2212}') => {
                let plain = format!("-{}", &minus['\u{2212}'.len_utf8()..]);
                let mut again = self;
                return match again.read(plain.as_bytes()) {
                    Some(Cell::Number(x)) => Some(Cell::Number(x)),
                    _ => None,
                };
            }
            _ => return None,
        })
    }
}

fn with_comma(cell: &[u8]) -> Option<f64> {
    if cell.len() > LONGEST || cell.contains(&b'.') || cell.last() == Some(&b',') {
        return None;
    }
    let mut buffer = [0; LONGEST];
    let plain = &mut buffer[..cell.len()];
    plain.copy_from_slice(cell);
    if let Some(at) = memchr::memchr(b',', plain) {
        plain[at] = b'.';
    }
    fast_float2::parse(&*plain).ok()
}

/// Power of ten of the last digit that is written: -3 for "1.234" and "1234e-6".
pub(crate) fn last_digit(cell: &[u8]) -> i32 {
    let cell = cell.trim_ascii();
    let (mantissa, exponent) = match memchr::memchr2(b'e', b'E', cell) {
        Some(at) => (&cell[..at], integer(&cell[at + 1..])),
        None => (cell, 0),
    };
    let places = memchr::memchr2(b'.', b',', mantissa).map_or(0, |at| mantissa.len() - at - 1);
    exponent.saturating_sub(i32::try_from(places).unwrap_or(i32::MAX))
}

fn integer(digits: &[u8]) -> i32 {
    std::str::from_utf8(digits)
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_instruments_write_them() {
        let read = |text: &str, decimal| Numbers { decimal }.read(text.as_bytes());
        let number = |x| Some(Cell::Number(x));
        for (text, decimal, expected) in [
            (" 1.5 ", Some(Decimal::Point), number(1.5)),
            ("+1.5E-3", Some(Decimal::Point), number(1.5e-3)),
            ("-.5", Some(Decimal::Point), number(-0.5)),
            ("5.", Some(Decimal::Point), number(5.0)),
            ("1,5", Some(Decimal::Point), None),
            ("1,5", Some(Decimal::Comma), number(1.5)),
            ("-1,25e+02", Some(Decimal::Comma), number(-125.0)),
            ("1.5", Some(Decimal::Comma), None),
            ("1,", Some(Decimal::Comma), None),
            ("1,2,3", Some(Decimal::Comma), None),
            ("1.2.3", Some(Decimal::Point), None),
            ("1,5", None, number(1.5)),
            ("\u{2212}1.5", Some(Decimal::Point), number(-1.5)),
            ("", Some(Decimal::Point), Some(Cell::Hole)),
            ("NaN", Some(Decimal::Point), Some(Cell::Hole)),
            ("-inf", Some(Decimal::Point), Some(Cell::Below)),
            ("\u{221e}", Some(Decimal::Comma), Some(Cell::Above)),
            ("OL", Some(Decimal::Point), Some(Cell::Hole)),
            ("1e999", Some(Decimal::Point), Some(Cell::Above)),
            ("12:30", Some(Decimal::Point), None),
            ("5 V", Some(Decimal::Point), None),
        ] {
            assert_eq!(read(text, decimal), expected, "{text} {decimal:?}");
        }
    }

    #[test]
    fn the_first_decimal_sign_settles_it() {
        let mut numbers = Numbers { decimal: None };
        assert_eq!(numbers.read(b"7"), Some(Cell::Number(7.0)));
        assert_eq!(numbers.read(b"7,5"), Some(Cell::Number(7.5)));
        assert_eq!(numbers.read(b"7.5"), None);
    }

    #[test]
    fn the_last_digit_tells_the_resolution() {
        for (text, expected) in [
            ("12", 0),
            ("1.234", -3),
            ("1,2", -1),
            ("1.5e-05", -6),
            ("2E3", 3),
        ] {
            assert_eq!(last_digit(text.as_bytes()), expected, "{text}");
        }
    }
}
