//! All cycles of a lead on top of each other: the more of them pass a place, the stronger its colour.

use super::plot::Plot;
use iced::widget::image::Handle;
use iced::{Color, Rectangle};

/// Strength of a place through which a single cycle of very many passes; less would not be seen.
const LEAST: f32 = 0.22;

/// The picture of a lane, one pixel a logical pixel; none when there is no place or nothing to draw.
pub fn picture(
    plot: &Plot,
    lane: Rectangle,
    cycles: &[Vec<f32>],
    [low, high]: [f32; 2],
    colour: Color,
) -> Option<Handle> {
    let (wide, tall) = (whole(lane.width), whole(lane.height));
    let counts = counts(plot, cycles, [low, high], wide, tall);
    let most = counts.iter().copied().max().filter(|m| *m > 0)?;
    let [r, g, b, _] = colour.into_rgba8();
    let mut bytes = Vec::with_capacity(4 * counts.len());
    for count in counts {
        bytes.extend([r, g, b, strength(count, most)]);
    }
    let side = |x: usize| u32::try_from(x).ok();
    Some(Handle::from_rgba(side(wide)?, side(tall)?, bytes))
}

/// How many cycles pass each pixel, row by row. Neighbouring pixels of a cycle meet half-way.
fn counts(
    plot: &Plot,
    cycles: &[Vec<f32>],
    [low, high]: [f32; 2],
    wide: usize,
    tall: usize,
) -> Vec<u32> {
    let mut counts = vec![0u32; wide * tall];
    let span = high - low;
    if tall < 3 || !(span.is_finite() && span > 0.0) {
        return counts;
    }
    let bottom = super::plot::narrow((tall - 1) as f64);
    let row = |v: f32| (bottom - 1.0 - (bottom - 2.0) * ((v - low) / span).clamp(0.0, 1.0)).round();
    for values in cycles {
        let rows: Vec<Option<[f32; 2]>> = (plot.pixels(values).into_iter())
            .map(|pixel| pixel.map(|[least, most]| [row(most), row(least)]))
            .collect();
        for (x, span) in rows.iter().enumerate().take(wide) {
            let Some([mut top, mut bottom]) = *span else {
                continue;
            };
            let beside = [x.checked_sub(1), Some(x + 1)].into_iter().flatten();
            for [other_top, other_bottom] in beside.filter_map(|n| *rows.get(n)?) {
                if other_bottom < top {
                    top = f32::midpoint(top, other_bottom).round();
                } else if other_top > bottom {
                    bottom = f32::midpoint(bottom, other_top).round();
                }
            }
            for y in whole(top)..=whole(bottom).min(tall - 1) {
                counts[y * wide + x] += 1;
            }
        }
    }
    counts
}

/// Opacity of a place that `count` cycles pass, where `most` pass the busiest. The square root, because a place
/// that one in a hundred passes must still be told from one that none does.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of 255"
)]
fn strength(count: u32, most: u32) -> u8 {
    if count == 0 {
        return 0;
    }
    let share = super::plot::narrow(f64::from(count) / f64::from(most));
    (255.0 * (LEAST + (1.0 - LEAST) * share.sqrt())).round() as u8
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a screen length, not negative"
)]
fn whole(x: f32) -> usize {
    x.max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use iced::Size;

    #[test]
    fn each_cycle_counts_once_wherever_it_passes() {
        let plot = Plot::new(Size::new(360.0, 100.0), 1, &(0.0..720.0), false);
        let lane = plot.lane(0);
        let (wide, tall) = (whole(lane.width), whole(lane.height));
        let flat = vec![1.0; 720];
        let step: Vec<f32> = (0..720).map(|k| if k < 360 { 1.0 } else { 0.0 }).collect();
        let counts = counts(&plot, &[flat.clone(), flat, step], [0.0, 1.0], wide, tall);
        let of = |x: usize| (0..tall).map(move |y| y * wide + x);
        let column: Vec<u32> = of(10).map(|i| counts[i]).filter(|c| *c > 0).collect();
        assert_eq!(column, [3]);
        let column: Vec<u32> = of(wide - 10)
            .map(|i| counts[i])
            .filter(|c| *c > 0)
            .collect();
        assert_eq!(column, [2, 1]);
        // The step leaves no hole between its ends.
        let near = wide / 2 - 1..=wide / 2 + 1;
        let filled = (0..tall).filter(|y| near.clone().any(|x| counts[y * wide + x] > 0));
        assert!(filled.count() > tall - 4);
        assert!(strength(1, 100) > 50 && strength(0, 9) == 0 && strength(9, 9) == 255);
    }
}
