//! The Review page: a whole recording at a glance, down to single samples, with cursors and events.

mod axis;
mod curve;
mod detail;
mod items;
mod keys;
mod picture;
mod plan;
mod scene;
mod side;
mod strip;
mod table;
mod view;
mod window;

use crate::exhibit::scene::Scene;
use crate::fault::Fault;
use crate::review::between::{self, Between, Pair};
use crate::review::course::{Course, Why};
use crate::review::find::{Hit, Wish};
use crate::review::gaze::{self, Gaze, Seen};
use crate::review::latest::Latest;
use crate::session::playback::PlayStatus;
use crate::setup::Setup;
use crate::theme::Look;
use iced::Element;
use iced::keyboard::Key;
use iced::widget::canvas;
use items::Item;
use keyway_acquisition::recording::reader::Recording;
use std::cell::Cell;
use std::ops::Range;
use std::sync::Arc;
use std::time::{Duration, Instant};
use window::Window;

/// Identity of the field of a search, for focus and tests.
pub const FIND_FIELD: &str = "review-find";

/// Times as wide with one step out.
pub const ZOOM_STEP: f64 = 1.5;

/// Share of the window that an arrow key pans by.
const PAN_STEP: f64 = 0.125;

/// Seconds around an event that is jumped to from the whole recording.
const AROUND: f64 = 10.0;

/// How long a picture may take before it is said that it is being read.
const PATIENCE: Duration = Duration::from_millis(250);

/// Columns asked for before the first picture has told its width.
const COLUMNS: usize = 800;

/// The page.
#[derive(Debug, Default)]
pub struct Review {
    opened: Option<Box<Opened>>,
    /// Why the recording cannot be looked at, if so.
    fault: Option<String>,
    lanes: Shown,
    side: Option<Side>,
}

/// Which rows the window has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shown {
    /// The leads.
    pub leads: bool,
    /// What was measured.
    pub course: bool,
}

impl Default for Shown {
    fn default() -> Self {
        Self {
            leads: true,
            course: true,
        }
    }
}

/// What stands beside the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The cursors and what was measured at them.
    Cursors,
    /// What happened.
    Events,
    /// The search.
    Find,
}

/// The recording that is looked at.
#[derive(Debug)]
struct Opened {
    name: String,
    setup: Setup,
    /// Samples per second of the fastest stream.
    rate: f64,
    eye: Latest<Gaze, Seen>,
    surveyor: Latest<Pair, Between>,
    /// What was asked for last, and when.
    asked: Option<(Gaze, Instant)>,
    seen: Option<Arc<Seen>>,
    is_slow: bool,
    course: Option<Arc<Course>>,
    window: Window,
    /// Cursors A and B, if they are put; the one that is moved.
    cursors: [Option<f64>; 2],
    active: usize,
    between: Option<Arc<Between>>,
    items: Vec<Item>,
    /// Which of them was gone to last.
    picked: Option<usize>,
    find: Find,
    /// Where the player stands.
    position: f64,
    is_playing: bool,
    /// Width of the picture in columns, told when it is drawn.
    columns: Cell<usize>,
    strip: canvas::Cache,
    still: canvas::Cache,
    moving: canvas::Cache,
    drawn: Cell<Option<(Look, u64, usize)>>,
    /// Counts the changes of what is still.
    revision: u64,
}

/// The search.
#[derive(Debug, Default)]
struct Find {
    text: String,
    /// What was looked for last, and what came of it.
    result: Option<Result<Found, String>>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
struct Found {
    text: String,
    wish: Wish,
    hits: Vec<Hit>,
    picked: Option<usize>,
}

/// What is done on it.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// So many times as wide, about an instant; about the middle if none is given.
    Zoom(f64, Option<f64>),
    /// Later by a share of the window.
    Pan(f64),
    /// The window around an instant.
    Centre(f64),
    /// From here to there.
    Show(f64, f64),
    /// The whole recording.
    Whole,
    /// Puts a cursor: the free one, or the active one if both are put.
    PutCursor(f64),
    /// Moves a cursor there.
    MoveCursor(usize, f64),
    /// Makes a cursor the active one; puts it into the middle if it is not put.
    TakeCursor(usize),
    /// Moves the active cursor by so many pixels, or by so many samples where these are seen.
    NudgeCursor(f64),
    /// Takes both cursors away.
    ClearCursors,
    /// The window between the cursors.
    ShowCursors,
    /// Opens or closes what stands beside.
    Beside(Side),
    /// Shows all rows, then the leads alone, then what was measured alone.
    Rows,
    /// Goes to the next thing that happened, or to the one before.
    Jump(bool),
    /// Goes to an entry of the list.
    GoTo(usize),
    /// What is looked for was changed.
    Type(String),
    /// Looks for it.
    Search,
    /// Goes to a stretch that was found.
    GoToHit(usize),
    /// Shows the Live screen there.
    LiveHere,
}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
    /// Show the Live screen at so many seconds.
    Live(f64),
}

