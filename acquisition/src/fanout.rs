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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::block::DeviceInfo;

    fn stream(generation: u64) -> Feed {
        let device = DeviceInfo {
            maker: String::new(),
            model: String::new(),
            serial: String::new(),
            firmware: String::new(),
            channels: Vec::new(),
            max_rate_hz: 1.0,
        };
        Feed::Stream(Arc::new(StreamInfo {
            device,
            generation,
            rate_hz: 1.0,
            enabled: vec![0],
        }))
    }

    fn block(first_index: u64) -> Feed {
        Feed::Block(Arc::new(SampleBlock {
            generation: 1,
            first_index,
            channels: vec![vec![0]],
        }))
    }

    /// `S1` for a stream, a number for a block, `E` for an end.
    fn told(receiver: &Receiver<Feed>) -> Vec<String> {
        receiver
            .try_iter()
            .map(|feed| match feed {
                Feed::Stream(stream) => format!("S{}", stream.generation),
                Feed::Block(block) => block.first_index.to_string(),
                Feed::Ended => "E".to_owned(),
            })
            .collect()
    }

    #[tokio::test]
    async fn a_full_analysis_lane_drops_blocks_but_no_announcement() {
        let (mut fanout, analysis) = Fanout::new(RecorderSlot::default());
        let (_hand, mut stop) = Stop::new();
        fanout.send(stream(1), &mut stop).await;
        for index in 0..ANALYSIS_CAPACITY as u64 + 4 {
            fanout.send(block(index), &mut stop).await;
        }
        fanout.send(Feed::Ended, &mut stop).await;
        fanout.send(stream(2), &mut stop).await;
        assert_eq!(fanout.analysis_drops, 5);
        assert_eq!(told(&analysis).len(), ANALYSIS_CAPACITY);
        fanout.send(block(7), &mut stop).await;
        assert_eq!(told(&analysis), ["E", "S2", "7"]);
    }

    #[tokio::test]
    async fn a_recorder_that_joins_is_greeted_and_one_that_leaves_is_let_go() {
        let slot = RecorderSlot::default();
        let (mut fanout, _analysis) = Fanout::new(slot.clone());
        let (_hand, mut stop) = Stop::new();
        let early = slot.attach();
        fanout.send(Feed::Ended, &mut stop).await;
        fanout.send(stream(1), &mut stop).await;
        fanout.send(block(0), &mut stop).await;
        assert_eq!(told(&early), ["S1", "0"]);
        let late = slot.attach();
        fanout.send(block(1), &mut stop).await;
        fanout.send(Feed::Ended, &mut stop).await;
        assert_eq!(told(&early), [] as [&str; 0]);
        assert_eq!(told(&late), ["S1", "1", "E"]);
        slot.detach();
        assert!(late.recv().is_err());
        fanout.close();
        assert!(slot.attach().recv().is_err());
    }

    #[tokio::test(start_paused = true)]
    async fn a_full_recorder_lane_makes_the_link_wait_and_loses_nothing() {
        let slot = RecorderSlot::default();
        let (mut fanout, _analysis) = Fanout::new(slot.clone());
        let (hand, mut stop) = Stop::new();
        let recorder = slot.attach();
        fanout.send(stream(1), &mut stop).await;
        let sent = tokio::spawn(async move {
            for index in 0..RECORDER_CAPACITY as u64 + 2 {
                fanout.send(block(index), &mut stop).await;
            }
            fanout
        });
        tokio::time::sleep(Duration::from_secs(1)).await;
        assert!(!sent.is_finished());
        let mut all = told(&recorder);
        let fanout = sent.await.unwrap();
        all.extend(told(&recorder));
        let expected = (0..RECORDER_CAPACITY + 2).map(|index| index.to_string());
        assert_eq!(
            all,
            std::iter::once("S1".to_owned())
                .chain(expected)
                .collect::<Vec<_>>()
        );
        assert_eq!(fanout.recorder_waits, 1);
        drop(hand);
    }
}
