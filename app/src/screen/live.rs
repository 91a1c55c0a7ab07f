//! The Live screen, the heart: sentence, cycle dial, gauges, leads, and below them the agreement
//! strip or the traces.

mod board;
mod cylinders;
mod dial;
mod gauge;
mod leads;
mod plan;
mod scene;
pub mod sentence;
mod strip;
#[cfg(test)]
mod tests;
pub(crate) mod traces;
mod trials;
pub mod words;

use crate::theme::Look;
use crate::widget::button;
use crate::widget::label::Labels;
use board::{Board, Face};
use iced::widget::{Column, Row, canvas, container, responsive, row, stack};
use iced::{Alignment, Element, Length, Padding, Rectangle, Size};
use keyway_analysis::base_timing::BaseTiming;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::CamId;
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::{
    Agreement, AgreementState, CamSnapshot, CommandSnapshot, Counts, Snapshot, Sync, Traces,
};
use keyway_analysis::trial::{TrialKind, TrialOrder};
use keyway_analysis::units::{CrankAngle, CrankDegrees, SampleTime, Seconds};
use std::cell::RefCell;
use std::sync::Arc;
use std::time::{Duration, Instant};
use trials::Trials;

/// How long a figure stands before it changes: five a second can be read, thirty cannot.
const FIGURE_PERIOD: Duration = Duration::from_millis(200);

/// Time spans of the traces, seconds: from a few ignition events at speed to a few turns at cranking.
const SPANS: [f64; 6] = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0];

/// Width of the keys of the lower panel, logical pixels.
const KEY: f32 = 100.0;

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
    /// Shows the traces in the lower panel, as they were last shown.
    ShowTraces,
    /// Shows the cylinders beside each other in the lower panel.
    ShowCylinders,
    /// Traces against time, or locked to the crank.
    ToggleCrankLock,
    /// A longer time span of the traces.
    LongerSpan,
    /// A shorter time span of the traces.
    ShorterSpan,
    /// The lower panel over the dial and the gauges, or back.
    ToggleEnlarged,
    /// Shows the trials in the lower panel.
    ShowTrials,
    /// The next trial is of this cam.
    TrialCam(CamId),
    /// The oil is so many steps warmer.
    Oil(i8),
    /// Starts a trial.
    StartTrial(TrialKind),
    /// Ends the trial under way.
    StopTrial,
    /// The result has been read; shows the list of trials again.
    PutAway,
}

/// What the parent has to do about a message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Compute other traces; `None`: no traces are shown.
    WishTraces(Option<TraceWish>),
    /// Start this trial.
    Start(TrialOrder),
    /// End the trial under way.
    Stop,
}

/// What the lower panel shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Lower {
    #[default]
    Strip,
    Traces,
    Cylinders,
    Trials,
}

/// The screen.
#[derive(Debug)]
pub struct Live {
    newest: Option<Arc<Snapshot>>,
    shown: Option<(Instant, Arc<Snapshot>)>,
    traces: Arc<Traces>,
    lower: Lower,
    is_crank_locked: bool,
    span: usize,
    is_enlarged: bool,
    trials: Trials,
    /// What stands still, drawn once.
    still: canvas::Cache,
    /// What moves, drawn once a refresh.
    moving: canvas::Cache,
    /// What the still part was drawn for.
    face: RefCell<Option<Face>>,
}

impl Default for Live {
    fn default() -> Self {
        Self::new()
    }
}

impl Live {
    /// The screen before anything is measured.
    pub fn new() -> Self {
        Self {
            newest: None,
            shown: None,
            traces: Arc::default(),
            lower: Lower::default(),
            is_crank_locked: false,
            span: 2,
            is_enlarged: false,
            trials: Trials::default(),
            still: canvas::Cache::new(),
            moving: canvas::Cache::new(),
            face: RefCell::new(None),
        }
    }

    /// Name of the screen.
    pub fn title(&self) -> String {
        "Live".to_owned()
    }

    /// Which traces are to be computed; `None` while none are shown.
    pub fn wanted(&self) -> Option<TraceWish> {
        match self.lower {
            Lower::Strip | Lower::Cylinders | Lower::Trials => None,
            Lower::Traces => Some(TraceWish {
                view: self.trace_view(),
                columns: if self.is_enlarged { 1000 } else { 480 },
            }),
        }
    }

