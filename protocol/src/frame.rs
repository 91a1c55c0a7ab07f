//! Sizes of a frame: `COBS(type, payload, CRC-32C little-endian)` and a closing zero byte.

/// Closes every frame and appears nowhere inside one.
pub const DELIMITER: u8 = 0;

/// Type byte and checksum: the shortest content.
pub const MIN_CONTENT: usize = 1 + 4;

/// Largest sample data in one frame: 16 channels of 512 samples at two bytes, or any other mix.
/// The price is 16 KiB of buffer in a listener; a device may send much smaller frames.
pub const MAX_SAMPLE_BYTES: usize = 16 * 512 * 2;

/// Largest content of a frame: type, stream, index, sample data, checksum.
pub const MAX_CONTENT: usize = 1 + 1 + 8 + MAX_SAMPLE_BYTES + 4;

/// Largest frame on the wire, with its delimiter.
pub const MAX_FRAME: usize = encoded_len(MAX_CONTENT) + 1;

/// Most channels a stream can carry: the width of the channel mask.
pub const MAX_PLANES: usize = 32;

/// Longest COBS form of `content` bytes, without the delimiter: one byte, and one more for every
/// 254 (Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2),
/// 1999).
#[must_use]
pub const fn encoded_len(content: usize) -> usize {
    content + 1 + content / 254
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    fn check(plain: &[u8], wire: &[u8]) {
        let mut out = [0u8; 512];
        let n = cobs::try_encode(plain, &mut out).unwrap();
        assert_eq!(&out[..n], wire);
        let n = cobs::decode_in_place(&mut out[..n]).unwrap();
        assert_eq!(&out[..n], plain);
    }

    /// Vectors of Cheshire & Baker 1999, as also printed by the `cobs` packages of npm and PyPI.
    #[test]
    fn published_vectors() {
        check(&[0x00], &[0x01, 0x01]);
        check(&[0x11, 0x22, 0x00, 0x33], &[0x03, 0x11, 0x22, 0x02, 0x33]);
        check(&[0x11, 0x00, 0x00, 0x00], &[0x02, 0x11, 0x01, 0x01, 0x01]);
        check(&[0x00, 0x11, 0x00], &[0x01, 0x02, 0x11, 0x01]);
        check(&[0x11, 0x00, 0x22, 0x00], &[0x02, 0x11, 0x02, 0x22, 0x01]);
        let long: Vec<u8> = (1..=255).collect();
        let mut wire = std::vec![0xFF];
        wire.extend(1..=254u8);
        wire.extend([0x02, 0xFF]);
        check(&long, &wire);
    }

    /// The IP header that the paper uses as its example (its bytes from memory, the coding derived).
    #[test]
    fn the_papers_ip_header() {
        check(
            &[0x45, 0, 0, 0x2C, 0x4C, 0x79, 0, 0, 0x40, 0x06, 0x4F, 0x37],
            &[
                0x02, 0x45, 0x01, 0x04, 0x2C, 0x4C, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4F, 0x37,
            ],
        );
    }

    /// The one choice COBS leaves open: exactly 254 bytes without a zero may or may not end in a
    /// further 01. Whatever is written, both must be read alike.
    #[test]
    fn both_endings_of_a_full_block_are_read() {
        let plain: Vec<u8> = (1..=254).collect();
        let mut short = std::vec![0xFF];
        short.extend(&plain);
        let mut long = short.clone();
        long.push(0x01);
        for mut wire in [short, long] {
            let n = cobs::decode_in_place(&mut wire).unwrap();
            assert_eq!(&wire[..n], &plain[..]);
        }
    }

    #[test]
    fn bound_holds_at_the_block_edges() {
        for n in [0usize, 1, 253, 254, 255, 508, 509] {
            let plain = std::vec![7u8; n];
            let mut out = [0u8; 520];
            let coded = cobs::try_encode(&plain, &mut out).unwrap();
            assert!(coded <= encoded_len(n), "{n}: {coded}");
        }
    }
}