impl Review {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Review"
    }

    /// The recording that is played from now on, with its sheet and plan; none when a scope is open.
    pub fn set_recording(&mut self, recording: Option<&Recording>, setup: Option<&Setup>) {
        self.opened = None;
        self.fault = None;
        let (Some(recording), Some(setup)) = (recording, setup) else {
            return;
        };
        match Opened::new(recording, setup) {
            Ok(opened) => self.opened = Some(Box::new(opened)),
            Err(fault) => self.fault = Some(fault.to_string()),
        }
    }

    /// The stretch that is meant, seconds since the start of the recording: between the cursors if
    /// both are set, else the visible window; none without a recording.
    pub fn span(&self) -> Option<Range<f64>> {
        let opened = self.opened.as_ref()?;
        Some(match opened.cursors {
            [Some(a), Some(b)] => a.min(b)..a.max(b),
            _ => opened.window.range(),
        })
    }

    /// Whether everything that was asked for is on the page.
    pub fn is_settled(&self) -> bool {
        self.opened.as_ref().is_none_or(|o| o.is_settled())
    }

    /// The measured course of the recording so far.
    pub fn course(&self) -> Option<&Arc<Course>> {
        self.opened.as_ref()?.course.as_ref()
    }

    /// What was measured at the cursors.
    pub fn between(&self) -> Option<&Between> {
        self.opened.as_ref()?.between.as_deref()
    }

    /// The stretches that were found by the last search that was understood.
    pub fn hits(&self) -> &[Hit] {
        match self.opened.as_ref().and_then(|o| o.find.result.as_ref()) {
            Some(Ok(found)) => &found.hits,
            Some(Err(_)) | None => &[],
        }
    }

    /// Fetches what the threads beside the window have come to, and asks for what is missing.
    pub fn follow(
        &mut self,
        course: Option<&Arc<Course>>,
        play: Option<&PlayStatus>,
        now: Instant,
    ) {
        if let Some(opened) = &mut self.opened {
            opened.follow(course, play, now);
        }
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Beside(side) => {
                self.side = (self.side != Some(side)).then_some(side);
                return Action::None;
            }
            Message::Rows => {
                let (leads, course) = match (self.lanes.leads, self.lanes.course) {
                    (true, true) => (true, false),
                    (true, false) => (false, true),
                    (false, _) => (true, true),
                };
                self.lanes = Shown { leads, course };
            }
            Message::PutCursor(_) | Message::TakeCursor(_) if self.side.is_none() => {
                self.side = Some(Side::Cursors);
            }
            Message::Search => self.side = Some(Side::Find),
            _ => {}
        }
        match &mut self.opened {
            Some(opened) => opened.update(message),
            None => Action::None,
        }
    }

    /// What a key does here, if anything.
    pub fn key(&self, key: &Key) -> Option<Message> {
        let _opened = self.opened.as_ref()?;
        keys::meaning(key)
    }

    /// What is on the page as data, to be kept as an exhibit; none when it is empty.
    pub fn scene(&self) -> Option<Scene> {
        let opened = self.opened.as_ref()?;
        scene::scene(opened, self.lanes)
    }

    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        view::view(self, look)
    }
}

impl Opened {
    fn new(recording: &Recording, setup: &Setup) -> Result<Self, Fault> {
        let rate = recording.streams().map(|s| s.rate_hz).fold(0.0, f64::max);
        let name = recording.path().file_name().unwrap_or_default();
        Ok(Self {
            name: name.to_string_lossy().into_owned(),
            setup: setup.clone(),
            rate,
            eye: gaze::start(recording, setup)?,
            surveyor: between::start(recording, setup)?,
            asked: None,
            seen: None,
            is_slow: false,
            course: None,
            window: Window::new(recording.duration().as_secs_f64(), rate),
            cursors: [None; 2],
            active: 0,
            between: None,
            items: Vec::new(),
            picked: None,
            find: Find::default(),
            position: 0.0,
            is_playing: false,
            columns: Cell::new(COLUMNS),
            strip: canvas::Cache::new(),
            still: canvas::Cache::new(),
            moving: canvas::Cache::new(),
            drawn: Cell::new(None),
            revision: 0,
        })
    }

