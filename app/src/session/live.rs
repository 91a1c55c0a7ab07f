//! A live session: link, analysis thread, and the recorder when it records.

use super::ageing::Ageing;
use super::analyser::Analyser;
use super::orders::{Placed, Request};
use super::recorder::{Caption, RecorderThread, Word};
use super::stage::{PUBLISH_EVERY, Stage};
use crate::fault::Fault;
use crate::setup::Setup;
use crate::status::{LinkState, LinkStatus, RecordingStatus};
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use keyway_acquisition::fanout::Feed;
use keyway_acquisition::link::{self, Link, LinkHandle, LinkReport, Source};
use keyway_acquisition::recording::header::LeadEvent;
use keyway_analysis::snapshot::{ProofState, Snapshot};
use std::path::Path;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::runtime::Handle;
use tokio::sync::watch;

/// Longest the port may take to close before the session is let go without it.
const CLOSING: Duration = Duration::from_secs(2);

/// Requests that the analysis has not taken yet. It takes them between two blocks, some milliseconds
/// apart, and a hand gives a few a second. When full, the newest is refused and the screen says so.
const REQUESTS: usize = 64;

/// A source that streams now.
pub struct LiveSession {
    runtime: Handle,
    name: String,
    setup: Setup,
    stage: Arc<Stage>,
    link: Option<LinkHandle>,
    report: watch::Receiver<LinkReport>,
    analysis: Option<JoinHandle<()>>,
    requests: Sender<Request>,
    /// Requests that were done, with their places: for the recording.
    done: Receiver<Placed>,
    /// The stored codes, for a recording that is begun after they were typed.
    codes: Vec<String>,
    recorder: Option<RecorderThread>,
    /// Why the last recording stopped, until the next one starts.
    failed: Option<Arc<RecordingStatus>>,
    lives: Vec<ProofState>,
    ageing: Ageing,
}

impl LiveSession {
    /// Starts link and analysis. `name` is how the screen calls the source.
    pub fn start(
        runtime: &Handle,
        source: Source,
        name: String,
        settings: link::Settings,
        setup: Setup,
    ) -> Result<Self, Fault> {
        tracing::info!("opening {}", name.to_lowercase());
        let link = Link::spawn(runtime, source, settings);
        let stage = Arc::new(Stage::default());
        let lane = link.analysis();
        let shown = Arc::clone(&stage);
        let analyser = Analyser::new(setup.clone());
        let (requests, asked) = bounded(REQUESTS);
        let (told, done) = bounded(REQUESTS);
        let analysis = std::thread::Builder::new()
            .name("analysis".to_owned())
            .spawn(move || analyse(analyser, &lane, &asked, &told, &shown))
            .map_err(|e| Fault::Start {
                what: "the analysis",
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            runtime: runtime.clone(),
            name,
            setup,
            stage,
            report: link.report(),
            link: Some(link),
            analysis: Some(analysis),
            requests,
            done,
            codes: Vec::new(),
            recorder: None,
            failed: None,
            lives: Vec::new(),
            ageing: Ageing::default(),
        })
    }

    /// Where the results are.
    pub fn stage(&self) -> &Arc<Stage> {
        &self.stage
    }

    /// The newest snapshot, aged when no samples come any more.
    pub fn snapshot(&mut self) -> Option<Arc<Snapshot>> {
        let snapshot = self.stage.snapshot()?;
        Some(self.ageing.shown(snapshot, Instant::now()))
    }

    /// Sheet and plan.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// The link as the screen shows it.
    pub fn link(&self) -> LinkStatus {
        let report = self.report.borrow();
        let state = match (&report.state, self.stage.fault()) {
            (link::LinkState::Streaming, Some(fault)) => {
                LinkState::Failed(Arc::from(fault.to_string()))
            }
            (link::LinkState::Connecting, _) => LinkState::Connecting,
            (link::LinkState::Streaming, None) => LinkState::Streaming,
            (link::LinkState::Lost(e), _) => LinkState::Lost(Arc::from(e.to_string())),
            (link::LinkState::Failed(e), _) => LinkState::Failed(Arc::from(e.to_string())),
            (link::LinkState::Stopped, _) => LinkState::Idle,
        };
        let stream = report.stream.as_deref();
        LinkStatus {
            source: self.name.clone(),
            state,
            channels: stream.map_or(0, |s| s.enabled.len()),
            rate_hz: stream.map_or(0.0, |s| s.rate_hz),
            lost: report.health.lost_samples,
            bad_frames: report.health.checksum_failures,
            overruns: report.health.device_overruns,
        }
    }

    /// The path another program would open: for the virtual scope its pseudo-terminal.
    pub fn path(&self) -> String {
        self.report.borrow().source.clone()
    }

    /// Tells the analysis what to do.
    pub fn request(&mut self, request: Request) -> Result<(), Fault> {
        if let Request::Codes(codes) = &request {
            self.codes.clone_from(codes);
        }
        self.requests.try_send(request).map_err(|_| Fault::Busy)
    }

    /// Writes into the running recording what was done since the last call.
    pub fn note_orders(&mut self) {
        for placed in self.done.try_iter() {
            if let Some(recorder) = &self.recorder {
                recorder.say(Word::Note(placed.note()));
            }
        }
    }

