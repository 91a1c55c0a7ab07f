//! Sample frames become blocks; jumps of the index become gaps.

use std::sync::Arc;

use keyway_protocol::{SampleFormat, Samples, StreamHeader};

use crate::block::SampleBlock;
use crate::health::Health;

/// Puts the frames of one stream together.
#[derive(Debug)]
pub(crate) struct Assembly {
    /// Device's number of the stream.
    pub(crate) stream: u8,
    generation: u64,
    format: SampleFormat,
    planes: usize,
    /// Index the next frame should begin with; none before the first, for a late listener.
    next_index: Option<u64>,
}

impl Assembly {
    pub(crate) fn new(header: &StreamHeader, generation: u64) -> Self {
        Self {
            stream: header.stream,
            generation,
            format: header.format,
            planes: header.mask.count_ones() as usize,
            next_index: None,
        }
    }

    /// The block in `samples`, or none if they do not belong here or run backwards, which is
    /// counted as malformed.
    pub(crate) fn take(
        &mut self,
        samples: &Samples<'_>,
        health: &mut Health,
    ) -> Option<Arc<SampleBlock>> {
        if samples.stream != self.stream {
            return None;
        }
        let expected = self.next_index.unwrap_or(samples.first_index);
        let (Some(count), Some(planes)) = (
            samples.count(self.format, self.planes),
            samples.planes(self.format, self.planes),
        ) else {
            health.malformed += 1;
            return None;
        };
        let Some(missing) = samples.first_index.checked_sub(expected) else {
            health.malformed += 1;
            return None;
        };
        if missing > 0 {
            health.gaps += 1;
            health.lost_samples = health.lost_samples.saturating_add(missing);
        }
        self.next_index = Some(samples.first_index + count as u64);
        Some(Arc::new(SampleBlock {
            generation: self.generation,
            first_index: samples.first_index,
            channels: planes
                .map(|plane| self.format.unpack(plane).collect())
                .collect(),
        }))
    }
}
