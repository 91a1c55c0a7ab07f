//! A trace as one filled shape, from the least and the greatest value of each column: many times
//! cheaper on a software renderer than a stroked line, and no peak is ever lost.

use iced::Point;
use iced::widget::canvas::Path;

/// Half the thickness of a trace that does not move, logical pixels.
const HALF_LINE: f32 = 0.75;

/// Least change of height that is drawn, logical pixels; a quarter cannot be seen.
const GRAIN: f32 = 0.25;

/// The shape of `columns`, each [top, bottom] in pixels downwards, the first starting at `x` and
/// each `step` wide. Columns without samples leave a hole.
pub fn envelope(columns: &[Option<[f32; 2]>], x: f32, step: f32) -> Path {
    let spans = joined(columns);
    Path::new(|b| {
        let at = |i: usize| x + step * i as f32;
        let mut start = 0;
        while start < spans.len() {
            if spans[start].is_none() {
                start += 1;
                continue;
            }
            let run: Vec<[f32; 2]> = spans[start..].iter().map_while(|s| *s).collect();
            let end = start + run.len();
            let mut top = run[0][0];
            b.move_to(Point::new(at(start), top));
            for (i, [next, _]) in run.iter().enumerate().skip(1) {
                if (next - top).abs() >= GRAIN {
                    b.line_to(Point::new(at(start + i), top));
                    b.line_to(Point::new(at(start + i), *next));
                    top = *next;
                }
            }
            b.line_to(Point::new(at(end), top));
            let mut bottom = run[run.len() - 1][1];
            b.line_to(Point::new(at(end), bottom));
            for (i, [_, next]) in run.iter().enumerate().rev().skip(1) {
                if (next - bottom).abs() >= GRAIN {
                    b.line_to(Point::new(at(start + i + 1), bottom));
                    b.line_to(Point::new(at(start + i + 1), *next));
                    bottom = *next;
                }
            }
            b.line_to(Point::new(at(start), bottom));
            b.close();
            start = end;
        }
    })
}

/// Thickens each column to a line, and where neighbours do not meet lets each reach half-way to
/// the other. Each column keeps its own flat top and bottom: sloping edges between columns would
/// pinch the shape into spikes where the signal is steep.
fn joined(columns: &[Option<[f32; 2]>]) -> Vec<Option<[f32; 2]>> {
    let mut spans: Vec<Option<[f32; 2]>> = columns.to_vec();
    for (i, pair) in columns.windows(2).enumerate() {
        let [Some(a), Some(b)] = pair else { continue };
        let reach = |span: &mut Option<[f32; 2]>, y: f32| {
            if let Some([top, bottom]) = span {
                *top = top.min(y);
                *bottom = bottom.max(y);
            }
        };
        let meeting = if a[1] < b[0] {
            (a[1] + b[0]) / 2.0
        } else if b[1] < a[0] {
            (b[1] + a[0]) / 2.0
        } else {
            continue;
        };
        reach(&mut spans[i], meeting);
        reach(&mut spans[i + 1], meeting);
    }
    for [top, bottom] in spans.iter_mut().flatten() {
        *top -= HALF_LINE;
        *bottom += HALF_LINE;
    }
    spans
}

#[cfg(test)]
mod tests {
    use super::{HALF_LINE, joined};

    /// A steep edge with overshoot: neighbours must meet, and no column may reach past the middle
    /// between itself and its neighbour.
    #[test]
    fn steep_edges_join_without_spikes() {
        let columns: Vec<_> = [
            [10.0, 11.0],
            [10.0, 11.0],
            [80.0, 95.0],
            [88.0, 90.0],
            [40.0, 41.0],
        ]
        .map(Some)
        .to_vec();
        let spans: Vec<_> = joined(&columns).into_iter().flatten().collect();
        for pair in spans.windows(2) {
            assert!(
                pair[0][1] > pair[1][0] && pair[1][1] > pair[0][0],
                "{pair:?} do not meet"
            );
        }
        let want = [
            [10.0, 11.0],
            [10.0, 45.5],
            [45.5, 95.0],
            [64.5, 90.0],
            [40.0, 64.5],
        ];
        for (got, want) in spans.iter().zip(want) {
            let grown = [want[0] - HALF_LINE, want[1] + HALF_LINE];
            assert!(
                (got[0] - grown[0]).abs() < 1e-4 && (got[1] - grown[1]).abs() < 1e-4,
                "{got:?} is not {grown:?}"
            );
        }
    }

    #[test]
    fn a_column_without_samples_leaves_a_hole() {
        let spans = joined(&[Some([1.0, 2.0]), None, Some([50.0, 51.0])]);
        assert!(spans[1].is_none());
        assert!(
            spans[2].is_some_and(|[top, _]| top > 49.0),
            "nothing reaches across the hole"
        );
    }
}
