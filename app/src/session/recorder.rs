//! The recorder thread: takes blocks from its lossless lane and writes them, whatever the screen does.

use crate::fault::Fault;
use crate::setup::Setup;
use crate::status::RecordingStatus;
use arc_swap::ArcSwap;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};
use keyway_acquisition::fanout::Feed;
use keyway_acquisition::recording::error::RecordError;
use keyway_acquisition::recording::header::{LeadEvent, Note, RecordingHeader};
use keyway_acquisition::recording::writer::Recorder;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Words for the recorder that are not written yet; a technician and eight leads do not make more
/// in the 100 ms the recorder may be busy. When full, further words are refused and logged.
const WORDS: usize = 64;

/// How long the recorder waits for samples before it looks whether a sync is due.
const PATIENCE: Duration = Duration::from_millis(100);

/// What a recording says of itself at its head.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Caption {
    /// First note: vehicle and complaint.
    pub note: String,
    /// Who records.
    pub operator: String,
}

impl Caption {
    /// A note alone.
    pub fn of(note: impl Into<String>) -> Self {
        Self {
            note: note.into(),
            operator: String::new(),
        }
    }
}

/// Something said during the recording.
#[derive(Debug, Clone)]
pub enum Word {
    /// A note, such as what the technician told the analysis to do.
    Note(Note),
    /// A lead changed its state.
    Lead(LeadEvent),
}

/// A running recording. Its thread ends when the lane closes; dropping it waits for that.
#[derive(Debug)]
pub struct RecorderThread {
    path: PathBuf,
    status: Arc<ArcSwap<RecordingStatus>>,
    words: Sender<Word>,
    thread: Option<JoinHandle<()>>,
}

impl RecorderThread {
    /// Makes the file and starts the thread. `lane` must be closed by its owner to end it.
    pub fn start(
        path: &Path,
        caption: &Caption,
        setup: &Setup,
        lane: Receiver<Feed>,
    ) -> Result<Self, Fault> {
        let started = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default();
        let header = RecordingHeader {
            started_ns: u64::try_from(started.as_nanos()).unwrap_or(u64::MAX),
            operator: caption.operator.clone(),
            note: caption.note.clone(),
            software: concat!("keyway ", env!("CARGO_PKG_VERSION")).to_owned(),
            engine_sheet: setup.sheet_text.to_string(),
            lead_plan: setup.plan_text.to_string(),
            import_plan: String::new(),
        };
        let recorder = Recorder::create(path, &header)
            .map_err(|e| Fault::Recording(Arc::from(e.to_string())))?;
        tracing::info!("recording into {}", path.display());
        let status = Arc::new(ArcSwap::from_pointee(RecordingStatus::On {
            path: path.to_owned(),
            seconds: 0.0,
            bytes: recorder.bytes(),
        }));
        let (words, spoken) = bounded(WORDS);
        let shown = Arc::clone(&status);
        let file = path.to_owned();
        let thread = std::thread::Builder::new()
            .name("recorder".to_owned())
            .spawn(move || record(recorder, &lane, &spoken, &file, &shown))
            .map_err(|e| Fault::Start {
                what: "the recorder",
                why: Arc::from(e.to_string()),
            })?;
        Ok(Self {
            path: path.to_owned(),
            status,
            words,
            thread: Some(thread),
        })
    }

    /// File.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How far it is.
    pub fn status(&self) -> Arc<RecordingStatus> {
        self.status.load_full()
    }

    /// Says something into the recording.
    pub fn say(&self, word: Word) {
        if let Err(e) = self.words.try_send(word) {
            tracing::warn!("not written into the recording: {e}");
        }
    }

    /// Waits until the file is finished; the lane must have been closed before.
    pub fn finish(mut self) -> Arc<RecordingStatus> {
        self.join();
        self.status()
    }

    fn join(&mut self) {
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
        {
            tracing::error!("the recorder stopped by a fault of the program");
        }
    }
}

impl Drop for RecorderThread {
    fn drop(&mut self) {
        self.join();
    }
}

fn record(
    mut recorder: Recorder,
    lane: &Receiver<Feed>,
    words: &Receiver<Word>,
    path: &Path,
    status: &ArcSwap<RecordingStatus>,
) {
    loop {
        match step(&mut recorder, lane, words) {
            Ok(true) => status.store(Arc::new(RecordingStatus::On {
                path: path.to_owned(),
                seconds: recorder.seconds(),
                bytes: recorder.bytes(),
            })),
            Ok(false) => break,
            Err(e) => {
                tracing::info!("{e}");
                status.store(Arc::new(RecordingStatus::Failed(Arc::from(e.to_string()))));
                return;
            }
        }
    }
    let seconds = recorder.seconds();
    let end = match recorder.finish() {
        Ok(bytes) => {
            tracing::info!("{}: {seconds:.1} s, {bytes} bytes", path.display());
            RecordingStatus::On {
                path: path.to_owned(),
                seconds,
                bytes,
            }
        }
        Err(e) => RecordingStatus::Failed(Arc::from(e.to_string())),
    };
    status.store(Arc::new(end));
}

/// One message from the lane, and whatever was said meanwhile. `false` at the end of the lane.
fn step(
    recorder: &mut Recorder,
    lane: &Receiver<Feed>,
    words: &Receiver<Word>,
) -> Result<bool, RecordError> {
    let more = match lane.recv_timeout(PATIENCE) {
        Ok(Feed::Stream(info)) => recorder.stream(&info).map(|()| true)?,
        Ok(Feed::Block(block)) => recorder.block(&block).map(|()| true)?,
        // The device went away: it may come back, as another stream of the same recording.
        Ok(Feed::Ended) | Err(RecvTimeoutError::Timeout) => recorder.tick().map(|()| true)?,
        Err(RecvTimeoutError::Disconnected) => false,
    };
    while let Ok(word) = words.try_recv() {
        match word {
            Word::Note(note) => recorder.note(&note)?,
            Word::Lead(event) => recorder.lead_event(&event)?,
        }
    }
    Ok(more)
}
