//! Listens to a crank or cam lead until it is known what its signal looks like, then no longer: a
//! second detector on every sample would cost as much as the first.

use crate::calibration::Calibration;
use crate::recognise::{Certainty, Recogniser, Recognition};
use crate::units::Hertz;
use crate::wheel::Wheel;
use std::sync::Arc;

/// Seconds of samples after which it is looked first: some turns at cranking speed. Sooner, the first
/// answer would more often be taken back.
const FIRST: f64 = 1.0;
/// Each further look comes after as long again. After this many seconds more time tells nothing new;
/// with more, a lead that is never sure would cost as much for ever.
const LONGEST: f64 = 32.0;

/// One lead that is listened to.
#[derive(Debug, Clone)]
pub struct Audition {
    calibration: Calibration,
    rate: Hertz,
    sheet: Option<Wheel>,
    /// None when nothing more is to be learnt.
    recogniser: Option<Box<Recogniser>>,
    /// Index of the first sample listened to.
    since: Option<u64>,
    /// Index after the last sample listened to.
    next: u64,
    /// Seconds of samples after which it is looked next.
    due: f64,
    heard: Option<Arc<Recognition>>,
}

impl Audition {
    /// Begins to listen; `sheet` is the wheel that the engine sheet gives for this lead, if any.
    pub fn new(calibration: Calibration, rate: Hertz, sheet: Option<Wheel>) -> Self {
        let mut audition = Self {
            calibration,
            rate,
            sheet,
            recogniser: None,
            since: None,
            next: 0,
            due: FIRST,
            heard: None,
        };
        audition.begin();
        audition
    }

    /// Listens anew, as when the engine turns again: leads may have been changed. What was heard
    /// before stands until something is heard again.
    pub fn begin(&mut self) {
        let mut recogniser = Recogniser::of_samples(self.calibration, self.rate);
        if let Some(wheel) = &self.sheet {
            recogniser = recogniser.with_sheet(wheel);
        }
        self.recogniser = Some(Box::new(recogniser));
        self.since = None;
        self.due = FIRST;
    }

    /// Listens no longer; what was heard stands.
    pub fn rest(&mut self) {
        self.recogniser = None;
    }

    /// Takes consecutive samples, the first of which has index `first`. When it looks depends on the
    /// index alone, not on how the samples arrive.
    pub fn push(&mut self, mut first: u64, mut samples: &[i16]) {
        while !samples.is_empty() {
            let Some(recogniser) = &mut self.recogniser else {
                return;
            };
            // Lost samples were not listened to.
            let since = self
                .since
                .map_or(first, |s| s + first.saturating_sub(self.next));
            self.since = Some(since);
            let until = (since + samples_in(self.due, self.rate)).max(first);
            let count =
                usize::try_from(until - first).map_or(samples.len(), |n| n.min(samples.len()));
            let (now, later) = samples.split_at(count);
            recogniser.push(first, now);
            self.next = first + count as u64;
            if self.next == until {
                self.look();
            }
            first += count as u64;
            samples = later;
        }
    }

    /// What it was last recognised as.
    pub fn heard(&self) -> Option<Arc<Recognition>> {
        self.heard.clone()
    }

    fn look(&mut self) {
        let Some(recogniser) = &self.recogniser else {
            return;
        };
        let seen = recogniser.recognise();
        self.due *= 2.0;
        let is_sure = !seen.candidates.is_empty() && seen.certainty == Certainty::Sure;
        if is_sure || self.due > LONGEST {
            self.recogniser = None;
        }
        self.heard = Some(Arc::new(seen));
    }
}

/// Samples in some seconds, at least one.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "half a minute of samples"
)]
fn samples_in(seconds: f64, rate: Hertz) -> u64 {
    (seconds * rate.0).ceil().max(1.0) as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Input;
    use crate::lead::{Lead, Role};

    const RATE: f64 = 50_000.0;

    /// A Hall sensor on a 36-1 wheel at 900 rpm, 5 V or nothing, in millivolts.
    fn samples(seconds: f64) -> Vec<i16> {
        let wheel = Wheel::parse("36-1").unwrap();
        let count = usize::try_from(samples_in(seconds, Hertz(RATE))).unwrap();
        (0..count)
            .map(|k| {
                let angle = (k as f64 / RATE * 900.0 * 6.0).rem_euclid(360.0);
                let near =
                    (0..wheel.teeth()).any(|t| (0.0..5.0).contains(&(angle - wheel.angle(t).0)));
                if near { 0 } else { 5000 }
            })
            .collect()
    }

    fn audition() -> Audition {
        let input = Input {
            number: 1,
            scale: 1e-3,
            offset: 0.0,
            low: -20.0,
            high: 20.0,
            unit: "V".to_owned(),
        };
        let lead = Lead {
            input: 1,
            role: Role::Crank,
            place: String::new(),
            factor: 1.0,
        };
        let calibration = Calibration::new(&input, &lead).unwrap();
        Audition::new(calibration, Hertz(RATE), None)
    }

    fn heard(blocks: usize, seconds: f64) -> Option<Arc<Recognition>> {
        let mut audition = audition();
        let mut first = 0;
        for block in samples(seconds).chunks(blocks) {
            audition.push(first, block);
            first += block.len() as u64;
        }
        audition.heard()
    }

    #[test]
    fn it_hears_the_same_however_the_samples_arrive() {
        assert_eq!(heard(997, 0.9), None);
        let seen = heard(997, 2.5).unwrap();
        assert_eq!(seen.wheel().unwrap().to_string(), "36-1");
        assert_eq!(Some(seen), heard(5000, 2.5));
    }

    #[test]
    fn it_stops_listening_when_it_is_sure_and_begins_anew_when_told() {
        let mut audition = audition();
        audition.push(0, &samples(8.0));
        assert!(audition.recogniser.is_none(), "{:?}", audition.heard);
        audition.begin();
        audition.push(10_000_000, &samples(0.5));
        assert!(audition.recogniser.is_some() && audition.heard().is_some());
    }

    #[test]
    fn a_lead_that_says_nothing_is_given_up() {
        let mut audition = audition();
        audition.push(0, &vec![0; 40 * 50_000]);
        assert!(audition.recogniser.is_none());
        assert!(audition.heard().unwrap().candidates.is_empty());
    }
}
