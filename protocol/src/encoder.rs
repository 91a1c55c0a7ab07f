//! Writes frames, without allocation.

use crate::checksum::crc32c;
use crate::error::EncodeError;
use crate::frame::{DELIMITER, MAX_CONTENT, MAX_PLANES};
use crate::layout::Writer;
use crate::message::{Message, kind};
use crate::sample::SampleFormat;

/// Writes frames. `N` is the largest content it can build: [`MAX_CONTENT`] suffices for anything,
/// firmware that sends small frames needs no more than its own largest.
#[derive(Debug, Clone)]
pub struct Encoder<const N: usize = MAX_CONTENT> {
    content: [u8; N],
}

impl<const N: usize> Default for Encoder<N> {
    fn default() -> Self {
        Self { content: [0; N] }
    }
}

impl<const N: usize> Encoder<N> {
    /// An encoder.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Writes `message` as one frame with its delimiter to the beginning of `out`; gives its length.
    ///
    /// # Errors
    /// `NoRoom` if the scratch buffer or `out` is too small, `TextTooLong` for a text over 255 bytes.
    pub fn encode(&mut self, message: &Message<'_>, out: &mut [u8]) -> Result<usize, EncodeError> {
        let mut w = Writer::new(&mut self.content);
        message.write(&mut w)?;
        close(w, out)
    }

    /// Writes samples as one frame with its delimiter to the beginning of `out`; gives its length.
    /// `planes` are the enabled channels in ascending order, all of one length.
    ///
    /// # Errors
    /// `UnevenPlanes`, `OutOfRange` for samples wider than the format, or `NoRoom`.
    pub fn encode_samples<'s>(
        &mut self,
        stream: u8,
        first_index: u64,
        format: SampleFormat,
        planes: impl IntoIterator<Item = &'s [i16]>,
        out: &mut [u8],
    ) -> Result<usize, EncodeError> {
        let mut w = Writer::new(&mut self.content);
        w.bytes(&[kind::SAMPLES, stream])?;
        w.bytes(&first_index.to_le_bytes())?;
        let (mut count, mut length) = (0usize, 0usize);
        for plane in planes {
            if count == 0 {
                length = plane.len();
            }
            count += 1;
            if plane.len() != length || length == 0 || count > MAX_PLANES {
                return Err(EncodeError::UnevenPlanes);
            }
            format.pack(plane, w.reserve(format.plane_len(length))?)?;
        }
        if count == 0 {
            return Err(EncodeError::UnevenPlanes);
        }
        close(w, out)
    }
}

fn close(mut w: Writer<'_>, out: &mut [u8]) -> Result<usize, EncodeError> {
    let sum = crc32c(w.written());
    w.bytes(&sum.to_le_bytes())?;
    // A listener with the largest buffer must be able to take it, whatever N is.
    if w.len() > MAX_CONTENT {
        return Err(EncodeError::NoRoom);
    }
    let length = cobs::try_encode(w.written(), out).map_err(|_| EncodeError::NoRoom)?;
    *out.get_mut(length).ok_or(EncodeError::NoRoom)? = DELIMITER;
    Ok(length + 1)
}
