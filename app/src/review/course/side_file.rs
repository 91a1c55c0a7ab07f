//! The course of a recording, kept beside it as `NAME.course.json`, so that it is there at once when
//! the recording is opened again. It is a cache and nothing else: it can be deleted at any time, and
//! one that does not belong to the recording, its sheets and this version is passed over.
//!
//! | field | meaning |
//! |---|---|
//! | `kind`, `form` | "keyway course", 1; the form changes when a field goes away or changes its meaning |
//! | `software` | version that measured |
//! | `setup` | SHA-256 of the engine sheet, a zero byte and the lead plan |
//! | `recording` | `bytes` of the file and `started_ns`, nanoseconds since 1970 (UTC) |
//! | `is_complete` | whether it reaches the end of the recording; only then it is used |
//! | `measured` | seconds that are measured |
//! | `at` | middle of each point's interval of 1/20 s, seconds since the start of the recording |
//! | `speed`, `supply` | rpm, V; one per point, null where not known |
//! | `cams` | per cam `cam`, `duty` (%), `phase` (crank degrees, advance positive), `due` (from and to), and `state` as pairs of words and number of points |
//! | `events` | `at`, `cam`, `is_disagreement`, `text` |
//! | `absent` | `from`, `to`, `why` (`{"lost": samples}`, `no-stream`, `damaged`) of stretches without samples |

use super::{Absent, CamCourse, Course, Event};
use crate::fault::Fault;
use crate::setup::Setup;
use keyway_acquisition::recording::reader::Recording;
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::AgreementState;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

const KIND: &str = "keyway course";
const FORM: u32 = 1;

/// Largest file that is read: some thirty hours with four cams.
const MOST_BYTES: u64 = 500_000_000;

/// What a course belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Owner {
    software: String,
    setup: String,
    recording: Mark,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Mark {
    bytes: u64,
    started_ns: u64,
}

impl Owner {
    /// A recording measured with this sheet and plan by this version.
    pub fn of(recording: &Recording, setup: &Setup) -> Self {
        let mut sum = Sha256::new();
        sum.update(setup.sheet_text.as_bytes());
        sum.update([0]);
        sum.update(setup.plan_text.as_bytes());
        Self {
            software: env!("CARGO_PKG_VERSION").to_owned(),
            setup: sum.finalize().iter().map(|b| format!("{b:02x}")).collect(),
            recording: Mark {
                bytes: recording.size(),
                started_ns: recording.header().started_ns,
            },
        }
    }
}

#[derive(Debug, Serialize, Deserialize)]
struct Written {
    kind: String,
    form: u32,
    #[serde(flatten)]
    owner: Owner,
    is_complete: bool,
    measured: f64,
    at: Vec<f64>,
    speed: Vec<Option<f64>>,
    supply: Vec<Option<f64>>,
    cams: Vec<WrittenCam>,
    events: Vec<Event>,
    absent: Vec<Absent>,
}

#[derive(Debug, Serialize, Deserialize)]
struct WrittenCam {
    cam: CamId,
    duty: Vec<Option<f64>>,
    phase: Vec<Option<f64>>,
    due: Vec<Option<[f64; 2]>>,
    state: Vec<(String, usize)>,
}

/// Where the course of a recording is kept.
pub fn place(recording: &Path) -> PathBuf {
    recording.with_extension("course.json")
}

/// The kept course of a recording, if it is complete, whole and belongs to `owner`.
pub fn read(recording: &Path, owner: &Owner) -> Option<Course> {
    let path = place(recording);
    if fs::metadata(&path).ok()?.len() > MOST_BYTES {
        return None;
    }
    let written: Written = match serde_json::from_slice(&fs::read(&path).ok()?) {
        Ok(written) => written,
        Err(e) => {
            tracing::info!("{} is measured again: {e}", path.display());
            return None;
        }
    };
    let is_mine = written.kind == KIND && written.form == FORM && written.owner == *owner;
    (is_mine && written.is_complete).then(|| course(written))?
}

/// Keeps the course of a recording: written beside and renamed. A file of that name that is not a
/// course is left alone.
pub fn save(recording: &Path, owner: &Owner, course: &Course) -> Result<(), Fault> {
    let path = place(recording);
    if let Ok(before) = fs::read(&path)
        && !before.starts_with(format!("{{\"kind\":\"{KIND}\"").as_bytes())
    {
        return Err(Fault::Unwritable {
            path,
            why: Arc::from("there is a file of that name which is something else"),
        });
    }
    let text = serde_json::to_vec(&written(owner, course)).map_err(|e| Fault::Unwritable {
        path: path.clone(),
        why: Arc::from(e.to_string()),
    })?;
    let beside = path.with_extension("json.new");
    fs::write(&beside, text).map_err(|e| Fault::unwritable(&beside, &e))?;
    fs::rename(&beside, &path).map_err(|e| Fault::unwritable(&path, &e))
}

fn written(owner: &Owner, course: &Course) -> Written {
    Written {
        kind: KIND.to_owned(),
        form: FORM,
        owner: owner.clone(),
        is_complete: course.is_complete,
        measured: course.measured,
        at: course.at.iter().map(|at| rounded(*at, 1e6)).collect(),
        speed: column(&course.speed, 10.0),
        supply: column(&course.supply, 1000.0),
        cams: (course.cams.iter())
            .map(|cam| WrittenCam {
                cam: cam.id,
                duty: column(&cam.duty, 100.0),
                phase: column(&cam.phase, 1000.0),
                due: (cam.due.iter())
                    .map(|due| due.map(|ends| ends.map(|v| rounded(f64::from(v), 1000.0))))
                    .collect(),
                state: runs(&cam.state),
            })
            .collect(),
        events: course.events.clone(),
        absent: course.absent.clone(),
    }
}

