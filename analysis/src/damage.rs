//! Teeth that are wrong turn after turn: a damaged wheel, not noise.

use crate::wheel::Wheel;

/// Turns in a row after which a tooth is known to be wrong.
const KNOWN_AFTER: u8 = 3;
/// More than this is not remembered, so that a tooth that is seen again is soon sound again.
const MOST: u8 = 6;

/// What is wrong with a tooth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flaw {
    /// No edge comes from it.
    Missing,
    /// Its edge is out of place.
    Misplaced,
}

/// What has been seen of each tooth.
#[derive(Debug, Clone)]
pub(crate) struct Damage {
    seen: Vec<[u8; 2]>,
    missing: Vec<bool>,
    is_even: bool,
}

impl Damage {
    pub fn new(wheel: &Wheel) -> Self {
        let teeth = wheel.teeth() / wheel.symmetry();
        Self {
            seen: vec![[0; 2]; teeth],
            missing: vec![false; teeth],
            is_even: teeth == 1,
        }
    }

    /// The edge at `tooth` came, with what was wrong about it or the tooth before.
    pub fn note(&mut self, tooth: usize, flawed: Option<(usize, Flaw)>) {
        if self.is_even {
            return;
        }
        for (which, kind) in [Flaw::Missing, Flaw::Misplaced].into_iter().enumerate() {
            match flawed {
                Some((wrong, flaw)) if flaw == kind => {
                    let count = &mut self.seen[wrong][which];
                    *count = (*count + 1).min(MOST);
                    self.learn(wrong);
                }
                _ => {}
            }
            if flawed.is_none_or(|(wrong, flaw)| wrong != tooth || flaw != kind) {
                self.seen[tooth][which] = self.seen[tooth][which].saturating_sub(2);
                self.learn(tooth);
            }
        }
    }

    fn learn(&mut self, tooth: usize) {
        self.missing[tooth] = self.seen[tooth][0] >= KNOWN_AFTER;
    }

    /// One per tooth: whether it is known to be missing.
    pub fn missing(&self) -> &[bool] {
        &self.missing
    }

    /// The teeth that are known to be wrong.
    pub fn known(&self) -> Vec<(usize, Flaw)> {
        self.seen
            .iter()
            .enumerate()
            .filter_map(|(tooth, &[missing, misplaced])| {
                if missing >= KNOWN_AFTER {
                    Some((tooth, Flaw::Missing))
                } else {
                    (misplaced >= KNOWN_AFTER).then_some((tooth, Flaw::Misplaced))
                }
            })
            .collect()
    }
}
