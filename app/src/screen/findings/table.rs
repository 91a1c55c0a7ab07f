//! The table of causes against evidence, grouped by how it bears on them, as one picture: a cell is
//! touched to read what is in it.

use super::{Message, verdict};
use crate::font;
use crate::screen::live::words::capital;
use crate::theme::{Look, RADIUS, TARGET};
use crate::widget::label::{self, Anchor, Label, Labels};
use crate::widget::mark::{self, Mark};
use iced::widget::canvas::{self, Frame, Geometry, Path, Stroke};
use iced::widget::{Space, stack};
use iced::{Color, Element, Length, Point, Rectangle, Renderer, Size, Theme, mouse, touch};
use keyway_analysis::findings::{Bearing, CauseRow, Standing};

/// Widths of the cells of the three groups of evidence, as their words need them, logical pixels.
const CELLS: [f32; 3] = [78.0, 100.0, 118.0];

/// Height of a row: two lines of small text, and a gloved finger.
const ROW: f32 = TARGET + 4.0;

/// How evidence may bear on a cause, in the order of the cells.
pub const GROUPS: [Bearing; 3] = [Bearing::Supports, Bearing::Contradicts, Bearing::NotShown];

/// Width of a table whose causes can be read, logical pixels.
pub const WIDTH: f32 = 256.0 + CELLS[0] + CELLS[1] + CELLS[2];

/// The table for `width` logical pixels.
pub fn table<'a>(
    rows: &[&CauseRow],
    selection: Option<(usize, Bearing)>,
    look: Look,
    width: f32,
) -> Element<'a, Message> {
    let lines: Vec<Line> = rows.iter().map(|r| Line::of(r)).collect();
    let grid = Grid {
        rows: rows.len(),
        width,
    };
    let labels = labels(rows, &lines, grid, look);
    let height = grid.height();
    let picture = Picture {
        grid,
        lines,
        selection,
        look,
    };
    stack![
        Space::new().width(Length::Fill).height(height),
        canvas::Canvas::new(picture)
            .width(Length::Fill)
            .height(height),
        Element::from(Labels(labels)),
    ]
    .into()
}

/// What is drawn of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Line {
    standing: Standing,
    /// Whether it is a fault that is supported.
    is_alarm: bool,
    /// Pieces of evidence in each group.
    counts: [usize; 3],
}

impl Line {
    fn of(row: &CauseRow) -> Self {
        let count = |bearing| row.evidence.iter().filter(|e| e.bearing == bearing).count();
        Self {
            standing: row.standing,
            is_alarm: verdict::is_fault(row) && row.standing == Standing::Supported,
            counts: GROUPS.map(count),
        }
    }
}

/// Where everything lies.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Grid {
    rows: usize,
    width: f32,
}

#[allow(clippy::cast_precision_loss, reason = "a handful of rows and columns")]
impl Grid {
    fn height(self) -> f32 {
        self.rows as f32 * ROW
    }

    fn names(self) -> f32 {
        self.width - CELLS.iter().sum::<f32>()
    }

    fn cell(self, row: usize, group: usize) -> Rectangle {
        let x = self.names() + CELLS[..group].iter().sum::<f32>();
        Rectangle::new(
            Point::new(x, ROW * row as f32),
            Size::new(CELLS[group], ROW),
        )
    }

    /// Row and group under a finger; the name of a cause has no group of its own.
    fn at(self, point: Point) -> Option<(usize, Option<usize>)> {
        (0..self.rows).find_map(|row| {
            let line = Rectangle::new(
                Point::new(0.0, self.cell(row, 0).y),
                Size::new(self.width, ROW),
            );
            let group = (0..3).find(|g| self.cell(row, *g).contains(point));
            line.contains(point).then_some((row, group))
        })
    }
}

fn labels(rows: &[&CauseRow], lines: &[Line], grid: Grid, look: Look) -> Vec<Label> {
    let p = look.palette();
    let mut labels = Vec::new();
    for (row, (cause, line)) in rows.iter().zip(lines).enumerate() {
        let y = grid.cell(row, 0).y;
        let is_out = cause.standing == Standing::Contradicted;
        let ink = if is_out { p.quiet } else { p.text };
        let is_bold = cause.standing == Standing::Supported;
        let name = capital(cause.cause.words());
        let face = if is_bold { font::BOLD } else { font::REGULAR };
        let room = grid.names() - 40.0;
        let is_long = label::width(&name, font::BODY, face) > room;
        let size = if is_long { font::SMALL } else { font::BODY };
        let mut name = Label::new(name, Point::new(36.0, y + 15.0), Anchor::Left, ink).size(size);
        name.font = face;
        labels.push(name.within(room));
        let ink = if line.is_alarm { p.alarm } else { p.quiet };
        let words = verdict::standing(cause.standing);
        labels.push(Label::new(
            words,
            Point::new(36.0, y + 34.0),
            Anchor::Left,
            ink,
        ));
        for (group, count) in line.counts.into_iter().enumerate() {
            if count == 0 {
                continue;
            }
            let cell = grid.cell(row, group);
            let ink = ink_of(GROUPS[group], look);
            let word = verdict::bearing_short(GROUPS[group]);
            let at = Point::new(cell.x + 30.0, cell.center_y());
            labels.push(Label::new(format!("{count} {word}"), at, Anchor::Left, ink));
        }
    }
    labels
}

