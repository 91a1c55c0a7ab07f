//! Finds frames in any bytes, in any chunks.

use crate::checksum::crc32c;
use crate::error::Fault;
use crate::frame::{DELIMITER, MAX_FRAME, MIN_CONTENT};
use crate::message::Message;

/// What went by since the decoder was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Bytes taken.
    pub bytes: u64,
    /// Messages given.
    pub frames: u64,
    /// Frames with a wrong checksum.
    pub checksum_failures: u64,
    /// Runs of bytes thrown away: not COBS, too short, or the partial frame a late listener meets.
    pub discards: u64,
    /// Frames longer than the buffer.
    pub overlong: u64,
    /// Sound frames of unknown type.
    pub unknown: u64,
    /// Sound frames whose fields make no sense.
    pub malformed: u64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Before the first delimiter: this may be the middle of a frame.
    Joining,
    /// Collecting a frame.
    Collecting,
    /// The frame is too long: everything up to the next delimiter is thrown away, so that its tail
    /// is not taken for a frame of its own.
    Discarding,
}

/// Turns bytes into messages. `N` is the longest frame it can take, [`MAX_FRAME`] for any.
#[derive(Debug, Clone)]
pub struct Decoder<const N: usize = MAX_FRAME> {
    buffer: [u8; N],
    len: usize,
    state: State,
    counts: Counts,
}

impl<const N: usize> Default for Decoder<N> {
    fn default() -> Self {
        Self {
            buffer: [0; N],
            len: 0,
            state: State::Joining,
            counts: Counts::default(),
        }
    }
}

impl<const N: usize> Decoder<N> {
    /// A decoder that has seen nothing.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// What went by so far.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Takes bytes from `input` up to the end of one frame and gives its message or what is wrong
    /// with it; `None` when the input is used up. Call until `None`.
    pub fn next(&mut self, input: &mut &[u8]) -> Option<Result<Message<'_>, Fault>> {
        loop {
            let delimiter = input.iter().position(|b| *b == DELIMITER);
            let (run, rest) = input.split_at(delimiter.unwrap_or(input.len()));
            let rest = if delimiter.is_some() {
                &rest[1..]
            } else {
                rest
            };
            self.counts.bytes += (input.len() - rest.len()) as u64;
            *input = rest;
            self.collect(run);
            let _found = delimiter?;
            let state = core::mem::replace(&mut self.state, State::Collecting);
            let length = core::mem::take(&mut self.len);
            match state {
                State::Discarding => {
                    self.counts.overlong += 1;
                    return Some(Err(Fault::Overlong));
                }
                // Delimiters in a row are padding.
                State::Joining | State::Collecting if length == 0 => {}
                State::Joining | State::Collecting => {
                    return Some(self.open(length, state == State::Joining));
                }
            }
        }
    }

    fn collect(&mut self, run: &[u8]) {
        if self.state == State::Discarding {
            return;
        }
        // One byte of the longest frame is its delimiter, which is not kept.
        match self.buffer.get_mut(self.len..self.len + run.len()) {
            Some(room) => {
                room.copy_from_slice(run);
                self.len += run.len();
            }
            None => self.state = State::Discarding,
        }
    }

    fn open(&mut self, length: usize, joining: bool) -> Result<Message<'_>, Fault> {
        let counts = &mut self.counts;
        let checked = content(&mut self.buffer[..length]).map_err(|fault| match fault {
            _ if joining => Fault::Partial,
            fault => fault,
        });
        let (kind, payload) = checked.inspect_err(|fault| match fault {
            Fault::Checksum => counts.checksum_failures += 1,
            _ => counts.discards += 1,
        })?;
        let message = Message::parse(kind, payload);
        match message {
            Ok(_) => counts.frames += 1,
            Err(Fault::Unknown(_)) => counts.unknown += 1,
            Err(_) => counts.malformed += 1,
        }
        message
    }
}

/// Type and payload of a frame without its delimiter, undone in place.
fn content(frame: &mut [u8]) -> Result<(u8, &[u8]), Fault> {
    let length = cobs::decode_in_place(frame).map_err(|_| Fault::Framing)?;
    let content = frame
        .get(..length)
        .filter(|c| c.len() >= MIN_CONTENT)
        .ok_or(Fault::Framing)?;
    let (body, sum) = content.split_last_chunk::<4>().ok_or(Fault::Framing)?;
    if crc32c(body) != u32::from_le_bytes(*sum) {
        return Err(Fault::Checksum);
    }
    let (kind, payload) = body.split_first().ok_or(Fault::Framing)?;
    Ok((*kind, payload))
}
