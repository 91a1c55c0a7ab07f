//! The messages, their fields and their bytes.

use crate::error::{EncodeError, Fault};
use crate::frame::MAX_PLANES;
use crate::layout::{Fields, Writer};
use crate::sample::{SampleFormat, Samples};

/// Type bytes. Below 0x80: to the device; from 0x80: from the device.
pub mod kind {
    /// [`super::Hello`].
    pub const HELLO: u8 = 0x01;
    /// [`super::Configure`].
    pub const CONFIGURE: u8 = 0x02;
    /// Start, with a tag.
    pub const START: u8 = 0x03;
    /// Stop, with a tag.
    pub const STOP: u8 = 0x04;
    /// [`super::Identity`].
    pub const IDENTITY: u8 = 0x81;
    /// [`super::Channel`].
    pub const CHANNEL: u8 = 0x82;
    /// [`super::Acknowledgement`].
    pub const ACKNOWLEDGEMENT: u8 = 0x83;
    /// [`super::Refusal`].
    pub const REFUSAL: u8 = 0x84;
    /// [`super::StreamHeader`].
    pub const STREAM_HEADER: u8 = 0x85;
    /// [`super::Samples`].
    pub const SAMPLES: u8 = 0x86;
    /// [`super::Overrun`].
    pub const OVERRUN: u8 = 0x87;
}

/// The host's first words; answered with an identity and all channels, whatever the version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hello {
    /// Version the host speaks, major and minor.
    pub version: (u8, u8),
}

/// How to stream. Stops a running stream.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Configure {
    /// Chosen by the host, echoed in the answer.
    pub tag: u8,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Bit n enables channel n.
    pub mask: u32,
    /// Samples per channel in one frame.
    pub samples_per_frame: u16,
    /// Form of the samples.
    pub format: SampleFormat,
}

/// What the device is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Identity<'a> {
    /// Version the device speaks, major and minor.
    pub version: (u8, u8),
    /// Number of channels, 1 to 32.
    pub channels: u8,
    /// Highest rate in samples per second and channel.
    pub max_rate_hz: f64,
    /// Who made it.
    pub maker: &'a str,
    /// What it is called.
    pub model: &'a str,
    /// Serial number, empty if it has none.
    pub serial: &'a str,
    /// Firmware version.
    pub firmware: &'a str,
}

/// One input. Value = count × scale + offset, in `unit`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Channel<'a> {
    /// Number, from 0.
    pub index: u8,
    /// Resolution, 1 to 16.
    pub bits: u8,
    /// Units per count.
    pub scale: f64,
    /// Value at count zero.
    pub offset: f64,
    /// Lowest value it can measure.
    pub low: f64,
    /// Highest value it can measure.
    pub high: f64,
    /// Name printed at the socket.
    pub name: &'a str,
    /// Unit of the value.
    pub unit: &'a str,
}

/// A request was carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Acknowledgement {
    /// Type of the request.
    pub request: u8,
    /// Its tag.
    pub tag: u8,
}

/// Why a request was refused. Codes not known here are kept as they came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// The host's major version is not spoken.
    Version,
    /// The rate is too high or cannot be made.
    Rate,
    /// The mask is empty or names a channel that does not exist.
    Channels,
    /// Samples per frame are zero or more than fit.
    FrameSize,
    /// The format is unknown or too narrow for the channels.
    Format,
    /// Start came before a configuration was accepted.
    NotConfigured,
    /// The request is unknown.
    Unsupported,
    /// Something in the device failed.
    Fault,
    /// A later version's reason.
    Other(u8),
}

impl Reason {
    /// Code on the wire.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Version => 1,
            Self::Rate => 2,
            Self::Channels => 3,
            Self::FrameSize => 4,
            Self::Format => 5,
            Self::NotConfigured => 6,
            Self::Unsupported => 7,
            Self::Fault => 8,
            Self::Other(code) => code,
        }
    }

    /// The reason with this code.
    #[must_use]
    pub const fn from_code(code: u8) -> Self {
        match code {
            1 => Self::Version,
            2 => Self::Rate,
            3 => Self::Channels,
            4 => Self::FrameSize,
            5 => Self::Format,
            6 => Self::NotConfigured,
            7 => Self::Unsupported,
            8 => Self::Fault,
            other => Self::Other(other),
        }
    }
}

/// A request was not carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refusal<'a> {
    /// Type of the request.
    pub request: u8,
    /// Its tag; 0 for a hello, which has none.
    pub tag: u8,
    /// Why.
    pub reason: Reason,
    /// Why, for people.
    pub text: &'a str,
}

