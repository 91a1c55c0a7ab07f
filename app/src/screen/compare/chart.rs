//! Curves of several recordings in rows over one axis. Colours tell the signal; the kind of line tells
//! the recording.

use crate::figure;
use crate::font;
use crate::theme::{Look, Palette};
use crate::widget::label::{Anchor, Label, Labels};
use iced::widget::canvas::{self, Frame, LineDash, Path, Stroke};
use iced::widget::{responsive, stack};
use iced::{Color, Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse};
use keyway_analysis::lead::Role;

/// Room for the names at the left, logical pixels.
const GUTTER: f32 = 166.0;
/// Room for the words of the axis below.
const FOOT: f32 = 22.0;
/// Height of a window's bar.
const BAR: f32 = 7.0;
/// Room for the names of the recordings above two columns.
const HEAD: f32 = 20.0;
/// Room between two columns.
const BETWEEN: f32 = 20.0;

/// What is drawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chart {
    /// What is along the horizontal axis, and its unit.
    pub axis: (String, &'static str),
    /// Its ends.
    pub x: (f64, f64),
    /// Marks on it with their words.
    pub marks: Vec<(f64, String)>,
    /// One above the other.
    pub lanes: Vec<Lane>,
    /// Why recordings are missing: place and reason.
    pub missing: Vec<(usize, String)>,
}

/// A row.
#[derive(Debug, Clone, PartialEq)]
pub struct Lane {
    /// What it shows.
    pub title: String,
    /// Unit of the vertical axis.
    pub unit: &'static str,
    /// The signal, which gives the colour.
    pub role: Option<Role>,
    /// Ends of the vertical axis.
    pub y: (f64, f64),
    /// Place of the recording, and its points; broken where one is not a number.
    pub curves: Vec<(usize, Vec<[f64; 2]>)>,
    /// Windows: place of the recording, or none for the engine sheet, begin and end.
    pub bars: Vec<(Option<usize>, f64, f64)>,
    /// A line of words under the title.
    pub note: String,
}

impl Lane {
    /// With a vertical axis that holds all of its curves.
    pub fn fitted(mut self, least: f64) -> Self {
        let values = self.curves.iter().flat_map(|c| &c.1).map(|p| p[1]);
        let (low, high) = (values.filter(|v| v.is_finite()))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
                (a.min(v), b.max(v))
            });
        let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
        let room = (0.5 * (least - (high - low))).max(0.06 * (high - low));
        self.y = (low - room, high + room);
        self
    }
}

/// A number of things as a length.
#[allow(clippy::cast_precision_loss, reason = "a few dozen rows and columns")]
fn count(n: usize) -> f32 {
    n as f32
}

/// The line of a recording: width, dashes, and how much of the colour it has. The first lies broad and
/// pale under the others.
fn stroke(which: usize, colour: Color) -> Stroke<'static> {
    let dashes: &'static [f32] = match which {
        2 => &[8.0, 4.0],
        3 => &[2.0, 3.0],
        _ => &[],
    };
    let is_base = which == 0;
    let ink = if is_base {
        Color { a: 0.55, ..colour }
    } else {
        colour
    };
    Stroke {
        line_dash: LineDash {
            segments: dashes,
            offset: 0,
        },
        ..Stroke::default()
            .with_color(ink)
            .with_width(if is_base { 4.5 } else { 1.4 })
    }
}

/// How the line of a recording is called.
pub fn line_word(which: usize) -> &'static str {
    match which {
        0 => "broad line",
        1 => "thin line",
        2 => "dashes",
        _ => "dots",
    }
}

fn colour(role: Option<Role>, p: &Palette) -> Color {
    match role {
        Some(Role::Cam(id) | Role::Command(id) | Role::Current(id)) => p.cam(id),
        _ => p.text,
    }
}

/// A piece of the line of a recording, for the legend.
pub fn sample<'a, Message: 'a>(which: usize, look: Look) -> Element<'a, Message> {
    canvas::Canvas::new(Sample { which, look })
        .width(Length::Fixed(44.0))
        .height(Length::Fixed(16.0))
        .into()
}

struct Sample {
    which: usize,
    look: Look,
}

impl<Message> canvas::Program<Message> for Sample {
    type State = ();

