//! Removes spikes of one or two samples of any height: each sample becomes the median of itself and those around it.
//! A rise or fall passes unchanged (the root signals of the median filter: Tukey, Exploratory Data Analysis, 1977),
//! so that no crossing moves. The filter looks back only: its output is late by a whole number of samples.

/// Above this rate a spike of 1 µs can fill two samples.
const TWO_ABOVE: f64 = 500_000.0;

/// The filter, with the last samples it has seen.
#[derive(Debug, Clone)]
pub struct SpikeFilter {
    reach: usize,
    /// The last two times `reach` samples, then those of the piece at hand.
    window: Vec<i16>,
    out: Vec<i16>,
}

impl SpikeFilter {
    /// A filter for `rate` samples a second.
    pub fn new(rate: f64) -> Self {
        Self {
            reach: if rate > TWO_ABOVE { 2 } else { 1 },
            window: Vec::new(),
            out: Vec::new(),
        }
    }

    /// By how many samples the output is late.
    pub fn delay(&self) -> u64 {
        self.reach as u64
    }

    /// Remembers `samples` without filtering them.
    pub fn pass_over(&mut self, samples: &[i16]) {
        let most = 2 * self.reach;
        if let Some(end) = samples.len().checked_sub(most) {
            self.window.clear();
            self.window.extend_from_slice(&samples[end..]);
        } else {
            self.window.extend_from_slice(samples);
            let excess = self.window.len().saturating_sub(most);
            let _ = self.window.drain(..excess);
        }
    }

    /// The filtered samples, one for each of `samples`.
    pub fn apply(&mut self, samples: &[i16]) -> &[i16] {
        let most = 2 * self.reach;
        let Some(&first) = samples.first() else {
            return &[];
        };
        while self.window.len() < most {
            self.window.insert(0, first);
        }
        self.window.extend_from_slice(samples);
        self.out.clear();
        let w = &self.window;
        if self.reach == 1 {
            let triples = w.iter().zip(&w[1..]).zip(&w[2..]);
            self.out
                .extend(triples.map(|((&a, &b), &c)| median(a, b, c)));
        } else {
            let fives = w.iter().zip(&w[1..]).zip(&w[2..]).zip(&w[3..]).zip(&w[4..]);
            self.out.extend(fives.map(|((((&a, &b), &c), &d), &e)| {
                let low = a.min(b).max(c.min(d));
                let high = a.max(b).min(c.max(d));
                median(low, high, e)
            }));
        }
        let excess = self.window.len() - most;
        self.window.copy_within(excess.., 0);
        self.window.truncate(most);
        &self.out
    }

    /// Forgets what it has seen, as after a gap.
    pub fn reset(&mut self) {
        self.window.clear();
    }
}

fn median(a: i16, b: i16, c: i16) -> i16 {
    a.min(b).max(a.max(b).min(c))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_the_median_of_the_samples_before_in_any_pieces() {
        let x: Vec<i16> = (0..400_i16).map(|i| (i * 7919) % 1009 - 500).collect();
        for (rate, n) in [(200_000.0, 3), (1_000_000.0, 5)] {
            for piece in [1, 2, 3, 5, 64, 400] {
                let mut f = SpikeFilter::new(rate);
                let mut out = Vec::new();
                for (i, part) in x.chunks(piece).enumerate() {
                    // What it only remembers must count as well as what it filters.
                    if i % 3 == 1 {
                        f.pass_over(part);
                        out.resize(out.len() + part.len(), i16::MIN);
                    } else {
                        out.extend_from_slice(f.apply(part));
                    }
                }
                for i in n..x.len() {
                    let mut near = x[i + 1 - n..=i].to_vec();
                    near.sort_unstable();
                    assert!(
                        out[i] == i16::MIN || out[i] == near[n / 2],
                        "{rate} {piece} {i}"
                    );
                }
            }
        }
    }

    #[test]
    fn spikes_go_and_slopes_stay() {
        let mut f = SpikeFilter::new(1_000_000.0);
        let mut x: Vec<i16> = (0..100).collect();
        x[40] = 30_000;
        x[41] = 30_000;
        x[70] = -30_000;
        let y = f.apply(&x).to_vec();
        for (i, (&y, late)) in y.iter().zip(-2_i16..).enumerate().skip(10) {
            assert!((y - late).abs() <= 2, "{i}: {y}");
        }
    }
}
