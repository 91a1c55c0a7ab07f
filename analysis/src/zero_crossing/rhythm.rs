//! When teeth may come, and until when one is waited for.

/// The peak is held for so many of the last tooth interval without a tooth; the gap of a 60-2 wheel takes three ...
const OF_LAST: f64 = 5.0;
/// ... or for so many of the longest of the last intervals: wheels of few uneven teeth.
const OF_LONGEST: f64 = 2.0;
/// What is left of the longest interval with each shorter one.
const LONGEST_KEPT: f64 = 0.9;
/// Hold before an interval is known, seconds: a tooth of a 60-2 wheel at 10 rpm.
const UNKNOWN: f64 = 0.1;
/// Longest hold, seconds: a wheel of one tooth at 40 rpm.
const LONGEST: f64 = 1.5;
/// A crossing sooner than this part of the shortest of the last intervals is ringing. The greatest step of a wheel
/// in print is 1 to 4, a gap of three missing teeth.
const TOO_SOON: f64 = 0.125;
/// Growth of the shortest interval with each longer one: a wheel's close teeth come again within a turn.
const SHORTEST_GROWS: f64 = 1.05;

/// Intervals between teeth, in samples.
#[derive(Debug, Clone)]
pub struct Rhythm {
    rate: f64,
    last: Option<f64>,
    shortest: Option<f64>,
    longest: f64,
    hold: f64,
    due: f64,
    /// Whether a tooth has been waited for in vain since the last.
    paused: bool,
}

impl Rhythm {
    /// For `rate` samples a second.
    pub fn new(rate: f64) -> Self {
        Self {
            rate,
            last: None,
            shortest: None,
            longest: 0.0,
            hold: UNKNOWN * rate,
            due: 0.0,
            paused: false,
        }
    }

    /// Whether a crossing at `at` is no tooth of its own.
    pub fn is_too_soon(&self, at: f64) -> bool {
        match (self.last, self.shortest) {
            (Some(last), Some(shortest)) => at - last < TOO_SOON * shortest,
            _ => false,
        }
    }

    /// Takes the next tooth and returns the interval before it.
    pub fn hear(&mut self, at: f64) -> Option<f64> {
        let interval = self.last.replace(at).map(|last| at - last);
        if let Some(interval) = interval {
            // What comes after a standstill has a rhythm of its own.
            let shortest = self.shortest.map(|s| interval.min(s * SHORTEST_GROWS));
            self.shortest = (!self.paused).then(|| shortest.unwrap_or(interval));
            self.longest = interval.max(LONGEST_KEPT * self.longest);
            self.hold = (OF_LAST * interval)
                .max(OF_LONGEST * self.longest)
                .min(LONGEST * self.rate);
        }
        self.paused = false;
        self.due = at + self.hold;
        interval
    }

    /// Whether no tooth has come for so long that the peak must fall; true again after a quarter of that time.
    pub fn is_overdue(&mut self, now: f64) -> bool {
        let overdue = now >= self.due;
        if overdue {
            self.due = now + 0.25 * self.hold;
            self.paused = true;
            self.shortest = None;
            if self
                .last
                .is_some_and(|last| now - last > LONGEST * self.rate)
            {
                self.last = None;
                self.longest = 0.0;
            }
        }
        overdue
    }

    /// Samples were lost: no interval is measured across.
    pub fn gap(&mut self) {
        self.last = None;
        self.hold = UNKNOWN * self.rate;
        self.due = 0.0;
    }
}
