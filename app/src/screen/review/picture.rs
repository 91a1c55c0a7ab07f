//! The picture of the Review page as one canvas, and what a hand does on it: drag to pan, turn the
//! wheel or spread two fingers to zoom, click to put a cursor, drag a cursor or the window.

use super::curve::Lane;
use super::plan::{LINE, Plan};
use super::{Message, Opened, Shown, ZOOM_STEP, detail, strip};
use crate::theme::Look;
use crate::widget::label::{Anchor, Label};
use iced::widget::canvas::{self, Event, Frame, Geometry, Path, Stroke};
use iced::{Point, Rectangle, Renderer, Size, Theme, mouse, touch};

/// A press that moves less than this is a click, logical pixels.
const STILL: f32 = 5.0;

/// How near a hand must come to a cursor to take it: half a finger.
const NEAR: f32 = 14.0;

/// The names of the cursors.
pub const NAMES: [&str; 2] = ["A", "B"];

/// Everything needed to draw one moment.
pub struct Picture<'a> {
    opened: &'a Opened,
    shown: Shown,
    look: Look,
    plan: Plan,
}

/// What a hand is doing.
#[derive(Debug, Default)]
pub struct Hand {
    doing: Doing,
    /// Fingers on the picture.
    fingers: Vec<(touch::Finger, Point)>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
enum Doing {
    #[default]
    Nothing,
    /// Pressed, and not moved yet: where.
    Pressed(Point),
    /// Pans: where it was last.
    Panning(f32),
    /// Moves a cursor.
    Cursor(usize),
    /// Moves the window over the strip.
    Window,
    /// Two fingers, so far apart.
    Pinching(f32),
}

impl<'a> Picture<'a> {
    /// A moment of the page, on a picture of this size.
    pub fn new(opened: &'a Opened, shown: Shown, look: Look, size: Size) -> Self {
        let cams = opened.setup.sheet.cams.len();
        let plan = Plan::new(size, cams, detail::rows(opened, shown));
        opened.columns.set(strip::floor(plan.wide()));
        let now = Some((look, opened.revision, detail::rows(opened, shown)));
        let before = opened.drawn.replace(now);
        if before != now {
            opened.still.clear();
            opened.moving.clear();
            if before.map(|b| b.0) != Some(look) {
                opened.strip.clear();
            }
        }
        Self {
            opened,
            shown,
            look,
            plan,
        }
    }

    /// All words of the picture.
    pub fn words(&self) -> Vec<Label> {
        let p = self.look.palette();
        let mut labels = Vec::new();
        strip::words(&mut labels, self.opened, &self.plan, p);
        detail::words(&mut labels, self.opened, &self.plan, self.shown, p);
        for (which, at) in self.opened.cursors.iter().enumerate() {
            if let Some(at) = at.filter(|at| self.opened.window.holds(*at)) {
                let flag = self.flag(at);
                let ink = if which == self.opened.active {
                    p.background
                } else {
                    p.text
                };
                labels.push(Label::new(NAMES[which], flag.center(), Anchor::Middle, ink).bold());
            }
        }
        labels
    }

    fn along(&self) -> Lane {
        Lane {
            area: self.plan.detail,
            x: self.opened.window.range(),
            y: [0.0, 1.0],
        }
    }

    /// The flag of a cursor, at the foot of the window.
    fn flag(&self, at: f64) -> Rectangle {
        let x = self.along().at(at);
        let y = self.plan.detail.y + self.plan.detail.height - LINE;
        Rectangle::new(Point::new(x - 11.0, y), Size::new(22.0, LINE))
    }

    fn seconds(&self, x: f32) -> f64 {
        let share = f64::from((x - self.plan.x[0]) / self.plan.wide());
        self.opened.window.from + share * self.opened.window.span()
    }

    fn is_in_strip(&self, at: Point) -> bool {
        at.y < self.plan.strip.y + self.plan.strip.height
    }

    /// The cursor under a hand.
    fn cursor_at(&self, at: Point) -> Option<usize> {
        let along = self.along();
        let near = |which: &usize| {
            self.opened.cursors[*which]
                .is_some_and(|c| self.opened.window.holds(c) && (along.at(c) - at.x).abs() <= NEAR)
        };
        let distance = |which: usize| {
            self.opened.cursors[which].map_or(f32::MAX, |c| (along.at(c) - at.x).abs())
        };
        let found = (0..2).filter(near);
        found.min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
    }

