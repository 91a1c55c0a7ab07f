//! The cells of a row.

use super::SOFTWARE;
use super::columns::{FORM, STATES, measured};
use super::found::Found;
use crate::exchange::table::Cell;
use crate::job::card::Card;
use crate::screen::live::words;
use crate::setup::Setup;
use crate::survey::Survey;
use crate::survey::cam::CamSurvey;
use crate::survey::document::inquiry::Base;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::findings::Standing;
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{AgreementState, ProofState, Snapshot};

/// What the file and the job card say.
pub(super) fn card(
    found: &Found,
    id: Option<&str>,
    job: Option<String>,
    with_plates: bool,
) -> Vec<Cell> {
    let none = Card::default();
    let card = found.job.as_ref().map_or(&none, |j| &j.card);
    let codes = card.code_names().join(" ");
    let given = |words: &str| Cell::from(Some(words.trim()).filter(|w| !w.is_empty()));
    let mut cells = vec![
        Cell::from(id),
        Cell::from(job),
        Cell::from(name(found, with_plates)),
        Cell::from(found.bytes),
        given(&hidden(&card.engine, card, with_plates)),
        Cell::from(card.opened.map(|stamp| stamp.to_string())),
        given(&codes),
    ];
    if with_plates {
        let folder = found.job.as_ref().map(|j| j.folder.name());
        cells.extend([given(&card.plate), given(&card.vin), Cell::from(folder)]);
    }
    cells
}

/// The file: below the folder that was searched; without plates the name alone, and in it no plate.
fn name(found: &Found, with_plates: bool) -> String {
    if with_plates {
        return found.below.to_string_lossy().replace('\\', "/");
    }
    let name = found
        .below
        .file_name()
        .unwrap_or_default()
        .to_string_lossy();
    match &found.job {
        Some(job) => hidden(&name, &job.card, false),
        None => name.into_owned(),
    }
}

/// Words in which plate and vehicle identification number are covered, in whatever way they are
/// written together.
pub(super) fn hidden(words: &str, card: &Card, with_plates: bool) -> String {
    let mut words = words.to_owned();
    if with_plates {
        return words;
    }
    for secret in [&card.plate, &card.vin] {
        let secret: Vec<char> = signs(secret).map(|(_, c)| c).collect();
        // Fewer say nothing of a vehicle, and would cover half of every name.
        if secret.len() < 3 {
            continue;
        }
        loop {
            let text: Vec<(usize, char)> = signs(&words).collect();
            let hit = text
                .windows(secret.len())
                .find(|w| w.iter().map(|(_, c)| *c).eq(secret.iter().copied()))
                .map(|w| (w[0].0, w[w.len() - 1].0));
            let Some((begin, last)) = hit else {
                break;
            };
            let end = words[last..]
                .chars()
                .next()
                .map_or(last, |c| last + c.len_utf8());
            words.replace_range(begin..end, "…");
        }
    }
    words
}

/// Letters and digits of a text in lower case, with their places.
fn signs(text: &str) -> impl Iterator<Item = (usize, char)> {
    text.char_indices()
        .filter(|(_, c)| c.is_alphanumeric())
        .map(|(at, c)| (at, c.to_lowercase().next().unwrap_or(c)))
}

/// A recording that cannot be read or measured.
pub(super) fn unreadable(why: &str, found: &Found) -> Vec<Cell> {
    // The sentence names the file by its path, in which the job's folder can be a plate.
    let name = found.path.file_name().unwrap_or_default().to_string_lossy();
    let why = why.replace(&found.path.display().to_string(), &name);
    let why = match &found.job {
        Some(job) => hidden(&why, &job.card, false),
        None => why,
    };
    alone(&[("reason", Cell::from(why))])
}

/// A recording that holds no samples.
pub(super) fn empty(recording: &Recording, setup: &Setup) -> Vec<Cell> {
    alone(&[
        ("reason", Cell::from("it holds no samples")),
        ("shortfall", Cell::from(recording.shortfall())),
        ("started", started(recording)),
        ("engine", Cell::from(setup.sheet.name.as_str())),
    ])
}

/// A row of which only this is known.
fn alone(known: &[(&str, Cell)]) -> Vec<Cell> {
    measured()
        .iter()
        .map(|column| match column.name.as_str() {
            "form" => Cell::Whole(FORM),
            "software" => Cell::from(SOFTWARE),
            name => known
                .iter()
                .find(|(n, _)| *n == name)
                .map_or(Cell::Null, |(_, cell)| cell.clone()),
        })
        .collect()
}

fn started(recording: &Recording) -> Cell {
    let microseconds = recording.header().started_ns / 1000;
    i64::try_from(microseconds).map_or(Cell::Null, Cell::Instant)
}

