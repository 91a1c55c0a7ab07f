//! Playing a recording into the same pipeline, at the speed one likes; scrubbing runs it again from
//! a little earlier, so that every figure is the one that was measured there.

use super::analyser::Analyser;
use super::orders::{Request, Script};
use super::stage::{PUBLISH_EVERY, Stage};
use super::whole::{Standing, Whole};
use crate::fault::Fault;
use crate::review::course::side_file::Owner;
use crate::setup::Setup;
use crate::status::{LinkState, LinkStatus};
use arc_swap::ArcSwap;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TryRecvError, bounded};
use keyway_acquisition::recording::cursor::Blocks;
use keyway_acquisition::recording::reader::Recording;
use std::path::Path;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How far before the wanted time the analysis begins, so that figures, history and agreement have
/// settled there: longer than the agreement needs to judge, and the length of the strip.
pub(crate) const RUN_UP: Duration = Duration::from_secs(20);

/// Orders that wait. A hand on the scrub bar gives a few dozen a second; all but the latest are
/// passed over. When full, the newest is refused, and the next one says the same.
const ORDERS: usize = 256;

/// What the player is told to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Order {
    /// Plays on; from the end, from the start.
    Play,
    /// Stands still.
    Pause,
    /// Goes to this many seconds from the start.
    Seek(f64),
    /// Goes this many seconds on or back and stands there.
    Step(f64),
    /// Plays so many times as fast as it was.
    Speed(f64),
    /// Tells the analysis what to do, at the present place.
    Ask(Request),
}

/// Where the player is.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayStatus {
    /// Seconds from the start.
    pub position: f64,
    /// Length in seconds.
    pub length: f64,
    /// Whether it moves.
    pub is_playing: bool,
    /// Times real speed.
    pub speed: f64,
    /// What could not be read, if anything.
    pub fault: Option<Arc<str>>,
}

/// A recording that is open for playing. Dropping it ends its thread.
#[derive(Debug)]
pub struct Playback {
    recording: Recording,
    setup: Setup,
    stage: Arc<Stage>,
    status: Arc<ArcSwap<PlayStatus>>,
    whole: Arc<ArcSwap<Standing>>,
    orders: Option<Sender<Order>>,
    thread: Option<JoinHandle<()>>,
}

