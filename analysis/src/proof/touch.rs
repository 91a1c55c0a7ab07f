//! The touch test: a lead whose pin stands still is touched to ground and to the supply, in either order, and must show
//! both. What it shows on its pin afterwards is then the pin's own.
//!
//! Kept is that this lead with its probe carries both levels to its input. Not kept is where it hangs: once it shows
//! nothing for a second it may have been put elsewhere, and the test must be made again ([`super::standing`]).

use super::lead_proof::Touch;
use super::mains::Hum;
use crate::channel::Channel;

/// A touch is held for this many slices of 1/200 s: 0.3 s, longer than a tip that slides over a terminal.
const HELD: usize = 60;
/// A change of level by so much, volts, within some slices shows that it was taken from where it hung; a supply that is
/// loaded moves by less.
const LEFT: f64 = 2.5;
const MOMENT: usize = 8;
/// At ground, volts: wire and clip drop less, for nothing but the input's own current flows (common practice).
const GROUND: f64 = 0.3;
/// What moves by no more than this, volts, is held still: noise of an input of 80 V is a third of it.
const STILL: f64 = 0.6;
/// A lead in the air shows hum of tens of millivolts and more (from memory); one on ground none. Where there is no mains
/// near, air and ground look alike, and only the touch to the supply proves something.
const HUM: f64 = 0.02;
/// Within this of the supply, volts: fuse and wire.
const NEAR: f64 = 0.7;
/// Ripple allowed there, peak to peak: an alternator with a weak diode stays below (from memory).
const RIPPLE: f64 = 2.0;
/// Supplies of 12 V and 24 V systems when no lead shows it.
const SUPPLY: [[f64; 2]; 2] = [[10.5, 16.0], [21.0, 32.0]];

/// A test under way.
#[derive(Debug, Clone, Default)]
pub(super) struct TouchTest {
    /// Where it stood when the test was asked for, and whether it has been taken away from there.
    began: Option<f64>,
    left: bool,
    ground: bool,
    supply: bool,
}

impl TouchTest {
    /// Looks at the lead; `supply` is the supply if another lead shows it.
    pub fn look(&mut self, channel: &Channel, supply: Option<f64>) -> Touch {
        // Where it hangs is no touch: first it must be taken away from there.
        let now = channel.mean(MOMENT).unwrap_or(0.0);
        let began = *self.began.get_or_insert(now);
        self.left |= (now - began).abs() > LEFT;
        if !self.left {
            return self.stage();
        }
        let means = channel.means(HELD);
        if means.len() == HELD
            && let (Some(mean), Some([low, high])) = (channel.mean(HELD), channel.range(HELD))
        {
            let hums = Hum::of(&means).is_some_and(|h| h.volts > HUM && h.share > 0.3);
            self.ground |= mean.abs() < GROUND && high - low < STILL && !hums;
            let near = match supply {
                Some(volts) => (mean - volts).abs() < NEAR,
                None => SUPPLY.iter().any(|[a, b]| (*a..=*b).contains(&mean)),
            };
            // An input that ends below the supply shows its end.
            let [_, end] = channel.ends();
            let ends = end > 5.0 && supply.is_none_or(|v| v > end) && mean > 0.98 * end;
            self.supply |= (near || ends) && high - low < RIPPLE;
        }
        self.stage()
    }

    pub fn stage(&self) -> Touch {
        match (self.ground, self.supply) {
            (true, true) => Touch::Done,
            (true, false) => Touch::ToSupply,
            (false, _) => Touch::ToGround,
        }
    }
}
