//! Moments of an engine made by hand, for the pictures, the frame bench and the tests of the
//! screens: plain data, so that a screen can be seen in every state without an engine.

#![allow(
    clippy::cast_possible_truncation,
    reason = "made values of a few digits"
)]
#![allow(dead_code, reason = "each of its users takes a part of it")]

mod case;
mod cylinders;
pub mod inquiry;

use keyway_analysis::base_timing::BaseTiming;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::{CamId, CamKind, Role};
use keyway_analysis::quality::Quality;
use keyway_analysis::reading::{Reading, Why};
use keyway_analysis::snapshot::{
    Agreement, AgreementState, CamPoint, CamSnapshot, CommandSnapshot, Counts, HistoryPoint,
    LeadSnapshot, ProofState, Snapshot, Sync, Trace, Traces,
};
use keyway_analysis::units::{
    Band, CrankAngle, CrankDegrees, Hertz, Percent, Rpm, SampleTime, Seconds, Volts,
};
use std::sync::Arc;

const RATE: f64 = 200_000.0;

/// How long the engine has been measured, seconds.
const ELAPSED: f64 = 161.0;

/// A moment with its name, its sheet and its traces.
#[derive(Debug, Clone)]
pub struct Moment {
    /// Name of the picture.
    pub name: &'static str,
    /// The engine.
    pub sheet: EngineSheet,
    /// What is measured.
    pub snapshot: Arc<Snapshot>,
    /// The traces at that moment, against time.
    pub traces: Arc<Traces>,
    /// The traces over the last engine cycle.
    pub locked: Arc<Traces>,
}

/// All moments.
pub fn moments() -> Vec<Moment> {
    vec![
        healthy(),
        not_following(),
        no_signal(),
        cam_lost(),
        four_cams(),
    ]
}

/// The sheet that comes with the program.
pub fn sheet() -> EngineSheet {
    EngineSheet::from_toml(include_str!("../../assets/sheets/light-van.toml"))
        .expect("the sheet that comes with the program can be read")
}

/// A sheet with two banks.
pub fn wide_sheet() -> EngineSheet {
    let mut sheet = sheet();
    sheet.name = "Mountain coach 4.6 V8, four phasers".to_owned();
    let second = sheet.cams.clone();
    sheet.cams.extend(second.into_iter().map(|mut cam| {
        cam.cam.bank = 2;
        for w in &mut cam.windows {
            *w = w.map(|angle| angle + 120.0);
        }
        cam
    }));
    sheet
}

/// Everything follows.
pub fn healthy() -> Moment {
    let sheet = sheet();
    let cams = sheet
        .cams
        .iter()
        .map(|c| following(&sheet, c.cam))
        .collect();
    moment("healthy", sheet, cams)
}

/// The exhaust phaser stopped 3.9 s ago; the intake lags a little.
pub fn not_following() -> Moment {
    let sheet = sheet();
    let mut exhaust = following(&sheet, CamId::EXHAUST);
    exhaust.phase = Reading::Valid(CrankDegrees(-17.3));
    exhaust.due = Some(Band {
        low: CrankDegrees(-4.0),
        high: CrankDegrees(-2.0),
    });
    exhaust.measured = moved(&exhaust.reference, -17.3);
    exhaust.command.duty = Reading::Valid(Percent(78.0));
    exhaust.agreement = Agreement {
        state: AgreementState::NotFollowing,
        since: SampleTime((ELAPSED - 3.9) * RATE),
        sentence: "78 % commanded for 3.9 s, moved 0.6°, at least 8° was due.".to_owned(),
        rests_on: vec![
            Role::Crank,
            Role::Cam(CamId::EXHAUST),
            Role::Command(CamId::EXHAUST),
            Role::Supply,
        ],
    };
    let intake = following(&sheet, CamId::INTAKE);
    let order = sheet.firing_order.clone();
    let mut moment = moment("not-following", sheet, vec![intake, exhaust]);
    Arc::make_mut(&mut moment.snapshot).cylinders = Arc::new(cylinders::one_weak(&order));
    moment
}

