//! What the Hook-up screen shows, as data: the leads with what each has proven, and why not.

use super::{Hookup, life_words};
use crate::exhibit::scene::{Scene, Value};
use crate::figure;
use crate::screen::live::words;
use keyway_analysis::lead::Role;
use keyway_analysis::snapshot::{LeadSnapshot, ProofState};

impl Hookup {
    /// What is on the screen as data, to be kept as an exhibit; none before the first samples.
    pub fn scene(&self) -> Option<Scene> {
        let (_, snapshot) = self.shown.as_ref()?;
        let fitted: Vec<_> = snapshot
            .leads
            .iter()
            .filter(|l| l.role != Role::Spare)
            .collect();
        let proven = fitted
            .iter()
            .filter(|l| l.proof == ProofState::Proven)
            .count();
        Some(Scene {
            title: format!("{proven} of {} leads are proven", fitted.len()),
            screen: self.title().to_owned(),
            values: fitted.into_iter().map(lead).collect(),
            ..Scene::default()
        })
    }
}

fn lead(lead: &LeadSnapshot) -> Value {
    let (_, life) = life_words(Some(lead.proof));
    let mut name = format!("Input {}, {}", lead.input, words::lead(lead.role));
    if !lead.place.is_empty() {
        name = format!("{name}, at {}", lead.place);
    }
    let level = lead
        .level
        .map(|v| format!("mean {} {}", figure::plain(v, 2), lead.unit));
    let said = [Some(lead.note.clone()), level, Some(lead.try_next.clone())];
    let said: Vec<_> = said
        .into_iter()
        .flatten()
        .filter(|w| !w.is_empty())
        .collect();
    Value {
        name,
        figure: life.to_owned(),
        quality: said.join("; "),
    }
}
