//! Speed, phase and duty of a recording over time, and the instants at which two can be laid on each
//! other.

use super::take::Part;
use super::watch::{Does, Tick};
use crate::screen::live::words;
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::{AgreementState, CamPoint, HistoryPoint};
use std::ops::Range;

/// A course, 20 points a second; a value that is not known is not a number.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Course {
    /// Seconds from the begin of the stream.
    pub seconds: Vec<f64>,
    /// Engine speed, rpm.
    pub speed: Vec<f64>,
    /// Per cam.
    pub cams: Vec<CamCourse>,
    /// Instants by which it can be aligned, in order.
    pub anchors: Vec<Anchor>,
    /// Stretches whose cycles can be laid on those of another recording.
    pub stretches: Vec<Stretch>,
    /// Why it cannot be cut into cycles, where it cannot.
    pub hindrance: Option<&'static str>,
}

/// The course of one cam.
#[derive(Debug, Clone, PartialEq)]
pub struct CamCourse {
    /// Which.
    pub cam: CamId,
    /// Phase, crank degrees.
    pub phase: Vec<f64>,
    /// Duty, percent.
    pub duty: Vec<f64>,
}

/// What can be aligned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum AnchorKind {
    /// The begin of the recording.
    Begin,
    /// The engine begins to run.
    Runs,
    /// The command leaves rest.
    Driven(CamId),
    /// The command comes back to rest.
    Released(CamId),
    /// A disagreement is raised.
    Flag(CamId),
}

impl AnchorKind {
    /// In words.
    pub fn words(self) -> String {
        match self {
            Self::Begin => "begin of the recording".to_owned(),
            Self::Runs => "engine begins to run".to_owned(),
            Self::Driven(cam) => format!("{} command leaves rest", words::cam(cam)),
            Self::Released(cam) => format!("{} command back to rest", words::cam(cam)),
            Self::Flag(cam) => format!("{} disagreement raised", words::cam(cam)),
        }
    }
}

/// An instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anchor {
    /// Of what.
    pub kind: AnchorKind,
    /// Seconds from the begin of the stream.
    pub at: f64,
}

/// A stretch in which conditions stayed the same.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Which: "at idle, commands at rest".
    pub words: &'static str,
    /// Seconds from the begin of the recording.
    pub span: Range<f64>,
}

/// Longest stretch that is cut into cycles, seconds: some fifty cycles at idle.
const STRETCH: f64 = 8.0;
/// Shortest.
const LEAST: f64 = 1.0;
/// Seconds at rest before a command that leaves it counts as a step.
const RESTED: f64 = 1.0;

/// The course of the longest stream.
pub(super) fn of(parts: &[Part<'_>]) -> Course {
    let longest = |a: &(usize, &Part<'_>), b: &(usize, &Part<'_>)| {
        a.1.survey.seconds.total_cmp(&b.1.survey.seconds)
    };
    let Some((place, part)) = parts.iter().enumerate().max_by(longest) else {
        return Course::default();
    };
    let survey = part.survey;
    let known = |v: Option<f64>| v.unwrap_or(f64::NAN);
    let points = &survey.points;
    let cams = (survey.sheet.cams.iter().enumerate())
        .map(|(i, sheet)| {
            let of = |pick: fn(&CamPoint) -> Option<f64>| {
                let point = |p: &HistoryPoint| known(p.cams.get(i).and_then(pick));
                points.iter().map(point).collect::<Vec<f64>>()
            };
            CamCourse {
                cam: sheet.cam,
                phase: of(|c| c.phase.map(|p| p.0)),
                duty: of(|c| c.duty.map(|d| d.0)),
            }
        })
        .collect();
    Course {
        seconds: points.iter().map(|p| survey.seconds_at(p.at)).collect(),
        speed: points.iter().map(|p| known(p.speed.map(|s| s.0))).collect(),
        cams,
        anchors: anchors(part),
        stretches: if place == 0 {
            stretches(part)
        } else {
            Vec::new()
        },
        hindrance: (place > 0).then_some(
            "its longest part begins after a reconnection; cycles are cut from the first",
        ),
    }
}

fn anchors(part: &Part<'_>) -> Vec<Anchor> {
    let mut anchors = vec![Anchor {
        kind: AnchorKind::Begin,
        at: 0.0,
    }];
    let running = 0.7 * part.survey.sheet.idle.low.0;
    let mut ran = None;
    let mut since: Vec<(Does, f64)> = vec![(Does::Unknown, 0.0); part.survey.sheet.cams.len()];
    for tick in part.ticks {
        let runs = tick.speed.is_some_and(|rpm| rpm > running);
        if runs && ran == Some(false) {
            anchors.push(Anchor {
                kind: AnchorKind::Runs,
                at: tick.at,
            });
        }
        ran = Some(runs);
    }
    // The history is five times as fine as the looks.
    for point in &part.survey.points {
        let at = part.survey.seconds_at(point.at);
        for ((sheet, cam), before) in
            (part.survey.sheet.cams.iter().zip(point.cams.iter())).zip(&mut since)
        {
            let (Some(phaser), Some(duty)) = (&sheet.phaser, cam.duty) else {
                continue;
            };
            let now = if duty < phaser.rest_below {
                Does::Rest
            } else {
                Does::Drive
            };
            if now == before.0 {
                continue;
            }
            let kind = match (before.0, now) {
                (Does::Rest, Does::Drive) => Some(AnchorKind::Driven(sheet.cam)),
                (Does::Drive, Does::Rest) => Some(AnchorKind::Released(sheet.cam)),
                _ => None,
            };
            if let Some(kind) = kind.filter(|_| at - before.1 >= RESTED) {
                anchors.push(Anchor { kind, at });
            }
            *before = (now, at);
        }
    }
    for event in &part.survey.events {
        if let (Some(cam), Some(true)) =
            (event.cam, event.state.map(AgreementState::is_disagreement))
        {
            anchors.push(Anchor {
                kind: AnchorKind::Flag(cam),
                at: part.survey.seconds_at(event.at),
            });
        }
    }
    anchors.sort_by(|a, b| a.at.total_cmp(&b.at));
    anchors
}

/// Whether a look belongs to a stretch.
type Condition = fn(&Tick) -> bool;

/// The last long stretch of each kind.
fn stretches(part: &Part<'_>) -> Vec<Stretch> {
    let kinds: [(&'static str, Condition); 3] = [
        ("at idle, commands at rest", |tick| {
            tick.idles && tick.cams.iter().all(|c| c.rests)
        }),
        ("at idle", |tick| tick.idles),
        ("driven", |tick| {
            let drives = tick.cams.iter().any(|c| c.command == Does::Drive);
            drives && tick.speed.is_some()
        }),
    ];
    let mut found = Vec::new();
    for (words, is_so) in kinds {
        let (mut best, mut open): (Option<Range<f64>>, Option<Range<f64>>) = (None, None);
        for tick in part.ticks {
            if !is_so(tick) {
                open = None;
                continue;
            }
            let begin = open.map_or(tick.at, |o| o.start);
            open = Some(begin..tick.at);
            let length = |r: &Range<f64>| (r.end - r.start).min(STRETCH);
            if best.as_ref().is_none_or(|b| tick.at - begin >= length(b)) {
                best = Some((tick.at - STRETCH).max(begin)..tick.at);
            }
        }
        found.extend(
            best.filter(|b| b.end - b.start >= LEAST)
                .map(|span| Stretch { words, span }),
        );
    }
    found
}