    fn gaze(&self) -> Gaze {
        Gaze {
            from: self.window.from,
            to: self.window.to,
            columns: self.columns.get(),
        }
    }

    fn is_settled(&self) -> bool {
        let is_seen = self.seen.as_ref().is_some_and(|s| {
            s.gaze == self.gaze() && s.missing.iter().all(|m| m.why != Why::NotRead)
        });
        let pair = self.pair();
        let is_measured = (pair.a.is_none() && pair.b.is_none())
            || self.between.as_ref().is_some_and(|b| {
                b.pair == pair && (b.share >= 1.0 || pair.a.is_none() || pair.b.is_none())
            });
        is_seen && is_measured && self.course.as_ref().is_some_and(|c| c.is_complete)
    }

    fn pair(&self) -> Pair {
        let [a, b] = self.cursors;
        Pair { a, b }
    }

    fn follow(&mut self, course: Option<&Arc<Course>>, play: Option<&PlayStatus>, now: Instant) {
        let is_other = |mine: &Option<Arc<Course>>, new: &Arc<Course>| {
            !mine.as_ref().is_some_and(|m| Arc::ptr_eq(m, new))
        };
        let mut is_listed = true;
        if let Some(course) = course.filter(|c| is_other(&self.course, c)) {
            self.course = Some(Arc::clone(course));
            is_listed = false;
            self.search_again();
        }
        if let Some(seen) = self.eye.answer()
            && !self.seen.as_ref().is_some_and(|s| Arc::ptr_eq(s, &seen))
        {
            is_listed &= self.seen.is_some();
            self.seen = Some(seen);
            self.changed();
        }
        if !is_listed {
            let said = self.seen.as_ref().map_or(&[][..], |s| &s.said);
            self.items = items::items(self.course.as_deref(), said);
            self.picked = None;
            self.strip.clear();
            self.changed();
        }
        if let Some(play) = play {
            self.follow_player(play);
        }
        let gaze = self.gaze();
        if self.asked.is_none_or(|(asked, _)| asked != gaze) {
            self.eye.ask(gaze);
            self.asked = Some((gaze, now));
        }
        let waits = self
            .asked
            .filter(|(asked, _)| !self.seen.as_ref().is_some_and(|s| s.gaze == *asked));
        self.is_slow =
            waits.is_some_and(|(_, since)| now.saturating_duration_since(since) > PATIENCE);
        if let Some(between) = self.surveyor.answer() {
            self.between = (between.pair == self.pair()).then_some(between);
        }
    }

    /// The window goes with the player for as long as the player is in it.
    fn follow_player(&mut self, play: &PlayStatus) {
        let was_in_sight = self.window.holds(self.position);
        let has_moved = (play.position - self.position).abs() > 1e-9;
        self.position = play.position;
        self.is_playing = play.is_playing;
        if has_moved {
            self.moving.clear();
            if play.is_playing && was_in_sight && !self.window.holds(self.position) {
                let span = self.window.span();
                self.look_at(self.window.centred(self.position + 0.4 * span));
            }
        }
    }

    fn changed(&mut self) {
        self.revision += 1;
    }

    fn look_at(&mut self, window: Window) {
        if window != self.window {
            self.window = window;
            self.moving.clear();
            self.changed();
        }
    }

    /// Seconds of one column of the picture.
    fn column(&self) -> f64 {
        self.window.span() / self.columns.get().max(1) as f64
    }

    fn set_cursor(&mut self, which: usize, at: f64) {
        self.cursors[which] = Some(at.clamp(0.0, self.window.length()));
        self.active = which;
        self.measure();
    }

    fn measure(&mut self) {
        self.moving.clear();
        self.between = None;
        self.surveyor.ask(self.pair());
    }

