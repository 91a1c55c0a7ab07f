//! The Live screen as one picture: a still part and a moving part, each drawn once and kept, and
//! the words above them. A few large canvases are far cheaper on the software renderer than many.

use super::gauge::{self, Gauge};
use super::plan::{Contents, LINE, Plan, margin, shrunk};
use super::sentence::{self, Sentence};
use super::{Live, Lower, Message, TraceView, cylinders, dial, leads, strip, traces};
use crate::font;
use crate::theme::{Look, RADIUS};
use crate::widget::label::{self, Anchor, Label};
use crate::widget::mark::{self, Mark};
use iced::widget::canvas::{self, Frame, Geometry, Path, Stroke};
use iced::{Color, Font, Point, Rectangle, Renderer, Size, Theme, mouse};
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::{CrankAngle, Seconds};
use std::sync::Arc;

/// Room at the left of the sentence for its symbol, logical pixels.
const SYMBOL: f32 = 68.0;

/// Height of the lower panel's heading, logical pixels: alone, and with its keys beside it.
const HEADING: [f32; 2] = [22.0, 52.0];

/// Type size of what is wrong, logical pixels.
const ALARM: f32 = 19.0;

/// What the still part depends on.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    look: Look,
    plan: Plan,
    references: Vec<Vec<[CrankAngle; 2]>>,
    lower: Lower,
    view: TraceView,
    lanes: usize,
    /// Span of the traces, which places the marks of time.
    span: Seconds,
}

/// Everything needed to draw one moment of the screen.
pub struct Board<'a> {
    live: &'a Live,
    sheet: &'a EngineSheet,
    look: Look,
    /// Where everything lies.
    pub plan: Plan,
    newest: Arc<Snapshot>,
    shown: Arc<Snapshot>,
    sentence: Sentence,
    gauges: Vec<Gauge>,
}

impl<'a> Board<'a> {
    /// A moment of the screen: `newest` is drawn, the figures are those of `shown`.
    pub fn new(
        live: &'a Live,
        sheet: &'a EngineSheet,
        look: Look,
        size: Size,
        newest: Arc<Snapshot>,
        shown: Arc<Snapshot>,
    ) -> Self {
        let sentence = sentence::sentence(&shown);
        let gauges = gauge::gauges(&shown, sheet, look.palette());
        let room = size.width - 2.0 * margin(size) - SYMBOL - 24.0;
        let high = label::height(&sentence.detail, font::BODY, font::REGULAR, room);
        let contents = Contents {
            gauges: gauges.len(),
            leads: shown.leads.len(),
            sentence_lines: if high > LINE * 1.5 { 2 } else { 1 },
            is_enlarged: live.is_enlarged,
        };
        let plan = Plan::new(size, contents);
        let board = Self {
            live,
            sheet,
            look,
            plan,
            newest,
            shown,
            sentence,
            gauges,
        };
        board.keep_or_redraw();
        board
    }

    /// The still part is drawn again only when something in it has changed.
    fn keep_or_redraw(&self) {
        let face = Face {
            look: self.look,
            plan: self.plan.clone(),
            references: self
                .newest
                .cams
                .iter()
                .map(|c| c.reference.clone())
                .collect(),
            lower: self.live.lower,
            view: self.live.trace_view(),
            lanes: traces::lanes(&self.live.traces),
            span: self.live.traces.span,
        };
        let mut drawn = self.live.face.borrow_mut();
        if drawn.as_ref() != Some(&face) {
            self.live.still.clear();
            self.live.moving.clear();
            *drawn = Some(face);
        }
    }

    /// Place of the strip or the traces in the lower panel.
    fn plot(&self) -> Rectangle {
        let inner = shrunk(self.plan.lower, 12.0, 4.0);
        let keys = self.live.keys_width();
        let heading = HEADING[usize::from(self.live.is_enlarged)];
        Rectangle::new(
            Point::new(inner.x, inner.y + heading),
            Size::new(
                (inner.width - keys).max(1.0),
                (inner.height - heading).max(1.0),
            ),
        )
    }

    fn face(&self, frame: &mut Frame) {
        let p = self.look.palette();
        let panel = |frame: &mut Frame, r: Rectangle| {
            frame.fill(
                &Path::rounded_rectangle(r.position(), r.size(), RADIUS.into()),
                p.panel,
            );
        };
        panel(frame, self.plan.lower);
        leads::face(frame, &self.plan.leads, p);
        if let Some(middle) = &self.plan.middle {
            dial::face(frame, middle.dial, &self.newest.cams, p);
            for tile in gauge::tiles(middle) {
                gauge::face(frame, tile, p);
            }
        }
        match self.live.lower {
            Lower::Cylinders | Lower::Trials => {}
            Lower::Strip => strip::face(frame, self.plot(), self.sheet, p),
            Lower::Traces => {
                traces::face(
                    frame,
                    self.plot(),
                    &self.live.traces,
                    self.live.trace_view(),
                    p,
                );
            }
        }
    }

