//! The time of every sample of a stream, from its index and nothing else.

use crate::block::SampleBlock;
use crate::recording::cursor::{Entry, Item};
use crate::recording::error::ReadError;
use crate::recording::reader::Recording;
use std::ops::Range;
use std::time::Duration;

/// Finer than any block.
const FINE: Duration = Duration::from_micros(10);

/// Seconds since the start of the recording by the index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Clock {
    /// Time of the first sample of the stream that can be read.
    pub begin: f64,
    /// Its index.
    pub first: u64,
    /// Samples a second.
    pub rate: f64,
}

impl Clock {
    /// The clock of the stream that a block belongs to, which begins the stream.
    pub fn at(at: Duration, block: &SampleBlock, rate: f64) -> Self {
        Self {
            begin: at.as_secs_f64(),
            first: block.first_index,
            rate,
        }
    }

    /// The clock of a stream that was entered in its middle, at this time: its first block is looked
    /// for by halving the time before.
    pub fn search(
        recording: &Recording,
        generation: u64,
        entered: Duration,
        rate: f64,
    ) -> Result<Option<Self>, ReadError> {
        let mut entries = recording.entries()?;
        let mut first_after =
            |from: Duration| -> Result<Option<(Duration, SampleBlock)>, ReadError> {
                match entries.seek(from) {
                    Ok(()) | Err(ReadError::Damaged { .. }) => {}
                    Err(e) => return Err(e),
                }
                for entry in entries.by_ref() {
                    match entry {
                        Ok(Entry {
                            at,
                            item: Item::Block(block),
                        }) => return Ok(Some((at, block))),
                        Ok(_) | Err(ReadError::Damaged { .. }) => {}
                        Err(e) => return Err(e),
                    }
                }
                Ok(None)
            };
        // At `low` an earlier stream is met, or nothing lies before it; at `high` this one.
        let (mut low, mut high) = (Duration::ZERO, entered);
        let mut found = None;
        let mut probe = low;
        loop {
            match first_after(probe)? {
                Some((at, block)) if block.generation == generation => {
                    high = probe;
                    found = Some(Self::at(at, &block, rate));
                }
                _ => low = probe,
            }
            if high.saturating_sub(low) <= FINE {
                return Ok(found);
            }
            probe = low + (high - low) / 2;
        }
    }

    /// Seconds of a sample.
    pub fn seconds(&self, index: u64) -> f64 {
        self.begin + index.saturating_sub(self.first) as f64 / self.rate
    }

    /// The samples of a block from this time on and before that.
    pub fn within(&self, block: &SampleBlock, span: &Range<f64>) -> Range<u64> {
        let (begin, end) = (block.first_index, block.end_index());
        let place = |seconds: f64| {
            let mut index = self.nearest(seconds).clamp(begin, end);
            // The estimate may be one off either way; what counts is the time that is written.
            while index > begin && self.seconds(index - 1) >= seconds {
                index -= 1;
            }
            while index < end && self.seconds(index) < seconds {
                index += 1;
            }
            index
        };
        place(span.start)..place(span.end)
    }

    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a float cast saturates, and the result is clamped to a block"
    )]
    fn nearest(&self, seconds: f64) -> u64 {
        self.first
            .saturating_add(((seconds - self.begin) * self.rate).round() as u64)
    }
}
