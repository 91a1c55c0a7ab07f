//! What the cam did with its command.

use super::{HYDRAULIC, PLACE};
use crate::findings::Cause;
use crate::findings::episode::{Episode, Range};
use crate::findings::fact::Fact;
use crate::findings::picture::Picture;
use crate::snapshot::AgreementState;
use crate::trial::{Outcome, TrialKind};

/// A phaser that is quicker than this both ways is neither short of oil nor sluggish: cold oil gives 10 to 40, hot oil
/// 50 to 150 crank degrees a second (from memory), the makers' own figure is 150 (a phaser maker's published page).
/// Less would acquit one that is slow at operating temperature; more would leave oil open on a sound cold engine.
const QUICK: f64 = 40.0;
const NO_PHASER: &str = "no phaser on this cam";

/// Count, total time and figures of some episodes.
fn told(first: &Episode, all: &[&Episode]) -> String {
    let (mut phase, mut duty) = (Range::EMPTY, Range::EMPTY);
    for e in all {
        for value in [e.phase.low, e.phase.high] {
            phase.add(Some(value).filter(|v| v.is_finite()));
        }
        for value in [e.duty.low, e.duty.high] {
            duty.add(Some(value).filter(|v| v.is_finite()));
        }
    }
    let seconds: f64 = all.iter().map(|e| e.last - e.from).sum();
    let times = match all.len() {
        1 => "once".to_owned(),
        n => format!("{n} times"),
    };
    format!(
        "{} {times} since {:.1} s, {seconds:.1} s altogether, duty {}, phase {}: {}",
        first.state.words(),
        first.from,
        duty.words("%", 0),
        phase.words("°", 1),
        first.sentence.trim_end_matches('.')
    )
}

fn unreliable(p: Picture<'_>, state: AgreementState) -> Option<String> {
    let e = (p.dossier.episodes.all.iter()).find(|e| e.state == state)?;
    Some(format!(
        "{} from {}, but not all leads that rests on were proven then",
        state.words(),
        e.span()
    ))
}

/// Whether it moved when it was driven.
pub(super) fn when_driven(p: Picture<'_>) -> Fact {
    const WHAT: &str = "motion when driven";
    let Some(motion) = &p.dossier.motion else {
        return Fact::new(WHAT, NO_PHASER);
    };
    let leads = p.movement_leads();
    let stuck: Vec<_> = p.sound(AgreementState::NotFollowing).collect();
    if let Some(first) = stuck.first() {
        let fact = Fact::new(WHAT, told(first, &stuck))
            .at(first.from)
            .on(leads);
        let mut fact = fact.contradicts(&[Cause::AsCommanded], "it had to move");
        if p.hydraulic(AgreementState::NotFollowing).next().is_some() {
            fact = fact.supports(&HYDRAULIC, "driven and not moved");
        }
        return if p.stands_still() {
            fact.contradicts(
                &PLACE,
                "it stood in one place though driven both ways; a cam out of time still moves",
            )
        } else {
            fact
        };
    }
    if let Some(text) = unreliable(p, AgreementState::NotFollowing) {
        return Fact::new(WHAT, text).on(leads);
    }
    if !p.followed_both_ways() {
        let text = if motion.seconds > 0.0 {
            format!(
                "watched for {:.0} s at {:.0} to {:.0} %; not yet seen to move both ways",
                motion.seconds, motion.duty[0], motion.duty[1]
            )
        } else {
            "not watched yet through proven leads".to_owned()
        };
        return Fact::new(WHAT, text).on(leads);
    }
    let fact = Fact::new(
        WHAT,
        format!(
            "moved {} times away from rest (up to {:.0}° at {:.0} %) and {} times back (up to {:.0}° at {:.0} %)",
            motion.out.count,
            motion.out.largest,
            motion.out.duty,
            motion.back.count,
            motion.back.largest,
            motion.back.duty
        ),
    )
    .at(motion.out.last.max(motion.back.last))
    .on(leads);
    let fact = if p.command_was_missing() {
        fact
    } else {
        fact.contradicts(&[Cause::NoCommand], "what moves it is its command")
    };
    if !p.moves_wrongly() {
        let fact = fact.contradicts(
            &[Cause::PhaserStuck],
            "it moved both ways with its command, whenever it had to",
        );
        let fact = if p.command_was_missing() {
            fact
        } else {
            fact.contradicts(
                &[Cause::Valve],
                "it moved both ways with its command, whenever it had to",
            )
        };
        return if p.is_complete() {
            fact.supports(&[Cause::AsCommanded], "that is what it is for")
        } else {
            fact
        };
    }
    // Something else is wrong; a phaser that is stuck would not have moved since.
    let onset = (p.dossier.episodes.all.iter())
        .map(|e| e.decided)
        .fold(f64::NEG_INFINITY, f64::max);
    let first = (p.dossier.episodes.all.iter())
        .map(|e| e.decided)
        .fold(f64::INFINITY, f64::min);
    if motion.moved_both_ways_after(onset)
        || motion.ends.iter().filter(|e| e.0 > first).count() >= 4
    {
        fact.contradicts(
            &[Cause::PhaserStuck],
            "it has moved both ways since the disagreement began",
        )
    } else {
        fact
    }
}