impl Playback {
    /// Opens a recording and plays it from the start, with what becomes of its own setup.
    pub fn start(
        path: &Path,
        amend: impl FnOnce(Setup) -> Result<Setup, Fault>,
    ) -> Result<Self, Fault> {
        let (recording, own) = open(path)?;
        let setup = amend(own.clone())?;
        // The course is kept as the recording's own sheets give it.
        let owner = (setup == own).then(|| Owner::of(&recording, &own));
        let stage = Arc::new(Stage::default());
        let status = Arc::new(ArcSwap::from_pointee(PlayStatus {
            position: 0.0,
            length: recording.duration().as_secs_f64(),
            is_playing: true,
            speed: 1.0,
            fault: recording.shortfall().map(Arc::from),
        }));
        let (orders, inbox) = bounded(ORDERS);
        let whole = Arc::new(ArcSwap::from_pointee(Standing::default()));
        let script = Script::of(&recording);
        let player = Player {
            blocks: blocks(&recording)?,
            analyser: Analyser::new(setup.clone()),
            generation: None,
            stage: Arc::clone(&stage),
            shown: Arc::clone(&status),
            now: (**status.load()).clone(),
            clock: 0.0,
            measuring: Whole::start(&recording, &setup, &script, owner, &whole)?,
            whole: Arc::clone(&whole),
            setup: setup.clone(),
            script,
            recording: recording.clone(),
        };
        let thread = std::thread::Builder::new()
            .name("playback".to_owned())
            .spawn(move || player.run(&inbox))
            .map_err(|e| Fault::Start {
                what: "the player",
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            recording,
            setup,
            stage,
            status,
            whole,
            orders: Some(orders),
            thread: Some(thread),
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        self.recording.path()
    }

    /// What is played.
    pub fn recording(&self) -> &Recording {
        &self.recording
    }

    /// Where the results are.
    pub fn stage(&self) -> &Arc<Stage> {
        &self.stage
    }

    /// Sheet and plan as recorded.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Where it is.
    pub fn status(&self) -> Arc<PlayStatus> {
        self.status.load_full()
    }

    /// The recording measured from end to end.
    pub fn whole(&self) -> Arc<Standing> {
        self.whole.load_full()
    }

    /// Tells the analysis what to do.
    pub fn request(&self, request: Request) -> Result<(), Fault> {
        let orders = self.orders.as_ref().ok_or(Fault::Busy)?;
        orders
            .try_send(Order::Ask(request))
            .map_err(|_| Fault::Busy)
    }

    /// Tells it what to do.
    pub fn order(&self, order: Order) {
        if let Some(orders) = &self.orders
            && let Err(e) = orders.try_send(order)
        {
            tracing::debug!("the player is busy: {e}");
        }
    }

    /// The recording in the place of the link.
    pub fn link(&self) -> LinkStatus {
        let stream = self.stage.stream();
        let name = self.path().file_name().unwrap_or_default();
        let state = self.stage.fault().map_or(LinkState::Playing, |fault| {
            LinkState::Failed(Arc::from(fault.to_string()))
        });
        LinkStatus {
            source: name.to_string_lossy().into_owned(),
            state,
            channels: stream.as_ref().map_or(0, |s| s.enabled.len()),
            rate_hz: stream.as_ref().map_or(0.0, |s| s.rate_hz),
            lost: self.stage.snapshot().map_or(0, |s| s.counts.lost),
            bad_frames: 0,
            overruns: 0,
        }
    }
}

impl Drop for Playback {
    fn drop(&mut self) {
        drop(self.orders.take());
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the player stopped by a fault of the program");
        }
    }
}

/// Opens a recording with the sheet and the plan it holds.
pub fn open(path: &Path) -> Result<(Recording, Setup), Fault> {
    let recording =
        Recording::open(path).map_err(|e| Fault::Recording(Arc::from(e.to_string())))?;
    let file = path.display();
    let setup = Setup::read(
        &format!("engine sheet in {file}"),
        &recording.header().engine_sheet,
        &format!("lead plan in {file}"),
        &recording.header().lead_plan,
    )?;
    Ok((recording, setup))
}

fn blocks(recording: &Recording) -> Result<Blocks, Fault> {
    recording
        .blocks()
        .map_err(|e| Fault::Recording(Arc::from(e.to_string())))
}

struct Player {
    recording: Recording,
    blocks: Blocks,
    analyser: Analyser,
    generation: Option<u64>,
    stage: Arc<Stage>,
    shown: Arc<ArcSwap<PlayStatus>>,
    now: PlayStatus,
    /// Where it should be; blocks end a little later, and that must not add up.
    clock: f64,
    setup: Setup,
    /// What the technician told the analysis, then and now.
    script: Script,
    /// The recording as a whole, measured beside.
    measuring: Whole,
    whole: Arc<ArcSwap<Standing>>,
}

impl Player {
    /// Until the orders end.
    fn run(mut self, orders: &Receiver<Order>) {
        let mut ticked = Instant::now();
        loop {
            let wait = if self.now.is_playing {
                PUBLISH_EVERY
            } else {
                // Nothing moves by itself: only another wish for traces is to be answered.
                PUBLISH_EVERY * 5
            };
            match orders.recv_timeout(wait) {
                Ok(order) => {
                    if !self.obey(order, orders) {
                        return;
                    }
                    ticked = Instant::now();
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
            let passed = ticked.elapsed().as_secs_f64();
            ticked = Instant::now();
            if self.now.is_playing {
                self.clock += passed * self.now.speed;
                // Where the machine is too slow for the speed, the picture still moves.
                if !self.advance(self.clock, Instant::now() + PUBLISH_EVERY * 2) {
                    self.clock = self.now.position;
                }
            }
            self.stage.publish(&self.analyser);
            self.shown.store(Arc::new(self.now.clone()));
        }
    }

    /// Does the latest of the orders that wait; `false` when there will be no more.
    fn obey(&mut self, first: Order, orders: &Receiver<Order>) -> bool {
        let mut target = None;
        let mut next = Some(first);
        loop {
            match next {
                Some(Order::Play) => {
                    if self.now.position >= self.now.length {
                        target = Some(0.0);
                    }
                    self.now.is_playing = true;
                }
                Some(Order::Pause) => self.now.is_playing = false,
                Some(Order::Seek(to)) => target = Some(to),
                Some(Order::Step(by)) => {
                    self.now.is_playing = false;
                    target = Some(target.unwrap_or(self.now.position) + by);
                }
                Some(Order::Speed(speed)) => self.now.speed = speed.clamp(0.01, 100.0),
                Some(Order::Ask(request)) => self.ask(request),
                None => break,
            }
            next = match orders.try_recv() {
                Ok(order) => Some(order),
                Err(TryRecvError::Empty) => None,
                Err(TryRecvError::Disconnected) => return false,
            };
        }
        if let Some(target) = target {
            self.go_to(target.clamp(0.0, self.now.length), orders);
        }
        true
    }

    /// Does what the technician asks, here and in the whole.
    fn ask(&mut self, request: Request) {
        self.analyser.obey(&request);
        if let Some(placed) = self.analyser.place(request) {
            self.script.add(placed);
        }
        let (setup, script) = (&self.setup, &self.script);
        match Whole::start(&self.recording, setup, script, None, &self.whole) {
            Ok(whole) => self.measuring = whole,
            Err(e) => self.now.fault = Some(Arc::from(e.to_string())),
        }
    }

    /// Goes to a time, and gives up on the way when a newer order arrives.
    fn go_to(&mut self, target: f64, orders: &Receiver<Order>) {
        // A short way forward needs no new run.
        let is_ahead = target >= self.now.position;
        if !is_ahead || target - self.now.position > RUN_UP.as_secs_f64() {
            let from = Duration::from_secs_f64(target).saturating_sub(RUN_UP);
            if let Err(e) = self.blocks.seek(from) {
                self.now.fault = Some(Arc::from(e.to_string()));
                return;
            }
            self.generation = None;
            self.now.position = from.as_secs_f64();
        }
        while !self.advance(target, Instant::now() + PUBLISH_EVERY) {
            if !orders.is_empty() {
                break;
            }
            let mut shown = self.now.clone();
            shown.position = target;
            self.shown.store(Arc::new(shown));
        }
        self.clock = self.now.position;
    }

    /// Feeds blocks up to `to`, or until `deadline`. Whether it came there.
    fn advance(&mut self, to: f64, deadline: Instant) -> bool {
        while self.now.position < to {
            if Instant::now() >= deadline {
                return false;
            }
            match self.blocks.next() {
                Some(Ok(block)) => {
                    if self.generation != Some(block.generation) {
                        self.generation = Some(block.generation);
                        if let Some(stream) = self.recording.stream(block.generation) {
                            self.stage
                                .begin(&mut self.analyser, Arc::new(stream.clone()));
                        }
                        let (generation, first) = (block.generation, block.first_index);
                        self.script.begin(&mut self.analyser, generation, first);
                    }
                    self.script.feed(&mut self.analyser, &block);
                    self.now.position = self.blocks.position().as_secs_f64();
                }
                Some(Err(e)) => self.now.fault = Some(Arc::from(e.to_string())),
                None => {
                    self.now.position = self.now.length;
                    self.now.is_playing = false;
                    return true;
                }
            }
        }
        true
    }
}
