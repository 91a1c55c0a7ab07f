//! Samples of one channel as the bytes of one message.
//!
//! Lossless: differences of neighbours, zigzag so that small ones of either sign are small numbers,
//! then all low bytes before all high bytes. Compressed afterwards this takes half the room of plain
//! samples, because the high bytes of a slow signal are nearly all zero.

/// Bytes before the samples: u64 first index, u32 count.
pub const PREFIX: usize = 12;

/// Writes the message for `samples`, the first of which has index `first`, into `out` (cleared first).
pub fn encode(first: u64, samples: &[i16], out: &mut Vec<u8>) {
    out.clear();
    let count = u32::try_from(samples.len()).unwrap_or(u32::MAX);
    let samples = &samples[..count as usize];
    out.extend_from_slice(&first.to_le_bytes());
    out.extend_from_slice(&count.to_le_bytes());
    out.resize(PREFIX + 2 * samples.len(), 0);
    let (low, high) = out[PREFIX..].split_at_mut(samples.len());
    let mut previous = 0i16;
    for ((&x, low), high) in samples.iter().zip(low).zip(high) {
        let d = x.wrapping_sub(previous);
        previous = x;
        // Arithmetic shift by 15 gives all ones for a negative difference.
        let [l, h] = ((d << 1) ^ (d >> 15)).to_le_bytes();
        *low = l;
        *high = h;
    }
}

/// The first index and samples in a message, or `None` if the bytes are not one.
pub fn decode(message: &[u8]) -> Option<(u64, Vec<i16>)> {
    let (first, rest) = message.split_first_chunk::<8>()?;
    let (count, rest) = rest.split_first_chunk::<4>()?;
    let count = usize::try_from(u32::from_le_bytes(*count)).ok()?;
    if rest.len() != count.checked_mul(2)? {
        return None;
    }
    let (low, high) = rest.split_at(count);
    let mut previous = 0i16;
    let samples = low
        .iter()
        .zip(high)
        .map(|(&l, &h)| {
            let z = u16::from_le_bytes([l, h]);
            let [a, b] = ((z >> 1) ^ (z & 1).wrapping_neg()).to_le_bytes();
            previous = previous.wrapping_add(i16::from_le_bytes([a, b]));
            previous
        })
        .collect();
    Some((u64::from_le_bytes(*first), samples))
}