    fn hands(&self, frame: &mut Frame) {
        let p = self.look.palette();
        let r = self.plan.sentence;
        let ground = if self.sentence.is_alarm {
            p.alarm_ground
        } else {
            p.panel
        };
        let path = Path::rounded_rectangle(r.position(), r.size(), RADIUS.into());
        frame.fill(&path, ground);
        if self.sentence.is_alarm {
            let border = shrunk(r, 1.0, 1.0);
            let path = Path::rounded_rectangle(border.position(), border.size(), RADIUS.into());
            frame.stroke(&path, Stroke::default().with_color(p.alarm).with_width(2.0));
            let centre = Point::new(r.x + 40.0, r.center_y());
            mark::draw(frame, Mark::Warning, centre, 34.0, p.alarm, p.alarm_ground);
        }
        leads::hands(frame, &self.plan.leads, &self.shown.leads, p);
        if let Some(middle) = &self.plan.middle {
            dial::hands(frame, middle.dial, &self.newest, p);
            let moving = gauge::gauges(&self.newest, self.sheet, p);
            for (tile, gauge) in gauge::tiles(middle).iter().zip(&moving) {
                gauge::hands(frame, *tile, gauge, p);
            }
        }
        match self.live.lower {
            Lower::Trials => {}
            Lower::Cylinders => cylinders::hands(frame, self.plot(), &self.shown.cylinders, p),
            Lower::Strip => strip::hands(frame, self.plot(), &self.newest, self.sheet, p),
            Lower::Traces => {
                traces::hands(frame, self.plot(), &self.live.traces, &self.newest.leads, p);
            }
        }
    }

    /// All words of the screen.
    pub fn words(&self, labels: &mut Vec<Label>) {
        let p = self.look.palette();
        self.sentence_words(labels);
        leads::words(labels, &self.plan.leads, &self.shown.leads, p);
        if let Some(middle) = &self.plan.middle {
            dial::words(labels, middle.dial, &self.shown, &self.newest, p);
            for (tile, gauge) in gauge::tiles(middle).iter().zip(&self.gauges) {
                gauge::words(labels, *tile, gauge, p);
            }
        }
        let middle = if self.live.is_enlarged { 30.0 } else { 16.0 };
        let heading = Point::new(self.plan.lower.x + 16.0, self.plan.lower.y + middle);
        let title = match (self.live.lower, self.live.trace_view()) {
            (Lower::Strip, _) => "Command and position, last 20 s".to_owned(),
            (Lower::Trials, _) => return,
            (Lower::Cylinders, _) => "The cylinders beside each other".to_owned(),
            (Lower::Traces, TraceView::Time(span)) => {
                format!("Leads against time, {:.0} ms", span.0 * 1000.0)
            }
            (Lower::Traces, TraceView::CrankLocked) => "Leads over one engine cycle".to_owned(),
        };
        let after = label::width(&title, font::BODY, font::REGULAR) + 24.0;
        labels.push(Label::new(title, heading, Anchor::Left, p.text).size(font::BODY));
        match self.live.lower {
            Lower::Trials => {}
            Lower::Cylinders => cylinders::words(labels, self.plot(), &self.shown.cylinders, p),
            Lower::Strip => {
                strip::legend(
                    labels,
                    Point::new(heading.x + after, heading.y),
                    &self.newest,
                    p,
                );
                strip::words(labels, self.plot(), &self.newest, self.sheet, p);
            }
            Lower::Traces => traces::words(
                labels,
                self.plot(),
                &self.live.traces,
                &self.newest.leads,
                self.live.trace_view(),
                p,
            ),
        }
    }

    fn sentence_words(&self, labels: &mut Vec<Label>) {
        let p = self.look.palette();
        let Sentence {
            is_alarm,
            title,
            detail,
            more,
        } = &self.sentence;
        let r = self.plan.sentence;
        let right = r.x + r.width - 16.0;
        let body = |words: &String, at: Point, anchor: Anchor, colour: Color, room: f32| {
            Label::new(words.clone(), at, anchor, colour)
                .size(font::BODY)
                .within(room)
        };
        let wide = |words: &str, font: Font| label::width(words, font::BODY, font);
        if !is_alarm {
            let at = Point::new(r.x + 16.0, r.center_y());
            let after = at.x + wide(title, font::BOLD) + 16.0;
            let title = body(title, at, Anchor::Left, p.text, right - at.x).bold();
            if after + wide(detail, font::REGULAR) <= right {
                let at = Point::new(after, at.y);
                labels.push(body(detail, at, Anchor::Left, p.quiet, right - after));
                labels.push(title);
            } else {
                let top = Point::new(at.x, r.y + 20.0);
                labels.push(Label { at: top, ..title });
                let block = Point::new(at.x, r.y + 33.0);
                labels.push(body(detail, block, Anchor::Block, p.quiet, right - at.x));
            }
            return;
        }
        let x = r.x + SYMBOL + 8.0;
        let at = Point::new(x, r.y + 20.0);
        let heading = Label::new(title.clone(), at, Anchor::Left, p.alarm_text)
            .size(ALARM)
            .bold();
        let heading_wide = label::width(title, ALARM, font::BOLD);
        labels.push(heading);
        let block = Point::new(x, r.y + 33.0);
        labels.push(body(detail, block, Anchor::Block, p.alarm_text, right - x));
        if let Some(more) = more {
            let room = right - x - heading_wide - 24.0;
            let at = Point::new(right, at.y);
            labels.push(body(more, at, Anchor::Right, p.alarm_text, room));
        }
    }
}

impl canvas::Program<Message> for Board<'_> {
    type State = ();

    fn draw(
        &self,
        _state: &(),
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        vec![
            self.live
                .still
                .draw(renderer, bounds.size(), |frame| self.face(frame)),
            self.live
                .moving
                .draw(renderer, bounds.size(), |frame| self.hands(frame)),
        ]
    }
}
