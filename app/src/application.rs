//! The dashboard: rail, bar, the screen that is open, and the Source panel over it. It fetches the
//! newest state thirty times a second; no sample ever waits for it.

mod amend;
mod capture;
pub mod comparing;
mod cutting;
mod exporting;
mod files;
mod frame;
mod jobs;
mod keeping;
mod keys;
pub mod pages;
mod referring;
mod reviewing;
pub mod window;

use crate::fault::Fault;
use crate::screen::export;
use crate::screen::import::{self, Import};
use crate::screen::job::Job;
use crate::screen::live::{Live, TraceView, TraceWish};
use crate::screen::source::{self, Source};
use crate::screen::{
    compare, cycles, exhibits, findings, hookup, job, live, recordings, references, review,
};
use crate::session::choice::{Choice, Offer};
use crate::session::importer::Importer;
use crate::session::orders::Request;
use crate::session::playback::Order;
use crate::session::{Bench, Plan, Shown};
use crate::settings::Settings;
use crate::setup::Setup;
use crate::status::RecordingStatus;
use findings::Findings;
use hookup::Hookup;
use iced::widget::operation;
use iced::widget::scrollable::RelativeOffset;
use iced::{Element, Event, Subscription, Task, Theme, keyboard};
use keyway_analysis::units::Seconds;
use pages::{Page, Pages};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Time between two pictures. Not the toolkit's own frames: those are uncapped on some systems.
const TICK: Duration = Duration::from_millis(33);

/// How long a good message stands.
const NOTICE: Duration = Duration::from_secs(6);

/// The screens there are, in the order of the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tab {
    /// The vehicle and its complaint.
    Job,
    /// Leads.
    Hookup,
    /// The heart.
    Live,
    /// Files.
    Recordings,
    /// Causes against evidence.
    Findings,
}

impl Tab {
    /// All of them, in the order of the rail.
    pub const ALL: [Self; 5] = [
        Self::Job,
        Self::Hookup,
        Self::Live,
        Self::Recordings,
        Self::Findings,
    ];
}

/// What happens in the dashboard.
#[derive(Debug, Clone)]
pub enum Message {
    /// Time for another picture.
    Tick(Instant),
    /// A key nobody else took.
    Key(keyboard::Event),
    /// Opens a screen.
    Open(Tab),
    /// On the Live screen.
    Live(live::Message),
    /// On the Hook-up screen.
    Hookup(hookup::Message),
    /// On the Job screen.
    Job(job::Message),
    /// Turns to a page of the Recordings screen.
    Turn(Page),
    /// On the page with the files.
    Recordings(recordings::Message),
    /// On the Review page.
    Review(review::Message),
    /// On the Cycles page.
    Cycles(cycles::Message),
    /// On the Compare page.
    Compare(compare::Message),
    /// On the References page.
    References(references::Message),
    /// On the Exhibits page.
    Exhibits(exhibits::Message),
    /// Keeps what is on screen as an exhibit.
    Keep,
    /// On the Findings screen.
    Findings(findings::Message),
    /// Tells the analysis what to do.
    Ask(Request),
    /// On the Source panel.
    Source(source::Message),
    /// On the Import panel.
    Import(import::Message),
    /// Opens the Import panel.
    BringIn,
    /// On the Export panel.
    Export(export::Message),
    /// A file was dropped onto the window.
    Dropped(PathBuf),
    /// To the player.
    Player(Order),
    /// Opens the Source panel.
    ChooseSource,
    /// Closes the recording that is played and returns to the source before it.
    LeaveRecording,
    /// Starts or stops recording.
    ToggleRecord,
    /// Holds the picture or lets it run.
    ToggleHold,
    /// Changes the look.
    ToggleLook,
    /// Puts the cursor into the text field of the open panel or screen.
    FocusField,
    /// Closes the message at the foot of the screen.
    CloseNotice,
}

/// A message at the foot of the screen.
#[derive(Debug, Clone)]
struct Notice {
    words: String,
    is_wrong: bool,
    since: Instant,
}

