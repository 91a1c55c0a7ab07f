//! What was judged, counted and proven: states of agreement, flags, losses, gaps, leads.

use super::command::state;
use super::side::named;
use super::take::Part;
use super::watch::EVERY;
use crate::screen::live::words;
use crate::survey::document::inquiry::conclusion_word;
use keyway_analysis::base_timing::Conclusion;
use keyway_analysis::comparison::{Conditions, Estimate, Finding, Group, Measure, Tally};
use keyway_analysis::drift::Drift;
use keyway_analysis::engine::CamSheet;
use keyway_analysis::proof::ProofState;
use keyway_analysis::snapshot::AgreementState;
use keyway_analysis::units::Seconds;

/// Every state of agreement.
const STATES: [AgreementState; 9] = [
    AgreementState::Following,
    AgreementState::Lagging,
    AgreementState::NotFollowing,
    AgreementState::AgainstCommand,
    AgreementState::OffRest,
    AgreementState::Hunting,
    AgreementState::NoCommand,
    AgreementState::NoPosition,
    AgreementState::NotJudged,
];

/// Seconds over which the engine turned.
fn turned(parts: &[Part<'_>]) -> f64 {
    let ticks = parts.iter().flat_map(|part| part.ticks);
    EVERY
        * ticks
            .filter(|tick| tick.speed.is_some())
            .map(|_| 1.0)
            .sum::<f64>()
}

/// How a cam was judged.
pub(super) fn agreement(parts: &[Part<'_>], cam: usize, sheet: &CamSheet) -> Vec<Measure> {
    let points = || {
        let all = parts.iter().flat_map(|part| &part.survey.points);
        all.filter(|p| p.speed.is_some())
            .filter_map(|p| p.cams.get(cam))
    };
    let count = points().count();
    let seconds = count as f64 / 20.0;
    let conditions = || Conditions {
        words: "while the engine turned".to_owned(),
        ..Conditions::default()
    };
    let mut measures: Vec<Measure> = STATES
        .into_iter()
        .map(|state| {
            let own = points().filter(|p| p.state == state).count();
            let share = 100.0 * own as f64 / (count as f64).max(1.0);
            let finding = match Estimate::share(share, seconds, count) {
                Ok(estimate) => Finding::Figure(estimate),
                Err(_) => Finding::NotShown("the engine turned for less than 10 s".to_owned()),
            };
            let key = format!("share-{}", state.words().replace(' ', "-"));
            let name = format!("share of time \u{201c}{}\u{201d}", state.words());
            let details = (Group::Agreement, "%", 0);
            Measure {
                conditions: conditions(),
                ..named(sheet.cam, &key, &name, details, finding)
            }
        })
        .collect();
    let events = parts.iter().flat_map(|part| &part.survey.events);
    let flags = events.filter(|e| {
        e.cam == Some(sheet.cam) && e.state.is_some_and(AgreementState::is_disagreement)
    });
    let tally = count_of(flags.count(), turned(parts));
    let details = (Group::Agreement, "/min", 1);
    measures.push(Measure {
        conditions: conditions(),
        ..named(sheet.cam, "flags", "disagreements raised", details, tally)
    });
    let drift = parts.last().and_then(|part| part.survey.last.cams.get(cam));
    let word = match drift.map(|c| c.detail.drift) {
        Some(Drift::Still { .. }) => "still",
        Some(Drift::Drifting { .. }) => "moves slowly",
        Some(Drift::Stepped { .. }) => "moved at once",
        Some(Drift::Unknown) | None => "not shown: too little seen with the cam at rest",
    };
    let details = (Group::Position, "", 0);
    let found = state(word.to_owned());
    measures.push(named(
        sheet.cam,
        "drift",
        "phase at rest over the recording",
        details,
        found,
    ));
    measures
}

fn count_of(events: usize, seconds: f64) -> Finding {
    if seconds < 1.0 {
        return Finding::NotShown("the engine turned for less than a second".to_owned());
    }
    Finding::Count(Tally {
        events: u64::try_from(events).unwrap_or(u64::MAX),
        over: Seconds(seconds),
    })
}

fn whole(key: &str, name: &str, group: Group, unit: &'static str, finding: Finding) -> Measure {
    Measure {
        key: key.to_owned(),
        name: name.to_owned(),
        group,
        unit,
        digits: 1,
        conditions: Conditions::default(),
        finding,
    }
}

/// What is of no single cam.
pub(super) fn recording(parts: &[Part<'_>]) -> Vec<Measure> {
    let Some(last) = parts.last().map(|part| &part.survey.last) else {
        return Vec::new();
    };
    let sum = |of: fn(&Part<'_>) -> usize| parts.iter().map(of).sum::<usize>();
    let losses = sum(|part| part.survey.crank.losses.len());
    let gaps = sum(|p| usize::try_from(p.survey.last.counts.gaps).unwrap_or(usize::MAX));
    let stray =
        sum(|p| usize::try_from(p.survey.last.counts.stray_cam_edges).unwrap_or(usize::MAX));
    let seconds: f64 = parts.iter().map(|part| part.survey.seconds).sum();
    let base = match last.base_timing.conclusion {
        Conclusion::NotJudged => format!("not shown: {}", last.base_timing.sentence),
        told => conclusion_word(told).to_owned(),
    };
    let mut measures = vec![
        whole(
            "base-timing",
            "base timing",
            Group::Position,
            "",
            state(base),
        ),
        whole(
            "sync-losses",
            "crank pattern lost",
            Group::Recording,
            "/min",
            count_of(losses, turned(parts)),
        ),
        whole(
            "stray-cam-edges",
            "cam edges that fit no edge of the sheet",
            Group::Recording,
            "/min",
            count_of(stray, turned(parts)),
        ),
        whole(
            "gaps",
            "gaps in the samples",
            Group::Recording,
            "/min",
            count_of(gaps, seconds),
        ),
    ];
    for lead in last
        .leads
        .iter()
        .filter(|lead| lead.proof != ProofState::Spare)
    {
        let word = match lead.proof {
            ProofState::Proven => "proven",
            ProofState::Doubtful => "doubtful",
            ProofState::Silent | ProofState::Spare => "silent",
        };
        let key = format!("lead.{}", lead.role.to_string().replace(' ', "-"));
        let name = format!("{} lead, at the end", words::lead(lead.role));
        let found = Finding::State(word.to_owned());
        measures.push(whole(&key, &name, Group::Recording, "", found));
    }
    measures
}
