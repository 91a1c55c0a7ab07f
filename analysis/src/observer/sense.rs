//! Which way more duty moves the cam.

use super::Sense;

/// Motion in one way that settles the sense, crank degrees: twice a usual base tolerance.
const ENOUGH: f64 = 6.0;
/// And how many times as much as in the other way.
const CLEAR: f64 = 3.0;
/// A jump of the timing passes through the rolling phase within one cam revolution; motion against the drive must
/// last this much longer before all of it counts, seconds,
const LASTS: f64 = 0.3;
/// or go farther than a jump of two teeth of the coarsest sprocket in use (36 teeth: 40 crank degrees would be
/// beyond the phaser; one tooth is 20).
const FAR: f64 = 25.0;

/// Motion of one excursion that counts, crank degrees.
const LEAST: f64 = 3.0;
/// What shorter motion the other way counts at most: two excursions are needed, and timing does not jump twice.
const ONCE: f64 = 5.0;

/// The motion that answers a change of duty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Answer {
    /// When it began, which tells it from others.
    pub began: f64,
    /// Motion along it since, negative against it.
    pub moved: f64,
    /// Whether it is still pushed that way, so that motion the other way is not the answer to a newer command.
    pub pushed: bool,
}

/// Motion of one excursion.
#[derive(Debug, Clone, Copy)]
struct Run {
    began: f64,
    with: f64,
    against: f64,
    /// When it began to move the other way, and the last time it went further.
    turned: Option<f64>,
    last: f64,
    deepest: f64,
    zero: f64,
}

/// Learns the sense of the command.
#[derive(Debug, Clone)]
pub(super) struct SenseLearner {
    with: f64,
    against: f64,
    run: Option<Run>,
    sense: Sense,
}

impl SenseLearner {
    pub fn new() -> Self {
        Self {
            with: 0.0,
            against: 0.0,
            run: None,
            sense: Sense::Unknown,
        }
    }

    /// One look at an excursion, if there is one; `window` is how long a jump of the timing shows as motion, seconds.
    pub fn look(&mut self, now: f64, answer: Option<Answer>, window: f64) {
        let Some(a) = answer else {
            self.run = None;
            return;
        };
        let run = match &mut self.run {
            Some(run) if (run.began - a.began).abs() < 1e-9 => run,
            other => other.insert(Run {
                began: a.began,
                with: 0.0,
                against: 0.0,
                turned: None,
                last: now,
                deepest: 0.0,
                zero: a.moved.min(0.0),
            }),
        };
        let moved = a.moved - run.zero;
        if !a.pushed {
            return self.settle();
        }
        if moved >= LEAST && moved > run.with {
            self.with += moved - run.with;
            run.with = moved;
        }
        if -moved < 0.5 {
            run.turned = None;
        } else if run.turned.is_none() {
            run.turned = Some(now);
        }
        if -moved > run.deepest + 0.2 {
            (run.deepest, run.last) = (-moved, now);
        }
        let lasted = run.turned.is_some_and(|t| run.last - t >= window + LASTS);
        let believed = if lasted || -moved >= FAR {
            -moved
        } else {
            (-moved).min(ONCE)
        };
        if -moved >= LEAST && believed > run.against {
            self.against += believed - run.against;
            run.against = believed;
        }
        self.settle();
    }

    fn settle(&mut self) {
        if self.with >= ENOUGH && self.with > CLEAR * self.against {
            self.sense = Sense::AsSheet;
        } else if self.sense == Sense::Unknown
            && self.against >= ENOUGH
            && self.against > CLEAR * self.with
        {
            // One that has gone wrong after having been right is a fault, and keeps its sense.
            self.sense = Sense::Opposite;
        }
    }

    pub fn sense(&self) -> Sense {
        self.sense
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Drives of one second in both directions, in which the cam moves at `rate` along each; a jump of `jump` in each.
    fn after(drives: usize, rate: f64, jump: f64) -> SenseLearner {
        let mut learner = SenseLearner::new();
        for drive in 0..drives {
            let began = drive as f64 * 2.0;
            for n in 0..50_u32 {
                let t = f64::from(n) * 0.02;
                let moved = rate * t + jump * (t / 0.15).min(1.0);
                learner.look(
                    began + t,
                    Some(Answer {
                        began,
                        moved,
                        pushed: true,
                    }),
                    0.2,
                );
            }
            learner.look(began + 1.0, None, 0.2);
        }
        learner
    }

    #[test]
    fn the_sense_is_learnt_from_motion_and_not_from_a_jump_of_the_timing() {
        assert_eq!(after(1, 20.0, 0.0).sense(), Sense::AsSheet);
        assert_eq!(after(1, -20.0, 0.0).sense(), Sense::Opposite);
        assert_eq!(after(1, 0.0, -17.0).sense(), Sense::Unknown);
        assert_eq!(after(4, 0.2, 0.0).sense(), Sense::Unknown);
    }

    #[test]
    fn what_was_right_once_stays_right() {
        let mut learner = after(2, 20.0, 0.0);
        for n in 0..50_u32 {
            let t = f64::from(n) * 0.02;
            let answer = Answer {
                began: 100.0,
                moved: -40.0 * t,
                pushed: true,
            };
            learner.look(100.0 + t, Some(answer), 0.2);
        }
        assert_eq!(learner.sense(), Sense::AsSheet);
    }
}
