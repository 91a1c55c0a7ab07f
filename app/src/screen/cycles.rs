//! The Cycles page: a stretch of a recording locked to the crank, one cycle, all of them, or their mean and spread.

mod board;
mod density;
mod measure;
mod picture;
mod plot;
mod stock;
mod view;

pub use stock::Stock;

use crate::fault::Fault;
use crate::figure;
use crate::setup::Setup;
use crate::theme::Palette;
use crate::work::{Stand, Work};
use iced::Color;
use iced::keyboard::Key;
use iced::keyboard::key::Named;
use iced::widget::canvas;
use keyway_analysis::lead::Role;
use std::cell::RefCell;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Field for the begin of the stretch.
pub const FROM_FIELD: &str = "cycles-from";
/// Field for its end.
pub const TO_FIELD: &str = "cycles-to";
/// Longest stretch that is cut without being asked for: an older laptop takes some seconds for it.
const UNASKED: f64 = 60.0;
/// What is shown when no stretch was chosen: the last seconds.
const LAST: f64 = 5.0;
/// Least crank degrees that fill the screen.
const NARROWEST: f64 = 2.0;

/// How cycles are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Show {
    /// One, to be stepped through.
    #[default]
    One,
    /// All on top of each other.
    All,
    /// Their mean and spread.
    Mean,
}

/// The recording that is open.
#[derive(Debug, Clone, PartialEq)]
struct Source {
    path: PathBuf,
    setup: Setup,
    length: f64,
}

/// The page.
#[derive(Debug)]
pub struct Cycles {
    source: Option<Source>,
    /// The stretch that is meant, seconds from the start of the recording.
    span: Range<f64>,
    /// Whether it was typed here; otherwise it is the one of the Review page.
    is_typed: bool,
    from: String,
    to: String,
    work: Option<Work<Stock>>,
    share: f64,
    stock: Option<Arc<Stock>>,
    /// Why there is nothing to show.
    why: Option<String>,
    show: Show,
    at: usize,
    hidden: Vec<Role>,
    are_leads_open: bool,
    window: Range<f64>,
    cursors: [Option<f64>; 2],
    /// The cursor that the keys move.
    hand: usize,
    picture: canvas::Cache,
    hands: canvas::Cache,
    drawn: RefCell<Option<board::Drawn>>,
    /// Cursors as they were drawn.
    held: RefCell<Option<([Option<f64>; 2], usize)>>,
}

