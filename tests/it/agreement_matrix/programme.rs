//! What the driver does in a run.

use super::chance::Chance;
use keyway_acquisition::simulator::script::Segment;

/// A kind of driving.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Programme {
    /// Idle, with one blip of the throttle late in the round.
    Idle,
    /// Blips of the throttle from idle.
    Revs,
    /// Slow ramps up and down.
    Ramps,
    /// One speed held for long, and idle.
    Steady,
    /// Several speeds one after the other, and idle.
    Levels,
}

impl Programme {
    /// Those that command the phasers to and fro.
    pub const DRIVING: [Self; 4] = [Self::Revs, Self::Ramps, Self::Steady, Self::Levels];

    /// Its segments, which repeat from the first.
    pub fn segments(self, chance: &mut Chance) -> Vec<Segment> {
        match self {
            Self::Idle => {
                let blip = speed(chance, [2000.0, 3000.0], [1.5, 2.5], [3000.0, 6000.0]);
                vec![idle(chance, [9.0, 14.0]), blip]
            }
            Self::Revs => {
                let blips =
                    [0, 1].map(|_| speed(chance, [2200.0, 3800.0], [1.5, 3.5], [3000.0, 8000.0]));
                let [a, b] = blips;
                vec![idle(chance, [3.5, 6.0]), a, idle(chance, [3.0, 5.0]), b]
            }
            Self::Ramps => {
                let up = speed(chance, [2600.0, 3600.0], [5.0, 7.0], [400.0, 900.0]);
                let down = speed(chance, [1200.0, 1600.0], [3.0, 4.0], [500.0, 900.0]);
                vec![idle(chance, [3.5, 5.0]), up, down]
            }
            Self::Steady => {
                let hold = speed(chance, [1800.0, 3000.0], [8.0, 12.0], [1500.0, 4000.0]);
                vec![idle(chance, [3.5, 5.0]), hold]
            }
            Self::Levels => {
                let mut all: Vec<_> = (0..4)
                    .map(|_| speed(chance, [1400.0, 3400.0], [2.0, 4.0], [1500.0, 6000.0]))
                    .collect();
                all.insert(0, idle(chance, [3.5, 5.0]));
                all
            }
        }
    }
}

fn idle(chance: &mut Chance, seconds: [f64; 2]) -> Segment {
    Segment::Idle {
        seconds: chance.within(seconds),
    }
}

/// A speed in rpm for some seconds, reached at so many rpm per second.
fn speed(chance: &mut Chance, rpm: [f64; 2], seconds: [f64; 2], ramp: [f64; 2]) -> Segment {
    Segment::Speed {
        rpm: chance.within(rpm),
        seconds: chance.within(seconds),
        ramp: chance.within(ramp),
        load: 0.0,
    }
}