    fn moving(&self, frame: &mut Frame) {
        let p = self.look.palette();
        strip::frame_of_window(frame, self.opened, &self.plan, p);
        let whole = Lane {
            area: self.plan.strip,
            x: 0.0..self.opened.window.length(),
            y: [0.0, 1.0],
        };
        let along = self.along();
        let strip_top = self.plan.curves[0].y;
        let strip_high = self.plan.marks.y + self.plan.marks.height - strip_top;
        let top = self.plan.detail.y + LINE;
        let high = self.plan.detail.height - 2.0 * LINE;
        // The place of the player: a line with a head, thinner than a cursor.
        let at = self.opened.position;
        let mut line = |x: f32, top: f32, high: f32, wide: f32, ink| {
            frame.fill_rectangle(Point::new(x - wide / 2.0, top), Size::new(wide, high), ink);
        };
        line(whole.at(at), strip_top, strip_high, 1.0, p.text);
        let is_seen = self.opened.window.holds(at);
        if is_seen {
            line(along.at(at), top, high, 1.0, p.text);
        }
        for at in self.opened.cursors.into_iter().flatten() {
            line(whole.at(at), strip_top, strip_high, 2.0, p.text);
            if self.opened.window.holds(at) {
                line(along.at(at), top, high, 2.0, p.text);
            }
        }
        if let Some(item) = self.opened.picked.and_then(|i| self.opened.items.get(i))
            && self.opened.window.holds(item.at)
        {
            let ink = if item.is_wrong { p.alarm } else { p.text };
            line(along.at(item.at), top, high, 1.0, ink);
            strip::mark(
                frame,
                item.kind,
                Point::new(along.at(item.at), top - 1.0),
                ink,
            );
        }
        if is_seen {
            let x = along.at(at);
            let head = Path::new(|b| {
                b.move_to(Point::new(x - 6.0, top - 9.0));
                b.line_to(Point::new(x + 6.0, top - 9.0));
                b.line_to(Point::new(x, top));
                b.close();
            });
            frame.fill(&head, p.text);
        }
        for (which, at) in self.opened.cursors.iter().enumerate() {
            if let Some(at) = at.filter(|at| self.opened.window.holds(*at)) {
                let flag = self.flag(at);
                let path = Path::rounded_rectangle(flag.position(), flag.size(), 4.0.into());
                if which == self.opened.active {
                    frame.fill(&path, p.text);
                } else {
                    frame.fill(&path, p.raised);
                    frame.stroke(&path, Stroke::default().with_color(p.text).with_width(1.0));
                }
            }
        }
    }

    /// A finger or the left button was pressed.
    fn pressed(&self, hand: &mut Hand, at: Point) -> Option<Message> {
        if self.is_in_strip(at) {
            hand.doing = Doing::Window;
            let to = strip::seconds_at(self.opened, &self.plan, at.x);
            return Some(Message::Centre(to));
        }
        hand.doing = match self.cursor_at(at) {
            Some(which) => Doing::Cursor(which),
            None => Doing::Pressed(at),
        };
        None
    }

    fn moved(&self, hand: &mut Hand, at: Point) -> Option<Message> {
        match hand.doing {
            Doing::Nothing | Doing::Pinching(_) => None,
            Doing::Pressed(from) => {
                if from.distance(at) > STILL {
                    hand.doing = Doing::Panning(at.x);
                }
                None
            }
            Doing::Panning(from) => {
                hand.doing = Doing::Panning(at.x);
                let share = f64::from((from - at.x) / self.plan.wide());
                Some(Message::Pan(share))
            }
            Doing::Cursor(which) => Some(Message::MoveCursor(which, self.seconds(at.x))),
            Doing::Window => {
                let to = strip::seconds_at(self.opened, &self.plan, at.x);
                Some(Message::Centre(to))
            }
        }
    }

    fn released(&self, hand: &mut Hand, at: Option<Point>) -> Option<Message> {
        let done = std::mem::take(&mut hand.doing);
        match (done, at) {
            (Doing::Pressed(from), Some(_)) if from.x >= self.plan.x[0] => {
                Some(Message::PutCursor(self.seconds(from.x)))
            }
            (Doing::Cursor(which), _) => Some(Message::TakeCursor(which)),
            _ => None,
        }
    }

