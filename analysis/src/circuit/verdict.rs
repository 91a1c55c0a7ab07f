//! From what the leads show to what is the case, what may be the cause, and what would tell.

use super::facts::{Facts, NEAR_GROUND, Pin, Place, Standing, Switching};
use super::losses::Losses;
use super::words;
use super::{CircuitCause, Condition, Flyback};
use crate::lead::{CamId, Role};
use crate::reading::Why;
use crate::units::{Band, Hertz, Percent, SampleTime, Volts};

/// A sound driver's resistance, ohms: 0.65 at most, hot (TLE8104E data sheet, 1 A; the TLE8102SG has 0.36).
pub(super) const DRIVER: f64 = 0.65;
/// Drop of a ground path that is borne, volts (common practice).
pub(super) const GROUND_DROP: f64 = 0.2;
/// Highest low level of a sound driver where the current is not known: 0.72 V at 2 A (TLE8102SG data sheet, 0.36 ohm
/// hot; the TLE8104E drops 0.65 V at its 1 A), and the ground's.
const LOW_LEVEL: f64 = 0.72 + GROUND_DROP;
/// Drop of a supply path under load that is borne, volts (common practice).
pub(super) const SUPPLY_DROP: f64 = 0.5;
/// Coil and driver of a phaser's valve, ohms: 5 to 14 at 20 °C (from memory), copper from −40 to 150 °C, a driver.
/// Beyond this it is no such coil.
const COIL: Band<f64> = Band {
    low: 3.5,
    high: 25.0,
};
/// A valve's time constant L/R is 1 to 5 ms (from memory); one so much quicker has lost its turns.
const QUICK: f64 = 0.3e-3;
/// Lowest limit of a driver, amperes (TLE8104E data sheet); no valve takes that.
const LIMIT: f64 = 3.0;
/// Resistance that falls by this share within a minute is no matter of temperature: copper would cool by 38 °C.
const FALLS: f64 = 0.85;
/// And inductance, which goes with the square of the turns.
const FALLS_SQUARED: f64 = 0.8;
/// A clamp at less than this, amperes, shows no current; drift of a zeroed clamp is tens of milliamperes (from memory).
const NO_CURRENT: f64 = 0.08;
/// And at more than this it flows: what a valve of 14 ohms takes at a fifth of full drive.
const FLOWS: f64 = 0.2;
/// An engine runs for so long, seconds, before a command that does not come is missed.
const STARTED: f64 = 2.0;
/// And so long before its supply must have come up.
const CHARGED: f64 = 5.0;
/// Full drive looks like a pin held at ground; no healthy phaser is driven fully for longer than this, seconds: 40° at
/// 15°/s. Less would take a cold engine's full drive for a fault, more would tell later.
const FULL_DRIVE: f64 = 3.0;
/// A loss is told for so long, seconds, after the command has come back.
const RECENT: f64 = 60.0;

/// What leaves the pin at the supply, and what cuts it off from there.
const LET_GO: [CircuitCause; 3] = [
    CircuitCause::DriverNeverOn,
    CircuitCause::WireTowardsDriver,
    CircuitCause::ShortToSupply,
];
const CUT_OFF: [CircuitCause; 3] = [
    CircuitCause::WireTowardsValve,
    CircuitCause::CoilOpen,
    CircuitCause::FeedOpen,
];

/// What the engine sheet says of this circuit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sheet {
    pub cam: CamId,
    pub always_driven: bool,
    pub frequency: Option<Hertz>,
    pub supply: Band<Volts>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Found {
    pub condition: Condition,
    pub onset: SampleTime,
    pub sentence: String,
    pub possible: Vec<CircuitCause>,
    pub separated_by: Option<String>,
    pub rests_on: Vec<Role>,
}

impl Found {
    pub fn not_shown(at: SampleTime, sentence: impl Into<String>, rests_on: Vec<Role>) -> Self {
        Self {
            condition: Condition::NotShown,
            onset: at,
            sentence: sentence.into(),
            possible: Vec::new(),
            separated_by: None,
            rests_on,
        }
    }
}

/// Builds findings that rest on the leads that are fitted and proven.
struct Judge<'a> {
    facts: &'a Facts,
    sheet: &'a Sheet,
}

