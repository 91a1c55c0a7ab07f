//! What the link has counted.

use keyway_protocol::Counts;

/// Counts since the link was started, over all its connections.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Health {
    /// Bytes received.
    pub bytes: u64,
    /// Sound frames.
    pub frames: u64,
    /// Frames with a wrong checksum.
    pub checksum_failures: u64,
    /// Runs of bytes thrown away: bad framing, too long, or joined in the middle.
    pub discards: u64,
    /// Sound frames of unknown type.
    pub unknown: u64,
    /// Sound frames whose fields make no sense here.
    pub malformed: u64,
    /// Places where the sample index jumped.
    pub gaps: u64,
    /// Samples per channel missing at those places.
    pub lost_samples: u64,
    /// Samples per channel that the device says it dropped; they are among the lost.
    pub device_overruns: u64,
    /// Blocks the analysis was too slow to take.
    pub analysis_drops: u64,
    /// Times the link had to wait for the recorder.
    pub recorder_waits: u64,
    /// Times the device was found again after it had gone.
    pub reconnections: u64,
}

impl Health {
    /// Adds what a decoder counted.
    #[must_use]
    pub fn with(mut self, counts: Counts) -> Self {
        self.bytes += counts.bytes;
        self.frames += counts.frames;
        self.checksum_failures += counts.checksum_failures;
        self.discards += counts.discards + counts.overlong;
        self.unknown += counts.unknown;
        self.malformed += counts.malformed;
        self
    }
}