/// The dashboard.
pub struct Application {
    bench: Bench,
    shown: Shown,
    setup: Setup,
    story: String,
    tab: Tab,
    live: Live,
    hookup: Hookup,
    job: Job,
    pages: Pages,
    findings: Findings,
    source: Option<Source>,
    import: Option<Import>,
    /// The import that runs.
    importer: Option<Importer>,
    /// The Export panel, with the export that runs.
    exporting: Option<exporting::Exporting>,
    /// What is open.
    opened: Option<Plan>,
    /// What to return to after a recording.
    before: Option<Plan>,
    is_held: bool,
    notice: Option<Notice>,
    settings: Settings,
    place: Option<PathBuf>,
}

impl Application {
    /// The dashboard on a bench; `plan` is what is open there, and `place` where settings are kept.
    pub fn new(
        bench: Bench,
        plan: Plan,
        settings: Settings,
        place: Option<PathBuf>,
    ) -> Result<Self, Fault> {
        let setup = match bench.setup() {
            Some(setup) => setup.clone(),
            None => Setup::built_in()?,
        };
        let mut application = Self {
            setup,
            place,
            ..Self::with(bench, settings)?
        };
        if !matches!(plan.choice, Choice::Recording(_)) {
            application.before = Some(plan.clone());
        }
        application.opened = Some(plan);
        application.settle();
        Ok(application)
    }

    /// A dashboard without a session, which shows what it is given and never changes by itself:
    /// for pictures and tests.
    pub fn still(setup: Setup, story: &str, settings: Settings) -> Result<Self, Fault> {
        Ok(Self {
            setup,
            story: story.to_owned(),
            ..Self::with(Bench::default(), settings)?
        })
    }

    fn with(mut bench: Bench, settings: Settings) -> Result<Self, Fault> {
        Ok(Self {
            shown: bench.look(),
            setup: Setup::built_in()?,
            story: String::new(),
            tab: Tab::Live,
            live: Live::new(),
            hookup: Hookup::default(),
            job: Job::default(),
            pages: Pages::new(&settings),
            findings: Findings::default(),
            source: None,
            import: None,
            importer: None,
            exporting: None,
            opened: None,
            before: None,
            is_held: false,
            notice: None,
            settings,
            place: None,
            bench,
        })
    }

    /// Name of the window.
    pub fn title(&self) -> String {
        format!("{} – Keyway", self.heading().0)
    }

    /// The toolkit's theme.
    pub fn theme(&self) -> Theme {
        self.settings.look.theme()
    }

    /// Ticks and keys.
    pub fn subscription(&self) -> Subscription<Message> {
        Subscription::batch([
            iced::time::every(TICK).map(Message::Tick),
            keyboard::listen().map(Message::Key),
            iced::event::listen_with(|event, _, _| match event {
                Event::Window(iced::window::Event::FileDropped(path)) => {
                    Some(Message::Dropped(path))
                }
                _ => None,
            }),
        ])
    }

    /// What is shown now.
    pub fn shown(&self) -> &Shown {
        &self.shown
    }

    /// The screen that is open.
    pub fn tab(&self) -> Tab {
        self.tab
    }

    /// Counts the sources opened so far.
    pub fn generation(&self) -> u64 {
        self.bench.generation()
    }

    /// Whether the picture is held.
    pub fn is_held(&self) -> bool {
        self.is_held
    }