    fn draw(
        &self,
        (): &(),
        renderer: &Renderer,
        _: &Theme,
        bounds: Rectangle,
        _: mouse::Cursor,
    ) -> Vec<canvas::Geometry> {
        let mut frame = Frame::new(renderer, bounds.size());
        let middle = bounds.height / 2.0;
        // A horizontal line alone would never be painted again.
        let line = Path::new(|b| {
            b.move_to(Point::new(2.0, middle + 2.0));
            b.line_to(Point::new(bounds.width - 2.0, middle - 2.0));
        });
        frame.stroke(&line, stroke(self.which, self.look.palette().text));
        vec![frame.into_geometry()]
    }
}

/// Where the rows lie.
struct Places {
    columns: usize,
    top: f32,
    wide: f32,
    high: f32,
}

impl Places {
    fn new(size: Size, columns: usize, lanes: usize) -> Self {
        let columns = columns.max(1);
        let wide = (size.width - GUTTER - BETWEEN * count(columns - 1) - 8.0) / count(columns);
        let top = if columns > 1 { HEAD } else { 0.0 };
        Self {
            columns,
            top,
            wide: wide.max(1.0),
            high: ((size.height - FOOT - top) / count(lanes.max(1))).max(1.0),
        }
    }

    fn lane(&self, column: usize, lane: usize) -> Rectangle {
        Rectangle::new(
            Point::new(
                GUTTER + (self.wide + BETWEEN) * count(column),
                self.top + self.high * count(lane),
            ),
            Size::new(self.wide, (self.high - 8.0).max(1.0)),
        )
    }
}

/// The chart as a widget; `columns` recordings side by side, or all on each other in one.
pub fn view<'a, Message: 'a>(
    chart: &'a Chart,
    columns: Vec<String>,
    drawn: &'a canvas::Cache,
    look: Look,
) -> Element<'a, Message> {
    responsive(move |size| {
        let places = Places::new(size, columns.len(), chart.lanes.len());
        let words = labels(chart, &columns, &places, look.palette());
        let drawing = canvas::Canvas::new(Drawing {
            chart,
            columns: columns.len().max(1),
            drawn,
            look,
        });
        stack![
            drawing.width(Length::Fill).height(Length::Fill),
            Labels(words)
        ]
        .into()
    })
    .into()
}

struct Drawing<'a> {
    chart: &'a Chart,
    columns: usize,
    drawn: &'a canvas::Cache,
    look: Look,
}

impl<Message> canvas::Program<Message> for Drawing<'_> {
    /// The look it was drawn in.
    type State = std::cell::Cell<Option<Look>>;

    fn draw(
        &self,
        state: &Self::State,
        renderer: &Renderer,
        _: &Theme,
        bounds: Rectangle,
        _: mouse::Cursor,
    ) -> Vec<canvas::Geometry> {
        if state.replace(Some(self.look)) != Some(self.look) {
            self.drawn.clear();
        }
        let geometry = self.drawn.draw(renderer, bounds.size(), |frame| {
            let places = Places::new(bounds.size(), self.columns, self.chart.lanes.len());
            for (row, lane) in self.chart.lanes.iter().enumerate() {
                for column in 0..places.columns {
                    let only = (places.columns > 1).then_some(column);
                    self.lane(frame, lane, places.lane(column, row), only);
                }
            }
        });
        vec![geometry]
    }
}

#[allow(clippy::cast_possible_truncation, reason = "shares of a screen length")]
fn along(value: f64, (from, to): (f64, f64), length: f32) -> f32 {
    ((value - from) / (to - from)) as f32 * length
}