fn ink_of(bearing: Bearing, look: Look) -> Color {
    let p = look.palette();
    match bearing {
        Bearing::Supports | Bearing::Contradicts => p.text,
        Bearing::NotShown => p.quiet,
    }
}

struct Picture {
    grid: Grid,
    lines: Vec<Line>,
    selection: Option<(usize, Bearing)>,
    look: Look,
}

impl Picture {
    fn key(&self) -> u64 {
        use std::hash::{DefaultHasher, Hash, Hasher};
        let mut hasher = DefaultHasher::new();
        self.lines.hash(&mut hasher);
        self.selection.hash(&mut hasher);
        (self.look == Look::Daylight, self.grid.width.to_bits()).hash(&mut hasher);
        hasher.finish()
    }

    fn paint(&self, frame: &mut Frame) {
        let p = self.look.palette();
        for (row, line) in self.lines.iter().enumerate() {
            let y = self.grid.cell(row, 0).y;
            if row > 0 {
                frame.fill_rectangle(
                    Point::new(0.0, y),
                    Size::new(self.grid.width, 1.0),
                    p.hairline,
                );
            }
            let (shape, ink) = match line.standing {
                Standing::Supported if line.is_alarm => (Mark::Warning, p.alarm),
                Standing::Supported => (Mark::Check, p.text),
                Standing::Open => (Mark::Ring, p.quiet),
                Standing::Contradicted => (Mark::Cross, p.edge),
            };
            let at = Point::new(18.0, y + ROW / 2.0);
            mark::draw(frame, shape, at, 16.0, ink, p.panel);
            for (group, count) in line.counts.into_iter().enumerate() {
                let bearing = GROUPS[group];
                let cell = self.grid.cell(row, group);
                if self.selection == Some((row, bearing)) {
                    let path = Path::rounded_rectangle(
                        Point::new(cell.x + 2.0, cell.y + 2.0),
                        Size::new(cell.width - 4.0, cell.height - 4.0),
                        RADIUS.into(),
                    );
                    frame.fill(&path, p.raised);
                    frame.stroke(&path, Stroke::default().with_color(p.text).with_width(2.0));
                }
                if count > 0 {
                    let (shape, _) = verdict::bearing(bearing);
                    let at = Point::new(cell.x + 17.0, cell.center_y());
                    mark::draw(frame, shape, at, 12.0, ink_of(bearing, self.look), p.panel);
                }
            }
        }
    }

    /// What a touch at this place shows; of a cause by its name, what speaks loudest.
    fn touched(&self, point: Point) -> Option<Message> {
        let (row, group) = self.grid.at(point)?;
        let counts = self.lines.get(row)?.counts;
        let group = group.or_else(|| counts.iter().position(|n| *n > 0))?;
        Some(Message::Select(row, GROUPS[group]))
    }
}

impl canvas::Program<Message> for Picture {
    type State = (canvas::Cache, std::cell::Cell<u64>);

    fn update(
        &self,
        _state: &mut Self::State,
        event: &canvas::Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let point = match event {
            canvas::Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)) => {
                cursor.position_in(bounds)?
            }
            canvas::Event::Touch(touch::Event::FingerPressed { position, .. })
                if bounds.contains(*position) =>
            {
                *position - iced::Vector::new(bounds.x, bounds.y)
            }
            _ => return None,
        };
        Some(canvas::Action::publish(self.touched(point)?).and_capture())
    }

    fn draw(
        &self,
        (cache, drawn): &Self::State,
        renderer: &Renderer,
        _: &Theme,
        bounds: Rectangle,
        _: mouse::Cursor,
    ) -> Vec<Geometry> {
        if drawn.replace(self.key()) != self.key() {
            cache.clear();
        }
        vec![cache.draw(renderer, bounds.size(), |frame| self.paint(frame))]
    }
}
