//! Lead states, always on the screen, so that no figure is believed beyond its lead.

use super::plan::Leads;
use super::words;
use crate::font;
use crate::theme::{Palette, RADIUS};
use crate::widget::label::{self, Anchor, Label};
use crate::widget::mark::{self, Mark};
use iced::widget::canvas::{Frame, Path};
use iced::{Color, Point};
use keyway_analysis::snapshot::{LeadSnapshot, ProofState};

/// What does not move: the panel.
pub fn face(frame: &mut Frame, place: &Leads, p: &Palette) {
    let r = place.panel;
    frame.fill(
        &Path::rounded_rectangle(r.position(), r.size(), RADIUS.into()),
        p.panel,
    );
}

/// The symbols.
pub fn hands(frame: &mut Frame, place: &Leads, leads: &[LeadSnapshot], p: &Palette) {
    for (i, lead) in leads.iter().enumerate() {
        let cell = place.cell(i);
        let (symbol, colour) = symbol(lead.proof, p);
        let centre = Point::new(cell.x + 7.0, cell.y + 10.0);
        mark::draw(frame, symbol, centre, 13.0, colour, p.panel);
    }
}

/// The names and notes.
pub fn words(labels: &mut Vec<Label>, place: &Leads, leads: &[LeadSnapshot], p: &Palette) {
    for (i, lead) in leads.iter().enumerate() {
        let cell = place.cell(i);
        let name = words::lead(lead.role);
        let note = note(lead);
        let (ink, note_ink) = match lead.proof {
            ProofState::Proven => (p.text, p.quiet),
            ProofState::Doubtful | ProofState::Silent => (p.text, p.alarm),
            ProofState::Spare => (p.quiet, p.quiet),
        };
        let (x, right) = (cell.x + 18.0, cell.x + cell.width);
        // The trade's own short form, where the word has no room.
        let is_long = label::width(&name, font::SMALL, font::REGULAR) > right - x;
        let name = if is_long {
            name.replace("command", "cmd")
        } else {
            name
        };
        let at = Point::new(x, cell.y + 10.0);
        labels.push(Label::new(name.clone(), at, Anchor::Left, ink).within(right - x));
        if place.is_tall {
            let at = Point::new(x, cell.y + 27.0);
            labels.push(Label::new(note, at, Anchor::Left, note_ink).within(right - x));
        } else {
            let x = x + label::width(&name, font::SMALL, font::REGULAR) + 8.0;
            let room = (right - x).max(0.0);
            let fits = label::width(&note, font::SMALL, font::REGULAR) <= room - 8.0;
            // Half a note tells nothing; what is wrong is said as far as there is room.
            if fits || matches!(lead.proof, ProofState::Doubtful | ProofState::Silent) {
                let at = Point::new(x, cell.y + 10.0);
                labels.push(Label::new(note, at, Anchor::Left, note_ink).within(room));
            }
        }
    }
}

fn symbol(life: ProofState, p: &Palette) -> (Mark, Color) {
    match life {
        ProofState::Proven => (Mark::Check, p.text),
        ProofState::Doubtful => (Mark::Question, p.alarm),
        ProofState::Silent => (Mark::Cross, p.alarm),
        ProofState::Spare => (Mark::Dash, p.quiet),
    }
}

fn note(lead: &LeadSnapshot) -> String {
    match lead.proof {
        ProofState::Proven => lead.note.clone(),
        ProofState::Spare => "not fitted".to_owned(),
        // The symbol has said that it is wrong; the note says how.
        ProofState::Doubtful if lead.note.is_empty() => "doubtful".to_owned(),
        ProofState::Silent if lead.note.is_empty() => "silent".to_owned(),
        ProofState::Doubtful | ProofState::Silent => lead.note.clone(),
    }
}
