//! The device's end of the conversation: answers requests, says what it is.
//! A state machine over messages, without I/O; the sampler makes what it announces.

use std::sync::Arc;

use keyway_protocol::frame::MAX_SAMPLE_BYTES;
use keyway_protocol::{
    Acknowledgement, Channel, Configure, Encoder, Fault, Identity, MAX_FRAME, Message, Reason,
    Refusal, SampleFormat, VERSION, kind,
};

use crate::block::ChannelInfo;

/// What a virtual scope says of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Who made it.
    pub maker: String,
    /// What it is called.
    pub model: String,
    /// Serial number, or empty.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Highest rate it accepts, in samples per second and channel.
    pub max_rate_hz: f64,
}

impl Default for Profile {
    /// As fast as a USB 2.0 high-speed scope of eight channels could be.
    fn default() -> Self {
        Self {
            maker: "Keyway".to_owned(),
            model: "Virtual scope".to_owned(),
            serial: String::new(),
            firmware: env!("CARGO_PKG_VERSION").to_owned(),
            max_rate_hz: 2_000_000.0,
        }
    }
}

/// A stream that was asked for and granted.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Plan {
    pub(crate) stream: u8,
    pub(crate) rate_hz: f64,
    pub(crate) mask: u32,
    pub(crate) samples_per_frame: u16,
    pub(crate) format: SampleFormat,
}

/// What the sampler is to do.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Command {
    /// End any stream and begin this one.
    Start(Plan),
    /// End any stream.
    Stop,
}

/// The device's side of one line.
pub(crate) struct Device {
    channels: Vec<ChannelInfo>,
    max_rate_hz: f64,
    encoder: Box<Encoder>,
    /// Identity and channels as frames; also repeated in the stream.
    pub(crate) description: Arc<[u8]>,
    configured: Option<Configure>,
    /// The running stream's number, or the last one's.
    stream: u8,
    running: bool,
}

impl Device {
    pub(crate) fn new(profile: &Profile, channels: Vec<ChannelInfo>) -> Self {
        let mut encoder = Box::new(Encoder::new());
        let mut description = Vec::new();
        let identity = Message::Identity(Identity {
            version: VERSION,
            channels: u8::try_from(channels.len()).unwrap_or(u8::MAX),
            max_rate_hz: profile.max_rate_hz,
            maker: clip(&profile.maker),
            model: clip(&profile.model),
            serial: clip(&profile.serial),
            firmware: clip(&profile.firmware),
        });
        write(&mut encoder, &identity, &mut description);
        for (index, channel) in (0u8..).zip(&channels) {
            let message = Message::Channel(Channel {
                index,
                bits: channel.bits,
                scale: channel.scale,
                offset: channel.offset,
                low: channel.low,
                high: channel.high,
                name: clip(&channel.name),
                unit: clip(&channel.unit),
            });
            write(&mut encoder, &message, &mut description);
        }
        Self {
            channels,
            max_rate_hz: profile.max_rate_hz,
            encoder,
            description: description.into(),
            configured: None,
            stream: 0,
            running: false,
        }
    }

    /// Takes a request, appends the answer to `out`, and gives what the sampler is to do.
    pub(crate) fn take(&mut self, request: &Message<'_>, out: &mut Vec<u8>) -> Option<Command> {
        match *request {
            Message::Hello(hello) => {
                out.extend_from_slice(&self.description);
                if hello.version.0 != VERSION.0 {
                    self.refuse(kind::HELLO, 0, Reason::Version, "another version", out);
                }
                None
            }
            Message::Configure(configure) => {
                match self.objection(&configure) {
                    None => {
                        self.configured = Some(configure);
                        self.acknowledge(kind::CONFIGURE, configure.tag, out);
                    }
                    Some((reason, text)) => {
                        self.configured = None;
                        self.refuse(kind::CONFIGURE, configure.tag, reason, &text, out);
                    }
                }
                Some(self.hang_up())
            }
            Message::Start { tag } => {
                let Some(configured) = self.configured else {
                    self.refuse(
                        kind::START,
                        tag,
                        Reason::NotConfigured,
                        "not configured",
                        out,
                    );
                    return None;
                };
                self.acknowledge(kind::START, tag, out);
                self.stream = self.stream.wrapping_add(1);
                self.running = true;
                Some(Command::Start(Plan {
                    stream: self.stream,
                    rate_hz: configured.rate_hz,
                    mask: configured.mask,
                    samples_per_frame: configured.samples_per_frame,
                    format: configured.format,
                }))
            }
            Message::Stop { tag } => {
                self.acknowledge(kind::STOP, tag, out);
                Some(self.hang_up())
            }
            // A device's own words, echoed by a line that is not raw, mean nothing.
            Message::Identity(_)
            | Message::Channel(_)
            | Message::Acknowledgement(_)
            | Message::Refusal(_)
            | Message::StreamHeader(_)
            | Message::Samples(_)
            | Message::Overrun(_) => None,
        }
    }

