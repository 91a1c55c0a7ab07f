//! Tinted stretches: colour, a bar along their head whose shape says which kind they are, and words.

use super::{LANE, Plot, along};
use crate::exhibit::layout::{SMALL, line};
use crate::exhibit::lettering::{clean, cut, width};
use crate::exhibit::scene::{Axis, Stretch};
use crate::exhibit::shape::{Anchor, Paint, Shape, Text, Tone};

/// Most lines of words above a row.
const LANES: usize = 3;

/// Least room in which words say anything.
const LEAST: f32 = 60.0;

/// Words in their places.
#[derive(Debug, Default)]
pub struct Lanes {
    /// Height that they take.
    pub height: f32,
    /// Line, begin, words, whether it is a disagreement.
    words: Vec<(usize, f32, String, bool)>,
    /// How many found no room.
    left_out: usize,
}

/// Both ends on the picture, left one first; none if it is not on the axis.
fn ends(stretch: &Stretch, x: &Axis, [left, right]: [f32; 2]) -> Option<[f32; 2]> {
    let at = |value| along(x, value).map(|share| left + (right - left) * share);
    let (a, b) = (at(stretch.from)?, at(stretch.to)?);
    let (from, to) = (a.min(b), a.max(b));
    (to >= left && from <= right).then(|| [from.max(left), to.min(right)])
}

/// Finds places for the words of stretches: each at its begin, in as few lines as they need.
pub fn arranged(stretches: &[Stretch], x: &Axis, sides: [f32; 2]) -> Lanes {
    let mut all: Vec<(f32, &Stretch)> = stretches
        .iter()
        .filter(|s| !s.words.is_empty())
        .filter_map(|s| Some((ends(s, x, sides)?[0], s)))
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let right = sides[1];
    let mut taken = [sides[0]; LANES];
    let mut lanes = Lanes::default();
    let mut used = 0;
    for (from, stretch) in all {
        let words = clean(&stretch.words).replace('\n', " ");
        let wide = width(&words, SMALL, stretch.is_disagreement);
        // Before the end if it has no room behind its begin.
        let begin = from.min(right - wide).max(sides[0]);
        let whole = (0..LANES).find(|lane| taken[*lane] <= begin);
        let (lane, begin, words) = match whole {
            Some(lane) if begin + wide <= right => (lane, begin, words),
            _ => {
                let Some((lane, end)) = taken
                    .iter()
                    .copied()
                    .enumerate()
                    .min_by(|a, b| a.1.total_cmp(&b.1))
                else {
                    continue;
                };
                let begin = end.max(from.min(right - LEAST));
                let words = cut(&words, SMALL, stretch.is_disagreement, right - begin);
                if right - begin < LEAST || words.is_empty() {
                    lanes.left_out += 1;
                    continue;
                }
                (lane, begin, words)
            }
        };
        taken[lane] = begin + width(&words, SMALL, stretch.is_disagreement) + 16.0;
        used = used.max(lane + 1);
        lanes
            .words
            .push((lane, begin, words, stretch.is_disagreement));
    }
    #[allow(clippy::cast_precision_loss, reason = "up to three lines")]
    let height = used as f32 * LANE;
    lanes.height = height;
    lanes
}

impl Lanes {
    /// Adds the words from here on.
    pub fn draw(self, top: f32, sides: [f32; 2], shapes: &mut Vec<Shape>) {
        for (lane, x, words, is_disagreement) in self.words {
            #[allow(clippy::cast_precision_loss, reason = "up to three lines")]
            let y = top + lane as f32 * LANE + 17.0;
            let tone = if is_disagreement {
                Tone::Alarm
            } else {
                Tone::Quiet
            };
            shapes.push(Shape::Text(Text {
                is_bold: is_disagreement,
                ..line(words, [x, y], SMALL, tone)
            }));
        }
        if self.left_out > 0 {
            let words = format!("and {} more", self.left_out);
            shapes.push(Shape::Text(Text {
                anchor: Anchor::Right,
                ..line(words, [sides[0] - 8.0, top + 17.0], SMALL, Tone::Quiet)
            }));
        }
    }
}

/// Adds tints and bars over a row's ground: a full bar for a disagreement, a thin one for the rest.
pub fn tints(stretches: &[Stretch], x: &Axis, plot: &Plot, shapes: &mut Vec<Shape>) {
    for stretch in stretches {
        let Some([from, to]) = ends(stretch, x, [plot.upper[0], plot.lower[0]]) else {
            continue;
        };
        let to = to.max(from + 3.0);
        let (tone, cover, bar) = if stretch.is_disagreement {
            (Tone::Alarm, 0.16, 6.0)
        } else {
            (Tone::Zone, 0.5, 2.0)
        };
        let tint = Paint { tone, cover };
        let bar_tone = if stretch.is_disagreement {
            Tone::Alarm
        } else {
            Tone::Edge
        };
        shapes.push(Shape::Rectangle(
            [from, plot.upper[1]],
            [to, plot.lower[1]],
            tint,
        ));
        shapes.push(Shape::Rectangle(
            [from, plot.upper[1]],
            [to, plot.upper[1] + bar],
            bar_tone.into(),
        ));
        // Its begin, so that two in a row are told apart.
        shapes.push(Shape::Rectangle(
            [from, plot.upper[1]],
            [from + 2.0, plot.lower[1]],
            bar_tone.into(),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_never_overlap_however_many_there_are() {
        let x = Axis {
            from: 0.0,
            to: 20.0,
            ..Axis::default()
        };
        for count in [1_u32, 4, 12, 60] {
            let stretches: Vec<_> = (0..count)
                .map(|k| Stretch {
                    from: 20.0 * f64::from(k) / f64::from(count),
                    to: 20.0 * f64::from(k + 1) / f64::from(count),
                    words: format!("exhaust not following {k}"),
                    is_disagreement: k % 2 == 0,
                })
                .collect();
            let lanes = arranged(&stretches, &x, [200.0, 1170.0]);
            for lane in 0..LANES {
                let mut end = 200.0;
                for (_, from, words, is_bold) in lanes.words.iter().filter(|(at, ..)| *at == lane) {
                    assert!(
                        *from >= end - 0.01,
                        "{words} begins at {from}, before {end}"
                    );
                    end = from + width(words, SMALL, *is_bold);
                    assert!(end <= 1170.5, "{words} ends at {end}");
                }
            }
            assert_eq!(
                lanes.words.len() + lanes.left_out,
                usize::try_from(count).unwrap()
            );
        }
    }
}
