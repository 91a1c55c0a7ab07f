//! Least, greatest and sum of samples, at vector speed.

/// Samples compared at once: one vector register of the smallest x86-64.
const LANES: usize = 8;

/// Lowest and highest of some samples; of none, the ends of the type the wrong way round.
pub fn extremes(samples: &[i16]) -> (i16, i16) {
    let (Some(first), Some(last)) = (
        samples.first_chunk::<LANES>(),
        samples.last_chunk::<LANES>(),
    ) else {
        return samples
            .iter()
            .fold((i16::MAX, i16::MIN), |(low, high), &x| {
                (low.min(x), high.max(x))
            });
    };
    // The last lanes may overlap those before: that changes no extreme.
    let (mut low, mut high) = (*first, *first);
    for lanes in samples.as_chunks::<LANES>().0.iter().chain([last]) {
        for i in 0..LANES {
            low[i] = low[i].min(lanes[i]);
            high[i] = high[i].max(lanes[i]);
        }
    }
    (
        low.iter().copied().fold(i16::MAX, i16::min),
        high.iter().copied().fold(i16::MIN, i16::max),
    )
}

/// Sum of some samples.
pub fn sum(samples: &[i16]) -> i64 {
    // 65,536 samples of 16 bits fit 32 bits.
    samples
        .chunks(1 << 16)
        .map(|part| i64::from(part.iter().map(|&x| i32::from(x)).sum::<i32>()))
        .sum()
}

/// How many samples lie at or beyond one of two ends.
pub fn beyond(samples: &[i16], lowest: i16, highest: i16) -> u64 {
    samples
        .iter()
        .map(|&x| u64::from(x <= lowest || x >= highest))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_length_and_place() {
        let x: Vec<i16> = (0..70_i16).map(|i| (i * 7919) % 1009 - 500).collect();
        for a in 0..x.len() {
            for b in a..=x.len() {
                let part = &x[a..b];
                let low = part.iter().copied().min().unwrap_or(i16::MAX);
                let high = part.iter().copied().max().unwrap_or(i16::MIN);
                assert_eq!(extremes(part), (low, high), "{a} {b}");
            }
        }
        assert_eq!(sum(&[i16::MIN; 70_000]), -70_000 * 32_768);
        assert_eq!(beyond(&[-5, -4, 0, 4, 5, 6], -5, 5), 3);
    }
}
