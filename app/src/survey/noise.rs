//! Noise of a value that also moves, in bounded memory.

/// Bins to an octave: the median is then known to 1/32 octave, 2 %.
const PER_OCTAVE: f64 = 16.0;
/// Lowest step that is told from none: 2^-14 of the unit, 0.00006°.
const LOWEST: f64 = -14.0;
/// Octaves covered: up to 2^8 of the unit, more than a cam can move.
const OCTAVES: f64 = 22.0;
/// Least number of steps: with fewer the median says nothing.
const LEAST: u64 = 8;
/// Standard deviation over median of the absolute value, for a normal distribution
/// (P. J. Rousseeuw, C. Croux, "Alternatives to the median absolute deviation", 1993).
const NORMAL: f64 = 1.4826;

/// Sizes of the steps from each value to the next.
///
/// The deviation follows from the median step, so that neither slow motion nor quick motion in fewer
/// than half of the steps counts; a step is the difference of two values and varies √2 times as much
/// as one.
#[derive(Debug, Clone)]
pub struct Noise {
    bins: Vec<u32>,
    steps: u64,
}

impl Default for Noise {
    fn default() -> Self {
        Self {
            bins: vec![0; index(f64::INFINITY) + 1],
            steps: 0,
        }
    }
}

/// The bin of a step; bin 0 has those too small to tell.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a few hundred just before"
)]
fn index(step: f64) -> usize {
    let place = (step.abs().log2() - LOWEST) * PER_OCTAVE;
    place.clamp(0.0, OCTAVES * PER_OCTAVE) as usize
}

impl Noise {
    /// Takes the next step; one that is no number is passed over.
    pub fn push(&mut self, step: f64) {
        if !step.is_nan() {
            let bin = &mut self.bins[index(step)];
            *bin = bin.saturating_add(1);
            self.steps += 1;
        }
    }

    /// Standard deviation of the values, in their unit; none before enough steps.
    pub fn deviation(&self) -> Option<f64> {
        if self.steps < LEAST {
            return None;
        }
        let mut before = 0;
        for (place, bin) in self.bins.iter().enumerate() {
            let after = before + u64::from(*bin);
            if 2 * after >= self.steps {
                let share = (0.5 * self.steps as f64 - before as f64) / f64::from(*bin);
                let octave = LOWEST + (place as f64 + share) / PER_OCTAVE;
                return Some(octave.exp2() * NORMAL / 2.0_f64.sqrt());
            }
            before = after;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::Noise;

    /// About a normal distribution of width 1: sums of twelve numbers of Knuth's MMIX generator
    /// (The Art of Computer Programming 2, 3.3.4), less their mean.
    fn values(count: usize) -> Vec<f64> {
        let mut state = 1_u64;
        let mut uniform = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f64 / 16_777_216.0
        };
        (0..count)
            .map(|_| (0..12).map(|_| uniform()).sum::<f64>() - 6.0)
            .collect()
    }

    #[test]
    fn a_cam_that_moves_at_times_is_hardly_noisier() {
        // Where a tenth of the steps are all large, the median is the 0.5/0.9 quantile of the others:
        // 0.765 instead of 0.674 of a normal distribution's width (any table of it).
        for (motion, due) in [(0.0, 0.05), (0.2, 0.05 * 0.765 / 0.674)] {
            let mut noise = Noise::default();
            let mut before = None;
            for (k, value) in values(20_000).iter().enumerate() {
                // It moves one way for a tenth of the time.
                let moved = (k % 1000).saturating_sub(900) as f64;
                let now = 0.05 * value + motion * moved;
                if let Some(before) = before.replace(now) {
                    noise.push(now - before);
                }
            }
            let deviation = noise.deviation().unwrap();
            assert!((deviation - due).abs() < 0.0015, "{motion}: {deviation}");
        }
    }

    #[test]
    fn a_few_steps_say_nothing() {
        let mut noise = Noise::default();
        (0..7).for_each(|_| noise.push(1.0));
        assert_eq!(noise.deviation(), None);
        noise.push(f64::NAN);
        assert_eq!(noise.deviation(), None);
    }
}
