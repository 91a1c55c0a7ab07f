//! Plain data that leaves the link: what the device is, what it streams, and the samples.

use serde::{Deserialize, Serialize};

/// One input of the device, as the device describes it.
/// Physical value at the input = `raw * scale + offset`, in `unit`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChannelInfo {
    /// Name printed at the socket, for example "IN 1".
    pub name: String,
    /// Unit of the scaled value at the input: "V", "A", "kPa".
    pub unit: String,
    /// Units per count.
    pub scale: f64,
    /// Value at count zero.
    pub offset: f64,
    /// Resolution, 1 to 16 bits.
    pub bits: u8,
    /// Lowest value the input can measure.
    pub low: f64,
    /// Highest value the input can measure.
    pub high: f64,
}

/// What the device said of itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeviceInfo {
    /// Who made it.
    pub maker: String,
    /// What it is called.
    pub model: String,
    /// Serial number, empty if it has none.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// All inputs, in device order.
    pub channels: Vec<ChannelInfo>,
    /// Highest sample rate in samples per second and channel.
    pub max_rate_hz: f64,
}

/// What one running stream carries. A new stream (a restart, a reconnection, other settings) has a new one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StreamInfo {
    /// The device.
    pub device: DeviceInfo,
    /// Number of this stream since the link was started, counted by the host; never repeats.
    pub generation: u64,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Device channel numbers in the order in which blocks carry them.
    pub enabled: Vec<usize>,
}

/// Consecutive samples of every enabled channel.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleBlock {
    /// Generation of the stream it belongs to.
    pub generation: u64,
    /// Index of the first sample since the stream's start.
    pub first_index: u64,
    /// Planar raw samples, one vector per enabled channel, all of one length.
    pub channels: Vec<Vec<i16>>,
}

impl SampleBlock {
    /// Samples per channel.
    pub fn len(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }

    /// Whether there are no samples at all.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Index after the last sample.
    pub fn end_index(&self) -> u64 {
        self.first_index + self.len() as u64
    }
}