impl Default for Cycles {
    fn default() -> Self {
        Self {
            source: None,
            span: 0.0..0.0,
            is_typed: false,
            from: String::new(),
            to: String::new(),
            work: None,
            share: 0.0,
            stock: None,
            why: None,
            show: Show::default(),
            at: 0,
            hidden: Vec::new(),
            are_leads_open: false,
            window: 0.0..720.0,
            cursors: [None; 2],
            hand: 0,
            picture: canvas::Cache::new(),
            hands: canvas::Cache::new(),
            drawn: RefCell::default(),
            held: RefCell::default(),
        }
    }
}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {
    /// Shows cycles this way.
    Show(Show),
    /// Goes so many cycles on or back.
    Step(isize),
    /// Shows so many times as many degrees, about this angle or the middle.
    Zoom(f64, Option<f64>),
    /// Moves the picture by this share of its width.
    Pan(f64),
    /// Shows these degrees.
    Window(f64, f64),
    /// Shows the whole cycle.
    Whole,
    /// A tap at this angle: puts A, then B, then the nearer of them.
    Tap(f64),
    /// Puts a cursor.
    PutCursor(usize, f64),
    /// Takes a cursor into the hand, and puts it if it is not there.
    TakeCursor(usize),
    /// Moves the cursor in the hand by so many small steps.
    Nudge(f64),
    /// Takes both cursors away.
    ClearCursors,
    /// Opens or closes the row of leads.
    ToggleLeads,
    /// Shows a lead or leaves it away.
    ToggleLead(Role),
    /// Begin of the stretch as typed.
    From(String),
    /// End of the stretch as typed.
    To(String),
    /// Cuts the stretch that is typed.
    Cut,
    /// Takes the stretch of the Review page again.
    AsReviewed,
    /// Stops the cutting.
    Cancel,
    /// Puts the cursor into the first field.
    Field,
    /// Shows a stretch that was cut elsewhere.
    Take(Arc<Stock>),
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Puts the cursor into a field.
    Focus(&'static str),
}

impl Cycles {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Cycles"
    }

    /// What is cut, if anything.
    pub fn stock(&self) -> Option<&Arc<Stock>> {
        self.stock.as_ref()
    }

    /// Whether a stretch is being cut.
    pub fn is_working(&self) -> bool {
        self.work.is_some()
    }

    /// The recording that is open now; none when a scope is.
    pub fn set_source(&mut self, path: Option<&Path>, setup: Option<&Setup>, length: f64) {
        let source = path.zip(setup).map(|(path, setup)| Source {
            path: path.to_owned(),
            setup: setup.clone(),
            length,
        });
        if source == self.source {
            return;
        }
        *self = Self {
            source,
            show: self.show,
            ..Self::default()
        };
    }

    /// The stretch that is chosen on the Review page. A typed one stands until it is given up.
    pub fn set_span(&mut self, chosen: Option<Range<f64>>) {
        let Some(source) = &self.source else {
            return;
        };
        let last = (source.length - LAST).max(0.0)..source.length;
        let span = chosen.unwrap_or(last);
        if self.is_typed || span == self.span {
            return;
        }
        self.mean_span(span.clone());
        if span.end - span.start <= UNASKED {
            self.begin();
        } else {
            self.work = None;
            self.stock = None;
            self.why = Some(format!(
                "The stretch chosen on the Review page is {} long. Press Cut, or type a shorter one.",
                figure::clock(span.end - span.start)
            ));
        }
    }

    fn mean_span(&mut self, span: Range<f64>) {
        self.from = format!("{:.3}", span.start);
        self.to = format!("{:.3}", span.end);
        self.span = span;
    }

    /// Begins to cut the stretch that is meant; what was cut before stays until then.
    fn begin(&mut self) {
        let Some(source) = self.source.clone() else {
            return;
        };
        // The one that runs ends first.
        self.work = None;
        self.share = 0.0;
        self.why = None;
        let span = self.span.clone();
        let work = Work::start("the cutting into cycles", move |progress| {
            Stock::cut(&source.path, &source.setup, span, progress)
        });
        match work {
            Ok(work) => self.work = Some(work),
            Err(fault) => self.why = Some(fault.to_string()),
        }
    }

    /// Looks at how far the work is.
    pub fn follow(&mut self) {
        let Some(work) = &self.work else {
            return;
        };
        match work.look() {
            Stand::Running(share) => self.share = share,
            Stand::Ended(end) => {
                self.work = None;
                match end {
                    Ok(stock) => self.take(Arc::new(stock)),
                    Err(Fault::Cancelled) => {
                        self.stock = None;
                        self.why = Some("Stopped. Press Cut to begin again.".to_owned());
                    }
                    Err(fault) => {
                        self.stock = None;
                        self.why = Some(fault.to_string());
                    }
                }
            }
        }
    }

    fn take(&mut self, stock: Arc<Stock>) {
        self.why = None;
        self.at = self.at.min(stock.cycles().len().saturating_sub(1));
        self.stock = Some(stock);
    }

    /// Places of the leads that are shown.
    fn shown(&self, stock: &Stock) -> Vec<usize> {
        let leads = stock.locked.leads.iter().enumerate();
        leads
            .filter(|(_, l)| !self.hidden.contains(&l.role))
            .map(|(i, _)| i)
            .collect()
    }

    /// The typed stretch, or what is wrong with it.
    fn typed(&self) -> Result<Range<f64>, String> {
        let length = self.source.as_ref().map_or(0.0, |s| s.length);
        let number = |words: &str| words.trim().replace(',', ".").parse::<f64>().ok();
        match (number(&self.from), number(&self.to)) {
            (Some(from), Some(to)) if from >= 0.0 && to > from && from < length => {
                Ok(from..to.min(length))
            }
            _ => Err(format!(
                "Type begin and end in seconds, the begin first, between 0 and {}.",
                figure::plain(length, 3)
            )),
        }
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Show(show) => self.show = show,
            Message::Step(by) => {
                let count = self.stock.as_ref().map_or(0, |s| s.cycles().len());
                self.at = self
                    .at
                    .saturating_add_signed(by)
                    .min(count.saturating_sub(1));
            }
            Message::Zoom(factor, about) => {
                let Range { start, end } = self.window;
                let about = about.unwrap_or(f64::midpoint(start, end)).clamp(start, end);
                let width = (factor * (end - start)).clamp(NARROWEST, 720.0);
                let start = about - (about - start) * width / (end - start);
                self.look_at(start, width);
            }
            Message::Pan(share) => {
                let width = self.window.end - self.window.start;
                self.look_at(self.window.start + share * width, width);
            }
            Message::Window(from, to) => self.look_at(from, (to - from).clamp(NARROWEST, 720.0)),
            Message::Whole => self.window = 0.0..720.0,
            Message::Tap(angle) => {
                let far = |cursor: Option<f64>| cursor.map_or(f64::INFINITY, |a| (a - angle).abs());
                let index = match self.cursors {
                    [None, _] => 0,
                    [_, None] => 1,
                    [a, b] => usize::from(far(b) < far(a)),
                };
                self.put(index, angle);
            }
            Message::PutCursor(index, angle) => self.put(index, angle),
            Message::TakeCursor(index) => {
                let middle = f64::midpoint(self.window.start, self.window.end);
                let at = self.cursors.get(index).copied().flatten();
                self.put(index, at.unwrap_or(middle));
            }
            Message::Nudge(steps) => {
                if let Some(at) = self.cursors[self.hand] {
                    self.put(self.hand, at + steps * board::nudge(&self.window));
                }
            }
            Message::ClearCursors => self.cursors = [None; 2],
            Message::ToggleLeads => self.are_leads_open = !self.are_leads_open,
            Message::ToggleLead(role) => {
                if let Some(place) = self.hidden.iter().position(|r| *r == role) {
                    let _ = self.hidden.remove(place);
                } else {
                    self.hidden.push(role);
                }
            }
            Message::From(words) => self.from = words,
            Message::To(words) => self.to = words,
            Message::Cut => match self.typed() {
                Ok(span) => {
                    self.is_typed = true;
                    self.span = span;
                    self.begin();
                }
                Err(why) => {
                    self.stock = None;
                    self.why = Some(why);
                }
            },
            Message::AsReviewed => {
                self.is_typed = false;
                // Nothing that could be chosen, so that the next look at Review's stretch is a change.
                self.span = 0.0..0.0;
            }
            Message::Cancel => {
                if let Some(work) = &self.work {
                    work.cancel();
                }
            }
            Message::Field => return Action::Focus(FROM_FIELD),
            Message::Take(stock) => {
                self.source = Some(Source {
                    path: stock.path.clone(),
                    setup: stock.setup.clone(),
                    length: stock.locked.span.1,
                });
                self.mean_span(stock.locked.span.0..stock.locked.span.1);
                self.take(stock);
            }
        }
        Action::None
    }

    fn put(&mut self, index: usize, angle: f64) {
        if let Some(cursor) = self.cursors.get_mut(index) {
            *cursor = Some(angle.clamp(0.0, 720.0));
            self.hand = index;
        }
    }

    /// Shows so many degrees from an angle on, without leaving the cycle.
    fn look_at(&mut self, start: f64, width: f64) {
        let start = start.clamp(0.0, 720.0 - width);
        self.window = start..start + width;
    }

    /// What a key does here, if anything.
    pub fn key(&self, key: &Key) -> Option<Message> {
        Some(match key {
            Key::Named(Named::ArrowUp) => Message::Step(-1),
            Key::Named(Named::ArrowDown) => Message::Step(1),
            Key::Named(Named::ArrowLeft) => Message::Pan(-0.25),
            Key::Named(Named::ArrowRight) => Message::Pan(0.25),
            Key::Named(Named::Home) => Message::Whole,
            Key::Named(Named::Delete) => Message::ClearCursors,
            Key::Named(Named::Tab) => Message::Field,
            Key::Named(Named::Enter) => Message::Cut,
            Key::Named(Named::Escape) if self.work.is_some() => Message::Cancel,
            Key::Character(c) => match c.to_lowercase().as_str() {
                "o" => Message::Show(Show::One),
                "v" => Message::Show(Show::All),
                "m" => Message::Show(Show::Mean),
                "a" => Message::TakeCursor(0),
                "b" => Message::TakeCursor(1),
                "," => Message::Nudge(-1.0),
                "." => Message::Nudge(1.0),
                "<" | ";" => Message::Nudge(-10.0),
                ">" | ":" => Message::Nudge(10.0),
                "+" | "=" => Message::Zoom(0.5, None),
                "-" => Message::Zoom(2.0, None),
                "d" => Message::ToggleLeads,
                _ => return None,
            },
            Key::Named(_) | Key::Unidentified => return None,
        })
    }
}

/// Colour of a lead: its cam's, or that of the text.
fn colour(role: Role, p: &Palette) -> Color {
    match role {
        Role::Cam(id) | Role::Command(id) | Role::Current(id) => p.cam(id),
        Role::Crank | Role::StarterCurrent | Role::Supply | Role::Pressure | Role::Spare => p.text,
    }
}
