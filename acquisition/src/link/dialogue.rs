//! The conversation with a device: hello, identity and channels, configure, start, samples.
//! A state machine over messages; it does no I/O and is told the time.

use std::sync::Arc;
use std::time::{Duration, Instant};

use keyway_protocol::{
    Channel, Configure, Hello, Identity, Message, Refusal, StreamHeader, VERSION, kind,
};

use super::Settings;
use super::assembly::Assembly;
use crate::block::{ChannelInfo, DeviceInfo, SampleBlock, StreamInfo};
use crate::error::LinkError;
use crate::health::Health;

/// A request is repeated this often: a board that resets when its port is opened is deaf at first.
const REPEAT: Duration = Duration::from_millis(250);
/// A device has this long to name itself; boards that reset on opening take about two seconds
/// (common practice).
const HELLO_PATIENCE: Duration = Duration::from_secs(4);
/// A device has this long to answer any later request.
const REQUEST_PATIENCE: Duration = Duration::from_secs(2);
/// Headers come twice a second, so four missing in a row mean that nobody is there.
const QUIET: Duration = Duration::from_secs(2);

/// What comes out of the conversation.
#[derive(Debug)]
pub(crate) enum Event {
    /// The device has named itself and all of its channels.
    Device(Arc<DeviceInfo>),
    /// A stream begins.
    Stream(Arc<StreamInfo>),
    /// Samples.
    Block(Arc<SampleBlock>),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Phase {
    Greeting,
    Configuring,
    /// Start was sent; whether it was acknowledged.
    Starting(bool),
    Streaming,
}

/// One conversation, from hello until the connection ends.
#[derive(Debug)]
pub(crate) struct Dialogue {
    settings: Settings,
    phase: Phase,
    since: Instant,
    asked: Option<Instant>,
    tag: u8,
    heard: Instant,
    identity: Option<DeviceInfo>,
    announced: usize,
    channels: Vec<Option<ChannelInfo>>,
    device: Option<Arc<DeviceInfo>>,
    assembly: Option<Assembly>,
    /// Generation the next stream gets.
    pub(crate) next_generation: u64,
    /// Gaps, losses, overruns and senseless fields of this connection.
    pub(crate) health: Health,
}

impl Dialogue {
    pub(crate) fn new(settings: Settings, next_generation: u64, now: Instant) -> Self {
        Self {
            settings,
            phase: Phase::Greeting,
            since: now,
            asked: None,
            tag: 0,
            heard: now,
            identity: None,
            announced: 0,
            channels: Vec::new(),
            device: None,
            assembly: None,
            next_generation,
            health: Health::default(),
        }
    }

    /// Takes one message from the device.
    pub(crate) fn take(
        &mut self,
        message: &Message<'_>,
        now: Instant,
    ) -> Result<Option<Event>, LinkError> {
        match message {
            Message::Identity(identity) => self.identity(identity)?,
            Message::Channel(channel) => self.channel(channel),
            Message::Refusal(refusal) => self.refusal(refusal)?,
            Message::Acknowledgement(ack) => {
                let ours = ack.tag == self.tag;
                match (self.phase, ack.request) {
                    (Phase::Configuring, kind::CONFIGURE) if ours => {
                        self.enter(Phase::Starting(false), now);
                    }
                    (Phase::Starting(false), kind::START) if ours => {
                        self.phase = Phase::Starting(true);
                    }
                    _ => {}
                }
            }
            Message::StreamHeader(header) => return Ok(self.header(header)),
            Message::Samples(samples) => {
                let health = &mut self.health;
                let block = self.assembly.as_mut().and_then(|a| a.take(samples, health));
                return Ok(block.map(Event::Block));
            }
            Message::Overrun(overrun) => {
                if self
                    .assembly
                    .as_ref()
                    .is_some_and(|a| a.stream == overrun.stream)
                {
                    self.health.device_overruns =
                        self.health.device_overruns.saturating_add(overrun.count);
                }
            }
            // A host's own words, echoed by a line that is not raw, mean nothing.
            Message::Hello(_)
            | Message::Configure(_)
            | Message::Start { .. }
            | Message::Stop { .. } => {}
        }
        self.introduced(now)
    }

    fn enter(&mut self, phase: Phase, now: Instant) {
        self.phase = phase;
        self.since = now;
        self.asked = None;
        self.tag = self.tag.wrapping_add(1);
    }

    fn identity(&mut self, identity: &Identity<'_>) -> Result<(), LinkError> {
        if identity.version.0 != VERSION.0 {
            return Err(LinkError::WrongVersion {
                device: identity.version,
            });
        }
        if self.identity.is_none() {
            self.announced = usize::from(identity.channels);
            self.channels.resize(self.announced, None);
            self.identity = Some(DeviceInfo {
                maker: identity.maker.to_owned(),
                model: identity.model.to_owned(),
                serial: identity.serial.to_owned(),
                firmware: identity.firmware.to_owned(),
                channels: Vec::new(),
                max_rate_hz: identity.max_rate_hz,
            });
        }
        Ok(())
    }

    fn channel(&mut self, channel: &Channel<'_>) {
        if let Some(slot) = self.channels.get_mut(usize::from(channel.index)) {
            *slot = Some(ChannelInfo {
                name: channel.name.to_owned(),
                unit: channel.unit.to_owned(),
                scale: channel.scale,
                offset: channel.offset,
                bits: channel.bits,
                low: channel.low,
                high: channel.high,
            });
        }
    }