/// The crank lead is off: nothing can be measured.
pub fn no_signal() -> Moment {
    let sheet = sheet();
    let mut healthy = healthy();
    let mut snapshot = Snapshot::clone(&healthy.snapshot);
    snapshot.speed = Reading::Missing(Why::Silent);
    snapshot.sync = Sync::Stopped;
    snapshot.angle = None;
    snapshot.supply = Reading::Missing(Why::NoLead);
    snapshot.supply_ripple = Reading::Missing(Why::NoLead);
    for cam in &mut snapshot.cams {
        cam.phase = Reading::Missing(Why::NoSync);
        cam.spread = None;
        cam.due = None;
        cam.measured = Vec::new();
        cam.command.duty = Reading::Missing(Why::Static(13.7));
        cam.command.frequency = Reading::Missing(Why::Static(13.7));
        cam.agreement = Agreement {
            state: AgreementState::NotJudged,
            since: SampleTime(0.0),
            sentence: "Without the crank the cam cannot be placed.".to_owned(),
            rests_on: Vec::new(),
        };
    }
    for lead in &mut snapshot.leads {
        lead.proof = match lead.role {
            Role::Spare => ProofState::Spare,
            Role::Command(_) => ProofState::Doubtful,
            _ => ProofState::Silent,
        };
        lead.note = match lead.role {
            Role::Command(_) => "stands at 13.7 V".to_owned(),
            _ => String::new(),
        };
    }
    snapshot.history = Arc::from([]);
    healthy.name = "no-signal";
    healthy.sheet = sheet;
    healthy.snapshot = Arc::new(snapshot);
    healthy
}

/// The exhaust cam sensor dropped out a moment ago.
pub fn cam_lost() -> Moment {
    let sheet = sheet();
    let mut exhaust = following(&sheet, CamId::EXHAUST);
    exhaust.phase = Reading::Stale(CrankDegrees(-2.9), Seconds(2.1));
    exhaust.agreement = Agreement {
        state: AgreementState::NoPosition,
        since: SampleTime((ELAPSED - 2.1) * RATE),
        sentence: "No edges from the cam sensor for 2.1 s while the crank turns.".to_owned(),
        rests_on: vec![Role::Crank, Role::Cam(CamId::EXHAUST)],
    };
    let mut intake = following(&sheet, CamId::INTAKE);
    intake.phase = Reading::Suspect(CrankDegrees(12.1), Why::Clipped);
    let mut moment = moment("cam-lost", sheet, vec![intake, exhaust]);
    let mut snapshot = Snapshot::clone(&moment.snapshot);
    for lead in &mut snapshot.leads {
        if lead.role == Role::Cam(CamId::EXHAUST) {
            lead.proof = ProofState::Silent;
            lead.note = "stands at 5.0 V".to_owned();
        }
    }
    moment.snapshot = Arc::new(snapshot);
    moment
}

/// Two banks; two of the four cams disagree.
pub fn four_cams() -> Moment {
    let sheet = wide_sheet();
    let mut cams: Vec<_> = sheet
        .cams
        .iter()
        .map(|c| following(&sheet, c.cam))
        .collect();
    cams[2].phase = Reading::Valid(CrankDegrees(1.4));
    cams[2].measured = moved(&cams[2].reference, 1.4);
    cams[2].due = Some(Band {
        low: CrankDegrees(10.0),
        high: CrankDegrees(50.0),
    });
    cams[2].command.duty = Reading::Valid(Percent(81.0));
    cams[2].agreement = Agreement {
        state: AgreementState::NotFollowing,
        since: SampleTime((ELAPSED - 3.9) * RATE),
        sentence: "81 % commanded for 3.9 s, moved 0.2°, at least 10° was due.".to_owned(),
        rests_on: vec![
            Role::Crank,
            Role::Cam(cams[2].id),
            Role::Command(cams[2].id),
        ],
    };
    cams[3].agreement = Agreement {
        state: AgreementState::Lagging,
        since: SampleTime((ELAPSED - 1.9) * RATE),
        sentence: "Moves 4°/s, at least 8°/s was due.".to_owned(),
        rests_on: vec![
            Role::Crank,
            Role::Cam(cams[3].id),
            Role::Command(cams[3].id),
        ],
    };
    let mut moment = moment("four-cams", sheet, cams);
    Arc::make_mut(&mut moment.snapshot).cylinders = Arc::new(cylinders::eight());
    moment
}