    /// Whether frames of this stream are still wanted.
    pub(crate) fn wants(&self, stream: u8) -> bool {
        self.running && self.stream == stream
    }

    /// Nobody wants samples any more.
    pub(crate) fn hang_up(&mut self) -> Command {
        self.running = false;
        Command::Stop
    }

    /// Answers a sound frame that is no request this device understands.
    pub(crate) fn take_fault(&mut self, fault: Fault, out: &mut Vec<u8>) {
        if let Fault::Unknown(request) | Fault::Malformed(request) = fault
            && request < kind::IDENTITY
        {
            self.refuse(
                request,
                0,
                Reason::Unsupported,
                "request not understood",
                out,
            );
        }
    }

    fn objection(&self, wanted: &Configure) -> Option<(Reason, String)> {
        let count = self.channels.len();
        if wanted.rate_hz <= 0.0 || wanted.rate_hz > self.max_rate_hz {
            let text = format!(
                "{} samples per second, at most {}",
                wanted.rate_hz, self.max_rate_hz
            );
            return Some((Reason::Rate, text));
        }
        if wanted.mask == 0 || (count < 32 && wanted.mask >> count != 0) {
            return Some((
                Reason::Channels,
                format!("there are {count} channels, choose of those"),
            ));
        }
        let planes = wanted.mask.count_ones() as usize;
        let bytes = wanted
            .format
            .plane_len(usize::from(wanted.samples_per_frame))
            * planes;
        if bytes == 0 || bytes > MAX_SAMPLE_BYTES {
            return Some((
                Reason::FrameSize,
                format!("{bytes} bytes of samples in a frame, 1 to {MAX_SAMPLE_BYTES} fit"),
            ));
        }
        let wide = (0u32..)
            .zip(&self.channels)
            .find(|(n, channel)| wanted.mask & (1 << n) != 0 && channel.bits > 12)?;
        (wanted.format == SampleFormat::Packed12).then(|| {
            (
                Reason::Format,
                format!("{} has {} bits, not 12", wide.1.name, wide.1.bits),
            )
        })
    }

    fn acknowledge(&mut self, request: u8, tag: u8, out: &mut Vec<u8>) {
        let message = Message::Acknowledgement(Acknowledgement { request, tag });
        write(&mut self.encoder, &message, out);
    }

    fn refuse(&mut self, request: u8, tag: u8, reason: Reason, text: &str, out: &mut Vec<u8>) {
        let message = Message::Refusal(Refusal {
            request,
            tag,
            reason,
            text: clip(text),
        });
        write(&mut self.encoder, &message, out);
    }
}

/// Appends `message` as a frame. Texts are clipped before, so there is nothing that does not fit.
pub(crate) fn write(encoder: &mut Encoder, message: &Message<'_>, out: &mut Vec<u8>) {
    let begin = out.len();
    out.resize(begin + MAX_FRAME, 0);
    let length = encoder.encode(message, &mut out[begin..]).unwrap_or(0);
    out.truncate(begin + length);
}

/// The most of `text` that fits the 255 bytes of a text on the wire.
fn clip(text: &str) -> &str {
    &text[..text.floor_char_boundary(255)]
}