/// The rows of a stream: one per cam of the engine sheet, and one without any if it has none.
pub(super) fn of(recording: &Recording, stream: usize, survey: &Survey) -> Vec<Vec<Cell>> {
    let head = head(recording, stream, survey);
    if survey.cams.is_empty() {
        let mut row = head;
        row.resize(measured().len(), Cell::Null);
        return vec![row];
    }
    survey
        .cams
        .iter()
        .enumerate()
        .map(|(k, cam)| {
            let mut row = head.clone();
            row.extend(of_cam(survey, k, cam));
            row
        })
        .collect()
}

fn head(recording: &Recording, stream: usize, survey: &Survey) -> Vec<Cell> {
    let last = &survey.last;
    let counts = last.counts;
    vec![
        Cell::Whole(FORM),
        Cell::from(SOFTWARE),
        Cell::Null,
        Cell::from(recording.shortfall()),
        started(recording),
        Cell::from(survey.sheet.name.as_str()),
        Cell::from(stream),
        Cell::from(survey.seconds),
        Cell::from(survey.rate_hz),
        Cell::from(counts.samples),
        Cell::from(counts.gaps),
        Cell::from(counts.lost),
        Cell::from(counts.revolutions),
        Cell::from(counts.sync_losses),
        Cell::from(counts.stray_cam_edges),
        Cell::from(survey.speed.map(|s| s.mean)),
        Cell::from(survey.speed.map(|s| s.low)),
        Cell::from(survey.speed.map(|s| s.high)),
        lead(last, Role::Crank),
        lead(last, Role::Supply),
        Cell::from(Base::of(&last.base_timing).conclusion),
    ]
}

fn of_cam(survey: &Survey, k: usize, cam: &CamSurvey) -> Vec<Cell> {
    let last = &survey.last;
    let at_end = last.cams.get(k);
    let (phase, duty) = (cam.phase(), cam.duty());
    let rest = last.base_timing.cams.iter().find(|c| c.cam == cam.id);
    let offset = rest.map(|r| &r.offset);
    let observer = at_end.and_then(|c| c.observer.as_deref());
    let circuit = at_end.and_then(|c| c.circuit.as_deref());
    let of_observer = |reading: fn(&keyway_analysis::observer::ObserverView) -> Option<f64>| {
        Cell::from(observer.and_then(reading))
    };
    let disagreements = survey
        .events
        .iter()
        .filter(|e| e.cam == Some(cam.id) && e.state.is_some_and(AgreementState::is_disagreement))
        .count();
    let mut row = vec![
        Cell::from(cam.id.to_string()),
        lead(last, Role::Cam(cam.id)),
        lead(last, Role::Command(cam.id)),
        lead(last, Role::Current(cam.id)),
        Cell::from(phase.map(|p| p.mean)),
        Cell::from(phase.map(|p| p.low)),
        Cell::from(phase.map(|p| p.high)),
        Cell::from(cam.noise()),
        Cell::from(offset.and_then(Reading::valid).map(|v| v.0)),
        Cell::from(rest.and_then(|r| r.uncertainty).map(|u| u.0)),
        Cell::from(rest.and_then(|r| r.teeth)),
        Cell::from(rest.map(|r| r.looks)),
        Cell::from(offset.and_then(why)),
        Cell::from(duty.map(|d| d.mean)),
        Cell::from(duty.map(|d| d.low)),
        Cell::from(duty.map(|d| d.high)),
        Cell::from(cam.frequency().map(|f| f.mean)),
        of_observer(|o| o.rate_out.valid().map(|v| v.0)),
        of_observer(|o| o.rate_back.valid().map(|v| v.0)),
        of_observer(|o| o.travel.valid().map(|v| v.0)),
        Cell::from(circuit.map(|c| words::condition(c.condition))),
        Cell::from(disagreements),
    ];
    row.extend(STATES.iter().map(|state| {
        let seconds = cam.states.get(state.words());
        Cell::from(seconds.copied().unwrap_or(0.0))
    }));
    for standing in [Standing::Supported, Standing::Open, Standing::Contradicted] {
        row.push(causes(last, cam.id, standing));
    }
    row
}

/// Causes that stand so, of this cam and of the engine as a whole, as words between semicolons.
fn causes(last: &Snapshot, cam: CamId, standing: Standing) -> Cell {
    let words: Vec<&str> = last
        .findings
        .causes
        .iter()
        .filter(|row| row.standing == standing && row.cam.is_none_or(|c| c == cam))
        .map(|row| row.cause.words())
        .collect();
    Cell::from(words.join("; "))
}

/// How a lead stood at the end; null where the lead plan has none.
fn lead(last: &Snapshot, role: Role) -> Cell {
    let lead = last.leads.iter().find(|l| l.role == role);
    Cell::from(lead.map(|l| match l.proof {
        ProofState::Proven => "proven",
        ProofState::Doubtful => "doubtful",
        ProofState::Silent => "silent",
        ProofState::Spare => "spare",
    }))
}

fn why<T>(reading: &Reading<T>) -> Option<String> {
    match reading {
        Reading::Valid(_) => None,
        Reading::Stale(_, age) => Some(format!("{:.1} s old", age.0)),
        Reading::Suspect(_, why) | Reading::Missing(why) => Some(why.to_string()),
    }
}