/// A cam that does what it is told.
fn following(sheet: &EngineSheet, id: CamId) -> CamSnapshot {
    let cam = sheet.cam(id).expect("the cam is on the sheet");
    let (phase, duty, hertz) = match id.kind {
        CamKind::Intake => (12.1, 51.2, 200.0),
        CamKind::Exhaust => (-2.9, 49.6, 250.0),
    };
    let reference: Vec<_> = cam
        .windows
        .iter()
        .map(|w| w.map(CrankAngle::wrapped))
        .collect();
    CamSnapshot {
        id,
        phase: Reading::Valid(CrankDegrees(phase)),
        spread: Some(CrankDegrees(0.2)),
        detail: Default::default(),
        due: Some(Band {
            low: CrankDegrees(phase - 1.2),
            high: CrankDegrees(phase + 1.2),
        }),
        measured: moved(&reference, phase),
        reference,
        command: CommandSnapshot {
            duty: Reading::Valid(Percent(duty)),
            frequency: Reading::Valid(Hertz(hertz)),
            low: Reading::Valid(Volts(0.3)),
            high: Reading::Valid(Volts(13.7)),
            hold: cam.phaser.as_ref().map(|f| f.hold),
            current: Reading::Missing(Why::NoLead),
        },
        circuit: None,
        observer: None,
        agreement: Agreement {
            state: AgreementState::Following,
            since: SampleTime(0.0),
            sentence: "Position is where the command puts it.".to_owned(),
            rests_on: vec![Role::Crank, Role::Cam(id), Role::Command(id)],
        },
    }
}

/// Windows of a cam advanced by `phase`.
fn moved(reference: &[[CrankAngle; 2]], phase: f64) -> Vec<[CrankAngle; 2]> {
    reference
        .iter()
        .map(|w| w.map(|a| a + CrankDegrees(-phase)))
        .collect()
}

fn moment(name: &'static str, sheet: EngineSheet, cams: Vec<CamSnapshot>) -> Moment {
    let leads = leads(&cams);
    let traces = Arc::new(traces(&leads, 480, 0.0));
    let snapshot = Snapshot {
        at: SampleTime(ELAPSED * RATE),
        elapsed: Seconds(ELAPSED),
        speed: Reading::Valid(Rpm(1842.0)),
        sync: Sync::Cycle,
        angle: Some(CrankAngle::wrapped(312.0)),
        damaged_teeth: Vec::new(),
        cylinders: Arc::default(),
        history: history(&cams),
        supply: Reading::Valid(Volts(13.7)),
        supply_ripple: Reading::Valid(Volts(0.2)),
        leads,
        events: Arc::from([]),
        base_timing: Arc::new(BaseTiming::unseen(&sheet.cams)),
        trials: Arc::default(),
        findings: Arc::default(),
        proposals: Vec::new(),
        counts: Counts::default(),
        cams,
    };
    Moment {
        name,
        sheet,
        snapshot: Arc::new(snapshot),
        locked: Arc::clone(&traces),
        traces,
    }
}

/// One lead for every signal of the cams, the crank, the supply, and a spare.
fn leads(cams: &[CamSnapshot]) -> Vec<LeadSnapshot> {
    let mut leads = Vec::new();
    let mut add = |role: Role, note: &str, range: [f64; 2], unit: &str| {
        leads.push(LeadSnapshot {
            input: leads.len() + 1,
            role,
            place: String::new(),
            proof: if role == Role::Spare {
                ProofState::Spare
            } else {
                ProofState::Proven
            },
            note: note.to_owned(),
            range: (role != Role::Spare).then_some(range),
            level: None,
            unit: unit.to_owned(),
            recognition: None,
            try_next: String::new(),
            mistake: None,
            touch: None,
            quality: Quality::default(),
        });
    };
    add(Role::Crank, "60-2, locked", [-11.8, 12.1], "V");
    for cam in cams {
        add(Role::Cam(cam.id), "4 windows", [0.1, 5.0], "V");
    }
    for cam in cams {
        let note = if cam.id.kind == CamKind::Intake {
            "200 Hz"
        } else {
            "250 Hz"
        };
        add(Role::Command(cam.id), note, [0.2, 14.4], "V");
    }
    add(Role::Supply, "13.7 V", [13.5, 13.9], "V");
    add(Role::Current(CamId::EXHAUST), "0.7 A mean", [0.0, 1.1], "A");
    add(Role::Spare, "", [0.0, 0.0], "V");
    leads
}

