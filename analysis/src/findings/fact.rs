//! One thing that was looked at, with what it says of each cause.

use super::{Bearing, Cause, Evidence};
use crate::lead::Role;
use crate::units::SampleTime;

/// What was found, and how it bears on the causes. What is not named is not told by it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fact {
    what: &'static str,
    found: String,
    /// Seconds.
    at: Option<f64>,
    leads: Vec<Role>,
    bears: Vec<(Cause, Bearing, &'static str)>,
}

impl Fact {
    pub fn new(what: &'static str, found: impl Into<String>) -> Self {
        Self {
            what,
            found: found.into(),
            at: None,
            leads: Vec::new(),
            bears: Vec::new(),
        }
    }

    /// When, in seconds.
    pub fn at(mut self, at: f64) -> Self {
        self.at = Some(at);
        self
    }

    /// Leads it rests on.
    pub fn on(mut self, leads: impl IntoIterator<Item = Role>) -> Self {
        self.leads.extend(leads);
        self
    }

    pub fn supports(self, causes: &[Cause], why: &'static str) -> Self {
        self.bears_on(causes, Bearing::Supports, why)
    }

    pub fn contradicts(self, causes: &[Cause], why: &'static str) -> Self {
        self.bears_on(causes, Bearing::Contradicts, why)
    }

    fn bears_on(mut self, causes: &[Cause], how: Bearing, why: &'static str) -> Self {
        for &cause in causes {
            let known = self.bears.iter().position(|(c, ..)| *c == cause);
            match known {
                // What speaks against a cause is said before what speaks for it.
                Some(i) if how == Bearing::Contradicts => self.bears[i] = (cause, how, why),
                Some(_) => {}
                None => self.bears.push((cause, how, why)),
            }
        }
        self
    }

    /// How it bears on one cause.
    pub fn bearing(&self, cause: Cause) -> Bearing {
        let known = self.bears.iter().find(|(c, ..)| *c == cause);
        known.map_or(Bearing::NotShown, |&(_, how, _)| how)
    }

    /// The cell of the table.
    pub fn evidence(&self, cause: Cause, rate: f64) -> Evidence {
        let known = self.bears.iter().find(|(c, ..)| *c == cause);
        let why = known.map_or("", |&(.., why)| why);
        Evidence {
            what: self.what,
            bearing: self.bearing(cause),
            text: if why.is_empty() {
                self.found.clone()
            } else {
                format!("{}; {why}", self.found)
            },
            at: self.at.map(|t| SampleTime(t * rate)),
            leads: self.leads.clone(),
        }
    }
}
