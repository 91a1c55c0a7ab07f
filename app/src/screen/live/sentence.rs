//! The sentence at the top: what is wrong, by how much, since when, and which leads it rests on;
//! or, in one quiet line, that nothing is.

use super::words;
use crate::figure;
use keyway_analysis::circuit::{CircuitView, Condition};
use keyway_analysis::lead::Role;
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::{AgreementState, CamSnapshot, ProofState, Snapshot};

/// The state of the engine in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sentence {
    /// Whether it must be raised.
    pub is_alarm: bool,
    /// What, and of which cam.
    pub title: String,
    /// By how much, since when, resting on what.
    pub detail: String,
    /// What else is wrong.
    pub more: Option<String>,
}

/// How urgent a state is: what may break the engine first, then what is certain, then what may be slow.
fn urgency(state: AgreementState) -> u8 {
    match state {
        AgreementState::AgainstCommand => 7,
        AgreementState::NotFollowing => 6,
        AgreementState::OffRest => 5,
        AgreementState::Hunting => 4,
        AgreementState::NoCommand => 3,
        AgreementState::NoPosition => 2,
        AgreementState::Lagging => 1,
        AgreementState::Following | AgreementState::NotJudged => 0,
    }
}

/// Cams that disagree with their command, the worst first; among equals the earliest onset.
pub fn disagreeing(snapshot: &Snapshot) -> Vec<&CamSnapshot> {
    let mut cams: Vec<_> = snapshot
        .cams
        .iter()
        .filter(|c| c.agreement.state.is_disagreement())
        .collect();
    cams.sort_by(|a, b| {
        let rank = |c: &CamSnapshot| urgency(c.agreement.state);
        rank(b)
            .cmp(&rank(a))
            .then(a.agreement.since.0.total_cmp(&b.agreement.since.0))
    });
    cams
}

/// The cam that matters most: the worst, or the first of the sheet when none is wrong, so that the
/// screen does not jump between healthy cams.
pub fn foremost(snapshot: &Snapshot) -> Option<&CamSnapshot> {
    disagreeing(snapshot)
        .first()
        .copied()
        .or(snapshot.cams.first())
}

/// The sentence for a snapshot.
pub fn sentence(snapshot: &Snapshot) -> Sentence {
    match disagreeing(snapshot).as_slice() {
        [] => blind(snapshot)
            .or_else(|| circuit(snapshot))
            .unwrap_or_else(|| quiet(snapshot)),
        [worst, others @ ..] => Sentence {
            is_alarm: true,
            title: format!(
                "{} cam: {}",
                words::cam_capital(worst.id),
                worst.agreement.state.words()
            ),
            detail: format!("{} {}", worst.agreement.sentence, rests_on(snapshot, worst))
                .trim()
                .to_owned(),
            more: others_words(others).or_else(|| circuit_words(worst)),
        },
    }
}

/// What the checks of a cam's circuit say when it is not sound.
fn unsound(cam: &CamSnapshot) -> Option<&CircuitView> {
    let circuit = cam.circuit.as_deref()?;
    let is_open = matches!(circuit.condition, Condition::Sound | Condition::NotShown);
    (!is_open).then_some(circuit)
}

fn circuit_words(cam: &CamSnapshot) -> Option<String> {
    unsound(cam).map(|c| format!("circuit: {}", words::condition(c.condition)))
}

/// A circuit that is not sound, although its cam has not disagreed yet.
fn circuit(snapshot: &Snapshot) -> Option<Sentence> {
    let _ = snapshot.speed.any()?;
    let (cam, circuit) = (snapshot.cams.iter()).find_map(|cam| Some((cam, unsound(cam)?)))?;
    let next = circuit.separated_by.clone().unwrap_or_default();
    Some(Sentence {
        is_alarm: true,
        title: format!(
            "{} circuit: {}",
            words::cam_capital(cam.id),
            words::condition(circuit.condition)
        ),
        detail: format!("{} {next}", circuit.sentence).trim().to_owned(),
        more: None,
    })
}

fn others_words(others: &[&CamSnapshot]) -> Option<String> {
    (!others.is_empty()).then(|| {
        let named: Vec<_> = others
            .iter()
            .map(|c| format!("{} cam {}", words::cam(c.id), c.agreement.state.words()))
            .collect();
        format!("+{} more: {}", others.len(), words::list(&named))
    })
}

/// A lead that shows nothing, or something else than it should, while the engine turns and a cam
/// cannot be judged because of it. Nothing else can be believed before that is mended.
fn blind(snapshot: &Snapshot) -> Option<Sentence> {
    let _ = snapshot.speed.any()?;
    let is_open = |c: &&CamSnapshot| c.agreement.state == AgreementState::NotJudged;
    snapshot.cams.iter().filter(is_open).find_map(|cam| {
        let own = [Role::Cam(cam.id), Role::Command(cam.id)];
        let lead = snapshot.leads.iter().find(|l| {
            own.contains(&l.role) && matches!(l.proof, ProofState::Silent | ProofState::Doubtful)
        })?;
        let life = if lead.proof == ProofState::Silent {
            "silent"
        } else {
            "doubtful"
        };
        Some(Sentence {
            is_alarm: true,
            title: format!("{} lead: {life}", words::capital(&words::lead(lead.role))),
            detail: cam.agreement.sentence.clone(),
            more: None,
        })
    })
}