    /// Whether a capture is being imported.
    pub fn is_importing(&self) -> bool {
        self.importer.is_some()
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Task<Message> {
        match message {
            Message::Tick(now) => {
                self.follow_import();
                self.follow_export();
                let task = self.follow_job();
                self.follow_pages();
                let shown = self.bench.look();
                self.present(shown, now);
                task
            }
            Message::Key(event) => match keys::meaning(&event, self) {
                Some(message) => self.update(message),
                None => Task::none(),
            },
            Message::Open(tab) => {
                self.tab = tab;
                self.source = None;
                self.wish();
                match tab {
                    Tab::Recordings => return self.turn(self.pages.open),
                    Tab::Job => self.enter_job(),
                    Tab::Hookup | Tab::Live | Tab::Findings => {}
                }
                Task::none()
            }
            Message::Live(message) => {
                match self.live.update(message) {
                    live::Action::None => {}
                    live::Action::WishTraces(_) => self.wish(),
                    live::Action::Start(order) => self.ask(Request::StartTrial(order)),
                    live::Action::Stop => self.ask(Request::StopTrial),
                }
                Task::none()
            }
            Message::Hookup(message) => {
                match message {
                    hookup::Message::Use(input) => self.amend(input, Self::use_amended),
                    hookup::Message::Save(input) => self.amend(input, Self::save_amended),
                    hookup::Message::Pick(input) => self.hookup.pick(input),
                    hookup::Message::AskTouch(role) => self.ask(Request::AskTouch(role)),
                    hookup::Message::EndTouch => self.ask(Request::EndTouch),
                }
                Task::none()
            }
            Message::Job(message) => self.on_job(message),
            Message::Turn(page) => self.turn(page),
            Message::Review(message) => self.on_review(message),
            Message::Cycles(message) => self.on_cycles(message),
            Message::Compare(message) => self.on_compare(message),
            Message::References(message) => self.on_references(message),
            Message::Exhibits(message) => self.on_exhibits(message),
            Message::Keep => self.keep(),
            Message::Recordings(message) => self.on_recordings(message),
            Message::Findings(message) => {
                match self.findings.update(message) {
                    findings::Action::None => {}
                    findings::Action::Codes(codes) => {
                        self.codes_to_card(&codes);
                        self.ask(Request::Codes(codes));
                    }
                    findings::Action::GoTo(seconds) => {
                        self.bench.order(Order::Pause);
                        self.bench.order(Order::Seek(seconds));
                        self.tab = Tab::Live;
                        self.wish();
                    }
                }
                Task::none()
            }
            Message::Ask(request) => {
                self.ask(request);
                Task::none()
            }
            Message::BringIn => self.bring_in(),
            Message::Import(message) => self.on_import(message),
            Message::Export(message) => self.on_export(message),
            Message::Dropped(path) => self.dropped(path),
            Message::Source(message) => {
                let Some(panel) = &mut self.source else {
                    return Task::none();
                };
                match panel.update(message) {
                    source::Action::None => {}
                    source::Action::Scroll(share) => {
                        return scroll(source::SCENARIO_LIST, share);
                    }
                    source::Action::Close => self.source = None,
                    source::Action::Open(choice) => {
                        self.source = None;
                        if let Choice::Port(path) = &choice {
                            self.settings.port = Some(path.clone());
                            self.save();
                        }
                        self.open(Plan::of(choice));
                    }
                }
                Task::none()
            }
            Message::Player(order) => {
                self.bench.order(order);
                Task::none()
            }
            Message::ChooseSource => {
                let typed = self.settings.port.clone().unwrap_or_default();
                self.offer(Offer::now(), typed);
                Task::none()
            }
            Message::LeaveRecording => {
                let plan = self.before.clone().unwrap_or_else(Plan::standard);
                self.open(plan);
                Task::none()
            }
            Message::ToggleRecord => self.toggle_record(),
            Message::ToggleHold => {
                match &self.shown.playback {
                    Some(play) if play.is_playing => self.bench.order(Order::Pause),
                    Some(_) => self.bench.order(Order::Play),
                    None => self.is_held = !self.is_held,
                }
                Task::none()
            }
            Message::ToggleLook => {
                self.settings.look = self.settings.look.other();
                self.save();
                Task::none()
            }
            Message::FocusField => operation::focus(if self.import.is_some() {
                import::panel::CAPTURE_FIELD
            } else if self.exporting.is_some() {
                export::panel::FROM_FIELD
            } else if self.source.is_some() {
                source::PATH_FIELD
            } else if self.tab == Tab::Findings {
                findings::CODE_FIELD
            } else if self.pages.open == Page::Compare {
                compare::PATH_FIELD
            } else if self.pages.open == Page::Review {
                review::FIND_FIELD
            } else {
                recordings::FOLDER_FIELD
            }),
            Message::CloseNotice => {
                self.notice = None;
                Task::none()
            }
        }
    }

    /// The whole window.
    pub fn view(&self) -> Element<'_, Message> {
        frame::view(self)
    }

