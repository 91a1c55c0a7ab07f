//! Where everything lies on the picture of the Review page: the whole recording above, the window
//! that is looked at below, both over the same gutter for their names.

use iced::{Point, Rectangle, Size};

/// Room at the left for names and scales, logical pixels.
pub const GUTTER: f32 = 128.0;

/// Height of a line of small text, logical pixels.
pub const LINE: f32 = 18.0;

/// Room at the right, logical pixels.
const MARGIN: f32 = 12.0;

/// Height of the state of one cam in the strip, logical pixels.
pub const STATE: f32 = 18.0;

/// The places.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The whole recording, from its heading to its axis.
    pub strip: Rectangle,
    /// Speed, duty and phase in it.
    pub curves: [Rectangle; 3],
    /// One per cam.
    pub states: Vec<Rectangle>,
    /// What happened, losses, what was said, what was found.
    pub marks: Rectangle,
    /// The window.
    pub detail: Rectangle,
    /// Rows in it.
    pub lanes: Vec<Rectangle>,
    /// Horizontal extent of both.
    pub x: [f32; 2],
}

impl Plan {
    /// Places on a picture of this size, with so many cams in the strip and so many rows below.
    pub fn new(size: Size, cams: usize, lanes: usize) -> Self {
        let x = [GUTTER, (size.width - MARGIN).max(GUTTER + 10.0)];
        let wide = x[1] - x[0];
        let place =
            |y: f32, high: f32| Rectangle::new(Point::new(x[0], y), Size::new(wide, high.max(1.0)));
        let states = STATE * count(cams);
        let marks = 18.0;
        let fixed = LINE + states + marks + LINE;
        // Curves take what a third of the picture leaves, within what can still be read.
        let curves = (size.height * 0.4 - fixed).clamp(60.0, 170.0);
        let unit = curves / 3.4;
        let mut y = LINE;
        let mut rows = [1.0, 1.0, 1.4].map(|weight| {
            let row = place(y, unit * weight - 3.0);
            y += unit * weight;
            row
        });
        rows[2].height = rows[2].height.max(10.0);
        let states = (0..cams)
            .map(|_| {
                let row = place(y, STATE - 2.0);
                y += STATE;
                row
            })
            .collect();
        let marks_row = place(y, marks - 2.0);
        y += marks;
        let strip = place(0.0, y + LINE);
        let top = y + LINE + 8.0;
        let detail = place(top, size.height - top);
        let room = detail.height - 2.0 * LINE;
        let high = room / count(lanes.max(1));
        let lanes = (0..lanes)
            .map(|i| {
                let y = detail.y + LINE + high * count(i);
                place(y + 1.0, high - 3.0)
            })
            .collect();
        Self {
            strip,
            curves: rows,
            states,
            marks: marks_row,
            detail,
            lanes,
            x,
        }
    }

    /// Width of the time axes.
    pub fn wide(&self) -> f32 {
        self.x[1] - self.x[0]
    }
}

/// A count as a length.
#[allow(
    clippy::cast_precision_loss,
    reason = "a few rows or columns of a screen"
)]
pub fn count(n: usize) -> f32 {
    n as f32
}

/// A share of a screen length, and back.
#[allow(clippy::cast_possible_truncation, reason = "a place on the screen")]
pub fn pixels(at: f64) -> f32 {
    at as f32
}
