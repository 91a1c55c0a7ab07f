//! Curves of one row: where its values lie, and how they are drawn.

use super::plan::{count, pixels};
use crate::review::course::{Course, INTERVAL, reduced};
use crate::widget::envelope::envelope;
use iced::widget::canvas::{Frame, LineJoin, Path, Stroke};
use iced::{Color, Point, Rectangle};
use keyway_acquisition::recording::lens::Shape;
use std::ops::Range;

/// Distance of two samples, logical pixels, from which each is seen as a dot of its own.
const DOTS: f32 = 5.0;
/// Distance below which samples are drawn as one shape.
const DENSE: f32 = 2.0;
/// Radius of a dot.
const DOT: f32 = 2.2;
/// Thickness of a line.
const LINE: f32 = 1.5;

/// A row with its two axes.
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// Where it lies.
    pub area: Rectangle,
    /// Along it, seconds.
    pub x: Range<f64>,
    /// Ends of its scale.
    pub y: [f64; 2],
}

impl Lane {
    /// Place on the time axis.
    pub fn at(&self, seconds: f64) -> f32 {
        let share = (seconds - self.x.start) / (self.x.end - self.x.start);
        // Far outside a number of pixels has no meaning any more.
        self.area.x + pixels(share.clamp(-1e4, 1e4)) * self.area.width
    }

    /// Place on the scale.
    pub fn height(&self, value: f64) -> f32 {
        let [low, high] = self.y;
        let share = (value - low) / (high - low);
        let room = self.area.height - 4.0;
        self.area.y + 2.0 + room * pixels(1.0 - share.clamp(-0.02, 1.02))
    }

    /// Pixels of a duration.
    fn wide(&self, seconds: f64) -> f32 {
        pixels((seconds / (self.x.end - self.x.start)).min(1e4)) * self.area.width
    }

    /// Draws columns of least and greatest values that lie evenly over a stretch: one per pixel, so
    /// that an older picture of another window is drawn where it belongs and never beside the row.
    fn columns(
        &self,
        frame: &mut Frame,
        columns: &[Option<[f32; 2]>],
        stretch: &Range<f64>,
        colour: Color,
    ) {
        let wide = whole(f64::from(self.area.width)).max(1);
        let spans: Vec<_> = resampled(columns, stretch, &self.x, wide)
            .into_iter()
            .map(|c| {
                c.map(|[low, high]| [self.height(f64::from(high)), self.height(f64::from(low))])
            })
            .collect();
        let step = self.area.width / count(wide);
        frame.fill(&envelope(&spans, self.area.x, step), colour);
    }

    /// Draws a broken line, and its points where they are few.
    fn line(&self, frame: &mut Frame, runs: &[Vec<Point>], colour: Color, has_dots: bool) {
        let stroke = Stroke {
            line_join: LineJoin::Bevel,
            ..Stroke::default().with_color(colour).with_width(LINE)
        };
        let ends = [self.area.x, self.area.x + self.area.width];
        for run in runs {
            for part in cut(run, ends) {
                let path = Path::new(|b| {
                    for (i, at) in part.iter().enumerate() {
                        if i == 0 {
                            b.move_to(*at);
                        } else {
                            b.line_to(*at);
                        }
                    }
                });
                frame.stroke(&path, stroke);
            }
            if has_dots || run.len() == 1 {
                let seen = run.iter().filter(|at| (ends[0]..=ends[1]).contains(&at.x));
                let dots = Path::new(|b| seen.for_each(|at| b.circle(*at, DOT)));
                frame.fill(&dots, colour);
            }
        }
    }

    /// Draws what is seen of a lead, over the stretch in which was looked.
    pub fn shape(&self, frame: &mut Frame, shape: &Shape, stretch: &Range<f64>, colour: Color) {
        match shape {
            Shape::Columns(columns) => self.columns(frame, columns, stretch, colour),
            Shape::Samples(samples) => {
                let long = stretch.end - stretch.start;
                let apart = self.wide(long / samples.len().max(1) as f64);
                if apart < DENSE {
                    let at: Vec<f64> = samples.iter().map(|s| s.0).collect();
                    let values: Vec<_> = samples.iter().map(|s| Some(s.1)).collect();
                    let columns = whole(f64::from(self.wide(long))).clamp(1, samples.len());
                    let columns = reduced(&at, &values, stretch, columns);
                    self.columns(frame, &columns, stretch, colour);
                } else {
                    // A jump of the time is a gap, which nothing bridges.
                    let usual = samples
                        .windows(2)
                        .map(|w| w[1].0 - w[0].0)
                        .fold(f64::INFINITY, f64::min);
                    let runs: Vec<Vec<Point>> = samples
                        .chunk_by(|a, b| b.0 - a.0 < 1.5 * usual)
                        .map(|run| {
                            run.iter()
                                .map(|(t, v)| Point::new(self.at(*t), self.height(f64::from(*v))))
                                .collect()
                        })
                        .collect();
                    self.line(frame, &runs, colour, apart >= DOTS);
                }
            }
        }
    }