    /// Two fingers: the stretch between them stays between them.
    fn touched(&self, hand: &mut Hand, event: touch::Event, bounds: Rectangle) -> Option<Message> {
        let own = |at: Point| Point::new(at.x - bounds.x, at.y - bounds.y);
        match event {
            touch::Event::FingerPressed { id, position } if bounds.contains(position) => {
                hand.fingers.retain(|(finger, _)| *finger != id);
                hand.fingers.push((id, own(position)));
                match hand.fingers.as_slice() {
                    [(_, at)] => {
                        let at = *at;
                        self.pressed(hand, at)
                    }
                    [(_, a), (_, b), ..] => {
                        hand.doing = Doing::Pinching((a.x - b.x).abs().max(20.0));
                        None
                    }
                    [] => None,
                }
            }
            touch::Event::FingerMoved { id, position } => {
                let finger = hand.fingers.iter_mut().find(|(finger, _)| *finger == id)?;
                finger.1 = own(position);
                let at = finger.1;
                match (hand.doing, hand.fingers.as_slice()) {
                    (Doing::Pinching(apart), [(_, a), (_, b), ..]) => {
                        let now = (a.x - b.x).abs().max(20.0);
                        let middle = self.seconds((a.x + b.x) / 2.0);
                        hand.doing = Doing::Pinching(now);
                        Some(Message::Zoom(f64::from(apart / now), Some(middle)))
                    }
                    _ => self.moved(hand, at),
                }
            }
            touch::Event::FingerLifted { id, position } => {
                let known = hand.fingers.iter().any(|(finger, _)| *finger == id);
                hand.fingers.retain(|(finger, _)| *finger != id);
                known.then(|| self.released(hand, Some(own(position))))?
            }
            touch::Event::FingerLost { .. } | touch::Event::FingerPressed { .. } => {
                hand.fingers.clear();
                hand.doing = Doing::Nothing;
                None
            }
        }
    }
}

impl canvas::Program<Message> for Picture<'_> {
    type State = Hand;

    fn update(
        &self,
        hand: &mut Hand,
        event: &Event,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> Option<canvas::Action<Message>> {
        let within = cursor.position_in(bounds);
        // While a hand drags it may leave the picture.
        let at = cursor
            .position()
            .map(|at| Point::new(at.x - bounds.x, at.y - bounds.y));
        let message = match event {
            Event::Mouse(mouse::Event::ButtonPressed(mouse::Button::Left)) => {
                self.pressed(hand, within?)
            }
            Event::Mouse(mouse::Event::CursorMoved { .. }) => self.moved(hand, at?),
            Event::Mouse(mouse::Event::ButtonReleased(mouse::Button::Left)) => {
                self.released(hand, within)
            }
            Event::Mouse(mouse::Event::WheelScrolled { delta }) => {
                let at = within?;
                let (x, y) = match delta {
                    mouse::ScrollDelta::Lines { x, y } => (*x, *y),
                    mouse::ScrollDelta::Pixels { x, y } => (x / 40.0, y / 40.0),
                };
                if x.abs() > y.abs() {
                    Some(Message::Pan(f64::from(x) * 0.1))
                } else {
                    let times = ZOOM_STEP.powf(-f64::from(y.clamp(-4.0, 4.0)));
                    let about = if self.is_in_strip(at) {
                        strip::seconds_at(self.opened, &self.plan, at.x)
                    } else {
                        self.seconds(at.x)
                    };
                    Some(Message::Zoom(times, Some(about)))
                }
            }
            Event::Touch(event) => self.touched(hand, *event, bounds),
            Event::Mouse(_) | Event::Keyboard(_) | Event::Window(_) | Event::InputMethod(_) => None,
        };
        message.map(|m| canvas::Action::publish(m).and_capture())
    }

    fn draw(
        &self,
        _hand: &Hand,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        let p = self.look.palette();
        let size = bounds.size();
        vec![
            self.opened.strip.draw(renderer, size, |frame| {
                strip::draw(frame, self.opened, &self.plan, p);
            }),
            self.opened.still.draw(renderer, size, |frame| {
                detail::draw(frame, self.opened, &self.plan, self.shown, p);
            }),
            self.opened
                .moving
                .draw(renderer, size, |frame| self.moving(frame)),
        ]
    }

    fn mouse_interaction(
        &self,
        hand: &Hand,
        bounds: Rectangle,
        cursor: mouse::Cursor,
    ) -> mouse::Interaction {
        match (hand.doing, cursor.position_in(bounds)) {
            (Doing::Panning(_) | Doing::Window, _) => mouse::Interaction::Grabbing,
            (Doing::Cursor(_), _) => mouse::Interaction::ResizingHorizontally,
            (_, Some(at)) if self.is_in_strip(at) => mouse::Interaction::Grab,
            (_, Some(at)) if self.cursor_at(at).is_some() => {
                mouse::Interaction::ResizingHorizontally
            }
            _ => mouse::Interaction::default(),
        }
    }
}
