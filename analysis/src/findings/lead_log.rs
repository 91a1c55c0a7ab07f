//! What each lead has shown over the session: when it was proven, when not, and why. Times are seconds.

use crate::lead::{CamId, Role};
use crate::proof::{LeadProof, Mistake, ProofState, Touch, bears};

/// So long after the engine turns a lead may take to prove itself: a pattern has to hold for some revolutions, which
/// are slow while cranking. Less calls a lead bad that only needs time, more lets a bad one pass as not shown longer.
const GRACE: f64 = 4.0;
/// A lead that was proven and stops showing its signal for this long while the engine turns is lost.
const LOST: f64 = 0.5;
/// A mistake must be recognised for this long.
const RECOGNISED: f64 = 0.3;
/// Spans kept of one lead; of more the two oldest are joined.
const MOST: usize = 64;

/// A time during which a lead was not proven.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Unproven {
    from: f64,
    to: f64,
    /// Silent, or a mistake recognised: more than doubt.
    bad: bool,
}

/// One lead over the session.
#[derive(Debug, Clone)]
pub(crate) struct Story {
    pub role: Role,
    pub now: LeadProof,
    /// When it was proven first.
    pub first: Option<f64>,
    /// Whether it was touched to ground and supply, so that a level it stands at means something.
    touched: bool,
    unproven: Vec<Unproven>,
    /// Seconds of the present doubt during which the engine turned.
    turning: f64,
    /// Seconds for which the present mistake is recognised.
    mistaken: f64,
    /// Times at which it was lost after it had been proven.
    pub losses: usize,
    /// The last mistake recognised, and when.
    pub mistake: Option<(Mistake, f64)>,
    /// Since when it has been in trouble without a break.
    pub trouble: Option<f64>,
}

impl Story {
    fn new(role: Role, proof: &LeadProof) -> Self {
        Self {
            role,
            now: proof.clone(),
            first: None,
            touched: false,
            unproven: Vec::new(),
            turning: 0.0,
            mistaken: 0.0,
            losses: 0,
            mistake: None,
            trouble: None,
        }
    }

    /// Looks, `step` seconds after the last look.
    fn look(&mut self, at: f64, step: f64, turns: Turns, proof: &LeadProof) {
        if self.now != *proof {
            self.now = proof.clone();
        }
        self.touched |= proof.touch == Some(Touch::Done);
        // One that leaves the lead proven does no harm.
        if let Some(mistake) = proof.mistake.filter(|_| proof.state != ProofState::Proven) {
            self.mistaken += step;
            if self.mistaken >= RECOGNISED {
                self.mistake = Some((mistake, at));
            }
        } else {
            self.mistaken = 0.0;
        }
        if proof.state == ProofState::Proven {
            let _ = self.first.get_or_insert(at);
            self.turning = 0.0;
        } else {
            self.doubt(at, step, proof);
            // One that was proven is owed to stay so while the engine runs, not while it starts or runs out. The crank
            // lead itself cannot tell; a cam lead can.
            let owed = match (self.first, self.role) {
                // A clamp shows nothing while its valve is not driven.
                (_, Role::Current(_)) => false,
                (Some(_), Role::Crank) => turns.by_cam,
                (Some(_), _) => turns.runs,
                (None, _) => turns.at_all,
            };
            if owed {
                self.turning += step;
            }
        }
        let patience = if self.first.is_some() { LOST } else { GRACE };
        let bad = self.mistaken >= RECOGNISED || self.turning >= patience;
        match (bad, self.trouble) {
            (true, None) => {
                self.trouble = Some(at);
                self.losses += usize::from(self.first.is_some());
            }
            (false, Some(_)) => self.trouble = None,
            _ => {}
        }
    }

    fn doubt(&mut self, at: f64, step: f64, proof: &LeadProof) {
        let bad = proof.state == ProofState::Silent || proof.mistake.is_some();
        let joins = |u: &Unproven| u.bad == bad && at - u.to <= 1.5 * step;
        if let Some(last) = self.unproven.last_mut().filter(|u| joins(u)) {
            last.to = at;
            return;
        }
        self.unproven.push(Unproven {
            from: at - step,
            to: at,
            bad,
        });
        if self.unproven.len() > MOST {
            let oldest = self.unproven.remove(0);
            if let Some(next) = self.unproven.first_mut() {
                next.from = oldest.from;
                next.bad |= oldest.bad;
            }
        }
    }

    pub fn is_proven(&self) -> bool {
        bears(self.role, &self.now)
    }

    fn proven_over(&self, from: f64, to: f64) -> bool {
        self.first.is_some_and(|first| first <= to)
            && !self.unproven.iter().any(|u| u.from < to && u.to > from)
    }

    fn known_over(&self, from: f64, to: f64) -> bool {
        let bad = |u: &Unproven| u.bad && u.from < to && u.to > from;
        (self.touched || self.first.is_some_and(|first| first <= to))
            && !self.unproven.iter().any(bad)
    }
}

/// What is known of the engine's turning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Turns {
    /// As far as any lead shows.
    pub at_all: bool,
    /// A cam lead shows it.
    pub by_cam: bool,
    /// It runs by itself.
    pub runs: bool,
}

/// All leads of the plan over the session.
#[derive(Debug, Clone, Default)]
pub(crate) struct LeadLog {
    stories: Vec<Story>,
    last: Option<f64>,
}

impl LeadLog {
    /// Looks.
    pub fn look(&mut self, at: f64, turns: Turns, leads: &[(Role, LeadProof)]) {
        let step = self.last.map_or(0.0, |last| (at - last).clamp(0.0, 0.5));
        self.last = Some(at);
        for (role, proof) in leads.iter().filter(|(role, _)| *role != Role::Spare) {
            let known = self.stories.iter().position(|s| s.role == *role);
            let index = known.unwrap_or_else(|| {
                self.stories.push(Story::new(*role, proof));
                self.stories.len() - 1
            });
            self.stories[index].look(at, step, turns, proof);
        }
    }

    pub fn story(&self, role: Role) -> Option<&Story> {
        self.stories.iter().find(|s| s.role == role)
    }

    /// Whether there is such a lead.
    pub fn fitted(&self, role: Role) -> bool {
        self.story(role)
            .is_some_and(|s| s.now.state != ProofState::Spare)
    }

    /// Whether the lead is proven now.
    pub fn proven(&self, role: Role) -> bool {
        self.story(role).is_some_and(Story::is_proven)
    }

    /// Whether the lead was proven from then to then without a break.
    pub fn proven_over(&self, role: Role, from: f64, to: f64) -> bool {
        self.story(role).is_some_and(|s| s.proven_over(from, to))
    }

    /// Whether a level at which the lead stood from then to then means something: it was seen to move before, or was
    /// touched, and showed nothing from then to then that says that it has come off.
    pub fn known_over(&self, role: Role, from: f64, to: f64) -> bool {
        self.story(role).is_some_and(|s| s.known_over(from, to))
    }

    /// The leads that what is said of this cam rests on or may rest on, as far as they are fitted.
    pub fn of_cam(&self, cam: CamId, with_phaser: bool) -> Vec<&Story> {
        let mut roles = vec![Role::Crank, Role::Cam(cam)];
        if with_phaser {
            roles.extend([Role::Command(cam), Role::Current(cam), Role::Supply]);
        }
        roles
            .into_iter()
            .filter_map(|role| self.story(role))
            .filter(|s| s.now.state != ProofState::Spare)
            .collect()
    }
}