/// Whether it moved against its command.
pub(super) fn against(p: Picture<'_>) -> Fact {
    const WHAT: &str = "motion against the drive";
    let Some(motion) = &p.dossier.motion else {
        return Fact::new(WHAT, NO_PHASER);
    };
    let leads = p.movement_leads();
    if p.dossier.learnt.opposite {
        return Fact::new(
            WHAT,
            "always moves the other way than the engine sheet says: its rest side or the sense of its command is to be checked first",
        )
        .on(leads);
    }
    let all: Vec<_> = p.sound(AgreementState::AgainstCommand).collect();
    if let Some(first) = all.first() {
        return Fact::new(WHAT, told(first, &all))
            .at(first.from)
            .on(leads)
            .supports(
                &[Cause::Valve, Cause::OilOrSluggish],
                "a spool that does not do as it is told, or oil that does not hold the vanes",
            )
            .contradicts(&[Cause::AsCommanded], "it moved against its command");
    }
    let text = unreliable(p, AgreementState::AgainstCommand).unwrap_or_else(|| {
        if motion.seconds > 0.0 {
            format!("none in {:.0} s", motion.seconds)
        } else {
            "not watched yet through proven leads".to_owned()
        }
    });
    Fact::new(WHAT, text).on(leads)
}

/// How quickly it moves.
pub(super) fn rate(p: Picture<'_>) -> Fact {
    const WHAT: &str = "rate of motion";
    if !p.has_phaser() {
        return Fact::new(WHAT, NO_PHASER);
    }
    let leads = p.movement_leads();
    let slow: Vec<_> = p.sound(AgreementState::Lagging).collect();
    if let Some(first) = slow.first() {
        let fact = Fact::new(WHAT, told(first, &slow)).at(first.from).on(leads);
        let fact = fact.contradicts(&[Cause::AsCommanded], "slower than it has to be");
        return if p.hydraulic(AgreementState::Lagging).next().is_some() {
            fact.supports(
                &[Cause::OilOrSluggish, Cause::Valve],
                "oil, vanes or a spool that does not open fully",
            )
        } else {
            fact
        };
    }
    if let Some(text) = unreliable(p, AgreementState::Lagging) {
        return Fact::new(WHAT, text).on(leads);
    }
    let (Some((out, at)), Some((back, then))) = (p.dossier.learnt.out, p.dossier.learnt.back)
    else {
        let trial = p.trial(TrialKind::StepAndReturn);
        let text = match trial {
            Some(t) => format!("step and return: {}", t.sentence),
            None => "not measured yet both ways under full drive".to_owned(),
        };
        return Fact::new(WHAT, text).on(leads);
    };
    let text = format!(
        "{:.0}°/s away from rest, {:.0}°/s back",
        out.0.abs(),
        back.0.abs()
    );
    let fact = Fact::new(WHAT, text).at(at.max(then)).on(leads);
    let unsound =
        (p.trial(TrialKind::StepAndReturn)).is_some_and(|t| t.outcome == Outcome::Unsound);
    if out.0.abs().min(back.0.abs()) >= QUICK && !p.moves_wrongly() && !unsound {
        fact.contradicts(
            &[Cause::OilOrSluggish],
            "quicker than any phaser on cold oil",
        )
    } else {
        fact
    }
}

/// Whether it swings.
pub(super) fn hunting(p: Picture<'_>) -> Fact {
    const WHAT: &str = "hunting";
    let Some(motion) = &p.dossier.motion else {
        return Fact::new(WHAT, NO_PHASER);
    };
    let leads = p.movement_leads();
    let all: Vec<_> = p.sound(AgreementState::Hunting).collect();
    let Some(first) = all.first() else {
        let text = unreliable(p, AgreementState::Hunting).unwrap_or_else(|| {
            if motion.seconds > 0.0 {
                format!("none in {:.0} s", motion.seconds)
            } else {
                "not watched yet through proven leads".to_owned()
            }
        });
        return Fact::new(WHAT, text).on(leads);
    };
    let fact = Fact::new(WHAT, told(first, &all))
        .at(first.from)
        .on(leads)
        .supports(
            &[Cause::OilOrSluggish, Cause::Valve],
            "air in the oil, or a spool that sticks and breaks loose",
        )
        .contradicts(&[Cause::AsCommanded], "it swings instead of holding");
    if p.has(AgreementState::NotFollowing) {
        fact
    } else {
        fact.contradicts(&[Cause::PhaserStuck], "what swings is not stuck")
    }
}
