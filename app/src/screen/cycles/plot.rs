//! Where everything lies in the drawing, and how angles and values become places.

use iced::{Point, Rectangle, Size};
use std::ops::Range;

/// Room at the left of a lane for the lead's name, logical pixels.
const GUTTER: f32 = 146.0;
/// Room at the right for the values at the cursors.
pub const VALUES: f32 = 192.0;
/// Height of the strip with the dead centres, and of the one with the degrees.
const STRIP: f32 = 22.0;

/// Places of one drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// All lanes together.
    pub area: Rectangle,
    lanes: usize,
    window: Range<f64>,
}

impl Plot {
    /// `lanes` leads in a place of this size, showing these crank degrees; with room for values if wished.
    pub fn new(size: Size, lanes: usize, window: &Range<f64>, has_values: bool) -> Self {
        let right = if has_values { VALUES } else { 14.0 };
        let area = Rectangle::new(
            Point::new(GUTTER, STRIP),
            Size::new(
                (size.width - GUTTER - right).max(10.0),
                (size.height - 2.0 * STRIP).max(10.0),
            ),
        );
        Self {
            area,
            lanes: lanes.max(1),
            window: window.clone(),
        }
    }

    /// The place of a lead.
    pub fn lane(&self, index: usize) -> Rectangle {
        let high = self.area.height / narrow(self.lanes as f64);
        let y = self.area.y + high * narrow(index as f64);
        Rectangle::new(
            Point::new(self.area.x, y + 2.0),
            Size::new(self.area.width, high - 4.0),
        )
    }

    /// Where an angle lies across.
    pub fn x(&self, angle: f64) -> f32 {
        let share = (angle - self.window.start) / (self.window.end - self.window.start);
        self.area.x + self.area.width * narrow(share)
    }

    /// The angle at a place.
    pub fn angle(&self, x: f32) -> f64 {
        let share = f64::from((x - self.area.x) / self.area.width);
        self.window.start + share * (self.window.end - self.window.start)
    }

    /// Whether an angle is visible.
    pub fn shows(&self, angle: f64) -> bool {
        self.window.start <= angle && angle <= self.window.end
    }

    /// Degrees that one pixel is wide.
    pub fn degrees_per_pixel(&self) -> f64 {
        (self.window.end - self.window.start) / f64::from(self.area.width)
    }

    /// Middle of the strip above the lanes, and of the one below.
    pub fn strips(&self) -> (f32, f32) {
        let below = self.area.y + self.area.height + STRIP / 2.0;
        (STRIP / 2.0 - 2.0, below + 1.0)
    }

    /// Angles to be marked: multiples of a round step, so that marks are never closer than a word is wide.
    pub fn marks(&self) -> (f64, Vec<f64>) {
        const STEPS: [f64; 11] = [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 90.0, 180.0];
        let least = 62.0 * self.degrees_per_pixel();
        let step = STEPS.into_iter().find(|s| *s >= least).unwrap_or(360.0);
        let mut marks = Vec::new();
        let mut k = (self.window.start / step - 1e-9).ceil();
        while k * step <= self.window.end + 1e-9 {
            marks.push(k * step);
            k += 1.0;
        }
        (step, marks)
    }

    /// Least and greatest value of each pixel of the lanes' width. Where a pixel holds no column's middle, what
    /// lies between the two next to it; none where values are missing.
    pub fn pixels(&self, values: &[f32]) -> Vec<Option<[f32; 2]>> {
        let columns = values.len() as f64;
        let place = |x: f32| self.angle(x) / 720.0 * columns - 0.5;
        let mut pixels = Vec::new();
        let mut x = self.area.x;
        while x + 0.5 < self.area.x + self.area.width {
            let (a, b) = (place(x), place(x + 1.0));
            let (first, end) = (index(a.ceil()), index(b.ceil()));
            let inside = values.get(first..end.min(values.len())).unwrap_or_default();
            let known = inside.iter().filter(|v| v.is_finite());
            let held = known.fold(None, |range: Option<[f32; 2]>, v| {
                Some(range.map_or([*v; 2], |[l, h]| [l.min(*v), h.max(*v)]))
            });
            pixels.push(if inside.is_empty() {
                between(values, f64::midpoint(a, b)).map(|v| [v; 2])
            } else {
                held
            });
            x += 1.0;
        }
        pixels
    }
}

/// The value between columns; `place` counts in columns, their middles being whole.
pub fn between(values: &[f32], place: f64) -> Option<f32> {
    let last = values.len().checked_sub(1)?;
    let place = place.clamp(0.0, last as f64);
    let below = index(place.floor());
    let (a, b) = (*values.get(below)?, *values.get((below + 1).min(last))?);
    let value = a + (b - a) * narrow(place - place.floor());
    value.is_finite().then_some(value)
}

/// For drawing.
#[allow(
    clippy::cast_possible_truncation,
    reason = "a place on a screen; f32 is what is drawn with"
)]
pub fn narrow(x: f64) -> f32 {
    x as f32
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a place in a list, at least nought"
)]
fn index(x: f64) -> usize {
    x.max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_and_places_are_each_others_inverse_and_marks_are_round() {
        let plot = Plot::new(Size::new(900.0, 400.0), 4, &(100.0..130.0), true);
        for angle in [100.0, 112.5, 130.0] {
            assert!((plot.angle(plot.x(angle)) - angle).abs() < 1e-3);
        }
        let (step, marks) = plot.marks();
        assert!((step - 5.0).abs() < 1e-9, "{step}");
        assert_eq!(marks.len(), 7);
    }

    #[test]
    fn no_peak_is_lost_and_what_is_zoomed_is_interpolated() {
        let mut values = vec![0.0; 7200];
        values[3600] = 9.0;
        let whole = Plot::new(Size::new(900.0, 400.0), 1, &(0.0..720.0), false);
        let most = whole.pixels(&values).into_iter().flatten();
        assert!((most.fold(0.0, |m: f32, [_, h]| m.max(h)) - 9.0).abs() < 1e-6);
        // Half way between the middles of two columns lies their mean.
        assert_eq!(between(&[1.0, 3.0], 0.5), Some(2.0));
        assert_eq!(between(&[1.0, f32::NAN], 0.5), None);
        assert_eq!(between(&[], 0.5), None);
        let near = Plot::new(Size::new(900.0, 400.0), 1, &(359.0..361.0), false);
        assert!(near.pixels(&values).iter().all(Option::is_some));
    }
}