    /// Takes in the newest state; the open screen shows it.
    pub fn present(&mut self, shown: Shown, now: Instant) {
        if let (RecordingStatus::Failed(why), RecordingStatus::On { .. }) =
            (&shown.recording, &self.shown.recording)
        {
            self.tell(why.to_string(), true);
        }
        if !self.is_held
            && let Some(snapshot) = &shown.snapshot
        {
            let traces = Arc::clone(&shown.traces);
            match self.tab {
                Tab::Hookup => self.hookup.refresh(Arc::clone(snapshot), traces, now),
                Tab::Live => self.live.refresh(Arc::clone(snapshot), traces, now),
                Tab::Job | Tab::Recordings | Tab::Findings => {}
            }
        }
        if self.tab == Tab::Findings && !self.is_held {
            self.findings
                .refresh(shown.snapshot.as_ref(), shown.whole.as_deref());
        }
        self.shown = shown;
        if let Some(notice) = &self.notice
            && !notice.is_wrong
            && now.saturating_duration_since(notice.since) > NOTICE
        {
            self.notice = None;
        }
    }

    /// Opens the Source panel with these to choose from.
    pub fn offer(&mut self, offer: Offer, typed: String) {
        self.source = Some(Source::new(offer, typed));
    }

    fn open(&mut self, plan: Plan) {
        let saved = self.bench.stop_recording();
        if let Some(end) = saved {
            self.tell_saved(&end);
        }
        if let Err(fault) = self.bench.open(&plan) {
            self.tell(fault.to_string(), true);
        } else {
            self.notice = self.notice.take().filter(|n| !n.is_wrong);
            self.tab = Tab::Live;
        }
        if !matches!(plan.choice, Choice::Recording(_)) {
            self.before = Some(plan.clone());
        }
        self.opened = Some(plan);
        self.settle();
    }

    /// After another session was opened: nothing of the old one is shown any more.
    fn settle(&mut self) {
        self.is_held = false;
        self.live.clear();
        self.hookup.clear();
        self.findings.clear();
        if let Some(setup) = self.bench.setup() {
            self.setup = setup.clone();
        }
        self.stand_references();
        self.bench.story().clone_into(&mut self.story);
        self.pages
            .files
            .set_playing(self.bench.playing().map(Path::to_owned));
        self.settle_review();
        self.give_codes();
        self.wish();
        self.shown = self.bench.look();
    }

    /// Tells the session which traces the open screen wants.
    fn wish(&self) {
        self.bench.want(match self.tab {
            Tab::Live => self.live.wanted(),
            Tab::Hookup => Some(TraceWish {
                view: TraceView::Time(Seconds(hookup::SPAN_SECONDS)),
                columns: hookup::COLUMNS,
            }),
            Tab::Job | Tab::Recordings | Tab::Findings => None,
        });
    }

    /// Tells the analysis what to do; that it could not be told is said.
    fn ask(&mut self, request: Request) {
        if let Err(fault) = self.bench.request(request) {
            self.tell(fault.to_string(), true);
        }
    }

    fn save(&mut self) {
        if let Some(place) = &self.place
            && let Err(fault) = self.settings.save(place)
        {
            self.tell(fault.to_string(), true);
        }
    }

    fn tell(&mut self, words: String, is_wrong: bool) {
        self.notice = Some(Notice {
            words,
            is_wrong,
            since: Instant::now(),
        });
    }
}

/// Brings a share of a list into view.
fn scroll(list: &'static str, share: f32) -> Task<Message> {
    operation::snap_to(list, RelativeOffset { x: 0.0, y: share })
}
