//! What is learnt of a phaser while it works: hold duty, rate, travel and the sense of its command.

use crate::reading::{Reading, Why};
use crate::units::{Band, CrankDegrees, DegreesPerSecond, Percent};

/// What has been learnt of one phaser.
#[derive(Debug, Clone, PartialEq)]
pub struct ObserverView {
    /// Duty band in which it stands, as learnt, at the present supply.
    pub hold: Reading<Band<Percent>>,
    /// Rate away from rest when driven hard.
    pub rate_out: Reading<DegreesPerSecond>,
    /// Rate back to rest when driven hard.
    pub rate_back: Reading<DegreesPerSecond>,
    /// Travel seen from rest, at least the authority it has.
    pub travel: Reading<CrankDegrees>,
    /// Phase the model predicts for now.
    pub predicted: Reading<Band<CrankDegrees>>,
    /// Whether more duty moves it the way the engine sheet says.
    pub sense: Sense,
}

impl ObserverView {
    /// Before anything was seen.
    pub fn unseen() -> Self {
        Self {
            hold: Reading::Missing(Why::NotEnoughYet),
            rate_out: Reading::Missing(Why::NotEnoughYet),
            rate_back: Reading::Missing(Why::NotEnoughYet),
            travel: Reading::Missing(Why::NotEnoughYet),
            predicted: Reading::Missing(Why::NotEnoughYet),
            sense: Sense::Unknown,
        }
    }
}

/// Which way more duty moves the cam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// Not seen yet.
    Unknown,
    /// As the sheet says.
    AsSheet,
    /// Always the other way: the sheet's rest side, or its sense of the command, is wrong.
    Opposite,
}