/// What the running stream carries; repeated at least twice a second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StreamHeader {
    /// Stream, counted up at each start.
    pub stream: u8,
    /// Form of the samples.
    pub format: SampleFormat,
    /// Most samples per channel in one frame.
    pub samples_per_frame: u16,
    /// Bit n set: channel n is carried, in ascending order.
    pub mask: u32,
    /// Samples per second and channel.
    pub rate_hz: f64,
    /// Samples per channel taken since the start, sent or not.
    pub total: u64,
}

/// The device had to drop samples: its buffer was full.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Overrun {
    /// Stream.
    pub stream: u8,
    /// Index of the first sample dropped.
    pub first_index: u64,
    /// Samples per channel dropped.
    pub count: u64,
}

/// Everything that can be said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Message<'a> {
    /// Host: who is there?
    Hello(Hello),
    /// Host: how to stream.
    Configure(Configure),
    /// Host: begin a new stream.
    Start {
        /// Echoed in the answer.
        tag: u8,
    },
    /// Host: end the stream.
    Stop {
        /// Echoed in the answer.
        tag: u8,
    },
    /// Device: what it is.
    Identity(Identity<'a>),
    /// Device: one input.
    Channel(Channel<'a>),
    /// Device: done.
    Acknowledgement(Acknowledgement),
    /// Device: not done, and why.
    Refusal(Refusal<'a>),
    /// Device: what the stream carries.
    StreamHeader(StreamHeader),
    /// Device: samples.
    Samples(Samples<'a>),
    /// Device: samples lost in the device.
    Overrun(Overrun),
}

impl<'a> Message<'a> {
    /// Type byte.
    #[must_use]
    pub const fn kind(&self) -> u8 {
        match self {
            Self::Hello(_) => kind::HELLO,
            Self::Configure(_) => kind::CONFIGURE,
            Self::Start { .. } => kind::START,
            Self::Stop { .. } => kind::STOP,
            Self::Identity(_) => kind::IDENTITY,
            Self::Channel(_) => kind::CHANNEL,
            Self::Acknowledgement(_) => kind::ACKNOWLEDGEMENT,
            Self::Refusal(_) => kind::REFUSAL,
            Self::StreamHeader(_) => kind::STREAM_HEADER,
            Self::Samples(_) => kind::SAMPLES,
            Self::Overrun(_) => kind::OVERRUN,
        }
    }

    /// Reads a payload. Bytes after the known fields belong to a later minor version and are
    /// passed over.
    ///
    /// # Errors
    /// `Unknown` for a type of a later version, `Malformed` for fields that make no sense.
    pub fn parse(kind: u8, payload: &'a [u8]) -> Result<Self, Fault> {
        let mut f = Fields::new(payload);
        let message = match kind {
            kind::HELLO => hello(&mut f),
            kind::CONFIGURE => configure(&mut f),
            kind::START => f.u8().map(|tag| Self::Start { tag }),
            kind::STOP => f.u8().map(|tag| Self::Stop { tag }),
            kind::IDENTITY => identity(&mut f),
            kind::CHANNEL => channel(&mut f),
            kind::ACKNOWLEDGEMENT => acknowledgement(&mut f),
            kind::REFUSAL => refusal(&mut f),
            kind::STREAM_HEADER => stream_header(&mut f),
            kind::SAMPLES => samples(f),
            kind::OVERRUN => overrun(&mut f),
            unknown => return Err(Fault::Unknown(unknown)),
        };
        message.ok_or(Fault::Malformed(kind))
    }

    /// Writes type and payload.
    pub(crate) fn write(&self, w: &mut Writer<'_>) -> Result<(), EncodeError> {
        w.bytes(&[self.kind()])?;
        match self {
            Self::Hello(m) => w.bytes(&[m.version.0, m.version.1]),
            Self::Configure(m) => {
                w.bytes(&[m.tag, m.format.code()])?;
                w.bytes(&m.samples_per_frame.to_le_bytes())?;
                w.bytes(&m.mask.to_le_bytes())?;
                w.bytes(&m.rate_hz.to_le_bytes())
            }
            Self::Start { tag } | Self::Stop { tag } => w.bytes(&[*tag]),
            Self::Identity(m) => {
                w.bytes(&[m.version.0, m.version.1, m.channels])?;
                w.bytes(&m.max_rate_hz.to_le_bytes())?;
                [m.maker, m.model, m.serial, m.firmware]
                    .iter()
                    .try_for_each(|t| w.text(t))
            }
            Self::Channel(m) => {
                w.bytes(&[m.index, m.bits])?;
                for value in [m.scale, m.offset, m.low, m.high] {
                    w.bytes(&value.to_le_bytes())?;
                }
                w.text(m.name)?;
                w.text(m.unit)
            }
            Self::Acknowledgement(m) => w.bytes(&[m.request, m.tag]),
            Self::Refusal(m) => {
                w.bytes(&[m.request, m.tag, m.reason.code()])?;
                w.text(m.text)
            }
            Self::StreamHeader(m) => {
                w.bytes(&[m.stream, m.format.code()])?;
                w.bytes(&m.samples_per_frame.to_le_bytes())?;
                w.bytes(&m.mask.to_le_bytes())?;
                w.bytes(&m.rate_hz.to_le_bytes())?;
                w.bytes(&m.total.to_le_bytes())
            }
            Self::Samples(m) => {
                w.bytes(&[m.stream])?;
                w.bytes(&m.first_index.to_le_bytes())?;
                w.bytes(m.data)
            }
            Self::Overrun(m) => {
                w.bytes(&[m.stream])?;
                w.bytes(&m.first_index.to_le_bytes())?;
                w.bytes(&m.count.to_le_bytes())
            }
        }
    }
}

fn hello<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    Some(Message::Hello(Hello {
        version: (f.u8()?, f.u8()?),
    }))
}

fn configure<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    let (tag, format) = (f.u8()?, SampleFormat::from_code(f.u8()?)?);
    let (samples_per_frame, mask, rate_hz) = (f.u16()?, f.u32()?, f.finite()?);
    Some(Message::Configure(Configure {
        tag,
        rate_hz,
        mask,
        samples_per_frame,
        format,
    }))
}

fn identity<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    let (version, channels, max_rate_hz) = ((f.u8()?, f.u8()?), f.u8()?, f.finite()?);
    let (maker, model, serial, firmware) = (f.text()?, f.text()?, f.text()?, f.text()?);
    let sound = (1..=MAX_PLANES).contains(&usize::from(channels)) && max_rate_hz > 0.0;
    sound.then_some(Message::Identity(Identity {
        version,
        channels,
        max_rate_hz,
        maker,
        model,
        serial,
        firmware,
    }))
}