/// What is the case, from proven leads only.
pub(super) fn found(facts: &Facts, sheet: &Sheet, losses: &Losses) -> Found {
    let judge = Judge { facts, sheet };
    match facts.pin {
        Pin::Unknown => Found::not_shown(facts.at, "Measuring.", vec![Role::Command(sheet.cam)]),
        Pin::Stands(standing) => judge.stands(&standing),
        Pin::Switches(switching) => judge.switches(&switching, losses),
    }
}

impl Judge<'_> {
    fn leads(&self) -> Vec<Role> {
        let mut leads = vec![Role::Command(self.sheet.cam)];
        if self.facts.supply.is_some() {
            leads.push(Role::Supply);
        }
        leads
    }

    fn with_clamp(&self) -> Vec<Role> {
        let mut leads = self.leads();
        if self.facts.current.is_some() {
            leads.push(Role::Current(self.sheet.cam));
        }
        leads
    }

    fn finding(
        &self,
        condition: Condition,
        onset: SampleTime,
        sentence: String,
        possible: &[CircuitCause],
        separated_by: Option<&str>,
    ) -> Found {
        let mut possible = possible.to_vec();
        possible.sort_unstable();
        Found {
            condition,
            onset,
            sentence,
            separated_by: separated_by
                .filter(|_| possible.len() > 1)
                .map(str::to_owned),
            possible,
            rests_on: self.with_clamp(),
        }
    }

    /// Whether a proven clamp shows that current flows, or that none does.
    fn flows(&self) -> Option<bool> {
        match self.facts.current?.abs() {
            amperes if amperes > FLOWS => Some(true),
            amperes if amperes < NO_CURRENT => Some(false),
            _ => None,
        }
    }

    fn stands(&self, standing: &Standing) -> Found {
        let facts = self.facts;
        let figures = words::standing(standing, facts.current);
        let place = standing.place(facts.believed);
        let Some(running) = facts.running else {
            return Found::not_shown(facts.at, words::engine_off(&figures), self.leads());
        };
        match place {
            Place::Supply if standing.dips > 0.0 && plausible(standing.dips) => self.finding(
                Condition::StandsHigh,
                standing.since,
                words::dips(&figures, standing.dips),
                &[CircuitCause::ShortToSupply],
                None,
            ),
            Place::Supply if !self.sheet.always_driven => Found::not_shown(
                facts.at,
                format!("{figures}: off. This controller drives the valve only at times."),
                self.leads(),
            ),
            Place::Supply if running < STARTED => Found::not_shown(
                facts.at,
                format!("{figures}; the engine has only just started."),
                self.leads(),
            ),
            Place::Supply => self.finding(
                Condition::StandsHigh,
                standing.since,
                format!("{figures}: at the supply, never pulled to ground."),
                &LET_GO,
                Some(words::AT_THE_CONTROLLER),
            ),
            Place::Ground => self.at_ground(standing, &figures),
            Place::Between => self.between(standing.since, &figures, self.flows()),
        }
    }

    fn at_ground(&self, standing: &Standing, figures: &str) -> Found {
        let facts = self.facts;
        let lasts = (facts.at.0 - standing.since.0) / facts.rate;
        let held = [CircuitCause::DriverAlwaysOn, CircuitCause::ShortToGround];
        if lasts < FULL_DRIVE && self.flows() != Some(false) {
            return Found::not_shown(
                facts.at,
                format!(
                    "{figures} for {lasts:.1} s: full drive for the time being, or held there."
                ),
                self.leads(),
            );
        }
        let (said, possible, tells): (_, Vec<CircuitCause>, _) = match self.flows() {
            Some(true) => (
                "held at ground, the valve is fully on",
                held.to_vec(),
                words::UNPLUG_CONTROLLER,
            ),
            Some(false) => (
                "at ground, and no current flows through the valve",
                CUT_OFF.to_vec(),
                words::FEED_AND_COIL,
            ),
            None => (
                "held at ground, or cut off from the supply",
                [&held[..], &CUT_OFF[..]].concat(),
                words::CLAMP,
            ),
        };
        self.finding(
            Condition::StandsLow,
            standing.since,
            format!("{figures}: {said}."),
            &possible,
            Some(tells),
        )
    }

    /// Neither at the supply nor at ground: cut off from the supply and left to the driver's diagnosis, or pulled down
    /// through a contact.
    fn between(&self, onset: SampleTime, figures: &str, flows: Option<bool>) -> Found {
        let (said, possible, tells): (_, Vec<CircuitCause>, _) = match flows {
            Some(true) => (
                "pulled towards ground with current flowing",
                vec![CircuitCause::ShortToGround],
                "",
            ),
            Some(false) => (
                "cut off from the supply; what is left is the driver's own diagnosis",
                CUT_OFF.to_vec(),
                words::FEED_AND_COIL,
            ),
            None => (
                "cut off from the supply, or pulled down through a bad contact",
                [&CUT_OFF[..], &[CircuitCause::ShortToGround]].concat(),
                words::FEED_AND_COIL,
            ),
        };
        self.finding(
            Condition::StandsBetween,
            onset,
            format!("{figures}: {said}."),
            &possible,
            Some(tells),
        )
    }

    fn switches(&self, switching: &Switching, losses: &Losses) -> Found {
        let facts = self.facts;
        let figures = words::switching(switching, self.sheet.frequency);
        if let Some(high) = switching
            .high
            .filter(|h| *h < super::facts::LEAST_SUPPLY - super::facts::BELOW)
        {
            let figures = format!("{figures}, but it rises to only {high:.1} V");
            return match facts.running {
                Some(_) => self.between(facts.at, &figures, self.flows().filter(|flows| !flows)),
                None => Found::not_shown(facts.at, words::engine_off(&figures), self.leads()),
            };
        }
        if let Some(found) = self.lost(losses) {
            return found;
        }
        self.no_load(switching, &figures)
            .or_else(|| self.wrong_current(&figures))
            .or_else(|| self.low_level(switching, &figures))
            .or_else(|| self.supply(&figures))
            .unwrap_or_else(|| self.sound(switching, &figures))
    }

    fn lost(&self, losses: &Losses) -> Option<Found> {
        let facts = self.facts;
        let last = losses.list().last()?;
        let end = last.to.unwrap_or(facts.at);
        if (facts.at.0 - end.0) / facts.rate > RECENT {
            return None;
        }
        let recent: Vec<_> = (losses.list().iter())
            .filter(|l| (facts.at.0 - l.to.unwrap_or(facts.at).0) / facts.rate <= RECENT)
            .collect();
        // A pin that went to the supply was let go of; one that floated was cut off from the supply.
        let high = facts.believed.unwrap_or(super::facts::LEAST_SUPPLY) - super::facts::BELOW;
        let let_go = recent.iter().any(|l| l.level.0 > high);
        let cut_off = recent.iter().any(|l| l.level.0 <= high);
        let mut possible = Vec::new();
        if let_go {
            possible.extend(LET_GO);
        }
        if cut_off {
            possible.extend(CUT_OFF);
        }
        let tells = if let_go {
            words::AT_THE_CONTROLLER_MOVING
        } else {
            words::FEED_MOVING
        };
        let onset = recent.first().map_or(last.from, |l| l.from);
        Some(self.finding(
            Condition::LostAtTimes,
            onset,
            words::lost(&recent, last, facts.rate),
            &possible,
            Some(tells),
        ))
    }

    fn no_load(&self, switching: &Switching, figures: &str) -> Option<Found> {
        let facts = self.facts;
        let nothing = facts.loaded == Some(false) && self.flows() != Some(true);
        // At a few per cent a healthy coil takes too little to be heard.
        if !nothing || switching.duty < Percent(5.0) {
            return None;
        }
        Some(self.finding(
            Condition::NoLoad,
            facts.at,
            format!("{figures}, but no current flows and nothing answers when the driver opens."),
            &CUT_OFF,
            Some(words::FEED_AND_COIL),
        ))
    }

    fn wrong_current(&self, figures: &str) -> Option<Found> {
        let facts = self.facts;
        let peak = facts.peak?;
        let found = |said: String, possible: &[CircuitCause], tells| {
            let sentence = format!("{figures}, {said}.");
            self.finding(Condition::CurrentWrong, facts.at, sentence, possible, tells)
        };
        if peak > LIMIT {
            let said = format!("but {peak:.1} A flow, more than any such valve takes");
            return Some(found(said, &[CircuitCause::CoilShorted], None));
        }
        let coil = facts.coil?;
        let (r, l) = (coil.resistance, coil.inductance);
        let total = r.value + facts.driver.unwrap_or(0.0);
        let firm = r.error < 0.1 * r.value && l.error < 0.1 * l.value;
        if !firm {
            return None;
        }
        if total + 3.0 * r.error < COIL.low {
            let said = format!("but coil and driver have only {total:.1} Ω");
            return Some(found(said, &[CircuitCause::CoilShorted], None));
        }
        if total - 3.0 * r.error > COIL.high {
            let said = format!("but coil, driver and feed have {total:.0} Ω");
            return Some(found(
                said,
                &[
                    CircuitCause::FeedResistance,
                    CircuitCause::WireTowardsValve,
                    CircuitCause::CoilOpen,
                ],
                Some(words::FEED_PIN),
            ));
        }
        if l.value / r.value < QUICK {
            let micro = l.value / r.value * 1e6;
            let said = format!("but the current rises in {micro:.0} µs, too quick for a coil");
            return Some(found(said, &[CircuitCause::CoilShorted], None));
        }
        match facts.change {
            Some([r, l]) if r < FALLS && l < FALLS_SQUARED => {
                let said = format!(
                    "but the coil has lost {:.0} % of its resistance and {:.0} % of its inductance",
                    100.0 * (1.0 - r),
                    100.0 * (1.0 - l)
                );
                Some(found(said, &[CircuitCause::CoilShorted], None))
            }
            _ => None,
        }
    }

    fn low_level(&self, switching: &Switching, figures: &str) -> Option<Found> {
        let facts = self.facts;
        let low = switching.low?;
        // The level belongs to the later half of the conduction, as does the peak.
        let borne = facts
            .peak
            .map_or(LOW_LEVEL, |p| DRIVER * p.max(0.0) + GROUND_DROP);
        if low <= borne {
            return None;
        }
        let at = facts
            .peak
            .map_or(String::new(), |p| format!(" with {p:.2} A"));
        let ohms = facts
            .driver
            .map_or(String::new(), |r| format!(", {r:.2} Ω"));
        Some(self.finding(
            Condition::LowLevelHigh,
            facts.at,
            format!(
                "{figures}: its low level of {low:.2} V{at}{ohms} is {}above the {borne:.2} V of a sound driver and ground.",
                if low > NEAR_GROUND { "far " } else { "" }
            ),
            &[CircuitCause::GroundResistance],
            None,
        ))
    }

    fn supply(&self, figures: &str) -> Option<Found> {
        let facts = self.facts;
        let sag = facts.sag.valid().map_or(0.0, |v| v.0);
        if sag > SUPPLY_DROP {
            let said = format!("{figures}, but the supply drops by {sag:.2} V each time it is on.");
            return Some(self.finding(
                Condition::SupplyLow,
                facts.at,
                said,
                &[CircuitCause::FeedResistance],
                None,
            ));
        }
        let low = self.sheet.supply.low;
        let volts = facts.believed.filter(|v| *v < low.0)?;
        let running = facts.running.filter(|s| *s > CHARGED)?;
        (running > CHARGED).then(|| {
            self.finding(
                Condition::SupplyLow,
                facts.at,
                format!(
                    "{figures}, but the supply is {volts:.1} V, below {:.1} V.",
                    low.0
                ),
                &[CircuitCause::FeedResistance],
                None,
            )
        })
    }

    fn sound(&self, switching: &Switching, figures: &str) -> Found {
        let facts = self.facts;
        let mut rests_on = self.with_clamp();
        if facts.flyback == Flyback::Unknown(Why::NoLead) {
            rests_on.retain(|r| !matches!(r, Role::Supply));
        }
        Found {
            condition: Condition::Sound,
            onset: facts.at,
            sentence: words::sound(switching, figures, facts),
            possible: Vec::new(),
            separated_by: None,
            rests_on,
        }
    }
}

/// Whether dips come at a frequency at which a valve may be driven.
fn plausible(dips: f64) -> bool {
    (30.0..=1000.0).contains(&dips)
}