/// The last 20 s: a slow rise and fall of every cam, then the state each cam is in now.
fn history(cams: &[CamSnapshot]) -> Arc<[HistoryPoint]> {
    let smooth = |t: f64, from: f64, to: f64| {
        let s = ((t - from) / (to - from)).clamp(0.0, 1.0);
        s * s * (3.0 - 2.0 * s)
    };
    (0..400_u32)
        .map(|i| {
            let ago = 20.0 - f64::from(i) / 20.0;
            let t = -ago;
            let cams = cams
                .iter()
                .enumerate()
                .map(|(k, cam)| {
                    let shift = f64::from(u8::try_from(k).unwrap_or(0)) * 0.6;
                    let sign = if cam.id.kind == CamKind::Intake {
                        1.0
                    } else {
                        -1.0
                    };
                    let since = -(ELAPSED - cam.agreement.since.0 / RATE);
                    let is_bad = cam.agreement.state.is_disagreement() && t >= since;
                    let swing = smooth(t, -16.0 + shift, -13.5 + shift) - smooth(t, -9.0, -6.5);
                    let ripple = 0.4 * (t * 9.0 + shift).sin();
                    let settled = cam.due.map_or(0.0, |d| (d.low.0 + d.high.0) / 2.0);
                    let now = if is_bad {
                        smooth(t, since, since + 1.5)
                    } else {
                        0.0
                    };
                    let rest = if cam.agreement.state.is_disagreement() {
                        cam.phase.any().map_or(0.0, |v| v.0)
                    } else {
                        settled
                    };
                    let phase = rest + sign * 18.0 * swing;
                    let due = phase + (settled - rest) * now;
                    let duty = 50.0
                        + 22.0
                            * (smooth(t, -16.2 + shift, -15.8 + shift) - smooth(t, -13.7, -13.2))
                        - 16.0 * (smooth(t, -9.2, -8.8) - smooth(t, -6.8, -6.4))
                        + if is_bad {
                            28.0 * smooth(t, since, since + 0.2)
                        } else {
                            0.0
                        };
                    let is_lost = is_bad && cam.agreement.state == AgreementState::NoPosition;
                    CamPoint {
                        duty: Some(Percent(duty + ripple)),
                        phase: (!is_lost).then_some(CrankDegrees(phase + 0.3 * ripple)),
                        due: (!is_lost).then_some(Band {
                            low: CrankDegrees(due - 1.5),
                            high: CrankDegrees(due + 1.5),
                        }),
                        state: if is_bad {
                            cam.agreement.state
                        } else {
                            AgreementState::Following
                        },
                    }
                })
                .collect();
            HistoryPoint {
                at: SampleTime((ELAPSED - ago) * RATE),
                speed: Some(Rpm(1842.0)),
                supply: Some(Volts(13.9)),
                cams,
            }
        })
        .collect()
}

/// Traces of all leads over one cycle's worth of columns; `shift` moves them, in columns.
pub fn traces(leads: &[LeadSnapshot], columns: u32, shift: f64) -> Traces {
    let leads = leads
        .iter()
        .enumerate()
        .map(|(k, lead)| {
            let values = |x: f64| -> [f32; 2] {
                let share = (x / f64::from(columns)).rem_euclid(1.0);
                let noise = 0.02 * (x * 0.9).sin();
                let value = |v: f64, n: f64| [(v - n) as f32, (v + n) as f32];
                match lead.role {
                    Role::Crank => {
                        let tooth = (share * 120.0).rem_euclid(60.0);
                        let size = if tooth < 58.0 { 11.5 } else { 0.3 };
                        let swing = (tooth * std::f64::consts::TAU).sin();
                        value(swing * size, 0.15)
                    }
                    Role::Cam(_) => {
                        let at = (share * 720.0 + k as f64 * 40.0).rem_euclid(720.0);
                        let is_high = [
                            [40.0, 130.0],
                            [220.0, 270.0],
                            [400.0, 520.0],
                            [580.0, 620.0],
                        ]
                        .iter()
                        .any(|[a, b]| at >= *a && at < *b);
                        value(if is_high { 4.9 } else { 0.2 } + noise, 0.05)
                    }
                    Role::Command(_) => {
                        let is_on = (share * 13.0).fract() < 0.52;
                        value(if is_on { 0.3 } else { 13.7 } + noise, 0.08)
                    }
                    Role::Current(_) => {
                        let f = (share * 13.0).fract();
                        let rise = if f < 0.52 { f / 0.52 } else { (1.0 - f) / 0.48 };
                        value(0.4 + 0.6 * rise, 0.02)
                    }
                    Role::StarterCurrent | Role::Supply | Role::Pressure | Role::Spare => {
                        value(13.7 + 4.0 * noise, 0.03)
                    }
                }
            };
            Trace {
                role: lead.role,
                unit: lead.unit.clone(),
                columns: (0..columns)
                    .map(|i| {
                        (0..16_u32)
                            .map(|k| values(f64::from(i) + shift + f64::from(k) / 16.0))
                            .reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
                    })
                    .collect(),
            }
        })
        .collect();
    Traces {
        span: Seconds(0.1),
        leads,
    }
}