    fn trace_view(&self) -> TraceView {
        if self.is_crank_locked {
            TraceView::CrankLocked
        } else {
            TraceView::Time(Seconds(SPANS[self.span]))
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
        self.traces = traces;
        self.moving.clear();
    }

    /// Forgets what was measured, as when another source is opened.
    pub fn clear(&mut self) {
        self.newest = None;
        self.shown = None;
        self.traces = Arc::default();
        self.trials = Trials::default();
        self.moving.clear();
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        let before = self.wanted();
        match message {
            Message::ShowStrip => self.lower = Lower::Strip,
            Message::ShowTraces => self.lower = Lower::Traces,
            Message::ShowCylinders => self.lower = Lower::Cylinders,
            Message::ToggleCrankLock => self.is_crank_locked = !self.is_crank_locked,
            Message::LongerSpan => self.span = (self.span + 1).min(SPANS.len() - 1),
            Message::ShorterSpan => self.span = self.span.saturating_sub(1),
            Message::ToggleEnlarged => self.is_enlarged = !self.is_enlarged,
            Message::ShowTrials => {
                self.lower = Lower::Trials;
                self.is_enlarged = false;
            }
            Message::TrialCam(cam) => self.trials.choose(cam),
            Message::Oil(steps) => self.trials.set_oil(steps),
            Message::StartTrial(kind) => {
                let order = self.trials.order(kind, &self.driven());
                if let (Some(order), Some(newest)) = (order, &self.newest) {
                    self.trials.put_away(&newest.trials);
                    return Action::Start(order);
                }
            }
            Message::StopTrial => return Action::Stop,
            Message::PutAway => {
                if let Some(newest) = &self.newest {
                    self.trials.put_away(&newest.trials);
                }
            }
        }
        self.moving.clear();
        let after = self.wanted();
        if after == before {
            Action::None
        } else {
            Action::WishTraces(after)
        }
    }

    /// The cams with a phaser.
    fn driven(&self) -> Vec<CamId> {
        let cams = self.newest.iter().flat_map(|s| &s.cams);
        cams.filter(|c| c.observer.is_some() || c.command.hold.is_some())
            .map(|c| c.id)
            .collect()
    }

    /// The screen as it stands; it fills the place it is given.
    pub fn view<'a>(&'a self, sheet: &'a EngineSheet, look: Look) -> Element<'a, Message> {
        responsive(move |size| self.sized(sheet, look, size)).into()
    }

    fn sized<'a>(&'a self, sheet: &'a EngineSheet, look: Look, size: Size) -> Element<'a, Message> {
        let newest = self
            .newest
            .clone()
            .unwrap_or_else(|| Arc::new(nothing(sheet)));
        let shown = self
            .shown
            .as_ref()
            .map_or_else(|| Arc::clone(&newest), |(_, s)| Arc::clone(s));
        let trials = Arc::clone(&shown.trials);
        let board = Board::new(self, sheet, look, size, newest, shown);
        let mut labels = Vec::with_capacity(96);
        board.words(&mut labels);
        let lower = board.plan.lower;
        let picture = canvas::Canvas::new(board)
            .width(Length::Fill)
            .height(Length::Fill);
        stack![
            picture,
            Element::from(Labels(labels)),
            self.controls(lower, size, look)
        ]
        .push((self.lower == Lower::Trials).then(|| {
            let panel = trials::panel(&self.trials, &trials, &self.driven(), look);
            let place = Padding::ZERO
                .top(lower.y + 8.0)
                .left(lower.x + 16.0)
                .right(size.width - lower.x - lower.width + self.keys_width() + 16.0);
            container(panel).padding(place).width(Length::Fill)
        }))
        .into()
    }

    /// Room that the keys of the lower panel take at its right, logical pixels.
    fn keys_width(&self) -> f32 {
        match self.lower {
            // An enlarged panel has room for them beside its heading.
            _ if self.is_enlarged => 0.0,
            Lower::Traces => 3.0 * (KEY + 8.0),
            Lower::Strip | Lower::Cylinders | Lower::Trials => 2.0 * (KEY + 8.0),
        }
    }

    /// The keys of the lower panel, below each other at its right.
    fn controls<'a>(&self, lower: Rectangle, size: Size, look: Look) -> Element<'a, Message> {
        let wide = |word: &'static str, is_on: bool, message: Message| {
            button::wide(word, is_on, look, Some(message)).width(KEY)
        };
        let enlarge = if self.is_enlarged {
            "Smaller"
        } else {
            "Larger"
        };
        let stacked = |keys: Vec<Element<'a, Message>>| -> Element<'a, Message> {
            if self.is_enlarged {
                Row::with_children(keys).spacing(8).into()
            } else {
                Column::with_children(keys).spacing(4).into()
            }
        };
        let views = stacked(
            [
                ("Agreement", Lower::Strip, Message::ShowStrip),
                ("Traces", Lower::Traces, Message::ShowTraces),
                ("Cylinders", Lower::Cylinders, Message::ShowCylinders),
            ]
            .map(|(word, lower, message)| wide(word, self.lower == lower, message).into())
            .into(),
        );
        let mut keys = Vec::new();
        if self.lower == Lower::Traces {
            let lock = Message::ToggleCrankLock;
            keys.push(wide("Crank-lock", self.is_crank_locked, lock).into());
            if !self.is_crank_locked {
                let shorter = (self.span > 0).then_some(Message::ShorterSpan);
                let longer = (self.span + 1 < SPANS.len()).then_some(Message::LongerSpan);
                let span = row![
                    button::wide("−", false, look, shorter).width(Length::Fill),
                    button::wide("+", false, look, longer).width(Length::Fill),
                ];
                keys.push(span.width(KEY).spacing(4).into());
            }
        }
        let mut more = Vec::new();
        if !self.is_enlarged {
            more.push(wide("Trials", self.lower == Lower::Trials, Message::ShowTrials).into());
        }
        if self.lower != Lower::Trials {
            more.push(wide(enlarge, self.is_enlarged, Message::ToggleEnlarged).into());
        }
        let right = size.width - lower.x - lower.width;
        let keys = (!keys.is_empty()).then(|| stacked(keys));
        let keys = Row::new().push(keys).push(stacked(more)).push(views);
        container(keys.spacing(8))
            .width(Length::Fill)
            .align_x(Alignment::End)
            .padding(Padding::ZERO.top(lower.y + 8.0).right(right + 8.0))
            .into()
    }
}

