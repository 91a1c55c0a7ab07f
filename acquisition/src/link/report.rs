//! What is told of the link while it runs.

use std::sync::Arc;

use crate::block::{DeviceInfo, StreamInfo};
use crate::error::LinkError;
use crate::health::Health;

/// Where the link stands.
#[derive(Debug, Clone, PartialEq)]
pub enum LinkState {
    /// Opening or shaking hands.
    Connecting,
    /// Samples arrive.
    Streaming,
    /// The device went away and is looked for; its error says what was seen.
    Lost(LinkError),
    /// Given up, and why.
    Failed(LinkError),
    /// Stopped as asked.
    Stopped,
}

/// The link at one moment. Watched: only the latest is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkReport {
    /// The port's path; for the embedded virtual scope, its pseudo-terminal's.
    pub source: String,
    /// Where it stands.
    pub state: LinkState,
    /// The device, once it has named itself.
    pub device: Option<Arc<DeviceInfo>>,
    /// The running stream, or the last.
    pub stream: Option<Arc<StreamInfo>>,
    /// Counts since the start.
    pub health: Health,
}

impl LinkReport {
    pub(crate) fn new(source: String) -> Self {
        Self {
            source,
            state: LinkState::Connecting,
            device: None,
            stream: None,
            health: Health::default(),
        }
    }
}
