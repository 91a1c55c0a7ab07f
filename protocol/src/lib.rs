//! The open framed sample stream between a scope and whatever listens to it: see
//! `protocol/README.md` for the wire format. No allocation, no I/O, no clock.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod checksum;
pub mod decoder;
pub mod encoder;
pub mod error;
pub mod frame;
mod layout;
pub mod message;
pub mod sample;

pub use decoder::{Counts, Decoder};
pub use encoder::Encoder;
pub use error::{EncodeError, Fault};
pub use frame::{MAX_CONTENT, MAX_FRAME, MAX_PLANES};
pub use message::{
    Acknowledgement, Channel, Configure, Hello, Identity, Message, Overrun, Reason, Refusal,
    StreamHeader, kind,
};
pub use sample::{SampleFormat, Samples};

/// Version of the wire format this code speaks. A different major version is refused.
pub const VERSION: (u8, u8) = (1, 0);