/// What the screen shows before the first snapshot: everything the sheet names, nothing measured.
fn nothing(sheet: &EngineSheet) -> Snapshot {
    let why = Why::NotEnoughYet;
    let cams = sheet
        .cams
        .iter()
        .map(|cam| CamSnapshot {
            id: cam.cam,
            phase: Reading::Missing(why),
            spread: None,
            detail: Default::default(),
            due: None::<keyway_analysis::units::Band<CrankDegrees>>,
            reference: cam
                .windows
                .iter()
                .map(|w| w.map(CrankAngle::wrapped))
                .collect(),
            measured: Vec::new(),
            command: CommandSnapshot {
                duty: Reading::Missing(why),
                frequency: Reading::Missing(why),
                low: Reading::Missing(why),
                high: Reading::Missing(why),
                hold: cam.phaser.as_ref().map(|f| f.hold),
                current: Reading::Missing(why),
            },
            circuit: None,
            observer: None,
            agreement: Agreement {
                state: AgreementState::NotJudged,
                since: SampleTime(0.0),
                sentence: String::new(),
                rests_on: Vec::new(),
            },
        })
        .collect();
    Snapshot {
        at: SampleTime(0.0),
        elapsed: Seconds(0.0),
        speed: Reading::Missing(why),
        sync: Sync::Stopped,
        angle: None,
        damaged_teeth: Vec::new(),
        cams,
        supply: Reading::Missing(why),
        supply_ripple: Reading::Missing(why),
        leads: Vec::new(),
        cylinders: Arc::default(),
        history: Arc::from([]),
        events: Arc::from([]),
        base_timing: Arc::new(BaseTiming::unseen(&sheet.cams)),
        trials: Arc::default(),
        findings: Arc::default(),
        proposals: Vec::new(),
        counts: Counts::default(),
    }
}