/// The newest disagreement that is over, from the history on the screen.
fn earlier(snapshot: &Snapshot) -> Option<String> {
    let rate = snapshot.at.0 / snapshot.elapsed.0;
    let last = |i: usize, cam: &CamSnapshot| {
        let states = snapshot.history.iter().rev();
        let mut states = states.filter_map(move |p| Some((p.at, p.cams.get(i)?.state)));
        let (at, state) = states.find(|(_, s)| s.is_disagreement())?;
        Some(((snapshot.at.0 - at.0) / rate, cam.id, state))
    };
    let all = snapshot.cams.iter().enumerate();
    let newest = all
        .filter_map(|(i, cam)| last(i, cam))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    newest.map(|(ago, cam, state)| {
        let ago = figure::plain(ago.max(1.0), 0);
        format!(
            "Until {ago} s ago: {} cam {}.",
            words::cam(cam),
            state.words()
        )
    })
}

/// Which leads the judgement rests on, and whether each shows what it should.
fn rests_on(snapshot: &Snapshot, cam: &CamSnapshot) -> String {
    let roles = &cam.agreement.rests_on;
    if roles.is_empty() {
        return String::new();
    }
    let life = |role| {
        snapshot
            .leads
            .iter()
            .find(|l| l.role == role)
            .map(|l| l.proof)
    };
    let (proven, open): (Vec<_>, Vec<_>) = roles
        .iter()
        .partition(|r| life(**r) == Some(ProofState::Proven));
    let names = |roles: &[&Role]| {
        let names = roles.iter().map(|r| match r {
            // The heading has already said which cam.
            Role::Cam(id) if *id == cam.id => "cam".to_owned(),
            Role::Command(id) if *id == cam.id => "command".to_owned(),
            Role::Current(id) if *id == cam.id => "current".to_owned(),
            other => words::lead(**other),
        });
        words::list(&names.collect::<Vec<_>>())
    };
    if open.is_empty() {
        let (lead, is) = if proven.len() == 1 {
            ("lead", "is")
        } else {
            ("leads", "are")
        };
        format!("{} {lead} {is} proven.", words::capital(&names(&proven)))
    } else {
        let lead = if open.len() == 1 { "lead" } else { "leads" };
        format!("First check the {} {lead}.", names(&open))
    }
}

fn quiet(snapshot: &Snapshot) -> Sentence {
    let (title, detail) = match snapshot.speed {
        Reading::Missing(Why::NotEnoughYet) => (
            "Measuring".to_owned(),
            "The first figures follow within seconds.".to_owned(),
        ),
        Reading::Missing(Why::EngineStopped) => (
            "Engine not turning".to_owned(),
            "Start or crank the engine; nothing is judged while it stands.".to_owned(),
        ),
        Reading::Missing(why) => (
            format!("No engine speed: {why}"),
            "Without the crank nothing else can be judged. Check the crank lead first.".to_owned(),
        ),
        Reading::Valid(_) | Reading::Stale(..) | Reading::Suspect(..) => running(snapshot),
    };
    Sentence {
        is_alarm: false,
        title,
        detail,
        more: None,
    }
}

fn running(snapshot: &Snapshot) -> (String, String) {
    let of = |state| {
        let cams = snapshot
            .cams
            .iter()
            .filter(move |c| (c.agreement.state == AgreementState::Following) == state);
        cams.collect::<Vec<_>>()
    };
    let (following, open) = (of(true), of(false));
    let names = |cams: &[&CamSnapshot]| {
        let list = words::list(&cams.iter().map(|c| words::cam(c.id)).collect::<Vec<_>>());
        format!(
            "{} {}",
            words::capital(&list),
            if cams.len() == 1 { "cam" } else { "cams" }
        )
    };
    let verb = |cams: &[&CamSnapshot]| {
        if cams.len() == 1 {
            "follows its"
        } else {
            "follow their"
        }
    };
    let reasons = || {
        let each: Vec<_> = open
            .iter()
            .map(|c| {
                format!(
                    "{} cam not judged. {}",
                    words::cam_capital(c.id),
                    c.agreement.sentence
                )
            })
            .collect();
        each.join(" ")
    };
    let follows = || format!("{} {} command", names(&following), verb(&following));
    match (following.is_empty(), open.is_empty()) {
        (true, true) => ("No cam on the engine sheet".to_owned(), String::new()),
        (false, true) => match earlier(snapshot) {
            Some(earlier) => (
                "No disagreement now".to_owned(),
                format!("{}. {earlier}", follows()),
            ),
            None => ("No disagreement".to_owned(), format!("{}.", follows())),
        },
        (true, false) => ("Not judged yet".to_owned(), reasons()),
        (false, false) => (follows(), reasons()),
    }
}
