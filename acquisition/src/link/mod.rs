//! The link: opens the source, shakes hands, decodes, reconnects, until it is told to stop.

mod assembly;
mod dialogue;
mod report;
mod run;
mod session;
#[cfg(test)]
mod tests;

use std::time::Duration;

use crossbeam_channel::Receiver;
use tokio::runtime::Handle;
use tokio::sync::watch;
use tokio::task::JoinHandle;

pub use keyway_protocol::SampleFormat;
pub use report::{LinkReport, LinkState};

use crate::error::LinkError;
use crate::fanout::{Fanout, Feed, RecorderSlot};
use crate::health::Health;
use crate::port;
use crate::simulator::embedded::EmbeddedScope;
use crate::simulator::source::SampleSource;
use crate::stop::Stop;
use run::Course;

/// First pause before a lost device is looked for again; it doubles up to [`LAST_PAUSE`].
const FIRST_PAUSE: Duration = Duration::from_millis(100);
/// Longest pause: a technician who plugs the cable back in should not have to wonder.
const LAST_PAUSE: Duration = Duration::from_secs(1);

/// Where the samples come from.
pub enum Source {
    /// A serial port or pseudo-terminal, by its path.
    Port(String),
    /// A virtual scope inside this program, behind the real protocol.
    Virtual(Box<dyn SampleSource>),
}

/// What to ask of the device.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Device channels to enable, from 0; empty for all.
    pub channels: Vec<usize>,
    /// Samples per channel in one frame, which is also one block.
    pub samples_per_frame: u16,
    /// Form on the wire.
    pub format: SampleFormat,
    /// Speed of a real serial line, in baud; USB and pseudo-terminals ignore it.
    pub baud: u32,
}

impl Default for Settings {
    /// 200 kS/s on all channels, 512 16-bit samples a frame, 921,600 baud (the highest rate that
    /// common USB bridges all know; common practice).
    fn default() -> Self {
        Self {
            rate_hz: 200_000.0,
            channels: Vec::new(),
            samples_per_frame: 512,
            format: SampleFormat::I16,
            baud: 921_600,
        }
    }
}

/// Starts links.
#[derive(Debug)]
pub struct Link;

impl Link {
    /// Starts a link on `runtime`. It runs until [`LinkHandle::stop`] or until the handle is
    /// dropped; what becomes of it is in the report.
    #[must_use]
    pub fn spawn(runtime: &Handle, source: Source, settings: Settings) -> LinkHandle {
        let name = match &source {
            Source::Port(path) => path.clone(),
            Source::Virtual(_) => "virtual scope".to_owned(),
        };
        let recorder = RecorderSlot::default();
        let (fanout, analysis) = Fanout::new(recorder.clone());
        let (report, watched) = watch::channel(LinkReport::new(name));
        let (stop, stopped) = Stop::new();
        let course = Course {
            settings,
            fanout,
            report,
            stop: stopped,
            before: Health::default(),
            next_generation: 0,
            has_streamed: false,
        };
        let task = runtime.spawn(supervise(source, course));
        LinkHandle {
            analysis,
            recorder,
            report: watched,
            stop,
            task,
        }
    }
}

/// A running link. Dropping it stops the link.
pub struct LinkHandle {
    analysis: Receiver<Feed>,
    recorder: RecorderSlot,
    report: watch::Receiver<LinkReport>,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

impl LinkHandle {
    /// The analysis lane: bounded, drops whole blocks when full. There is one lane: clones of the
    /// receiver share its messages among them.
    #[must_use]
    pub fn analysis(&self) -> Receiver<Feed> {
        self.analysis.clone()
    }

    /// Attaches a recorder: bounded, lossless. When a stream is running its first message is that
    /// stream, then the blocks from now on. A recorder attached before is cut off.
    #[must_use]
    pub fn attach_recorder(&self) -> Receiver<Feed> {
        self.recorder.attach()
    }

    /// Ends the recorder lane: its receiver gives what it still holds, then is disconnected.
    pub fn detach_recorder(&self) {
        self.recorder.detach();
    }

    /// The latest report, and when it changes.
    #[must_use]
    pub fn report(&self) -> watch::Receiver<LinkReport> {
        self.report.clone()
    }

    /// Tells the link to stop: the device is told, the port closed, both lanes disconnected.
    pub fn stop(&self) {
        let _before = self.stop.send_replace(true);
    }

    /// Stops and waits until the port is closed.
    pub async fn close(self) {
        self.stop();
        // A link that panicked has closed its port as well.
        let _joined = self.task.await;
    }
}

async fn supervise(source: Source, mut course: Course) {
    let outcome = match source {
        Source::Port(path) => {
            let baud = course.settings.baud;
            reopen(|| port::open(&path, baud), &mut course).await
        }
        Source::Virtual(source) => match EmbeddedScope::spawn(source) {
            Ok(mut scope) => {
                let name = scope.name().to_owned();
                course.report.send_modify(|report| report.source = name);
                let baud = course.settings.baud;
                reopen(|| scope.open(baud), &mut course).await
            }
            Err(error) => Err(error),
        },
    };
    let mut health = course.before;
    health.analysis_drops = course.fanout.analysis_drops;
    health.recorder_waits = course.fanout.recorder_waits;
    // Both lanes end with the link.
    course.fanout.close();
    course.report.send_modify(|report| {
        report.state = outcome.map_or_else(LinkState::Failed, |()| LinkState::Stopped);
        report.health = health;
    });
}

/// Opens and runs, over and over, until told to stop or until a failure cannot pass by waiting.
/// Before the first stream every failure is final: then the technician is choosing, not streaming.
async fn reopen<Io>(
    mut open: impl FnMut() -> Result<Io, LinkError>,
    course: &mut Course,
) -> Result<(), LinkError>
where
    Io: tokio::io::AsyncRead + tokio::io::AsyncWrite + Unpin,
{
    let mut pause = FIRST_PAUSE;
    loop {
        let streams = course.next_generation;
        let outcome = match open() {
            Ok(io) => run::run(io, course).await,
            Err(error) => Err(error),
        };
        let Err(error) = outcome else { return Ok(()) };
        if !course.has_streamed || !error.may_pass() {
            return Err(error);
        }
        if course.next_generation > streams {
            pause = FIRST_PAUSE;
        }
        tracing::info!(%error, "device lost, looking for it");
        let health = course.before;
        course.report.send_modify(|report| {
            // That the port is absent while it is looked for says less than how it was lost.
            let absent = matches!(error, LinkError::NoSuchPort { .. });
            if !(absent && matches!(report.state, LinkState::Lost(_))) {
                report.state = LinkState::Lost(error);
            }
            report.health = Health {
                analysis_drops: report.health.analysis_drops,
                recorder_waits: report.health.recorder_waits,
                ..health
            };
        });
        tokio::select! {
            () = course.stop.wished() => return Ok(()),
            () = tokio::time::sleep(pause) => {}
        }
        pause = (pause * 2).min(LAST_PAUSE);
    }
}