    /// What was told before a recording began and still holds belongs into it: the codes, and the
    /// trial and the touch tests under way, from where the recording begins.
    fn note_standing(&self) {
        let (Some(recorder), Some(snapshot), Some(stream)) =
            (&self.recorder, self.stage.snapshot(), self.stage.stream())
        else {
            return;
        };
        let mut standing = Vec::new();
        if !self.codes.is_empty() {
            standing.push(Request::Codes(self.codes.clone()));
        }
        let touched = snapshot.leads.iter().filter(|l| l.touch.is_some());
        standing.extend(touched.map(|l| Request::AskTouch(l.role)));
        let trial = snapshot.trials.running.as_ref();
        standing.extend(trial.map(|t| Request::StartTrial(t.order)));
        for request in standing {
            let placed = Placed {
                generation: stream.generation,
                index: first_sample(&snapshot),
                request,
            };
            recorder.say(Word::Note(placed.note()));
        }
    }

    /// Starts recording into a new file.
    pub fn record(&mut self, path: &Path, caption: &Caption) -> Result<(), Fault> {
        let _before = self.stop_recording();
        self.note_orders();
        self.failed = None;
        if let Some(link) = &self.link {
            let lane = link.attach_recorder();
            match RecorderThread::start(path, caption, &self.setup, lane) {
                Ok(recorder) => self.recorder = Some(recorder),
                Err(fault) => {
                    link.detach_recorder();
                    return Err(fault);
                }
            }
            self.note_standing();
        }
        Ok(())
    }

    /// Ends the recording and waits until its file is finished; how it ended.
    pub fn stop_recording(&mut self) -> Option<Arc<RecordingStatus>> {
        self.note_orders();
        let recorder = self.recorder.take()?;
        if let Some(link) = &self.link {
            link.detach_recorder();
        }
        let end = recorder.finish();
        if matches!(*end, RecordingStatus::Failed(_)) {
            self.failed = Some(Arc::clone(&end));
        }
        Some(end)
    }

    /// The recording as the screen shows it.
    pub fn recording(&self) -> RecordingStatus {
        match (&self.recorder, &self.failed) {
            (Some(recorder), _) => (*recorder.status()).clone(),
            (None, Some(failed)) => (**failed).clone(),
            (None, None) => RecordingStatus::Off,
        }
    }

    /// Whether a recording runs, failed ones excluded.
    pub fn is_recording(&self) -> bool {
        matches!(self.recording(), RecordingStatus::On { .. })
    }

    /// Writes into the running recording which leads changed their state since the last call.
    pub fn note_leads(&mut self, snapshot: &Snapshot) {
        let lives: Vec<ProofState> = snapshot.leads.iter().map(|l| l.proof).collect();
        if let Some(recorder) = &self.recorder {
            for (i, lead) in snapshot.leads.iter().enumerate() {
                let word = match lead.proof {
                    ProofState::Proven => "proven",
                    ProofState::Doubtful => "doubtful",
                    ProofState::Silent => "silent",
                    ProofState::Spare => continue,
                };
                if self.lives.get(i) != Some(&lead.proof) {
                    recorder.say(Word::Lead(LeadEvent {
                        input: lead.input,
                        role: lead.role.to_string(),
                        life: word.to_owned(),
                        text: lead.note.clone(),
                    }));
                }
            }
            self.lives = lives;
        } else {
            self.lives.clear();
        }
    }
}

impl Drop for LiveSession {
    /// Ends the link first: that closes both lanes, and so the threads behind them.
    fn drop(&mut self) {
        if let Some(link) = self.link.take() {
            let closed = self.runtime.spawn(link.close());
            let deadline = Instant::now() + CLOSING;
            while !closed.is_finished() && Instant::now() < deadline {
                std::thread::sleep(Duration::from_millis(2));
            }
            if !closed.is_finished() {
                tracing::warn!("{} did not close in time", self.name);
                closed.abort();
            }
        }
        drop(self.recorder.take());
        if let Some(analysis) = self.analysis.take()
            && analysis.join().is_err()
        {
            tracing::error!("the analysis stopped by a fault of the program");
        }
    }
}

/// The end of the samples of a snapshot.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an index of a stream: positive, whole, far below 2^53"
)]
fn first_sample(snapshot: &Snapshot) -> u64 {
    snapshot.at.0 as u64
}

/// Runs until the lane is disconnected.
fn analyse(
    mut analyser: Analyser,
    lane: &Receiver<Feed>,
    requests: &Receiver<Request>,
    done: &Sender<Placed>,
    stage: &Stage,
) {
    let mut published = Instant::now();
    let mut is_new = false;
    loop {
        match lane.recv_timeout(PUBLISH_EVERY) {
            Ok(Feed::Stream(stream)) => {
                tracing::info!(
                    "{} {} streams {} inputs at {} samples a second",
                    stream.device.maker,
                    stream.device.model,
                    stream.enabled.len(),
                    stream.rate_hz
                );
                stage.begin(&mut analyser, stream);
            }
            Ok(Feed::Block(block)) => {
                analyser.push(&block);
                is_new = true;
            }
            Ok(Feed::Ended) | Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        for request in requests.try_iter() {
            analyser.obey(&request);
            is_new = true;
            if let Some(placed) = analyser.place(request)
                && let Err(e) = done.try_send(placed)
            {
                tracing::warn!("not written into the recording: {e}");
            }
        }
        if is_new && published.elapsed() >= PUBLISH_EVERY {
            stage.publish(&analyser);
            published = Instant::now();
            is_new = false;
        }
    }
    if is_new {
        stage.publish(&analyser);
    }
}
