//! The Live screen, the heart: sentence, cycle dial, gauges, leads, and below them the agreement
//! strip or the traces.

use crate::theme::Look;
use crate::widget::label::{Anchor, Label, Labels};
use iced::widget::responsive;
use iced::{Element, Point};
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::snapshot::{Snapshot, Traces};
use keyway_analysis::units::Seconds;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How long a figure stands before it changes: five a second can be read, thirty cannot.
const FIGURE_PERIOD: Duration = Duration::from_millis(200);

/// Which columns of the traces the screen wants computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TraceWish {
    /// Against what.
    pub view: TraceView,
    /// How many columns; about one to a pixel.
    pub columns: usize,
}

/// Against what the traces are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TraceView {
    /// The newest samples, over this much time.
    Time(Seconds),
    /// The newest whole cycle, 720 crank degrees from firing TDC 1.
    CrankLocked,
}

/// What is done on the screen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Message {
    /// Shows the agreement strip in the lower panel.
    ShowStrip,
    /// Shows the traces in the lower panel.
    ShowTraces(TraceView),
    /// A longer time span of the traces.
    LongerSpan,
    /// A shorter time span of the traces.
    ShorterSpan,
    /// The lower panel over the dial and the gauges, or back.
    ToggleEnlarged,
}

/// What the parent has to do about a message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Compute other traces; `None`: no traces are shown.
    WishTraces(Option<TraceWish>),
}

/// The screen.
#[derive(Debug, Default)]
pub struct Live {
    newest: Option<Arc<Snapshot>>,
    shown: Option<(Instant, Arc<Snapshot>)>,
    traces: Option<Arc<Traces>>,
    lower: Lower,
    is_enlarged: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Default)]
enum Lower {
    #[default]
    Strip,
    Traces(TraceView),
}

impl Live {
    /// The screen before anything is measured.
    pub fn new() -> Self {
        Self::default()
    }

    /// Name of the screen.
    pub fn title(&self) -> String {
        "Live".to_owned()
    }

    /// Which traces are to be computed; `None` while none are shown.
    pub fn wanted(&self) -> Option<TraceWish> {
        match self.lower {
            Lower::Strip => None,
            Lower::Traces(view) => Some(TraceWish {
                view,
                columns: 1000,
            }),
        }
    }

    /// Takes the newest state; to be called about thirty times a second. While the picture is
    /// held, the parent does not call it.
    pub fn refresh(&mut self, snapshot: Arc<Snapshot>, traces: Arc<Traces>, now: Instant) {
        let is_due = self
            .shown
            .as_ref()
            .is_none_or(|(at, _)| now.duration_since(*at) >= FIGURE_PERIOD);
        if is_due {
            self.shown = Some((now, Arc::clone(&snapshot)));
        }
        self.newest = Some(snapshot);
        self.traces = Some(traces);
    }

    /// Forgets what was measured, as when another source is opened.
    pub fn clear(&mut self) {
        self.newest = None;
        self.shown = None;
        self.traces = None;
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::ShowStrip => self.lower = Lower::Strip,
            Message::ShowTraces(view) => self.lower = Lower::Traces(view),
            Message::LongerSpan | Message::ShorterSpan => {}
            Message::ToggleEnlarged => self.is_enlarged = !self.is_enlarged,
        }
        Action::WishTraces(self.wanted())
    }

    /// The screen as it stands; it fills the place it is given.
    pub fn view<'a>(&'a self, sheet: &'a EngineSheet, look: Look) -> Element<'a, Message> {
        responsive(move |_| {
            let p = look.palette();
            let words = match &self.shown {
                Some((_, s)) => s
                    .speed
                    .any()
                    .map_or_else(|| "—".to_owned(), |v| format!("{v:.0}")),
                None => sheet.name.clone(),
            };
            Labels(vec![
                Label::new(words, Point::new(24.0, 40.0), Anchor::Left, p.text)
                    .size(36.0)
                    .bold(),
            ])
            .into()
        })
        .into()
    }
}
