//! Makes the samples of a virtual scope in step with the wall clock, on a thread of its own, and
//! puts them into the device's finite buffer. When the host does not empty it, samples are dropped
//! and the loss is told with its exact indices, as a real scope would.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "elapsed time times a rate below 1e7 Hz stays far below 2^53 for a century"
)]

use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, TryRecvError, bounded};
use keyway_protocol::{Encoder, MAX_FRAME, Message, Overrun, StreamHeader};
use tokio::sync::mpsc;

use super::device::{Command, Plan, write};
use super::source::SampleSource;

/// Frames the device's buffer holds: 2 MiB of the common 8 KiB frames, a third of a second at
/// 8 × 200 kS/s. The price of a larger one is only memory.
const BUFFERED_FRAMES: usize = 256;
/// Requests that may wait for the sampler; the host sends a handful.
const COMMANDS: usize = 16;
/// Header and description are repeated this often, more than the two a second that are promised.
const HEADER_EVERY: Duration = Duration::from_millis(400);
/// Longest sleep: bounds the delay of commands and headers at low rates.
const LONGEST_SLEEP: Duration = Duration::from_millis(20);
/// Shortest sleep: several frames are made at one waking at high rates.
const SHORTEST_SLEEP: Duration = Duration::from_millis(2);
/// A simulator that cannot keep up falls behind the wall clock rather than skip simulated time:
/// once this late, it stops trying to catch up.
const LATEST: Duration = Duration::from_millis(250);
/// How long an unpaced sampler waits for room.
const ROOM: Duration = Duration::from_micros(100);

/// How fast samples are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pacing {
    /// As a real scope: at the rate, dropping what the host does not take.
    RealTime,
    /// As fast as the host takes them, dropping none; for tests and benchmarks.
    Unpaced,
}

/// Frames on their way to the host.
#[derive(Debug)]
pub(crate) struct Chunk {
    /// Stream they belong to.
    pub(crate) stream: u8,
    /// Whole frames.
    pub(crate) bytes: Vec<u8>,
}

/// The sampler's handles; the thread ends when they are dropped.
pub(crate) struct Sampler {
    pub(crate) commands: Sender<Command>,
    /// The device's buffer: [`BUFFERED_FRAMES`] frames; when full, see [`Pacing`].
    pub(crate) chunks: mpsc::Receiver<Chunk>,
}

impl Sampler {
    /// Starts the thread.
    ///
    /// # Errors
    /// If the system has no thread to give.
    pub(crate) fn spawn(
        source: Box<dyn SampleSource>,
        description: Arc<[u8]>,
        pacing: Pacing,
    ) -> std::io::Result<Self> {
        let (commands, received) = bounded(COMMANDS);
        let (sender, chunks) = mpsc::channel(BUFFERED_FRAMES);
        let planes = vec![Vec::new(); source.channels().len()];
        let worker = Worker {
            source,
            planes,
            description,
            pacing,
            encoder: Box::new(Encoder::new()),
            commands: received,
            chunks: sender,
        };
        // Ends by itself when the command channel is dropped, within one sleep.
        let _thread = std::thread::Builder::new()
            .name("virtual-scope".to_owned())
            .spawn(move || worker.run())?;
        Ok(Self { commands, chunks })
    }
}

struct Worker {
    source: Box<dyn SampleSource>,
    planes: Vec<Vec<i16>>,
    description: Arc<[u8]>,
    pacing: Pacing,
    encoder: Box<Encoder>,
    commands: Receiver<Command>,
    chunks: mpsc::Sender<Chunk>,
}

/// Where a stream stands.
struct Progress {
    plan: Plan,
    /// Index of the next sample.
    index: u64,
    /// Moment at which sample 0 was due.
    origin: Instant,
    next_header: Instant,
    /// Samples dropped since the last overrun message, and where that began.
    dropped: u64,
    dropped_from: u64,
}

impl Worker {
    fn run(mut self) {
        let Ok(mut command) = self.commands.recv() else {
            return;
        };
        loop {
            let next = match command {
                Command::Start(plan) => self.stream(plan),
                Command::Stop => self.commands.recv().ok(),
            };
            let Some(next) = next else { return };
            command = next;
        }
    }

