//! Marks on a time axis that make sense from hours down to microseconds.

use crate::figure;

/// A mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Where, seconds since the start of the recording.
    pub at: f64,
    /// What is written there.
    pub words: String,
}

/// Marks of one axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Ticks {
    /// Where the small steps of a deep zoom are counted from, as it is written at the left.
    pub base: Option<String>,
    /// The marks.
    pub ticks: Vec<Tick>,
}

/// Steps above a second that people count in.
const CLOCK_STEPS: [f64; 14] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
];

/// Marks from `from` to `to`, at most about `most` of them.
pub fn ticks(from: f64, to: f64, most: usize) -> Ticks {
    let least = (to - from) / most.max(1) as f64;
    let step = step(least);
    // Below a millisecond clock times are too long to be read: steps are counted from a base.
    let base = (step < 1e-3).then(|| (from * 1000.0).floor() / 1000.0);
    let decimals = decimals(step);
    let mut ticks = Vec::new();
    let origin = base.unwrap_or(0.0);
    let mut k = ((from - origin) / step - 1e-6).ceil();
    loop {
        let after = k * step;
        let at = origin + after;
        // A mark at the very end belongs to the axis, whatever the last digit says.
        if at > to + 1e-6 * step || ticks.len() > 4 * most {
            break;
        }
        let words = if base.is_some() {
            format!(
                "+{} µs",
                figure::plain(after * 1e6, decimals.saturating_sub(6))
            )
        } else {
            clock(at, decimals)
        };
        ticks.push(Tick { at, words });
        k += 1.0;
    }
    Ticks {
        base: base.map(|b| clock(b, 3)),
        ticks,
    }
}

/// 1, 2 or 5 times a power of ten up to a second, and what a clock counts in above.
fn step(least: f64) -> f64 {
    if least > 0.5 {
        let found = CLOCK_STEPS.into_iter().find(|s| *s >= least);
        return found.unwrap_or_else(|| (least / 7200.0).ceil() * 7200.0);
    }
    let decade = 10_f64.powf(least.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0]
        .map(|k| k * decade)
        .into_iter()
        .find(|s| *s >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * decade)
}

/// Digits after the point that tell steps of this size apart.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a few digits"
)]
fn decimals(step: f64) -> usize {
    (-(step * 1.000_001).log10().floor()).max(0.0) as usize
}

/// "02:41.250"; hours in front when there are any.
pub fn clock(seconds: f64, decimals: usize) -> String {
    let scale = 10_f64.powi(i32::try_from(decimals).unwrap_or(0));
    // Rounded first, so that 59.9996 is not written as 00:60.000.
    let whole = ((seconds.max(0.0) * scale).round() / scale).floor();
    let rest = (seconds.max(0.0) * scale).round() - whole * scale;
    if decimals == 0 {
        return figure::clock(whole);
    }
    format!("{}.{:0decimals$.0}", figure::clock(whole), rest.max(0.0))
}

/// A duration with the unit that suits it: "12.50 ms"; four digits.
pub fn duration(seconds: f64) -> String {
    let size = seconds.abs();
    // What would be written as 1000.0 µs is written as 1.000 ms.
    let (factor, unit) = if size < 0.999_95e-3 {
        (1e6, "µs")
    } else if size < 0.999_95 {
        (1e3, "ms")
    } else {
        (1.0, "s")
    };
    format!("{} {unit}", digits(seconds * factor))
}

/// A frequency with the unit that suits it.
pub fn frequency(hertz: f64) -> String {
    let (factor, unit) = if hertz.abs() >= 1000.0 {
        (1e-3, "kHz")
    } else {
        (1.0, "Hz")
    };
    format!("{} {unit}", digits(hertz * factor))
}

/// Four digits, and all of those before the point.
fn digits(value: f64) -> String {
    let size = value.abs();
    let decimals = if size < 10.0 {
        3
    } else if size < 100.0 {
        2
    } else {
        usize::from(size < 1000.0)
    };
    figure::plain(value, decimals)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(from: f64, to: f64, most: usize) -> Vec<String> {
        let ticks = ticks(from, to, most);
        (ticks.base.into_iter())
            .chain(ticks.ticks.into_iter().map(|t| t.words))
            .collect()
    }

    #[test]
    fn marks_make_sense_at_every_zoom() {
        assert_eq!(
            words(0.0, 10_000.0, 4),
            ["00:00", "1:00:00", "2:00:00"],
            "hours"
        );
        assert_eq!(
            words(0.0, 60.0, 6),
            [
                "00:00", "00:10", "00:20", "00:30", "00:40", "00:50", "01:00"
            ]
        );
        assert_eq!(words(61.1, 62.1, 4), ["01:01.5", "01:02.0"]);
        assert_eq!(
            words(59.98, 60.01, 4),
            ["00:59.98", "00:59.99", "01:00.00", "01:00.01"]
        );
        assert_eq!(
            words(5.0, 5.004, 4),
            [
                "00:05.000",
                "00:05.001",
                "00:05.002",
                "00:05.003",
                "00:05.004"
            ]
        );
        assert_eq!(
            words(5.000_1, 5.000_2, 4),
            ["00:05.000", "+100 µs", "+150 µs", "+200 µs"]
        );
        assert_eq!(
            words(5.000_1, 5.000_104, 4),
            [
                "00:05.000",
                "+100 µs",
                "+101 µs",
                "+102 µs",
                "+103 µs",
                "+104 µs"
            ]
        );
    }

    #[test]
    fn durations_have_a_unit_that_suits_them() {
        for (got, want) in [
            (duration(0.0125), "12.50 ms"),
            (duration(-83.2), "−83.20 s"),
            (duration(4.5e-6), "4.500 µs"),
            (duration(0.000_999_99), "1.000 ms"),
            (frequency(80.0), "80.00 Hz"),
            (frequency(12_345.0), "12.35 kHz"),
            (clock(59.9996, 3), "01:00.000"),
            (clock(3599.25, 2), "59:59.25"),
        ] {
            assert_eq!(got, want);
        }
    }
}
