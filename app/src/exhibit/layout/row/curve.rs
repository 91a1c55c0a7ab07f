//! Curves of a row: lines told apart by their dashes where they share a colour, and envelopes, which are
//! pale where lines run over them.

use super::Plot;
use crate::exhibit::scene::{Axis, CurveShape, Row};
use crate::exhibit::shape::{Paint, Place, Shape, Tone};

/// Width of a line.
pub const WIDTH: f32 = 2.5;

/// Columns of a line or envelope to a unit of width; more are not seen.
const COLUMNS: f32 = 2.0;

/// Columns below this distance are too narrow for an edge within one of them to be seen.
const NARROW: f32 = 1.2;

/// Least thickness of an envelope.
const THIN: f32 = 2.0;

/// How a line is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dash {
    /// Not at all.
    Full,
    /// Long dashes.
    Long,
    /// Short ones.
    Short,
    /// Long and short in turn.
    Mixed,
}

impl Dash {
    /// Of a curve among those of its row: lines of one colour in the order full, long, short, mixed.
    pub fn of(row: &Row, index: usize) -> Self {
        let Some(own) = row.curves.get(index) else {
            return Self::Full;
        };
        let tone = Tone::of(own.role);
        let before = row.curves[..index]
            .iter()
            .filter(|c| matches!(c.shape, CurveShape::Line(_)) && Tone::of(c.role) == tone)
            .count();
        match before % 4 {
            0 => Self::Full,
            1 => Self::Long,
            2 => Self::Short,
            _ => Self::Mixed,
        }
    }

    /// Lengths of dash and gap in turn.
    fn pattern(self) -> &'static [f32] {
        match self {
            Self::Full => &[],
            Self::Long => &[12.0, 7.0],
            Self::Short => &[4.0, 5.0],
            Self::Mixed => &[14.0, 5.0, 4.0, 5.0],
        }
    }

    /// The pieces of a line that are drawn.
    pub fn cut(self, line: &[Place]) -> Vec<Vec<Place>> {
        let pattern = self.pattern();
        if pattern.is_empty() {
            return vec![line.to_vec()];
        }
        let mut pieces = Vec::new();
        let mut piece: Vec<Place> = line.first().copied().into_iter().collect();
        let (mut step, mut left) = (0, pattern[0]);
        for pair in line.windows(2) {
            let (mut a, b) = (pair[0], pair[1]);
            loop {
                let long = (b[0] - a[0]).hypot(b[1] - a[1]);
                if long <= left || !long.is_finite() {
                    left -= long;
                    if step % 2 == 0 {
                        piece.push(b);
                    }
                    break;
                }
                let share = left / long;
                a = [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share];
                if step % 2 == 0 {
                    piece.push(a);
                    pieces.push(std::mem::take(&mut piece));
                } else {
                    piece = vec![a];
                }
                step = (step + 1) % pattern.len();
                left = pattern[step];
            }
        }
        if piece.len() > 1 {
            pieces.push(piece);
        }
        pieces
    }
}

/// Which curves of a row are bands: envelopes where a line runs too.
pub fn bands(row: &Row) -> Vec<bool> {
    let is_line = |shape: &CurveShape| matches!(shape, CurveShape::Line(_));
    let has_line = row.curves.iter().any(|c| is_line(&c.shape));
    row.curves
        .iter()
        .map(|c| has_line && !is_line(&c.shape))
        .collect()
}

/// How an envelope covers its ground.
pub fn cover(tone: Tone, is_band: bool) -> Paint {
    let cover = if is_band { 0.25 } else { 0.9 };
    Paint { tone, cover }
}

/// Adds the curves.
pub fn curves(row: &Row, x: &Axis, plot: &Plot, shapes: &mut Vec<Shape>) {
    let bands = bands(row);
    let envelopes = bands.iter().filter(|b| !**b).count();
    // Bands first: lines run over them.
    for is_band in [true, false] {
        for (index, curve) in row.curves.iter().enumerate() {
            if bands[index] != is_band {
                continue;
            }
            let tone = Tone::of(curve.role);
            match &curve.shape {
                CurveShape::Line(points) => {
                    for run in runs(points, x, row, plot) {
                        for piece in Dash::of(row, index).cut(&thinned(run)) {
                            shapes.push(Shape::Line(piece, WIDTH, tone.into()));
                        }
                    }
                }
                CurveShape::Envelope(points) => {
                    let mut paint = cover(tone, is_band);
                    if !is_band && envelopes > 1 {
                        paint.cover = 0.55;
                    }
                    for area in areas(points, x, row, plot, is_band) {
                        shapes.push(Shape::Area(area, paint));
                    }
                }
            }
        }
    }
}

