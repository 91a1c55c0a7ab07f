//! Recognition beside the pipeline: it listens to the crank lead until the crank is followed, rules now and then, and
//! rests when the sheet fits.

use super::Recogniser;
use super::proposal::Proposal;
use crate::calibration::Calibration;
use crate::engine::CrankSheet;
use crate::units::{Hertz, SampleTime};
use crate::wheel::Wheel;

/// Seconds of listening before the first look: five revolutions at 150 rpm.
const FIRST: f64 = 2.0;
/// Each further look waits twice as long, up to this: a look that costs 0.1 s is then 0.3 % of the time.
const LONGEST: f64 = 30.0;
/// Fewest edges for a look: two revolutions of twelve teeth.
const FEWEST: usize = 24;

/// Listens and looks.
#[derive(Debug, Clone)]
pub(crate) struct Scout {
    recogniser: Recogniser,
    calibration: Calibration,
    rate: Hertz,
    sheet: CrankSheet,
    wheel: Wheel,
    due: Option<f64>,
    wait: f64,
    rests: bool,
    proposal: Option<Proposal>,
}

impl Scout {
    pub fn new(calibration: Calibration, sheet: &CrankSheet, wheel: Wheel, rate: Hertz) -> Self {
        Self {
            recogniser: Recogniser::of_samples(calibration, rate).with_sheet(&wheel),
            calibration,
            rate,
            sheet: sheet.clone(),
            wheel,
            due: None,
            wait: FIRST,
            rests: false,
            proposal: None,
        }
    }

    /// Whether it wants samples.
    pub fn listens(&self) -> bool {
        !self.rests
    }

    /// Takes samples of the crank lead.
    pub fn push(&mut self, first: u64, samples: &[i16]) {
        self.recogniser.push(first, samples);
    }

    /// Looks if it is time to. Returns the proposal if it is a new one.
    pub fn look(&mut self, now: SampleTime, is_followed: bool) -> Option<&Proposal> {
        if self.rests {
            if !is_followed {
                *self = Self {
                    proposal: self.proposal.take(),
                    ..Self::new(self.calibration, &self.sheet, self.wheel.clone(), self.rate)
                };
            }
            return None;
        }
        let due = *self.due.get_or_insert(now.0 + self.wait * self.rate.0);
        if now.0 < due || self.recogniser.edges() < FEWEST {
            return None;
        }
        self.wait = (2.0 * self.wait).min(LONGEST);
        self.due = Some(now.0 + self.wait * self.rate.0);
        self.rests = is_followed;
        if is_followed && self.recogniser.confirms(&self.sheet, &self.wheel) {
            self.proposal = None;
            return None;
        }
        let found = self.recogniser.recognise();
        let proposal = Proposal::of_crank(&found, &self.sheet, &self.wheel, now);
        let is_news = match (&proposal, &self.proposal) {
            (Some(new), Some(old)) => {
                (&new.wheel, new.sensor, new.active_edge)
                    != (&old.wheel, old.sensor, old.active_edge)
            }
            (Some(_), None) => true,
            (None, _) => false,
        };
        self.proposal = proposal;
        self.proposal.as_ref().filter(|_| is_news)
    }

    /// The proposal, if the signal differs from the sheet.
    pub fn proposal(&self) -> Option<&Proposal> {
        self.proposal.as_ref()
    }
}