impl Drawing<'_> {
    /// One row; `only` one recording where they stand side by side.
    fn lane(&self, frame: &mut Frame, lane: &Lane, place: Rectangle, only: Option<usize>) {
        let p = self.look.palette();
        frame.fill_rectangle(place.position(), place.size(), p.panel);
        for (at, _) in &self.chart.marks {
            let x = place.x + along(*at, self.chart.x, place.width);
            frame.fill_rectangle(
                Point::new(x, place.y),
                Size::new(1.0, place.height),
                p.hairline,
            );
        }
        let ink = colour(lane.role, p);
        let bars = lane.bars.iter().map(|b| b.0).collect::<Vec<_>>();
        let stripes = stripes(&bars, only);
        let floor = place.height - (BAR + 3.0) * count(stripes.len());
        for (whose, from, to) in &lane.bars {
            let Some(stripe) = stripes.iter().position(|s| s == whose) else {
                continue;
            };
            let y = place.y + floor + (BAR + 3.0) * count(stripe) + 1.0;
            // A window may run over the end of the cycle.
            for turn in [-720.0, 0.0, 720.0] {
                let begin = along(from + turn, self.chart.x, place.width).clamp(0.0, place.width);
                let end = along(to + turn, self.chart.x, place.width).clamp(0.0, place.width);
                if end - begin < 0.5 {
                    continue;
                }
                let at = Point::new(place.x + begin, y);
                let size = Size::new(end - begin, BAR);
                match whose {
                    None => frame.fill_rectangle(at, size, p.zone),
                    Some(0) => frame.fill_rectangle(at, size, Color { a: 0.55, ..ink }),
                    Some(_) => frame.fill_rectangle(at, size, ink),
                }
            }
        }
        let high = (floor - 6.0).max(1.0);
        for (which, points) in &lane.curves {
            if only.is_some_and(|column| column != *which) {
                continue;
            }
            let path = Path::new(|b| {
                let mut is_down = false;
                for [x, y] in points {
                    let is_in = *x >= self.chart.x.0 && *x <= self.chart.x.1;
                    if !y.is_finite() || !is_in {
                        is_down = false;
                        continue;
                    }
                    let at = Point::new(
                        place.x + along(*x, self.chart.x, place.width),
                        place.y + 3.0 + high - along(*y, lane.y, high),
                    );
                    if is_down {
                        b.line_to(at);
                    } else {
                        b.move_to(at);
                        is_down = true;
                    }
                }
            });
            frame.stroke(&path, stroke(*which, ink));
        }
    }
}

/// The stripes of bars of a row: the sheet's, then those of the recordings that are shown.
fn stripes(bars: &[Option<usize>], only: Option<usize>) -> Vec<Option<usize>> {
    let mut stripes: Vec<Option<usize>> = (bars.iter().copied())
        .filter(|whose| match (whose, only) {
            (Some(which), Some(column)) => *which == column,
            _ => true,
        })
        .collect();
    stripes.sort_unstable();
    stripes.dedup();
    stripes
}

fn labels(chart: &Chart, columns: &[String], places: &Places, p: &Palette) -> Vec<Label> {
    let mut labels = Vec::new();
    let wide = GUTTER - 14.0;
    for (row, lane) in chart.lanes.iter().enumerate() {
        let place = places.lane(0, row);
        let title = Point::new(4.0, place.y + 10.0);
        labels.push(
            Label::new(&lane.title, title, Anchor::Left, colour(lane.role, p))
                .bold()
                .within(wide - 40.0),
        );
        let at = Point::new(4.0, place.y + 20.0);
        if place.height > 44.0 {
            labels.push(Label::new(&lane.note, at, Anchor::Block, p.text).within(wide));
        }
        let number = |value: f64, y: f32| {
            let digits = usize::from((lane.y.1 - lane.y.0) < 20.0);
            let at = Point::new(GUTTER - 6.0, y);
            let unit = if lane.unit == "V" { " V" } else { "" };
            let words = format!("{}{unit}", figure::plain(value, digits));
            Label::new(words, at, Anchor::Right, p.quiet)
        };
        labels.push(number(lane.y.1, place.y + 8.0));
        if place.height > 30.0 && lane.bars.is_empty() {
            labels.push(number(lane.y.0, place.y + place.height - 8.0));
        }
    }
    for column in 0..places.columns {
        let foot = places.lane(column, chart.lanes.len());
        let y = foot.y + 8.0;
        for (at, words) in &chart.marks {
            let x = foot.x + along(*at, chart.x, foot.width);
            let anchor = if x > foot.x + foot.width - 20.0 {
                Anchor::Right
            } else if x < foot.x + 20.0 {
                Anchor::Left
            } else {
                Anchor::Middle
            };
            labels.push(Label::new(words, Point::new(x, y), anchor, p.quiet));
        }
        if let (Some(name), true) = (columns.get(column), places.columns > 1) {
            let top = places.lane(column, 0);
            let at = Point::new(top.x, HEAD / 2.0);
            labels.push(Label::new(name, at, Anchor::Left, p.text).bold());
        }
    }
    let axis = format!("{}, {}", chart.axis.0, chart.axis.1);
    let foot = places.lane(0, chart.lanes.len());
    let at = Point::new(4.0, foot.y + 8.0);
    labels.push(
        Label::new(axis, at, Anchor::Left, p.quiet)
            .size(font::SMALL)
            .within(wide),
    );
    labels
}
