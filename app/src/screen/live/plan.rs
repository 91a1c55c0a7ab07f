//! Where everything on the Live screen lies, from the size of the place it is given.

use iced::{Point, Rectangle, Size};

/// Height of one line of small text, logical pixels.
pub const LINE: f32 = 20.0;

/// Least height of a gauge that can be read, logical pixels.
const LEAST_GAUGE: f32 = 60.0;

/// Below this height the screen is laid out tightly, logical pixels.
const LOW: f32 = 640.0;

/// Least height of the lower panel: three keys below each other, logical pixels.
const LEAST_LOWER: f32 = 156.0;

/// What the plan has to hold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contents {
    /// Gauges, the two of the engine included.
    pub gauges: usize,
    /// Leads that are fitted or spare.
    pub leads: usize,
    /// Lines that the sentence needs below its heading.
    pub sentence_lines: u8,
    /// Whether the lower panel covers the dial and the gauges.
    pub is_enlarged: bool,
}

/// Places in the screen's own coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The whole screen.
    pub size: Size,
    /// The sentence.
    pub sentence: Rectangle,
    /// Dial, gauges; absent while the lower panel is enlarged.
    pub middle: Option<Middle>,
    /// Panel of lead states.
    pub leads: Leads,
    /// Lower panel: strip or traces.
    pub lower: Rectangle,
}

/// The panels between sentence and lower panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Middle {
    /// The cycle dial.
    pub dial: Rectangle,
    /// One place per gauge, or two for the engine and one per cam when paired.
    pub gauges: Vec<Rectangle>,
    /// Whether phase and duty of a cam share a place.
    pub is_paired: bool,
}

/// The panel of lead states.
#[derive(Debug, Clone, PartialEq)]
pub struct Leads {
    /// The panel.
    pub panel: Rectangle,
    /// Leads side by side.
    pub columns: usize,
    /// Whether the note stands below the name (else beside it).
    pub is_tall: bool,
}

impl Leads {
    fn height(count: usize, columns: usize, is_tall: bool) -> f32 {
        rows(count, columns) * Self::row(is_tall) + 16.0
    }

    fn row(is_tall: bool) -> f32 {
        if is_tall { 40.0 } else { LINE }
    }

    /// Place of the lead with this index.
    pub fn cell(&self, index: usize) -> Rectangle {
        let inner = shrunk(self.panel, 12.0, 8.0);
        let wide = inner.width / count(self.columns);
        let high = Self::row(self.is_tall);
        Rectangle::new(
            Point::new(
                inner.x + wide * count(index % self.columns),
                inner.y + high * count(index / self.columns),
            ),
            Size::new(wide - 4.0, high),
        )
    }
}

impl Plan {
    /// Lays the screen out.
    pub fn new(size: Size, contents: Contents) -> Self {
        let is_low = size.height < LOW;
        let margin = margin(size);
        let gap = 8.0;
        let (x, wide) = (margin, size.width - 2.0 * margin);
        let sentence = Rectangle::new(
            Point::new(x, 0.0),
            Size::new(
                wide,
                40.0 + LINE * f32::from(contents.sentence_lines.max(1)),
            ),
        );
        let top = sentence.y + sentence.height + gap;
        let bottom = size.height - gap;
        if contents.is_enlarged {
            let columns = lead_columns(wide);
            let high = Leads::height(contents.leads, columns, false);
            let lower = Rectangle::new(
                Point::new(x, top + high + gap),
                Size::new(wide, (bottom - top - high - gap).max(0.0)),
            );
            let panel = Rectangle::new(Point::new(x, top), Size::new(wide, high));
            let leads = Leads {
                panel,
                columns,
                is_tall: false,
            };
            return Self {
                size,
                sentence,
                middle: None,
                leads,
                lower,
            };
        }
        let lower_high = if is_low {
            LEAST_LOWER
        } else {
            (size.height * 0.25).clamp(184.0, 280.0)
        };
        let lower = Rectangle::new(
            Point::new(x, bottom - lower_high),
            Size::new(wide, lower_high),
        );
        let high = lower.y - gap - top;
        let dial_wide = (high * 0.96).min(wide * 0.4);
        let dial = Rectangle::new(Point::new(x, top), Size::new(dial_wide, high));
        let right = Rectangle::new(
            Point::new(x + dial_wide + gap, top),
            Size::new(wide - dial_wide - gap, high),
        );
        let (gauges, is_paired, leads) = right_side(right, contents, gap);
        let middle = Some(Middle {
            dial,
            gauges,
            is_paired,
        });
        Self {
            size,
            sentence,
            middle,
            leads,
            lower,
        }
    }
}