fn channel<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    let (index, bits) = (f.u8()?, f.u8()?);
    let (scale, offset, low, high) = (f.finite()?, f.finite()?, f.finite()?, f.finite()?);
    let (name, unit) = (f.text()?, f.text()?);
    let sound = usize::from(index) < MAX_PLANES && (1..=16).contains(&bits);
    sound.then_some(Message::Channel(Channel {
        index,
        bits,
        scale,
        offset,
        low,
        high,
        name,
        unit,
    }))
}

fn acknowledgement<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    Some(Message::Acknowledgement(Acknowledgement {
        request: f.u8()?,
        tag: f.u8()?,
    }))
}

fn refusal<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    let (request, tag, reason) = (f.u8()?, f.u8()?, Reason::from_code(f.u8()?));
    Some(Message::Refusal(Refusal {
        request,
        tag,
        reason,
        text: f.text()?,
    }))
}

fn stream_header<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    let (stream, format) = (f.u8()?, SampleFormat::from_code(f.u8()?)?);
    let (samples_per_frame, mask, rate_hz, total) = (f.u16()?, f.u32()?, f.finite()?, f.u64()?);
    let sound = mask != 0 && samples_per_frame > 0 && rate_hz > 0.0;
    sound.then_some(Message::StreamHeader(StreamHeader {
        stream,
        format,
        samples_per_frame,
        mask,
        rate_hz,
        total,
    }))
}

fn samples(mut f: Fields<'_>) -> Option<Message<'_>> {
    let (stream, first_index, data) = (f.u8()?, f.u64()?, f.rest());
    // No sample takes less than a byte, so an index that passes here cannot overflow when counted on.
    let _last = first_index.checked_add(data.len() as u64)?;
    Some(Message::Samples(Samples {
        stream,
        first_index,
        data,
    }))
}

fn overrun<'a>(f: &mut Fields<'a>) -> Option<Message<'a>> {
    let (stream, first_index, count) = (f.u8()?, f.u64()?, f.u64()?);
    let _last = first_index.checked_add(count)?;
    Some(Message::Overrun(Overrun {
        stream,
        first_index,
        count,
    }))
}