    fn update(&mut self, message: Message) -> Action {
        match message {
            Message::Zoom(times, about) => {
                let cursor = self.cursors[self.active].filter(|at| self.window.holds(*at));
                let about = about.or(cursor).unwrap_or(self.window.middle());
                self.look_at(self.window.zoomed(times, about));
            }
            Message::Pan(share) => self.look_at(self.window.panned(share)),
            Message::Centre(at) => self.look_at(self.window.centred(at)),
            Message::Show(from, to) => self.look_at(self.window.showing(from, to)),
            Message::Whole => self.look_at(self.window.showing(0.0, self.window.length())),
            Message::PutCursor(at) => {
                let free = self.cursors.iter().position(Option::is_none);
                self.set_cursor(free.unwrap_or(self.active), at);
            }
            Message::MoveCursor(which, at) if which < 2 => self.set_cursor(which, at),
            Message::TakeCursor(which) if which < 2 => match self.cursors[which] {
                Some(at) => {
                    self.active = which;
                    self.moving.clear();
                    if !self.window.holds(at) {
                        self.look_at(self.window.centred(at));
                    }
                }
                None => self.set_cursor(which, self.window.middle()),
            },
            Message::MoveCursor(..) | Message::TakeCursor(_) => {}
            Message::NudgeCursor(by) => {
                if let Some(at) = self.cursors[self.active] {
                    let sample = 1.0 / self.rate.max(1.0);
                    let to = at + by * self.column().max(sample);
                    self.set_cursor(self.active, to);
                    if let Some(at) = self.cursors[self.active]
                        && !self.window.holds(at)
                    {
                        self.look_at(self.window.centred(at));
                    }
                }
            }
            Message::ClearCursors => {
                self.cursors = [None; 2];
                self.active = 0;
                self.measure();
            }
            Message::ShowCursors => {
                if let [Some(a), Some(b)] = self.cursors {
                    let air = 0.05 * (a - b).abs();
                    let window = self.window.showing(a.min(b) - air, a.max(b) + air);
                    self.look_at(window);
                }
            }
            Message::Beside(_) => {}
            Message::Rows => self.changed(),
            Message::Jump(is_forward) => {
                let here = self.picked.and_then(|i| self.items.get(i)).map(|i| i.at);
                let here = here.filter(|at| self.window.holds(*at));
                let here = here.unwrap_or(if self.window.is_whole() {
                    if is_forward { -1.0 } else { f64::MAX }
                } else {
                    self.window.middle()
                });
                if let Some(next) = items::neighbour(&self.items, here, is_forward) {
                    self.go_to(next);
                }
            }
            Message::GoTo(item) => self.go_to(item),
            Message::Type(text) => self.find.text = text,
            Message::Search => {
                let text = self.find.text.trim().to_owned();
                self.find.result = (!text.is_empty()).then(|| {
                    Wish::of(&text)
                        .map(|wish| Found {
                            text,
                            wish,
                            hits: Vec::new(),
                            picked: None,
                        })
                        .map_err(|e| e.to_string())
                });
                self.search_again();
            }
            Message::GoToHit(which) => {
                if let Some(Ok(found)) = &mut self.find.result
                    && let Some(hit) = found.hits.get(which)
                {
                    found.picked = Some(which);
                    let air = (0.5 * (hit.to - hit.from)).max(1.0);
                    let window = self.window.showing(hit.from - air, hit.to + air);
                    self.look_at(window);
                }
            }
            Message::LiveHere => {
                let at = self.cursors[self.active].unwrap_or(if self.window.holds(self.position) {
                    self.position
                } else {
                    self.window.middle()
                });
                return Action::Live(at);
            }
        }
        Action::None
    }

    fn go_to(&mut self, item: usize) {
        let Some(at) = self.items.get(item).map(|i| i.at) else {
            return;
        };
        self.picked = Some(item);
        let window = if self.window.span() > 2.0 * AROUND {
            self.window.showing(at - AROUND / 2.0, at + AROUND / 2.0)
        } else {
            self.window.centred(at)
        };
        self.look_at(window);
        self.moving.clear();
    }

    /// Looks through the course as it is now.
    fn search_again(&mut self) {
        if let Some(Ok(found)) = &mut self.find.result
            && let Some(course) = &self.course
        {
            if let Some(stranger) = found.wish.stranger(course) {
                let words = format!("the engine sheet has no cam '{stranger}'");
                self.find.result = Some(Err(words));
            } else {
                found.hits = found.wish.hits(course);
                found.picked = None;
            }
        }
        self.strip.clear();
        self.changed();
    }
}

#[cfg(test)]
mod tests;
