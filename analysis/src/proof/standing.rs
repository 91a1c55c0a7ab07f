//! What a lead is held to be, from one look to the next: quick to doubt what cannot be, slow to doubt what may pass,
//! so that nothing flaps.

use super::lead_proof::{LeadProof, ProofState};

/// A lead that is looked at for the first time is proven when it shows its signal for this long, seconds: three looks.
const FIRST: f64 = 0.2;
/// One that was doubted must show its signal for this long to be proven again. Less lets a loose contact flap, more
/// keeps the judgement waiting.
const AGAIN: f64 = 0.5;
/// Silence of this length, seconds, takes away what was known: the lead may have been put elsewhere since.
const FORGOTTEN: f64 = 1.0;

/// How much what is seen says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Weight {
    /// It shows its signal, or something that cannot be it.
    Firm,
    /// It may pass: it counts when it lasts this many seconds.
    Soft(f64),
    /// It says nothing either way, as a crank lead while the engine stands.
    None,
}

/// What one look sees.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Seen {
    pub proof: LeadProof,
    pub weight: Weight,
}

impl Seen {
    pub fn firm(proof: LeadProof) -> Self {
        let weight = Weight::Firm;
        Self { proof, weight }
    }

    pub fn soft(proof: LeadProof, seconds: f64) -> Self {
        let weight = Weight::Soft(seconds);
        Self { proof, weight }
    }

    pub fn idle(proof: LeadProof) -> Self {
        let weight = Weight::None;
        Self { proof, weight }
    }
}

/// One lead over time. Times are seconds of the stream.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    shown: LeadProof,
    /// Since when it has shown its signal without a break.
    good: Option<f64>,
    /// Since when it has not.
    bad: Option<f64>,
    /// Since when it has shown nothing.
    silent: Option<f64>,
    /// Whether that is long.
    long: bool,
    /// Whether it has been proven, and not been silent for long since.
    known: bool,
    /// Whether it has been proven at all.
    ever: bool,
    /// Whether it has ever been doubted after it was proven.
    doubted: bool,
}

impl Standing {
    pub fn new(shown: LeadProof) -> Self {
        Self {
            shown,
            good: None,
            bad: None,
            silent: None,
            long: false,
            known: false,
            ever: false,
            doubted: false,
        }
    }

    /// Whether it has been proven, and not been silent for long since: then a level that stands is explained.
    pub fn is_known(&self) -> bool {
        self.known
    }

    /// Whether it has been proven at all.
    pub fn was_known(&self) -> bool {
        self.ever
    }

    pub fn state(&self) -> ProofState {
        self.shown.state
    }

    /// Takes what is seen at `now`.
    pub fn settle(&mut self, seen: Seen, now: f64) {
        let Seen { proof, weight } = seen;
        self.forget(&proof, weight, now);
        if proof.state == ProofState::Proven {
            self.bad = None;
            let since = *self.good.get_or_insert(now);
            let wait = if self.doubted { AGAIN } else { FIRST };
            if self.shown.state == ProofState::Proven || now - since >= wait - 1e-6 {
                self.shown = proof;
                self.known = true;
                self.ever = true;
            } else {
                let note = proof.note;
                self.shown = LeadProof::doubtful(note, "Wait a moment: this is its signal.");
            }
            return;
        }
        let was_proven = self.shown.state == ProofState::Proven;
        if weight == Weight::None {
            self.bad = None;
            if was_proven {
                self.shown.note = proof.note;
            } else {
                self.shown = proof;
            }
            return;
        }
        self.good = None;
        let since = *self.bad.get_or_insert(now);
        match weight {
            Weight::Soft(seconds) if was_proven && now - since < seconds => {}
            Weight::Soft(_) | Weight::Firm | Weight::None => {
                self.doubted |= was_proven;
                self.shown = proof;
            }
        }
    }

    fn forget(&mut self, proof: &LeadProof, weight: Weight, now: f64) {
        if proof.state == ProofState::Silent && weight != Weight::None {
            let since = *self.silent.get_or_insert(now);
            self.long = now - since >= FORGOTTEN - 1e-6;
            self.known &= !self.long;
        } else {
            self.silent = None;
            self.long = false;
        }
    }

    /// Whether it has shown nothing for so long that it may have been put elsewhere.
    pub fn was_silent_long(&self) -> bool {
        self.long
    }

    pub fn shown(&self) -> &LeadProof {
        &self.shown
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ProofState::{Doubtful, Proven, Silent};

    /// Looks ten times a second: what is seen, how often, and the state at the end of it.
    fn check(rows: &[(Seen, u32, ProofState)]) {
        let mut standing = Standing::new(LeadProof::silent("", ""));
        let mut at = 0u32;
        for (i, (seen, looks, state)) in rows.iter().enumerate() {
            for _ in 0..*looks {
                standing.settle(seen.clone(), f64::from(at) / 10.0);
                at += 1;
            }
            assert_eq!(standing.state(), *state, "row {i}");
        }
    }

    #[test]
    fn proof_comes_after_three_looks_and_goes_as_what_is_seen_deserves() {
        let good = || Seen::firm(LeadProof::proven("13.7 V"));
        let wrong = || Seen::firm(LeadProof::doubtful("137 V", "the factor"));
        let odd = || Seen::soft(LeadProof::doubtful("odd", "wait"), 1.0);
        let idle = || Seen::idle(LeadProof::doubtful("stands", "start it"));
        check(&[
            (good(), 2, Doubtful),
            (good(), 1, Proven),
            (odd(), 10, Proven),
            (good(), 1, Proven),
            (odd(), 11, Doubtful),
            (good(), 5, Doubtful),
            (good(), 1, Proven),
            (idle(), 100, Proven),
            (wrong(), 1, Doubtful),
        ]);
        check(&[(idle(), 5, Doubtful), (odd(), 1, Doubtful)]);
        check(&[
            (good(), 3, Proven),
            (Seen::firm(LeadProof::silent("0 V", "clip")), 1, Silent),
        ]);
    }

    #[test]
    fn what_was_known_is_forgotten_after_a_second_of_silence() {
        let silence = || Seen::firm(LeadProof::silent("0.0 V", "clip it on"));
        let mut standing = Standing::new(LeadProof::silent("", ""));
        for at in [0.0, 0.1, 0.2] {
            standing.settle(Seen::firm(LeadProof::proven("200 Hz")), at);
        }
        standing.settle(silence(), 0.3);
        standing.settle(silence(), 1.2);
        assert!(standing.is_known());
        standing.settle(silence(), 1.3);
        assert!(!standing.is_known());
    }
}