    /// Streams until the next command; none when nobody can command any more.
    fn stream(&mut self, plan: Plan) -> Option<Command> {
        self.source.set_rate(plan.rate_hz);
        let now = Instant::now();
        let frame = Duration::from_secs_f64(f64::from(plan.samples_per_frame) / plan.rate_hz);
        let sleep = frame.clamp(SHORTEST_SLEEP, LONGEST_SLEEP);
        let mut at = Progress {
            plan,
            index: 0,
            origin: now,
            next_header: now,
            dropped: 0,
            dropped_from: 0,
        };
        loop {
            match self.commands.try_recv() {
                Ok(command) => return Some(command),
                Err(TryRecvError::Disconnected) => return None,
                Err(TryRecvError::Empty) => {}
            }
            self.repeat_header(&mut at);
            match self.pacing {
                Pacing::Unpaced => self.make_frame(&mut at),
                Pacing::RealTime => {
                    let woken = Instant::now();
                    while self.is_due(&mut at) && woken.elapsed() < LONGEST_SLEEP {
                        self.make_frame(&mut at);
                    }
                    if !self.is_due(&mut at) {
                        std::thread::sleep(sleep);
                    }
                }
            }
        }
    }

    fn is_due(&self, at: &mut Progress) -> bool {
        let end = at.index + u64::from(at.plan.samples_per_frame);
        let due = Duration::from_secs_f64(end as f64 / at.plan.rate_hz);
        let elapsed = at.origin.elapsed();
        if elapsed > due + LATEST {
            at.origin += elapsed - due - LATEST;
        }
        elapsed >= due
    }

    fn repeat_header(&mut self, at: &mut Progress) {
        let now = Instant::now();
        if now < at.next_header {
            return;
        }
        at.next_header = now + HEADER_EVERY;
        // The first comes right after a hello, which has just been answered in full.
        let mut bytes = if at.index == 0 {
            Vec::new()
        } else {
            self.description.to_vec()
        };
        let header = Message::StreamHeader(StreamHeader {
            stream: at.plan.stream,
            format: at.plan.format,
            samples_per_frame: at.plan.samples_per_frame,
            mask: at.plan.mask,
            rate_hz: at.plan.rate_hz,
            total: at.index,
        });
        write(&mut self.encoder, &header, &mut bytes);
        // In a full buffer there is no room for it; another follows.
        let _sent = self.push(at.plan.stream, bytes);
    }

    fn make_frame(&mut self, at: &mut Progress) {
        let count = u64::from(at.plan.samples_per_frame);
        self.planes.iter_mut().for_each(Vec::clear);
        self.source
            .fill(usize::from(at.plan.samples_per_frame), &mut self.planes);
        let first_index = at.index;
        at.index += count;
        if !self.send(first_index, at) {
            if at.dropped == 0 {
                at.dropped_from = first_index;
            }
            at.dropped += count;
        }
    }

    /// Sends the planes, after the news of what was dropped before them.
    fn send(&mut self, first_index: u64, at: &mut Progress) -> bool {
        let stream = at.plan.stream;
        if at.dropped > 0 {
            let overrun = Overrun {
                stream,
                first_index: at.dropped_from,
                count: at.dropped,
            };
            let mut bytes = Vec::new();
            write(&mut self.encoder, &Message::Overrun(overrun), &mut bytes);
            if !self.push(stream, bytes) {
                return false;
            }
            at.dropped = 0;
        }
        let mask = at.plan.mask;
        let enabled = (0u32..)
            .zip(&self.planes)
            .filter(|(n, _)| mask & (1 << n) != 0)
            .map(|(_, p)| &p[..]);
        let mut bytes = vec![0; MAX_FRAME];
        let written =
            self.encoder
                .encode_samples(stream, first_index, at.plan.format, enabled, &mut bytes);
        match written {
            Ok(length) => {
                bytes.truncate(length);
                self.push(stream, bytes)
            }
            // A source that breaks its own promise of resolution loses those samples.
            Err(error) => {
                tracing::warn!(%error, "virtual scope cannot send its samples");
                false
            }
        }
    }

    fn push(&mut self, stream: u8, bytes: Vec<u8>) -> bool {
        let mut chunk = Chunk { stream, bytes };
        loop {
            match self.chunks.try_send(chunk) {
                Ok(()) => return true,
                Err(mpsc::error::TrySendError::Closed(_)) => return false,
                Err(mpsc::error::TrySendError::Full(back)) => chunk = back,
            }
            if self.pacing == Pacing::RealTime || !self.commands.is_empty() {
                return false;
            }
            std::thread::sleep(ROOM);
        }
    }
}