/// Stretches of a line that have values, cut at the ends of the horizontal axis.
fn runs(points: &[[f64; 2]], x: &Axis, row: &Row, plot: &Plot) -> Vec<Vec<Place>> {
    let (left, right) = (plot.upper[0], plot.lower[0]);
    let mut runs = vec![Vec::new()];
    let mut last: Option<Place> = None;
    for [at, value] in points {
        let here = plot
            .x(x, *at)
            .zip(plot.y(&row.y, *value).filter(|_| value.is_finite()));
        let Some(here) = here.map(|(x, y)| [x, y]) else {
            runs.push(Vec::new());
            last = None;
            continue;
        };
        let is_on = |p: Place| (left..=right).contains(&p[0]);
        if let Some(before) = last.filter(|b| is_on(*b) != is_on(here)) {
            let edge = if before[0].min(here[0]) < left {
                left
            } else {
                right
            };
            let share = (edge - before[0]) / (here[0] - before[0]);
            let crossing = [edge, before[1] + (here[1] - before[1]) * share];
            if is_on(here) {
                runs.push(vec![crossing]);
            } else if let Some(run) = runs.last_mut() {
                run.push(crossing);
            }
        }
        if is_on(here)
            && let Some(run) = runs.last_mut()
        {
            run.push(here);
        }
        last = Some(here);
    }
    runs.retain(|run| run.len() > 1);
    runs
}

/// At most first, least, greatest and last of each column of the picture.
fn thinned(run: Vec<Place>) -> Vec<Place> {
    let column = |p: &Place| (p[0] * COLUMNS).floor();
    let mut kept: Vec<Place> = Vec::with_capacity(run.len().min(8_000));
    for group in run.chunk_by(|a, b| column(a).total_cmp(&column(b)).is_eq()) {
        if group.len() <= 4 {
            kept.extend(group);
            continue;
        }
        let extreme = |is_better: &dyn Fn(f32, f32) -> bool| {
            (1..group.len() - 1).fold(1, |best, k| {
                if is_better(group[k][1], group[best][1]) {
                    k
                } else {
                    best
                }
            })
        };
        let (high, low) = (extreme(&|a, b| a < b), extreme(&|a, b| a > b));
        kept.push(group[0]);
        kept.push(group[high.min(low)]);
        kept.push(group[high.max(low)]);
        kept.push(group[group.len() - 1]);
    }
    kept
}

/// Outlines of the stretches of an envelope that have values. Those of samples hang together from column
/// to column, so that a steep edge is seen as the rest of the line.
fn areas(points: &[[f64; 3]], x: &Axis, row: &Row, plot: &Plot, is_band: bool) -> Vec<Vec<Place>> {
    let (left, right) = (plot.upper[0], plot.lower[0]);
    let mut runs: Vec<Vec<[f32; 3]>> = vec![Vec::new()];
    for [at, low, high] in points {
        let column = plot.x(x, *at).and_then(|x| {
            let (a, b) = (plot.y(&row.y, *low)?, plot.y(&row.y, *high)?);
            Some([x, a.min(b), a.max(b)])
        });
        let is_known = low.is_finite() && high.is_finite();
        match column.filter(|_| is_known) {
            Some(column) if (left..=right).contains(&column[0]) => {
                if let Some(run) = runs.last_mut() {
                    // Columns that fall on one of the picture become one.
                    let same = run.last_mut().filter(|l| {
                        (l[0] * COLUMNS)
                            .floor()
                            .total_cmp(&(column[0] * COLUMNS).floor())
                            .is_eq()
                    });
                    match same {
                        Some(last) => {
                            last[1] = last[1].min(column[1]);
                            last[2] = last[2].max(column[2]);
                        }
                        None => run.push(column),
                    }
                }
            }
            Some(_) => {}
            None => runs.push(Vec::new()),
        }
    }
    runs.retain(|run| !run.is_empty());
    runs.into_iter()
        .map(|run| if is_band { run } else { joined(&run) })
        .map(|mut run| {
            for column in &mut run {
                let short = (THIN - (column[2] - column[1])).max(0.0) / 2.0;
                column[1] -= short;
                column[2] += short;
            }
            if let [one] = run.as_slice() {
                let wider = [one[0] + 1.0, one[1], one[2]];
                run.push(wider);
            }
            let upper = run.iter().map(|[x, top, _]| [*x, *top]);
            let lower = run.iter().rev().map(|[x, _, bottom]| [*x, *bottom]);
            upper.chain(lower).collect()
        })
        .collect()
}