    fn refusal(&self, refusal: &Refusal<'_>) -> Result<(), LinkError> {
        let ours = match self.phase {
            Phase::Greeting => refusal.request == kind::HELLO,
            Phase::Configuring => refusal.request == kind::CONFIGURE && refusal.tag == self.tag,
            Phase::Starting(_) => refusal.request == kind::START && refusal.tag == self.tag,
            Phase::Streaming => false,
        };
        if ours {
            return Err(LinkError::Refused {
                reason: refusal.reason,
                text: refusal.text.to_owned(),
            });
        }
        Ok(())
    }

    /// Goes on to configure once identity and all channels are known.
    fn introduced(&mut self, now: Instant) -> Result<Option<Event>, LinkError> {
        if self.phase != Phase::Greeting || self.channels.iter().any(Option::is_none) {
            return Ok(None);
        }
        let Some(mut device) = self.identity.take() else {
            return Ok(None);
        };
        device.channels = self.channels.iter().flatten().cloned().collect();
        let present = device.channels.len();
        if let Some(&channel) = self.settings.channels.iter().find(|c| **c >= present) {
            return Err(LinkError::NoSuchChannel { channel, present });
        }
        let device = Arc::new(device);
        self.device = Some(Arc::clone(&device));
        self.enter(Phase::Configuring, now);
        Ok(Some(Event::Device(device)))
    }

    fn header(&mut self, header: &StreamHeader) -> Option<Event> {
        let device = self.device.as_ref()?;
        let known = self
            .assembly
            .as_ref()
            .is_some_and(|a| a.stream == header.stream);
        // Before our start is acknowledged, a header tells of a stream somebody else asked for.
        if known || !matches!(self.phase, Phase::Starting(true) | Phase::Streaming) {
            return None;
        }
        let enabled: Vec<usize> = (0..32).filter(|n| header.mask & (1 << n) != 0).collect();
        if enabled.iter().any(|n| *n >= device.channels.len()) {
            self.health.malformed += 1;
            return None;
        }
        let generation = self.next_generation;
        self.next_generation += 1;
        self.phase = Phase::Streaming;
        self.assembly = Some(Assembly::new(header, generation));
        Some(Event::Stream(Arc::new(StreamInfo {
            device: Arc::unwrap_or_clone(Arc::clone(device)),
            generation,
            rate_hz: header.rate_hz,
            enabled,
        })))
    }

    /// Notes that bytes came, whatever they were.
    pub(crate) fn hear(&mut self, now: Instant) {
        self.heard = now;
    }

    /// What is due to be said now, if anything.
    ///
    /// # Errors
    /// When the device has had long enough; `bytes` and `frames` are what came so far.
    pub(crate) fn due(
        &mut self,
        now: Instant,
        bytes: u64,
        frames: u64,
    ) -> Result<Option<Message<'static>>, LinkError> {
        let waited = now.saturating_duration_since(self.since);
        let patience = match self.phase {
            Phase::Greeting => HELLO_PATIENCE,
            Phase::Configuring | Phase::Starting(_) => REQUEST_PATIENCE,
            Phase::Streaming => {
                let quiet = now.saturating_duration_since(self.heard);
                return if quiet >= QUIET {
                    Err(LinkError::Quiet {
                        seconds: quiet.as_secs(),
                    })
                } else {
                    Ok(None)
                };
            }
        };
        if waited >= patience {
            return Err(self.given_up(bytes, frames));
        }
        if self
            .asked
            .is_some_and(|asked| now.saturating_duration_since(asked) < REPEAT)
        {
            return Ok(None);
        }
        self.asked = Some(now);
        Ok(match self.phase {
            Phase::Greeting => Some(Message::Hello(Hello { version: VERSION })),
            Phase::Configuring => Some(Message::Configure(self.configuration())),
            Phase::Starting(false) => Some(Message::Start { tag: self.tag }),
            Phase::Starting(true) | Phase::Streaming => None,
        })
    }

    fn given_up(&self, bytes: u64, frames: u64) -> LinkError {
        match self.phase {
            Phase::Greeting if bytes == 0 => LinkError::Silent,
            Phase::Greeting if self.identity.is_some() => LinkError::Incomplete {
                announced: self.announced,
                described: self.channels.iter().flatten().count(),
            },
            Phase::Greeting if frames == 0 => LinkError::Foreign { bytes },
            Phase::Greeting => LinkError::NoAnswer {
                request: "name itself",
            },
            Phase::Configuring => LinkError::NoAnswer {
                request: "set itself up",
            },
            Phase::Starting(_) | Phase::Streaming => LinkError::NoAnswer { request: "start" },
        }
    }

    fn configuration(&self) -> Configure {
        let all = 0..self.channels.len();
        let mask = if self.settings.channels.is_empty() {
            all.fold(0, |mask, n| mask | 1 << n)
        } else {
            self.settings
                .channels
                .iter()
                .fold(0, |mask, n| mask | 1 << n)
        };
        Configure {
            tag: self.tag,
            rate_hz: self.settings.rate_hz,
            mask,
            samples_per_frame: self.settings.samples_per_frame,
            format: self.settings.format,
        }
    }

    /// When to ask again what is due.
    pub(crate) fn deadline(&self, now: Instant) -> Instant {
        match (self.phase, self.asked) {
            (Phase::Streaming, _) => self.heard + QUIET,
            (_, Some(asked)) => asked + REPEAT,
            (_, None) => now,
        }
    }
}
