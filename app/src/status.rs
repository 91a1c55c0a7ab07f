//! What the screens are told of the link and of the recording: plain data.

use std::path::PathBuf;
use std::sync::Arc;

/// State of the sample source.
#[derive(Debug, Clone, PartialEq)]
pub enum LinkState {
    /// Nothing chosen.
    Idle,
    /// Opening or shaking hands.
    Connecting,
    /// Samples arrive.
    Streaming,
    /// The device went away; trying again.
    Lost(Arc<str>),
    /// Given up, with one sentence that says what to do.
    Failed(Arc<str>),
    /// A recording is being played.
    Playing,
}

/// The link as the screen shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkStatus {
    /// "Virtual scope", a port path, or a file name.
    pub source: String,
    /// State.
    pub state: LinkState,
    /// Enabled channels.
    pub channels: usize,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Samples per channel lost on the way.
    pub lost: u64,
    /// Frames with a wrong checksum.
    pub bad_frames: u64,
    /// Samples the device itself had to drop.
    pub overruns: u64,
}

/// The recording as the screen shows it.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum RecordingStatus {
    /// Not recording.
    #[default]
    Off,
    /// Recording.
    On {
        /// File.
        path: PathBuf,
        /// Seconds recorded.
        seconds: f64,
        /// Bytes written.
        bytes: u64,
    },
    /// Stopped by a fault, with one sentence that says what to do; all that was written is kept.
    Failed(Arc<str>),
}
