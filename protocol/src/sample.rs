//! Sample frames and the two forms of a sample on the wire.

use crate::error::EncodeError;

/// How a sample is written. Both are signed counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleFormat {
    /// Two bytes, little-endian.
    I16,
    /// Two samples of -2048 to 2047 in three bytes; an odd last sample takes two bytes.
    Packed12,
}

impl SampleFormat {
    /// Code on the wire.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::I16 => 0,
            Self::Packed12 => 1,
        }
    }

    /// The format with this code, if there is one.
    #[must_use]
    pub const fn from_code(code: u8) -> Option<Self> {
        match code {
            0 => Some(Self::I16),
            1 => Some(Self::Packed12),
            _ => None,
        }
    }

    /// Bytes of one plane of `samples` samples.
    #[must_use]
    pub const fn plane_len(self, samples: usize) -> usize {
        match self {
            Self::I16 => samples * 2,
            Self::Packed12 => samples / 2 * 3 + samples % 2 * 2,
        }
    }

    /// Samples in a plane of `bytes` bytes; `None` if no number of samples has that length.
    #[must_use]
    pub const fn plane_samples(self, bytes: usize) -> Option<usize> {
        let samples = match self {
            Self::I16 => bytes / 2,
            Self::Packed12 => bytes / 3 * 2 + bytes % 3 / 2,
        };
        if self.plane_len(samples) == bytes {
            Some(samples)
        } else {
            None
        }
    }

    /// Writes `samples` to `plane`, which must be `plane_len(samples.len())` long.
    ///
    /// # Errors
    /// `NoRoom` if the plane has another length, `OutOfRange` if a sample does not fit 12 bits.
    pub fn pack(self, samples: &[i16], plane: &mut [u8]) -> Result<(), EncodeError> {
        if plane.len() != self.plane_len(samples.len()) {
            return Err(EncodeError::NoRoom);
        }
        match self {
            Self::I16 => {
                for (to, from) in plane.chunks_exact_mut(2).zip(samples) {
                    to.copy_from_slice(&from.to_le_bytes());
                }
            }
            Self::Packed12 => {
                if samples.iter().any(|s| !(-2048..=2047).contains(s)) {
                    return Err(EncodeError::OutOfRange);
                }
                for (to, from) in plane.chunks_mut(3).zip(samples.chunks(2)) {
                    let [a_low, a_high] = from[0].to_le_bytes();
                    let [b_low, b_high] = from.get(1).copied().unwrap_or(0).to_le_bytes();
                    to[0] = a_low;
                    to[1] = (a_high & 0x0F) | (b_low << 4);
                    if let Some(last) = to.get_mut(2) {
                        *last = (b_low >> 4) | (b_high << 4);
                    }
                }
            }
        }
        Ok(())
    }

    /// The samples of a plane, in order.
    pub fn unpack(self, plane: &[u8]) -> impl Iterator<Item = i16> + '_ {
        let (words, packed) = match self {
            Self::I16 => (plane, &plane[..0]),
            Self::Packed12 => (&plane[..0], plane),
        };
        let words = words
            .chunks_exact(2)
            .map(|b| i16::from_le_bytes([b[0], b[1]]));
        let packed = packed.chunks(3).flat_map(|b| {
            // Shifting to the top and back extends the sign.
            let a = i16::from_le_bytes([b[0], b.get(1).copied().unwrap_or(0)]) << 4 >> 4;
            let b = b.get(2).map(|last| i16::from_le_bytes([b[1], *last]) >> 4);
            core::iter::once(a).chain(b)
        });
        words.chain(packed)
    }
}

/// A sample frame: consecutive samples of every enabled channel, one plane after another.
/// How many planes there are and in what form is said by the stream header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Samples<'a> {
    /// Stream it belongs to.
    pub stream: u8,
    /// Index of the first sample since the stream's start.
    pub first_index: u64,
    /// The planes, as they are on the wire.
    pub data: &'a [u8],
}

impl<'a> Samples<'a> {
    /// Samples per channel if the data are `planes` planes in `format`; `None` if they are not.
    #[must_use]
    pub fn count(&self, format: SampleFormat, planes: usize) -> Option<usize> {
        if planes == 0 || !self.data.len().is_multiple_of(planes) {
            return None;
        }
        format
            .plane_samples(self.data.len() / planes)
            .filter(|n| *n > 0)
    }

    /// The planes in the order of the channel mask; `None` if the data are not `planes` planes.
    pub fn planes(
        &self,
        format: SampleFormat,
        planes: usize,
    ) -> Option<impl Iterator<Item = &'a [u8]> + use<'a>> {
        let samples = self.count(format, planes)?;
        Some(self.data.chunks_exact(format.plane_len(samples)))
    }
}

#[cfg(test)]
mod tests {
    use super::SampleFormat::{self, I16, Packed12};
    use std::vec::Vec;

    fn check(format: SampleFormat, samples: &[i16], bytes: &[u8]) {
        let mut plane = std::vec![0u8; format.plane_len(samples.len())];
        format.pack(samples, &mut plane).unwrap();
        assert_eq!(plane, bytes);
        assert_eq!(format.unpack(&plane).collect::<Vec<_>>(), samples);
        assert_eq!(format.plane_samples(plane.len()), Some(samples.len()));
    }

    #[test]
    fn bytes_of_samples() {
        check(I16, &[1, -2, i16::MIN], &[1, 0, 0xFE, 0xFF, 0, 0x80]);
        check(Packed12, &[0x123, 0x456], &[0x23, 0x61, 0x45]);
        check(Packed12, &[-1, 0, -2048], &[0xFF, 0x0F, 0x00, 0x00, 0x08]);
        check(Packed12, &[2047, -2048], &[0xFF, 0x07, 0x80]);
        check(Packed12, &[-5], &[0xFB, 0x0F]);
    }

    #[test]
    fn lengths_no_plane_has() {
        assert_eq!(I16.plane_samples(3), None);
        assert_eq!(Packed12.plane_samples(1), None);
        assert_eq!(Packed12.plane_samples(4), None);
        assert_eq!(Packed12.plane_samples(5), Some(3));
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        assert!(Packed12.pack(&[2048], &mut [0; 2]).is_err());
        assert!(Packed12.pack(&[1], &mut [0; 3]).is_err());
    }
}
