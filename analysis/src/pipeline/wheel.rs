//! Teeth of the crank wheel that are wrong turn after turn are told once each.

use super::Pipeline;
use crate::damage::Flaw;
use crate::lead::Role;

impl Pipeline {
    /// Notes teeth that have become known to be wrong, once the crank lead is proven: an inverted coil or too few samples
    /// put good teeth in the wrong place. One that is seen sound again is forgotten, so that it is told again.
    pub(super) fn watch_teeth(&mut self) {
        if !self.bears(Role::Crank) {
            return;
        }
        let flaws = self.rotation.damaged_teeth();
        if flaws == self.flaws {
            return;
        }
        for flaw in &flaws {
            if !self.flaws.contains(flaw) {
                self.note(self.now(), sentence(*flaw));
            }
        }
        self.flaws = flaws;
    }
}

/// Teeth are counted from 1 after the gap, as on the wheel.
fn sentence((tooth, flaw): (usize, Flaw)) -> String {
    let what = match flaw {
        Flaw::Missing => "gives no edge",
        Flaw::Misplaced => "gives its edge in the wrong place",
    };
    format!(
        "Tooth {} of the crank wheel {what}, turn after turn: is it broken, bent or dirty?",
        tooth + 1
    )
}
