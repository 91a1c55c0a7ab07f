//! What the virtual scope asks of whatever makes its samples.

use crate::block::ChannelInfo;

/// A maker of planar raw samples; the simulated engine is one, a test ramp another.
pub trait SampleSource: Send {
    /// The channels this source can deliver, in device order.
    fn channels(&self) -> Vec<ChannelInfo>;

    /// Prepares to deliver at `rate_hz` samples per second and channel.
    fn set_rate(&mut self, rate_hz: f64);

    /// Appends `count` samples to each channel's vector (one vector per channel, device order).
    /// Simulated time advances by `count / rate`.
    fn fill(&mut self, count: usize, out: &mut [Vec<i16>]);
}
