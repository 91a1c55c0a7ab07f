//! A session is one source of samples with all that hangs on it; the bench holds the present one,
//! and the runtime on which links run.
//!
//! ```text
//! link ──lossless──▶ recorder thread ──▶ file
//!   └──bounded────▶ analysis thread ──▶ stage (latest wins) ◀── screen, 30 times a second
//! recording ──────▶ playback thread ──▶ stage
//! ```

pub mod ageing;
pub mod analyser;
pub mod calendar;
pub mod choice;
pub mod importer;
pub mod live;
pub mod orders;
pub mod playback;
pub mod recorder;
pub mod shelf;
pub mod stage;
pub mod whole;

use crate::fault::Fault;
use crate::reference::{self, applied::applied};
use crate::screen::live::TraceWish;
use crate::setup::Setup;
use crate::status::{LinkState, LinkStatus, RecordingStatus};
use choice::Choice;
use keyway_acquisition::link::{self, Source};
use keyway_acquisition::recording::reader::Recording;
use keyway_acquisition::simulator::engine::Engine;
use keyway_analysis::snapshot::{Snapshot, Traces};
use live::LiveSession;
use orders::Request;
use playback::{Order, PlayStatus, Playback};
use recorder::Caption;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use tokio::runtime::Runtime;
use whole::Standing;

/// Longest the runtime may take to end; after that its tasks are left to the end of the program.
const CLOSING: Duration = Duration::from_secs(2);

/// What to open, and with what.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The source.
    pub choice: Choice,
    /// Engine sheet to use instead of the source's own.
    pub sheet: Option<PathBuf>,
    /// Lead plan to use instead of the source's own.
    pub leads: Option<PathBuf>,
    /// Sheet and plan to use instead of all others: those of a session, amended.
    pub amended: Option<Setup>,
    /// Known-good reference whose angles take the place of the sheet's.
    pub reference: Option<PathBuf>,
    /// Seed of the virtual scope's noise.
    pub seed: u64,
}

impl Plan {
    /// Opens this source with what it brings along.
    pub fn of(choice: Choice) -> Self {
        Self {
            choice,
            sheet: None,
            leads: None,
            amended: None,
            reference: None,
            seed: 1,
        }
    }

    /// The virtual scope with the default scenario.
    pub fn standard() -> Self {
        Self::of(Choice::Scenario(choice::DEFAULT_SCENARIO.to_owned()))
    }
}

/// Everything the screens show, fetched at one moment.
#[derive(Debug, Clone)]
pub struct Shown {
    /// The newest snapshot.
    pub snapshot: Option<Arc<Snapshot>>,
    /// The newest traces.
    pub traces: Arc<Traces>,
    /// The source.
    pub link: LinkStatus,
    /// The recording.
    pub recording: RecordingStatus,
    /// The player, when a recording is played.
    pub playback: Option<Arc<PlayStatus>>,
    /// The recording that is played, measured from end to end.
    pub whole: Option<Arc<Standing>>,
}

enum Session {
    Live(Box<LiveSession>),
    Playback(Playback),
}

/// The present session. The default one has no runtime: nothing can be opened on it.
#[derive(Default)]
pub struct Bench {
    session: Option<Session>,
    story: String,
    generation: u64,
    runtime: Option<Runtime>,
}

