//! How cams, leads and angles are called on screen.

use crate::figure;
use keyway_analysis::circuit::Condition;
use keyway_analysis::lead::{CamId, CamKind, Role};
use keyway_analysis::units::{Band, CrankDegrees};

/// "intake", "exhaust", "intake 2".
pub fn cam(id: CamId) -> String {
    let kind = match id.kind {
        CamKind::Intake => "intake",
        CamKind::Exhaust => "exhaust",
    };
    if id.bank > 1 {
        format!("{kind} {}", id.bank)
    } else {
        kind.to_owned()
    }
}

/// The same at the start of a sentence.
pub fn cam_capital(id: CamId) -> String {
    capital(&cam(id))
}

/// With a capital first letter.
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// A lead by what it is connected to.
pub fn lead(role: Role) -> String {
    match role {
        Role::Crank => "crank".to_owned(),
        Role::Cam(id) => format!("{} cam", cam(id)),
        Role::Command(id) => format!("{} command", cam(id)),
        Role::Current(id) => format!("{} current", cam(id)),
        Role::StarterCurrent => "starter current".to_owned(),
        Role::Supply => "supply".to_owned(),
        Role::Pressure => "cylinder".to_owned(),
        Role::Spare => "spare".to_owned(),
    }
}

/// What is the case with a circuit.
pub fn condition(condition: Condition) -> &'static str {
    match condition {
        Condition::Sound => "sound",
        Condition::NotShown => "not shown",
        Condition::StandsHigh => "stands at supply level",
        Condition::StandsLow => "stands at ground level",
        Condition::StandsBetween => "stands between ground and supply",
        Condition::LowLevelHigh => "low level too high",
        Condition::SupplyLow => "supply low",
        Condition::NoLoad => "no load",
        Condition::CurrentWrong => "current does not fit a coil",
        Condition::LostAtTimes => "lost at times",
    }
}

/// A phase in words: "17° late", "12° early", "on time". Half a degree is as fine as the eye follows on the dial.
pub fn phase(phase: CrankDegrees) -> String {
    let size = phase.0.abs();
    if size < 0.5 {
        return "on time".to_owned();
    }
    format!("{}° {}", figure::plain(size, 0), side(phase))
}

/// Where a phase is due: "12° early due", "3 to 9° late due".
pub fn due(band: Band<CrankDegrees>) -> String {
    let (low, high) = (band.low, band.high);
    if (high - low).0 < 3.0 {
        return format!("{} due", phase((low + high) * 0.5));
    }
    // The smaller figure first, whichever side of rest the zone lies on.
    if low.0 >= -0.5 {
        format!(
            "{} to {}° early due",
            figure::plain(low.0.max(0.0), 0),
            figure::plain(high.0, 0)
        )
    } else if high.0 <= 0.5 {
        let near = (-high.0).max(0.0);
        format!(
            "{} to {}° late due",
            figure::plain(near, 0),
            figure::plain(-low.0, 0)
        )
    } else {
        format!("{} to {} due", phase(low), phase(high))
    }
}

fn side(phase: CrankDegrees) -> &'static str {
    if phase.0 > 0.0 { "early" } else { "late" }
}

/// "a", "a and b", "a, b and c".
pub fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::{due, list, phase};
    use keyway_analysis::units::{Band, CrankDegrees};

    #[test]
    fn angles_are_put_in_words() {
        let band = |low, high| Band {
            low: CrankDegrees(low),
            high: CrankDegrees(high),
        };
        for (got, want) in [
            (phase(CrankDegrees(-17.3)), "17° late"),
            (phase(CrankDegrees(12.1)), "12° early"),
            (phase(CrankDegrees(-0.4)), "on time"),
            (due(band(11.0, 13.0)), "12° early due"),
            (due(band(-45.0, -25.0)), "25 to 45° late due"),
            (due(band(0.0, 20.0)), "0 to 20° early due"),
            (due(band(-4.0, 6.0)), "4° late to 6° early due"),
        ] {
            assert_eq!(got, want);
        }
        let names = ["crank", "supply", "command"].map(str::to_owned);
        assert_eq!(list(&names), "crank, supply and command");
    }
}
