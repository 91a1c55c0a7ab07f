//! Bytes in, events out: the decoder and the conversation behind it, without I/O.

use std::time::Instant;

use keyway_protocol::frame::DELIMITER;
use keyway_protocol::{Decoder, Encoder, MAX_FRAME, Message};

use super::Settings;
use super::dialogue::{Dialogue, Event};
use crate::error::LinkError;
use crate::health::Health;

/// One connection.
pub(crate) struct Session {
    decoder: Box<Decoder>,
    encoder: Box<Encoder>,
    dialogue: Dialogue,
    outgoing: Vec<u8>,
}

impl Session {
    /// A connection just opened.
    pub(crate) fn new(settings: Settings, next_generation: u64, now: Instant) -> Self {
        Self {
            decoder: Box::new(Decoder::new()),
            encoder: Box::new(Encoder::new()),
            dialogue: Dialogue::new(settings, next_generation, now),
            // Closes whatever the line may have carried to the device before us.
            outgoing: vec![DELIMITER],
        }
    }

    /// Takes bytes from the device and appends what they mean to `events`.
    pub(crate) fn receive(
        &mut self,
        mut bytes: &[u8],
        now: Instant,
        events: &mut Vec<Event>,
    ) -> Result<(), LinkError> {
        self.dialogue.hear(now);
        while let Some(outcome) = self.decoder.next(&mut bytes) {
            // What is wrong with a frame has been counted.
            if let Ok(message) = outcome {
                events.extend(self.dialogue.take(&message, now)?);
            }
        }
        Ok(())
    }

    /// Says what is due and gives up when the device has had long enough.
    pub(crate) fn tick(&mut self, now: Instant) -> Result<(), LinkError> {
        let counts = self.decoder.counts();
        if let Some(message) = self.dialogue.due(now, counts.bytes, counts.frames)? {
            self.say(&message);
        }
        Ok(())
    }

    /// When to tick next.
    pub(crate) fn deadline(&self, now: Instant) -> Instant {
        self.dialogue.deadline(now)
    }

    /// Asks the device to stop; its answer is not waited for.
    pub(crate) fn stop(&mut self) {
        self.say(&Message::Stop { tag: 0 });
    }

    fn say(&mut self, message: &Message<'_>) {
        let mut frame = [0; MAX_FRAME];
        // A host's messages are all of fixed size and fit.
        if let Ok(length) = self.encoder.encode(message, &mut frame) {
            self.outgoing.extend_from_slice(&frame[..length]);
        }
    }

    /// Bytes to be written, which are then no longer held here.
    pub(crate) fn take_outgoing(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.outgoing)
    }

    pub(crate) fn next_generation(&self) -> u64 {
        self.dialogue.next_generation
    }

    /// `before` and what this connection has counted.
    pub(crate) fn health(&self, before: Health) -> Health {
        let mut health = before.with(self.decoder.counts());
        let own = self.dialogue.health;
        health.malformed += own.malformed;
        health.gaps += own.gaps;
        health.lost_samples = health.lost_samples.saturating_add(own.lost_samples);
        health.device_overruns = health.device_overruns.saturating_add(own.device_overruns);
        health
    }
}

#[cfg(test)]
mod tests {
    use keyway_protocol::{
        Acknowledgement, Channel, Identity, Overrun, SampleFormat, Samples, StreamHeader, kind,
    };
    use proptest::prelude::*;

    use super::*;

    fn frame(message: &Message<'_>) -> Vec<u8> {
        let mut out = vec![0; MAX_FRAME];
        let length = Encoder::<MAX_FRAME>::new()
            .encode(message, &mut out)
            .unwrap_or(0);
        out.truncate(length);
        out
    }

    /// A sound frame of a device that says anything in any order, out of a few small numbers so
    /// that they often fit together.
    fn anything() -> impl Strategy<Value = Vec<u8>> {
        let small = 0..4u8;
        let data = prop::collection::vec(any::<u8>(), 0..40);
        (0..7u8, small.clone(), small, any::<u64>(), data)
            .prop_map(|(which, a, b, n, data)| said(which, a, b, n, &data))
    }

    fn said(which: u8, a: u8, b: u8, n: u64, data: &[u8]) -> Vec<u8> {
        let text = "IN";
        frame(&match which {
            0 => Message::Identity(Identity {
                version: (1, 0),
                channels: 1 + a,
                max_rate_hz: 1e6,
                maker: text,
                model: text,
                serial: text,
                firmware: text,
            }),
            1 => Message::Channel(Channel {
                index: a,
                bits: 12,
                scale: 1.0,
                offset: 0.0,
                low: 0.0,
                high: 1.0,
                name: text,
                unit: text,
            }),
            2 => Message::Acknowledgement(Acknowledgement {
                request: kind::CONFIGURE,
                tag: b,
            }),
            3 => Message::Acknowledgement(Acknowledgement {
                request: kind::START,
                tag: b,
            }),
            4 => Message::StreamHeader(StreamHeader {
                stream: a,
                format: if b == 0 {
                    SampleFormat::Packed12
                } else {
                    SampleFormat::I16
                },
                samples_per_frame: 8,
                mask: u32::from(b),
                rate_hz: 1e5,
                total: n,
            }),
            5 => Message::Samples(Samples {
                stream: a,
                first_index: n >> b,
                data,
            }),
            _ => Message::Overrun(Overrun {
                stream: a,
                first_index: n >> 2,
                count: n >> 1,
            }),
        })
    }

    proptest! {
        /// Whatever a device says, nothing panics, generations never repeat, and blocks are whole
        /// and in order.
        #[test]
        fn no_device_can_upset_the_link(
            polite in any::<bool>(),
            babble in prop::collection::vec(anything(), 0..120),
        ) {
            // A polite device shakes hands first: two channels, and a stream of both.
            let hands = [(0, 1, 0), (1, 0, 0), (1, 1, 0), (2, 0, 1), (3, 0, 2), (4, 0, 3)];
            let hands = hands.map(|(which, a, b)| said(which, a, b, 0, &[]));
            let frames = hands.into_iter().filter(|_| polite).chain(babble);
            let now = Instant::now();
            let mut session = Session::new(Settings::default(), 5, now);
            let (mut events, mut generation, mut next) = (Vec::new(), None, 0);
            for bytes in frames {
                if session.tick(now).and_then(|()| session.receive(&bytes, now, &mut events)).is_err() {
                    break;
                }
            }
            prop_assert!(!polite || matches!(events[..], [Event::Device(_), Event::Stream(_), ..]));
            for event in events {
                match event {
                    Event::Device(device) => prop_assert!(!device.channels.is_empty()),
                    Event::Stream(stream) => {
                        prop_assert!(generation.is_none_or(|last| stream.generation > last));
                        prop_assert!(!stream.enabled.is_empty());
                        generation = Some(stream.generation);
                        next = 0;
                    }
                    Event::Block(block) => {
                        prop_assert_eq!(Some(block.generation), generation);
                        prop_assert!(!block.is_empty() && block.first_index >= next);
                        prop_assert!(block.channels.iter().all(|plane| plane.len() == block.len()));
                        next = block.end_index();
                    }
                }
            }
        }
    }
}