/// The course in a file; none if its lists are not of one length or a state is not known.
fn course(written: Written) -> Option<Course> {
    let points = written.at.len();
    let cams: Option<Vec<CamCourse>> = (written.cams.into_iter())
        .map(|cam| {
            let mut state = Vec::with_capacity(points);
            for (words, count) in cam.state {
                if count > points - state.len() {
                    return None;
                }
                state.resize(state.len() + count, state_of(&words)?);
            }
            let is_whole = [cam.duty.len(), cam.phase.len(), cam.due.len(), state.len()]
                .iter()
                .all(|n| *n == points);
            is_whole.then(|| CamCourse {
                id: cam.cam,
                duty: singles(cam.duty),
                phase: singles(cam.phase),
                due: (cam.due.into_iter())
                    .map(|due| due.map(|ends| ends.map(single)))
                    .collect(),
                state,
            })
        })
        .collect();
    let is_whole =
        written.speed.len() == points && written.supply.len() == points && written.at.is_sorted();
    is_whole.then_some(Course {
        measured: written.measured,
        is_complete: true,
        speed: singles(written.speed),
        supply: singles(written.supply),
        cams: cams?,
        events: written.events,
        absent: written.absent,
        at: written.at,
    })
}

/// The state that is called by these words.
pub fn state_of(words: &str) -> Option<AgreementState> {
    STATES.into_iter().find(|s| s.words() == words)
}

/// All states.
pub const STATES: [AgreementState; 9] = [
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

fn runs(states: &[AgreementState]) -> Vec<(String, usize)> {
    states
        .chunk_by(|a, b| a == b)
        .map(|run| (run[0].words().to_owned(), run.len()))
        .collect()
}

fn column(values: &[Option<f32>], per_unit: f64) -> Vec<Option<f64>> {
    let round = |v: &Option<f32>| v.map(|v| rounded(f64::from(v), per_unit));
    values.iter().map(round).collect()
}

fn rounded(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}

fn singles(values: Vec<Option<f64>>) -> Vec<Option<f32>> {
    values.into_iter().map(|v| v.map(single)).collect()
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "f32 holds seven digits, more than was written"
)]
fn single(value: f64) -> f32 {
    value as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::course::Why;

    fn owner(bytes: u64) -> Owner {
        Owner {
            software: "0.1.0".to_owned(),
            setup: "00ff".to_owned(),
            recording: Mark {
                bytes,
                started_ns: 7,
            },
        }
    }

    fn sample() -> Course {
        let mut course = Course::new([CamId::INTAKE].into_iter());
        course.at = vec![0.025, 0.075, 0.125];
        course.speed = vec![None, Some(812.5), Some(813.0)];
        course.supply = vec![Some(13.875), None, Some(13.75)];
        course.cams[0].duty = vec![Some(60.25), None, Some(0.0)];
        course.cams[0].phase = vec![None, Some(-2.125), Some(0.5)];
        course.cams[0].due = vec![None, Some([-1.5, 4.0]), None];
        course.cams[0].state = vec![
            AgreementState::NotJudged,
            AgreementState::NotFollowing,
            AgreementState::NotFollowing,
        ];
        course.events = vec![Event {
            at: 0.05,
            cam: Some(CamId::INTAKE),
            is_disagreement: true,
            text: "does not follow".to_owned(),
        }];
        course.absent = vec![Absent {
            from: 0.15,
            to: 0.16,
            why: Why::Lost(1000),
        }];
        course.measured = 0.15;
        course.is_complete = true;
        course
    }

    #[test]
    fn a_course_is_read_as_it_was_kept_and_only_where_it_belongs() {
        let folder = std::env::temp_dir().join(format!("keyway-course-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let recording = folder.join("van.morning.mcap");
        assert_eq!(place(&recording), folder.join("van.morning.course.json"));
        save(&recording, &owner(9), &sample()).unwrap();
        assert_eq!(read(&recording, &owner(9)), Some(sample()));
        assert_eq!(read(&recording, &owner(10)), None, "another recording");
        // Again over its own file; incomplete ones are kept but never used.
        let mut part = sample();
        part.is_complete = false;
        save(&recording, &owner(9), &part).unwrap();
        assert_eq!(read(&recording, &owner(9)), None);

        save(&recording, &owner(9), &sample()).unwrap();
        let text = fs::read_to_string(place(&recording)).unwrap();
        for damaged in [
            &text[..text.len() / 2],
            &text.replace("\"form\":1", "\"form\":2"),
            &text.replace("\"software\":\"0.1.0\"", "\"software\":\"0.0.9\""),
            &text.replace("\"speed\":[null,", "\"speed\":["),
            &text.replace("\"not following\",2", "\"not following\",3"),
            &text.replace("\"not judged\"", "\"unheard of\""),
        ] {
            assert_ne!(damaged, text);
            fs::write(place(&recording), damaged).unwrap();
            assert_eq!(read(&recording, &owner(9)), None, "{damaged}");
        }
        // Somebody's own file is left alone.
        fs::write(place(&recording), "my notes").unwrap();
        assert!(save(&recording, &owner(9), &sample()).is_err());
        assert_eq!(fs::read(place(&recording)).unwrap(), b"my notes");
        fs::remove_dir_all(&folder).unwrap();
    }
}
