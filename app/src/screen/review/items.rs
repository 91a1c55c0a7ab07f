//! What happened in a recording, as one list in the order of time: events, losses, notes, leads.

use crate::review::course::{Course, Why};
use crate::review::gaze::Said;
use crate::screen::live::words;

/// What it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// An event of the analysis.
    Event,
    /// The begin of a disagreement.
    Disagreement,
    /// Samples are missing.
    Loss,
    /// Words of the technician.
    Note,
    /// A lead changed.
    Lead,
}

impl Kind {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Event => "event",
            Self::Disagreement => "disagreement",
            Self::Loss => "loss",
            Self::Note => "note",
            Self::Lead => "lead",
        }
    }
}

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// When, seconds since the start of the recording.
    pub at: f64,
    /// What it is.
    pub kind: Kind,
    /// In words.
    pub text: String,
    /// Whether it is wrong.
    pub is_wrong: bool,
}

/// All of them.
pub fn items(course: Option<&Course>, said: &[Said]) -> Vec<Item> {
    let mut items = Vec::new();
    if let Some(course) = course {
        items.extend(course.events.iter().map(|e| Item {
            at: e.at,
            kind: if e.is_disagreement {
                Kind::Disagreement
            } else {
                Kind::Event
            },
            text: e.text.clone(),
            is_wrong: e.is_disagreement,
        }));
        for absent in &course.absent {
            // The analysis says the same of samples that were lost within a stream.
            let same = (items.iter_mut())
                .find(|i: &&mut Item| i.kind == Kind::Event && (i.at - absent.from).abs() < 1e-3);
            if let (Some(item), Why::Lost(_)) = (same, absent.why) {
                item.kind = Kind::Loss;
                item.is_wrong = true;
                continue;
            }
            items.push(Item {
                at: absent.from,
                kind: Kind::Loss,
                text: format!(
                    "{} for {}",
                    words::capital(&absent.why.words()),
                    super::axis::duration(absent.to - absent.from)
                ),
                is_wrong: true,
            });
        }
    }
    items.extend(said.iter().map(|s| Item {
        at: s.at,
        kind: if s.is_lead { Kind::Lead } else { Kind::Note },
        text: words::capital(&s.text),
        is_wrong: s.is_doubt,
    }));
    items.sort_by(|a, b| a.at.total_cmp(&b.at));
    items
}

/// The one after or before an instant.
pub fn neighbour(items: &[Item], at: f64, is_forward: bool) -> Option<usize> {
    // Half a millisecond is nearer than any two places one would go to.
    if is_forward {
        let next = items.partition_point(|i| i.at <= at + 5e-4);
        (next < items.len()).then_some(next)
    } else {
        items.partition_point(|i| i.at < at - 5e-4).checked_sub(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn they_stand_in_the_order_of_time_and_are_gone_through_one_by_one() {
        let said = |at: f64, is_lead| Said {
            at,
            text: "revved".to_owned(),
            is_lead,
            is_doubt: false,
        };
        let items = items(None, &[said(3.0, false), said(1.0, true), said(2.0, false)]);
        let at: Vec<f64> = items.iter().map(|i| i.at).collect();
        assert_eq!(at, [1.0, 2.0, 3.0]);
        assert_eq!(items[0].kind, Kind::Lead);
        assert_eq!(neighbour(&items, 0.0, true), Some(0));
        assert_eq!(neighbour(&items, 1.0, true), Some(1));
        assert_eq!(neighbour(&items, 3.0, true), None);
        assert_eq!(neighbour(&items, 3.0, false), Some(1));
        assert_eq!(neighbour(&items, 1.0, false), None);
    }
}