/// Gauges above the leads: the roomiest arrangement in which a gauge can still be read.
fn right_side(right: Rectangle, contents: Contents, gap: f32) -> (Vec<Rectangle>, bool, Leads) {
    let columns = lead_columns(right.width);
    let places = |is_paired: bool| {
        // The first two are of the engine; the others are phase and duty in turn.
        if is_paired {
            2 + contents.gauges.saturating_sub(2).div_ceil(2)
        } else {
            contents.gauges
        }
    };
    let high = |(is_paired, is_tall): (bool, bool)| {
        let leads = Leads::height(contents.leads, columns, is_tall);
        let lines = rows(places(is_paired), 2);
        (right.height - leads - gap - gap * (lines - 1.0)) / lines
    };
    let (is_paired, is_tall) = [(false, true), (false, false), (true, true)]
        .into_iter()
        .find(|c| high(*c) >= LEAST_GAUGE)
        .unwrap_or((true, false));
    let high = high((is_paired, is_tall)).max(1.0);
    let wide = (right.width - gap) / 2.0;
    let gauges = (0..places(is_paired))
        .map(|i| {
            let at = Point::new(
                right.x + (wide + gap) * count(i % 2),
                right.y + (high + gap) * count(i / 2),
            );
            Rectangle::new(at, Size::new(wide, high))
        })
        .collect();
    let leads_high = Leads::height(contents.leads, columns, is_tall);
    let panel = Rectangle::new(
        Point::new(right.x, right.y + right.height - leads_high),
        Size::new(right.width, leads_high),
    );
    (
        gauges,
        is_paired,
        Leads {
            panel,
            columns,
            is_tall,
        },
    )
}

/// As many leads side by side as have room for a role and a note.
fn lead_columns(wide: f32) -> usize {
    match wide {
        w if w >= 1100.0 => 6,
        w if w >= 800.0 => 5,
        w if w >= 560.0 => 4,
        _ => 3,
    }
}

/// Room at the sides of the screen, logical pixels.
pub fn margin(size: Size) -> f32 {
    if size.height < LOW { 8.0 } else { 16.0 }
}

/// A rectangle with less on each side.
pub fn shrunk(r: Rectangle, dx: f32, dy: f32) -> Rectangle {
    Rectangle::new(
        Point::new(r.x + dx, r.y + dy),
        Size::new(
            (r.width - 2.0 * dx).max(0.0),
            (r.height - 2.0 * dy).max(0.0),
        ),
    )
}

fn rows(items: usize, columns: usize) -> f32 {
    count(items.div_ceil(columns).max(1))
}

/// A small count as a number of pixels or parts; exact far beyond any screen.
pub fn count(n: usize) -> f32 {
    n as f32
}

#[cfg(test)]
mod tests {
    use super::{Contents, LEAST_GAUGE, Plan};
    use iced::{Rectangle, Size};

    fn check(size: Size, contents: Contents) {
        let plan = Plan::new(size, contents);
        let screen = Rectangle::with_size(size);
        let mut places = vec![plan.sentence, plan.leads.panel, plan.lower];
        if let Some(middle) = &plan.middle {
            places.push(middle.dial);
            places.extend(&middle.gauges);
            for g in &middle.gauges {
                assert!(
                    g.height >= LEAST_GAUGE - 0.1,
                    "gauge {g:?} at {size:?} with {contents:?}"
                );
            }
        }
        for (i, a) in places.iter().enumerate() {
            assert!(
                a.is_within(&screen),
                "{a:?} leaves {size:?} with {contents:?}"
            );
            for b in &places[i + 1..] {
                assert!(
                    a.intersection(b).is_none(),
                    "{a:?} and {b:?} overlap with {contents:?}"
                );
            }
        }
        for i in 0..contents.leads {
            assert!(
                plan.leads.cell(i).is_within(&plan.leads.panel),
                "lead {i} with {contents:?}"
            );
        }
    }

    #[test]
    fn nothing_overlaps_or_leaves_the_screen() {
        // The place left by rail and top bar at 1024×600, 1280×800 and 1920×1080.
        for (w, h) in [(920.0, 540.0), (1176.0, 740.0), (1816.0, 1020.0)] {
            for (gauges, leads) in [(4, 4), (6, 8), (8, 10), (10, 13)] {
                for is_enlarged in [false, true] {
                    let contents = Contents {
                        gauges,
                        leads,
                        sentence_lines: 1,
                        is_enlarged,
                    };
                    check(Size::new(w, h), contents);
                }
            }
        }
    }
}