impl Bench {
    /// A bench with nothing on it.
    pub fn new() -> Result<Self, Fault> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            // The link reads and decodes, the virtual scope makes samples: one each.
            .worker_threads(2)
            .thread_name("link")
            .enable_all()
            .build()
            .map_err(|e| Fault::Start {
                what: "the link",
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            session: None,
            story: String::new(),
            generation: 0,
            runtime: Some(runtime),
        })
    }

    /// Ends the present session and opens another. When that fails, the bench is empty.
    pub fn open(&mut self, plan: &Plan) -> Result<(), Fault> {
        let Some(runtime) = &self.runtime else {
            return Ok(());
        };
        self.generation += 1;
        self.session = None;
        self.story.clear();
        let sheet = plan.sheet.as_deref();
        let leads = plan.leads.as_deref();
        let reference = plan.reference.as_deref().map(reference::read).transpose()?;
        let with = |setup: Setup| match &reference {
            Some(filed) => applied(&setup, &filed.reference),
            None => Ok(setup),
        };
        let setup = |scenario| match &plan.amended {
            Some(amended) => with(amended.clone()),
            None => choice::setup_for(scenario, sheet, leads).and_then(with),
        };
        let start = |source, name, setup| {
            let settings = link::Settings::default();
            LiveSession::start(runtime.handle(), source, name, settings, setup)
                .map(|s| Session::Live(Box::new(s)))
        };
        let (session, story) = match &plan.choice {
            Choice::Port(path) => {
                let setup = setup(None)?;
                let source = Source::Port(path.clone());
                (start(source, path.clone(), setup)?, String::new())
            }
            Choice::Scenario(name) => {
                let scenario = choice::scenario(name)?;
                let setup = setup(Some(&scenario))?;
                let engine = Engine::from_scenario(&scenario, plan.seed);
                let source = Source::Virtual(Box::new(engine));
                let session = start(source, "Virtual scope".to_owned(), setup)?;
                (session, choice::story(&scenario))
            }
            Choice::Recording(path) => {
                let playback =
                    Playback::start(path, |own| with(plan.amended.clone().unwrap_or(own)))?;
                (Session::Playback(playback), String::new())
            }
        };
        self.session = Some(session);
        self.story = story;
        Ok(())
    }

    /// Counts the sessions opened so far: what belongs to an earlier one is out of date.
    pub fn generation(&self) -> u64 {
        self.generation
    }

    /// Code and complaint of the scenario, if it is one.
    pub fn story(&self) -> &str {
        &self.story
    }

    /// Sheet and plan of the present session.
    pub fn setup(&self) -> Option<&Setup> {
        match self.session.as_ref()? {
            Session::Live(live) => Some(live.setup()),
            Session::Playback(playback) => Some(playback.setup()),
        }
    }

    /// What there is to see now. Also writes lead events into a running recording.
    pub fn look(&mut self) -> Shown {
        match &mut self.session {
            None => Shown {
                snapshot: None,
                traces: Arc::default(),
                link: LinkStatus {
                    source: String::new(),
                    state: LinkState::Idle,
                    channels: 0,
                    rate_hz: 0.0,
                    lost: 0,
                    bad_frames: 0,
                    overruns: 0,
                },
                recording: RecordingStatus::Off,
                playback: None,
                whole: None,
            },
            Some(Session::Live(live)) => {
                let snapshot = live.snapshot();
                if let Some(snapshot) = &snapshot {
                    live.note_leads(snapshot);
                    live.note_orders();
                }
                Shown {
                    snapshot,
                    traces: live.stage().traces(),
                    link: live.link(),
                    recording: live.recording(),
                    playback: None,
                    whole: None,
                }
            }
            Some(Session::Playback(playback)) => Shown {
                snapshot: playback.stage().snapshot(),
                traces: playback.stage().traces(),
                link: playback.link(),
                recording: RecordingStatus::Off,
                playback: Some(playback.status()),
                whole: Some(playback.whole()),
            },
        }
    }

    /// Says which traces the screen wants.
    pub fn want(&self, wish: Option<TraceWish>) {
        match &self.session {
            None => {}
            Some(Session::Live(live)) => live.stage().want(wish),
            Some(Session::Playback(playback)) => playback.stage().want(wish),
        }
    }

    /// Starts recording into a new file of this folder, named by the time; the file.
    pub fn record_into(&mut self, folder: &Path, caption: &Caption) -> Result<PathBuf, Fault> {
        std::fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
        let now = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default();
        let stamp = calendar::stamp(now.as_secs());
        // Another program may have begun in the same second; its file is left alone.
        let names = std::iter::once(format!("{stamp}.mcap"))
            .chain((2..100).map(|n| format!("{stamp}-{n}.mcap")));
        let mut paths = names.map(|name| folder.join(name));
        let path = paths
            .find(|path| !path.exists())
            .unwrap_or_else(|| folder.join(format!("{stamp}.mcap")));
        self.record(&path, caption)?;
        Ok(path)
    }

    /// Starts recording into this file.
    pub fn record(&mut self, path: &Path, caption: &Caption) -> Result<(), Fault> {
        match &mut self.session {
            Some(Session::Live(live)) => live.record(path, caption),
            Some(Session::Playback(_)) | None => Err(Fault::NothingToRecord),
        }
    }

    /// Ends the recording; how it ended.
    pub fn stop_recording(&mut self) -> Option<Arc<RecordingStatus>> {
        match &mut self.session {
            Some(Session::Live(live)) => live.stop_recording(),
            Some(Session::Playback(_)) | None => None,
        }
    }

    /// Tells the player what to do, if there is one.
    pub fn order(&self, order: Order) {
        if let Some(Session::Playback(playback)) = &self.session {
            playback.order(order);
        }
    }

    /// Tells the analysis what to do; the recording keeps it.
    pub fn request(&mut self, request: Request) -> Result<(), Fault> {
        match &mut self.session {
            Some(Session::Live(live)) => live.request(request),
            Some(Session::Playback(playback)) => playback.request(request),
            None => Ok(()),
        }
    }

    /// The file that is played.
    pub fn playing(&self) -> Option<&Path> {
        match self.session.as_ref()? {
            Session::Playback(playback) => Some(playback.path()),
            Session::Live(_) => None,
        }
    }

    /// The recording that is played.
    pub fn recording(&self) -> Option<&Recording> {
        match self.session.as_ref()? {
            Session::Playback(playback) => Some(playback.recording()),
            Session::Live(_) => None,
        }
    }

    /// The runtime, for those who wait for a signal beside a session.
    pub fn runtime(&self) -> Option<&Runtime> {
        self.runtime.as_ref()
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        // The session needs the runtime to close its port.
        self.session = None;
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_timeout(CLOSING);
        }
    }
}
