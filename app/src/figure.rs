//! How numbers are written on screen: a true minus sign, a thin space between thousands, and no
//! negative zero, so that figures line up and do not dance.

/// U+2212, as wide as a plus sign; a hyphen is not.
pub const MINUS: char = '\u{2212}';

/// U+2009, between groups of three digits (SI brochure, 9th edition, 5.4.4).
pub const THIN_SPACE: char = '\u{2009}';

/// What stands where a number is not known.
pub const NONE: &str = "\u{2014}";

/// A number with `decimals` places; the sign is written only if it is a minus.
pub fn plain(value: f64, decimals: usize) -> String {
    written(value, decimals, "")
}

/// A number with `decimals` places, always with its sign unless it is zero.
pub fn signed(value: f64, decimals: usize) -> String {
    written(value, decimals, "+")
}

/// Minutes and seconds, "02:41"; hours in front when there are any.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).floor();
    let (h, m, s) = (
        (whole / 3600.0).floor(),
        (whole / 60.0).floor() % 60.0,
        whole % 60.0,
    );
    if h > 0.0 {
        format!("{h:.0}:{m:02.0}:{s:02.0}")
    } else {
        format!("{m:02.0}:{s:02.0}")
    }
}

/// A size in bytes with a decimal prefix, "31 MB".
pub fn size(bytes: u64) -> String {
    // Exact to 2^53 bytes, far beyond any recording.
    let b = bytes as f64;
    for (factor, unit) in [(1e9, "GB"), (1e6, "MB"), (1e3, "kB")] {
        if b >= factor {
            let value = b / factor;
            let decimals = usize::from(unit == "GB" || value < 10.0);
            return format!("{} {unit}", plain(value, decimals));
        }
    }
    format!("{bytes} B")
}

fn written(value: f64, decimals: usize, plus: &str) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    let digits = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = digits
        .split_once('.')
        .map_or((digits.as_str(), None), |(w, f)| (w, Some(f)));
    let is_zero = digits.chars().all(|c| c == '0' || c == '.');
    let mut out = String::with_capacity(digits.len() + 4);
    if !is_zero {
        if value < 0.0 {
            out.push(MINUS);
        } else {
            out.push_str(plus);
        }
    }
    for (i, c) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            out.push(THIN_SPACE);
        }
        out.push(c);
    }
    if let Some(fraction) = fraction {
        out.push('.');
        out.push_str(fraction);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::{clock, plain, signed, size};

    #[test]
    fn numbers_are_written_as_the_house_writes_them() {
        for (got, want) in [
            (plain(1842.4, 0), "1\u{2009}842"),
            (plain(842.0, 0), "842"),
            (plain(1_234_567.0, 0), "1\u{2009}234\u{2009}567"),
            (signed(12.13, 1), "+12.1"),
            (signed(-17.3, 1), "\u{2212}17.3"),
            (signed(-0.04, 1), "0.0"),
            (plain(-0.0, 0), "0"),
            (plain(f64::NAN, 1), "\u{2014}"),
            (clock(161.9), "02:41"),
            (clock(3_725.0), "1:02:05"),
            (size(31_400_000), "31 MB"),
            (size(1_260_000), "1.3 MB"),
            (size(999), "999 B"),
        ] {
            assert_eq!(got, want);
        }
    }
}
