//! Mains hum: a small signal whose every period is that of the mains.
//! A turning engine's teeth are never that regular: its speed swings by per cents within a turn.

/// Mains frequencies.
const MAINS: [f64; 2] = [50.0, 60.0];
/// How far a period may be from that of the mains. The grid keeps within 0.4 % (50 ± 0.2 Hz, from memory); noise on a
/// small sine moves a crossing by a little more.
const TOLERANCE: f64 = 0.007;
/// Periods in a row that make it hum: most of a second. With fewer, teeth that happen to pass at that rate on a smoothly
/// idling engine could be taken for hum; with more, hum is taken for teeth for longer.
const ENOUGH: u32 = 40;

/// Counts periods of mains length.
#[derive(Debug, Clone, Default)]
pub struct Hum {
    row: u32,
}

impl Hum {
    /// Takes the next interval between edges, in seconds, and whether the signal is small enough to be hum.
    pub fn hear(&mut self, interval: f64, is_small: bool) {
        let mains = MAINS
            .iter()
            .any(|hertz| (interval * hertz - 1.0).abs() < TOLERANCE);
        self.row = if mains && is_small {
            self.row.saturating_add(1)
        } else {
            0
        };
    }

    /// Whether the signal is hum.
    pub fn is_heard(&self) -> bool {
        self.row >= ENOUGH
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mains_is_hum_and_an_idling_engine_is_not() {
        let heard = |hertz: f64, ripple: f64| {
            let mut hum = Hum::default();
            for i in 0..60 {
                let swing = 1.0 + ripple * f64::from(i).sin();
                hum.hear(swing / hertz, true);
            }
            hum.is_heard()
        };
        assert!(heard(50.0, 0.0) && heard(59.97, 0.002));
        assert!(!heard(53.0, 0.0) && !heard(50.0, 0.02));
        let mut large = Hum::default();
        (0..60).for_each(|_| large.hear(0.02, false));
        assert!(!large.is_heard());
    }
}
