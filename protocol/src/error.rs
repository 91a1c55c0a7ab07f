//! What can be wrong with a frame, as facts.

use core::fmt;

/// Why bytes were not taken as a message. None of these stops the decoder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Not a well-formed COBS frame, or shorter than type and checksum.
    Framing,
    /// The checksum does not fit the content.
    Checksum,
    /// More bytes without a delimiter than a frame can have; everything up to the next
    /// delimiter was thrown away.
    Overlong,
    /// The part of a frame before the first delimiter ever seen: the listener came late.
    Partial,
    /// A sound frame of a type this version does not know.
    Unknown(u8),
    /// A sound frame of a known type whose fields make no sense.
    Malformed(u8),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Framing => write!(f, "badly framed bytes"),
            Self::Checksum => write!(f, "checksum does not fit"),
            Self::Overlong => write!(f, "frame longer than allowed"),
            Self::Partial => write!(f, "rest of a frame begun before listening"),
            Self::Unknown(kind) => write!(f, "unknown message type 0x{kind:02x}"),
            Self::Malformed(kind) => write!(f, "message type 0x{kind:02x} with senseless fields"),
        }
    }
}

impl core::error::Error for Fault {}

/// Why a message cannot be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EncodeError {
    /// The output or the scratch buffer is too small for the frame.
    NoRoom,
    /// A text is longer than 255 bytes.
    TextTooLong,
    /// The planes of a sample frame differ in length, or there are none or too many.
    UnevenPlanes,
    /// A sample does not fit the packed format.
    OutOfRange,
}

impl fmt::Display for EncodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRoom => write!(f, "buffer too small for the frame"),
            Self::TextTooLong => write!(f, "text longer than 255 bytes"),
            Self::UnevenPlanes => {
                write!(f, "planes of a sample frame must be 1 to 32, equally long")
            }
            Self::OutOfRange => write!(f, "sample outside the packed range of -2048 to 2047"),
        }
    }
}

impl core::error::Error for EncodeError {}
