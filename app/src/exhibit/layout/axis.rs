//! A value's place along an axis, and the figures that stand there.

use crate::exhibit::scene::Axis;
use crate::figure;

/// Share of the way along the axis; none for what is not on any axis.
pub fn share(axis: &Axis, value: f64) -> Option<f64> {
    let share = (value - axis.from) / (axis.to - axis.from);
    share.is_finite().then_some(share)
}

/// Places of figures along an axis, at most so many, with what is written there: whole multiples of 1, 2
/// or 5 times a power of ten.
pub fn ticks(axis: &Axis, most: usize) -> Vec<(f64, String)> {
    let (low, high) = (axis.from.min(axis.to), axis.from.max(axis.to));
    let span = high - low;
    #[allow(clippy::cast_precision_loss, reason = "a few ticks")]
    let least = span / most.max(1) as f64;
    if !least.is_finite() || least <= 0.0 {
        return Vec::new();
    }
    let decade = 10_f64.powf(least.log10().floor());
    // Degrees of a cycle are counted in quarters of a turn.
    let is_turning = axis.unit.starts_with('°') && span >= 360.0;
    let steps: &[f64] = if is_turning {
        &[0.9, 1.8, 3.6, 9.0]
    } else {
        &[1.0, 2.0, 5.0, 10.0]
    };
    let Some(step) = steps.iter().map(|k| k * decade).find(|s| *s >= least) else {
        return Vec::new();
    };
    if !step.is_normal() {
        return Vec::new();
    }
    let first = (low / step - 1e-6).ceil();
    let last = (high / step + 1e-6).floor();
    if !first.is_finite() || !last.is_finite() || last - first > 100.0 {
        return Vec::new();
    }
    (0..=100_u8)
        .map(|k| first + f64::from(k))
        .take_while(|k| *k <= last)
        .map(|k| (k * step, written(k * step, step)))
        .collect()
}

/// A figure on an axis with this step between two.
pub fn written(value: f64, step: f64) -> String {
    let large = value.abs().max(step);
    if large >= 1e7 || step < 1e-6 {
        return format!("{value:.1e}").replace('-', "\u{2212}");
    }
    let decimals = (0..=7_u32)
        .zip(0_usize..)
        .find(|(d, _)| {
            let scaled = step * 10_f64.powi(i32::try_from(*d).unwrap_or(7));
            (scaled - scaled.round()).abs() < 1e-6 * scaled
        })
        .map_or(7, |(_, d)| d);
    figure::plain(value, decimals)
}

/// Both ends of an axis with as few decimals as tell them well.
pub fn ends(axis: &Axis) -> [(f64, String); 2] {
    let near = (axis.to - axis.from).abs() / 200.0;
    let decimals = (0..7_usize)
        .zip(0_i32..)
        .find(|(_, d)| {
            let power = 10_f64.powi(*d);
            [axis.from, axis.to]
                .iter()
                .all(|end| ((end * power).round() / power - end).abs() <= near)
        })
        .map(|(decimals, _)| decimals);
    [axis.from, axis.to].map(|end| {
        let words = match decimals {
            Some(decimals) if end.abs() < 1e7 => figure::plain(end, decimals),
            _ => written(end, near),
        };
        (end, words)
    })
}

/// "duty, %".
pub fn words(axis: &Axis) -> String {
    match (axis.label.is_empty(), axis.unit.is_empty()) {
        (false, false) => format!("{}, {}", axis.label, axis.unit),
        (false, true) => axis.label.clone(),
        (true, _) => axis.unit.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(from: f64, to: f64, unit: &str) -> Axis {
        Axis {
            from,
            to,
            unit: unit.to_owned(),
            ..Axis::default()
        }
    }

    #[test]
    fn figures_stand_at_round_places() {
        let written = |axis: &Axis, most| -> Vec<String> {
            ticks(axis, most).into_iter().map(|(_, w)| w).collect()
        };
        assert_eq!(
            written(&axis(0.0, 100.0, "%"), 5),
            ["0", "20", "40", "60", "80", "100"]
        );
        assert_eq!(
            written(&axis(-0.1, 0.0, "s"), 4),
            ["−0.10", "−0.05", "0.00"]
        );
        assert_eq!(
            written(&axis(0.0, 720.0, "°crank"), 8),
            ["0", "90", "180", "270", "360", "450", "540", "630", "720"]
        );
        assert_eq!(written(&axis(15.0, 12.0, "V"), 3), ["12", "13", "14", "15"]);
    }

    #[test]
    fn ends_have_no_more_decimals_than_they_need() {
        let words = |from, to| ends(&axis(from, to, "V")).map(|(_, words)| words);
        assert_eq!(words(0.0, 15.0), ["0", "15"]);
        assert_eq!(words(13.399_999_6, 13.999_999), ["13.4", "14.0"]);
        assert_eq!(words(-0.5, 1.5), ["−0.5", "1.5"]);
    }

    #[test]
    fn no_axis_is_too_strange() {
        for (from, to) in [
            (0.0, 0.0),
            (f64::MIN, f64::MAX),
            (1e300, 1e301),
            (1.0, 1.0 + f64::EPSILON),
            (0.0, 5e-324),
            (f64::NAN, 1.0),
        ] {
            let axis = axis(from, to, "°");
            assert!(ticks(&axis, 10).len() < 120);
            let _words = ends(&axis);
            let _share = share(&axis, 1e308);
        }
        assert_eq!(share(&axis(f64::MIN, f64::MAX, ""), 0.0), Some(0.0));
    }
}