#[cfg(test)]
mod tests {
    use keyway_protocol::{Decoder, Hello};

    use super::*;

    fn device(bits: u8) -> Device {
        let channel = |name: &str| ChannelInfo {
            name: name.to_owned(),
            unit: "V".to_owned(),
            scale: 0.01,
            offset: 0.0,
            bits,
            low: -20.0,
            high: 20.0,
        };
        Device::new(
            &Profile::default(),
            vec![channel("IN 1"), channel(&"µ".repeat(200))],
        )
    }

    fn configure() -> Configure {
        Configure {
            tag: 9,
            rate_hz: 1e5,
            mask: 0b11,
            samples_per_frame: 512,
            format: SampleFormat::I16,
        }
    }

    /// What the device answers, each message by its kind; a refusal by its reason.
    fn answers(device: &mut Device, request: &Message<'_>) -> Vec<Result<u8, Reason>> {
        let mut out = Vec::new();
        let _command = device.take(request, &mut out);
        heard(&out)
    }

    fn heard(mut bytes: &[u8]) -> Vec<Result<u8, Reason>> {
        let mut decoder = Box::new(Decoder::<MAX_FRAME>::new());
        let mut heard = Vec::new();
        while let Some(outcome) = decoder.next(&mut bytes) {
            heard.push(match outcome.unwrap() {
                Message::Refusal(refusal) => Err(refusal.reason),
                message => Ok(message.kind()),
            });
        }
        heard
    }

    #[test]
    fn hello_is_answered_in_full_whatever_the_version() {
        let described = [Ok(kind::IDENTITY), Ok(kind::CHANNEL), Ok(kind::CHANNEL)];
        let hello = |major| {
            Message::Hello(Hello {
                version: (major, 7),
            })
        };
        assert_eq!(answers(&mut device(12), &hello(1)), described);
        let refused = [&described[..], &[Err(Reason::Version)]].concat();
        assert_eq!(answers(&mut device(12), &hello(2)), refused);
    }

    #[test]
    fn what_cannot_be_done_is_refused_with_its_reason() {
        let check = |bits, change: fn(&mut Configure), reason| {
            let mut wanted = configure();
            change(&mut wanted);
            let answer = answers(&mut device(bits), &Message::Configure(wanted));
            assert_eq!(answer, [Err(reason)]);
        };
        check(12, |c| c.rate_hz = 1e9, Reason::Rate);
        check(12, |c| c.rate_hz = 0.0, Reason::Rate);
        check(12, |c| c.mask = 0, Reason::Channels);
        check(12, |c| c.mask = 0b100, Reason::Channels);
        check(12, |c| c.samples_per_frame = 0, Reason::FrameSize);
        check(12, |c| c.samples_per_frame = 4097, Reason::FrameSize);
        check(13, |c| c.format = SampleFormat::Packed12, Reason::Format);
    }

    #[test]
    fn streams_run_from_start_to_stop() {
        let mut device = device(12);
        let start = Message::Start { tag: 1 };
        assert_eq!(answers(&mut device, &start), [Err(Reason::NotConfigured)]);
        let accepted = [Ok(kind::ACKNOWLEDGEMENT)];
        assert_eq!(
            answers(&mut device, &Message::Configure(configure())),
            accepted
        );
        assert!(!device.wants(1));
        assert_eq!(answers(&mut device, &start), accepted);
        assert!(device.wants(1) && !device.wants(0));
        assert_eq!(answers(&mut device, &Message::Stop { tag: 2 }), accepted);
        assert!(!device.wants(1));
    }

    #[test]
    fn unknown_requests_are_refused_and_answers_ignored() {
        let mut out = Vec::new();
        device(12).take_fault(Fault::Unknown(0x44), &mut out);
        assert_eq!(heard(&out), [Err(Reason::Unsupported)]);
        out.clear();
        device(12).take_fault(Fault::Unknown(0xC4), &mut out);
        device(12).take_fault(Fault::Checksum, &mut out);
        assert!(out.is_empty());
    }
}
