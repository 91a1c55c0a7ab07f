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