/// Each column lengthened to where the next one begins, and, where columns are narrow, the next one back
/// to where it ends: a steep edge between two has no width of its own.
fn joined(run: &[[f32; 3]]) -> Vec<[f32; 3]> {
    let mut joined = run.to_vec();
    for (k, pair) in run.windows(2).enumerate() {
        let ([x, top, bottom], [next, above, below]) = (pair[0], pair[1]);
        joined[k][1] = joined[k][1].min(below.min(top));
        joined[k][2] = joined[k][2].max(above.max(bottom));
        if next - x < NARROW {
            joined[k + 1][1] = joined[k + 1][1].min(bottom);
            joined[k + 1][2] = joined[k + 1][2].max(top);
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exhibit::scene::Curve;

    const PLOT: Plot = Plot {
        upper: [0.0, 0.0],
        lower: [100.0, 50.0],
    };

    fn axis(from: f64, to: f64) -> Axis {
        Axis {
            from,
            to,
            ..Axis::default()
        }
    }

    fn row() -> Row {
        Row {
            y: axis(0.0, 10.0),
            ..Row::default()
        }
    }

    #[test]
    fn a_line_ends_where_the_axis_does_and_breaks_where_nothing_is_known() {
        let points = [
            [-10.0, 0.0],
            [10.0, 10.0],
            [20.0, 10.0],
            [25.0, f64::NAN],
            [30.0, 5.0],
            [110.0, 5.0],
        ];
        let mut runs = runs(&points, &axis(0.0, 100.0), &row(), &PLOT);
        for place in runs.iter_mut().flatten().flatten() {
            *place = (*place * 1000.0).round() / 1000.0;
        }
        assert_eq!(
            runs,
            [
                vec![[0.0, 25.0], [10.0, 0.0], [20.0, 0.0]],
                vec![[30.0, 25.0], [100.0, 25.0]],
            ]
        );
    }

    #[test]
    fn thinning_keeps_the_extremes() {
        let run: Vec<Place> = (0..10_000_u16)
            .map(|k| {
                let spike = if k == 4_321 { 49.0 } else { 20.0 };
                [f32::from(k) * 0.01, spike]
            })
            .collect();
        let thin = thinned(run);
        assert!(thin.len() <= 804, "{}", thin.len());
        assert!(thin.iter().any(|p| p[1] > 48.0));
    }

    #[test]
    #[allow(clippy::float_cmp, reason = "exact in binary, or rounded to the same")]
    fn dashes_have_their_length() {
        let pieces = Dash::Long.cut(&[[0.0, 0.0], [30.0, 0.0], [30.0, 30.0]]);
        let long: f32 = pieces
            .iter()
            .flat_map(|p| {
                p.windows(2)
                    .map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]))
            })
            .sum();
        // 60 units in periods of 19 with 12 drawn: three periods, and three units of the next.
        assert!((long - 39.0).abs() < 0.01, "{long}");
        assert_eq!(pieces[1][0], [19.0, 0.0]);
    }

    #[test]
    fn lines_of_one_colour_have_different_dashes() {
        let curve = |name: &str| Curve {
            name: name.to_owned(),
            role: None,
            shape: CurveShape::Line(Vec::new()),
        };
        let row = Row {
            curves: vec![curve("before"), curve("after")],
            ..row()
        };
        assert_ne!(Dash::of(&row, 0), Dash::of(&row, 1));
    }
}