    /// Draws a measured value of the course.
    pub fn course(
        &self,
        frame: &mut Frame,
        course: &Course,
        values: &[Option<f32>],
        colour: Color,
    ) {
        let points = course.within(&self.x);
        if self.wide(INTERVAL) < DENSE {
            let columns = whole(f64::from(self.area.width)).max(1);
            let (at, values) = (&course.at[points.clone()], &values[points]);
            let columns = reduced(at, values, &self.x, columns);
            // Of columns narrower than a point some are empty between two points that belong together.
            let columns = bridged(columns, self.wide(INTERVAL));
            self.columns(frame, &columns, &self.x, colour);
        } else {
            // The points beside the window, so that lines reach its edges.
            let from = points.start.saturating_sub(1);
            let to = (points.end + 1).min(course.len());
            let mut runs: Vec<Vec<Point>> = vec![Vec::new()];
            for (i, value) in values.iter().enumerate().take(to).skip(from) {
                let point =
                    value.map(|v| Point::new(self.at(course.at[i]), self.height(f64::from(v))));
                let Some(point) = point else {
                    runs.push(Vec::new());
                    continue;
                };
                match runs.last_mut() {
                    Some(run) if course.follows(i) => run.push(point),
                    _ => runs.push(vec![point]),
                }
            }
            runs.retain(|r| !r.is_empty());
            self.line(frame, &runs, colour, self.wide(INTERVAL) >= 2.0 * DOTS);
        }
    }

    /// Draws where a phase was due.
    pub fn due(&self, frame: &mut Frame, course: &Course, due: &[Option<[f32; 2]>], colour: Color) {
        let points = course.within(&self.x);
        let pale = Color { a: 0.3, ..colour };
        let wide = self.wide(INTERVAL);
        // At least a pixel wide: of narrower ones so many are passed over.
        let every = whole(f64::from((1.0 / wide.max(1e-3)).ceil())).max(1);
        let right = self.area.x + self.area.width;
        let mut open: Option<(f32, f32, [f32; 2])> = None;
        let mut bands = Vec::new();
        for i in points.step_by(every) {
            let x = self.at(course.at[i] - INTERVAL / 2.0);
            let end = (x + wide * count(every)).min(right);
            let x = x.max(self.area.x);
            let Some([low, high]) = due[i] else {
                bands.extend(open.take());
                continue;
            };
            let ends = [
                self.height(f64::from(high)).round(),
                self.height(f64::from(low)).round(),
            ];
            match &mut open {
                // Bands of one height are one shape.
                Some((_, to, same)) if near(*same, ends) && x - *to < 1.0 => *to = end,
                _ => {
                    bands.extend(open.take());
                    open = Some((x, end, ends));
                }
            }
        }
        bands.extend(open);
        for (from, to, [top, bottom]) in bands {
            let size = iced::Size::new(to - from, (bottom - top).max(2.0));
            frame.fill_rectangle(Point::new(from, top), size, pale);
        }
    }
}

fn near(a: [f32; 2], b: [f32; 2]) -> bool {
    (a[0] - b[0]).abs() < 0.5 && (a[1] - b[1]).abs() < 0.5
}

/// Columns that lie evenly over a stretch, as `wide` columns that lie evenly over a window.
fn resampled(
    columns: &[Option<[f32; 2]>],
    stretch: &Range<f64>,
    window: &Range<f64>,
    wide: usize,
) -> Vec<Option<[f32; 2]>> {
    let own = (stretch.end - stretch.start) / columns.len().max(1) as f64;
    let step = (window.end - window.start) / wide as f64;
    (0..wide)
        .map(|i| {
            // Of what only touches the edge nothing belongs into the column.
            let from = (window.start + step * i as f64 - stretch.start) / own + 1e-6;
            let to = (window.start + step * (i + 1) as f64 - stretch.start) / own - 1e-6;
            if to <= 0.0 || from >= columns.len() as f64 {
                return None;
            }
            let first = whole(from.floor());
            let last = whole(to.ceil()).clamp(first + 1, columns.len().max(first + 1));
            let found = columns.get(first..last)?.iter().flatten().copied();
            found.reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
        })
        .collect()
}

/// The parts of a line between two places, cut at them.
fn cut(run: &[Point], [left, right]: [f32; 2]) -> Vec<Vec<Point>> {
    let mut parts: Vec<Vec<Point>> = Vec::new();
    let mut open: Vec<Point> = Vec::new();
    let between =
        |a: Point, b: Point, x: f32| Point::new(x, a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x));
    for pair in run.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        if b.x < left || a.x > right || b.x <= a.x {
            continue;
        }
        let from = if a.x < left { between(a, b, left) } else { a };
        let to = if b.x > right { between(a, b, right) } else { b };
        if open.is_empty() {
            open.push(from);
        }
        open.push(to);
        if b.x > right {
            break;
        }
    }
    if open.len() > 1 {
        parts.push(open);
    }
    parts
}

