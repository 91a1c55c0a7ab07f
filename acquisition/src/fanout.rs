//! Hands what the link decodes to the recorder and to the analysis.
//!
//! | lane | capacity | when full |
//! |---|---|---|
//! | recorder | [`RECORDER_CAPACITY`] messages | the link waits: nothing is lost here, the pressure reaches the device, which counts its own overruns |
//! | analysis | [`ANALYSIS_CAPACITY`] messages | whole blocks are dropped and counted; the next block's first index shows the gap |

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crate::block::{SampleBlock, StreamInfo};
use crate::stop::Stop;
use crossbeam_channel::{Receiver, Sender, TrySendError, bounded};

/// Messages the recorder may lag: about ten seconds at 200 kS/s and 512 samples a frame.
/// The price is at most 64 MiB.
pub const RECORDER_CAPACITY: usize = 4096;

/// Messages the analysis may lag: about two and a half seconds at 200 kS/s and 512 samples a
/// frame. Longer would only show the technician the past.
pub const ANALYSIS_CAPACITY: usize = 1024;

/// How often a full recorder lane is tried again.
const RETRY: Duration = Duration::from_millis(1);

/// What flows down a lane.
#[derive(Debug, Clone)]
pub enum Feed {
    /// A new stream begins; all blocks up to the next `Stream` belong to it.
    Stream(Arc<StreamInfo>),
    /// Samples.
    Block(Arc<SampleBlock>),
    /// The stream has ended; another may follow, when the device comes back. When the link itself
    /// is stopped the channel is disconnected.
    Ended,
}

struct RecorderLane {
    sender: Sender<Feed>,
    /// Whether it has been told of the current stream.
    greeted: bool,
}

#[derive(Default)]
struct Slot {
    lane: Option<RecorderLane>,
    /// The link has ended: whoever attaches now finds the lane ended too.
    closed: bool,
}

/// The recorder's side of the fan-out, shared with the handle that attaches and detaches it.
#[derive(Clone, Default)]
pub(crate) struct RecorderSlot {
    slot: Arc<Mutex<Slot>>,
}

impl RecorderSlot {
    /// A new recorder; one that was attached before is cut off.
    pub(crate) fn attach(&self) -> Receiver<Feed> {
        let (sender, receiver) = bounded(RECORDER_CAPACITY);
        let mut slot = self.lock();
        if !slot.closed {
            slot.lane = Some(RecorderLane {
                sender,
                greeted: false,
            });
        }
        receiver
    }

    pub(crate) fn detach(&self) {
        self.lock().lane = None;
    }

    fn lock(&self) -> MutexGuard<'_, Slot> {
        self.slot.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Gives the message back if the lane is full. No recorder, or one that has gone, takes anything.
    fn offer(&self, feed: Feed, current: Option<&Arc<StreamInfo>>) -> Result<(), Feed> {
        let mut slot = self.lock();
        let Some(lane) = slot.lane.as_mut() else {
            return Ok(());
        };
        if !lane.greeted && !matches!(feed, Feed::Stream(_)) {
            // Before any stream there is nothing worth recording.
            let Some(current) = current else {
                return Ok(());
            };
            match lane.sender.try_send(Feed::Stream(Arc::clone(current))) {
                Ok(()) => lane.greeted = true,
                Err(TrySendError::Full(_)) => return Err(feed),
                Err(TrySendError::Disconnected(_)) => {
                    slot.lane = None;
                    return Ok(());
                }
            }
        }
        match lane.sender.try_send(feed) {
            Ok(()) => {
                lane.greeted = true;
                Ok(())
            }
            Err(TrySendError::Full(feed)) => Err(feed),
            Err(TrySendError::Disconnected(_)) => {
                slot.lane = None;
                Ok(())
            }
        }
    }
}

/// Both lanes, as the link sees them.
pub(crate) struct Fanout {
    analysis: Sender<Feed>,
    /// Announcements that found the analysis lane full; unlike blocks they are never dropped.
    owed: VecDeque<Feed>,
    recorder: RecorderSlot,
    current: Option<Arc<StreamInfo>>,
    /// Blocks the analysis did not get.
    pub(crate) analysis_drops: u64,
    /// Times the recorder made the link wait.
    pub(crate) recorder_waits: u64,
}

impl Fanout {
    /// The lanes, and the end of the analysis lane.
    pub(crate) fn new(recorder: RecorderSlot) -> (Self, Receiver<Feed>) {
        let (analysis, receiver) = bounded(ANALYSIS_CAPACITY);
        let fanout = Self {
            analysis,
            owed: VecDeque::new(),
            recorder,
            current: None,
            analysis_drops: 0,
            recorder_waits: 0,
        };
        (fanout, receiver)
    }

    /// Hands `feed` to both lanes; waits for the recorder, unless `stop` becomes true.
    pub(crate) async fn send(&mut self, feed: Feed, stop: &mut Stop) {
        match &feed {
            Feed::Stream(stream) => self.current = Some(Arc::clone(stream)),
            Feed::Ended if self.current.is_none() => return,
            Feed::Block(_) | Feed::Ended => {}
        }
        self.analyse(feed.clone());
        let ended = matches!(feed, Feed::Ended);
        let mut waiting = self.recorder.offer(feed, self.current.as_ref());
        if waiting.is_err() {
            self.recorder_waits += 1;
        }
        while let Err(feed) = waiting {
            tokio::select! {
                () = stop.wished() => break,
                () = tokio::time::sleep(RETRY) => {}
            }
            waiting = self.recorder.offer(feed, self.current.as_ref());
        }
        if ended {
            self.current = None;
        }
    }

    /// Ends the recorder lane for good; the analysis lane ends when this is dropped.
    pub(crate) fn close(self) {
        let mut slot = self.recorder.lock();
        slot.lane = None;
        slot.closed = true;
    }

    fn analyse(&mut self, feed: Feed) {
        while let Some(announcement) = self.owed.pop_front() {
            if let Err(TrySendError::Full(announcement)) = self.analysis.try_send(announcement) {
                self.owed.push_front(announcement);
                break;
            }
        }
        let is_block = matches!(feed, Feed::Block(_));
        if !self.owed.is_empty() && is_block {
            self.analysis_drops += 1;
        } else if !self.owed.is_empty() {
            self.owed.push_back(feed);
        } else if let Err(TrySendError::Full(feed)) = self.analysis.try_send(feed) {
            if is_block {
                self.analysis_drops += 1;
            } else {
                self.owed.push_back(feed);
            }
        }
    }
}