/// Fills holes that are only between two neighbouring points, `apart` columns from each other.
fn bridged(mut columns: Vec<Option<[f32; 2]>>, apart: f32) -> Vec<Option<[f32; 2]>> {
    if apart <= 1.0 {
        return columns;
    }
    let widest = whole(f64::from(apart.ceil()));
    let mut last: Option<usize> = None;
    for i in 0..columns.len() {
        if columns[i].is_some() {
            if let Some(before) = last.filter(|b| i - b > 1 && i - b <= widest) {
                for k in before + 1..i {
                    columns[k] = columns[before];
                }
            }
            last = Some(i);
        }
    }
    columns
}

/// Least and greatest value of a shape.
pub fn ends(shape: &Shape) -> Option<[f64; 2]> {
    let wider = |a: [f64; 2], b: [f64; 2]| [a[0].min(b[0]), a[1].max(b[1])];
    match shape {
        Shape::Columns(columns) => columns
            .iter()
            .flatten()
            .map(|c| c.map(f64::from))
            .reduce(wider),
        Shape::Samples(samples) => (samples.iter()).map(|s| [f64::from(s.1); 2]).reduce(wider),
    }
}

/// A scale around values, rounded outwards to 1, 2 or 5 times a power of ten so that it stands still
/// while the window moves.
pub fn scale([low, high]: [f64; 2], least: f64) -> [f64; 2] {
    let span = (high - low).max(least);
    let decade = 10_f64.powf((span / 8.0).log10().floor());
    let step = [1.0, 2.0, 5.0]
        .map(|k| k * decade)
        .into_iter()
        .find(|s| *s >= span / 8.0)
        .unwrap_or(10.0 * decade);
    let low = if low.abs() < 1e-9 {
        0.0
    } else {
        ((low / step) - 0.02).floor() * step
    };
    let high = ((high / step) + 0.02).ceil() * step;
    [low, if high > low { high } else { low + step }]
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a number of columns, not negative"
)]
fn whole(x: f64) -> usize {
    x.max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_holds_its_values_and_stands_still() {
        let near = |a: [f64; 2], b: [f64; 2]| {
            assert!(
                (a[0] - b[0]).abs() < 1e-9 && (a[1] - b[1]).abs() < 1e-9,
                "{a:?} {b:?}"
            );
        };
        near(scale([0.3, 13.9], 0.2), [0.0, 14.0]);
        near(scale([0.4, 13.2], 0.2), [0.0, 14.0]);
        near(scale([-3.1, 2.9], 0.2), [-4.0, 3.0]);
        near(scale([5.0, 5.0], 0.2), [4.95, 5.05]);
    }

    #[test]
    fn an_older_picture_is_drawn_where_it_belongs() {
        let columns: Vec<_> = [1.0, 2.0, 3.0, 4.0].map(|v| Some([v, v])).to_vec();
        let window = |x: Range<f64>, wide| {
            let spans = resampled(&columns, &(0.0..4.0), &x, wide).into_iter();
            spans
                .map(|c| c.map_or(0.0, |c| c[0] * 10.0 + c[1]))
                .collect::<Vec<_>>()
        };
        assert_eq!(window(0.0..4.0, 4), [11.0, 22.0, 33.0, 44.0]);
        assert_eq!(window(0.0..4.0, 2), [12.0, 34.0]);
        assert_eq!(window(1.0..2.0, 3), [22.0, 22.0, 22.0]);
        assert_eq!(window(3.0..6.0, 3), [44.0, 0.0, 0.0]);
        assert_eq!(window(-2.0..1.0, 3), [0.0, 0.0, 11.0]);
    }

    #[test]
    fn a_line_ends_at_the_edge_of_its_row() {
        let line = [0.0, 10.0, 20.0].map(|x| Point::new(x, x));
        assert_eq!(
            cut(&line, [5.0, 12.0]),
            [[5.0, 10.0, 12.0].map(|x| Point::new(x, x)).to_vec()]
        );
        assert_eq!(
            cut(&line, [12.0, 13.0]),
            [[12.0, 13.0].map(|x| Point::new(x, x)).to_vec()]
        );
        assert!(cut(&line, [30.0, 40.0]).is_empty());
    }

    #[test]
    fn only_holes_between_neighbouring_points_are_bridged() {
        let columns = vec![
            Some([1.0, 1.0]),
            None,
            Some([2.0, 2.0]),
            None,
            None,
            None,
            Some([3.0; 2]),
        ];
        let bridged = bridged(columns, 2.0);
        assert_eq!(bridged[1], Some([1.0, 1.0]));
        assert_eq!(bridged[3], None);
    }
}
