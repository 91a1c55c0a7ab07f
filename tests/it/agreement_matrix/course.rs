//! One run: what was told against what was right.

use super::car::Car;
use super::oracle::{Oracle, Right};
use super::rows::{Kind, Row, concerns, is_supply_low};
use super::score::Score;
use super::spread::Spread;
use crate::rig::Rig;
use keyway_acquisition::simulator::blueprint::Cam;
use keyway_analysis::circuit::Condition;
use keyway_analysis::findings::{Cause, Standing};
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::{AgreementState, Snapshot};

/// Seconds after each change of what is right in which either is right.
const TRANSITION: f64 = 1.0;
/// A gross fault that shows for less long need not be told.
const SHOWN: f64 = 2.0;

/// One instant of one cam.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    pub time: f64,
    pub told: AgreementState,
    pub right: Right,
    /// Whether an electrical condition is told.
    pub circuit: bool,
    /// Duty delivered and holding, percent; phase shown, degrees; speed, rpm.
    pub figures: [f64; 4],
}

impl Point {
    /// Whether the screen raises something.
    fn is_flagged(&self) -> bool {
        self.told.is_disagreement() || self.circuit
    }
}

fn is_fault(condition: Condition) -> bool {
    !matches!(condition, Condition::Sound | Condition::NotShown)
}

/// A finished run.
pub struct Course {
    pub points: [Vec<Point>; 2],
    pub last: Snapshot,
    pub car: Car,
    /// Conditions of circuits that were told at some time, with the cam.
    pub conditions: Vec<(usize, Condition)>,
    /// Supported causes that were named at some time.
    pub named: Vec<Cause>,
}

impl Course {
    /// Runs a row of a matrix with a seed.
    pub fn run(spread: &Spread, row: &Row, seed: u64) -> Self {
        let car = Car::draw(spread, row, seed);
        let mut rig = Rig::told(&car.scenario, seed, car.rate, 1.0, &car.sheet);
        let mut oracles = Cam::ALL.map(|cam| Oracle::new(&car, row.kind, cam));
        let mut points = [Vec::new(), Vec::new()];
        let (mut conditions, mut named) = (Vec::new(), Vec::new());
        let mut last = None;
        let mut next = 0.0;
        rig.run(car.seconds, |pipeline, engine| {
            let truth = engine.truth();
            let rights = oracles.each_mut().map(|o| o.look(&truth));
            if truth.time < next && last.is_some() {
                return;
            }
            next = truth.time + 0.02;
            let snapshot = pipeline.snapshot();
            for (k, cam) in snapshot.cams.iter().enumerate() {
                let is = truth.cams[k];
                let condition = cam.circuit.as_ref().map(|c| c.condition);
                points[k].push(Point {
                    time: truth.time,
                    told: cam.agreement.state,
                    right: rights[k],
                    circuit: condition.is_some_and(|c| {
                        is_fault(c) && !(c == Condition::SupplyLow && is_supply_low(row))
                    }),
                    figures: [is.delivered_duty, is.hold_duty, is.shown, truth.rpm],
                });
                if let Some(condition) = condition
                    && !conditions.contains(&(k, condition))
                {
                    conditions.push((k, condition));
                }
            }
            for cause in &snapshot.findings.causes {
                if cause.standing == Standing::Supported && !named.contains(&cause.cause) {
                    named.push(cause.cause);
                }
            }
            last = Some(snapshot);
        });
        Self {
            points,
            last: last.expect("a run has a block"),
            car,
            conditions,
            named,
        }
    }

    /// What it comes to.
    pub fn score(&self, row: &Row) -> Score {
        let mut score = Score {
            runs: 1,
            ..Score::default()
        };
        for cam in Cam::ALL {
            self.score_cam(row, cam, &mut score);
        }
        match row.kind {
            Kind::Hookup => score.blamed = usize::from(!self.blames().is_empty()),
            Kind::Fault | Kind::Healthy => self.score_findings(row, &mut score),
        }
        score
    }

    fn score_cam(&self, row: &Row, cam: Cam, score: &mut Score) {
        let points = &self.points[cam.index()];
        let mut changed = f64::NEG_INFINITY;
        let mut open: Option<(f64, f64, Option<f64>, bool)> = None;
        let mut flagged = false;
        for (i, p) in points.iter().enumerate() {
            let dt = if i == 0 {
                0.0
            } else {
                p.time - points[i - 1].time
            };
            if i > 0 && points[i - 1].right.states != p.right.states {
                changed = p.time;
            }
            let told = p.told;
            let is_right = p.right.states.has(told);
            if !p.right.excused {
                score.seconds += dt;
                score.healthy_seconds += if row.kind == Kind::Healthy { dt } else { 0.0 };
                if p.time - changed <= TRANSITION {
                    score.transition += dt;
                } else if told == AgreementState::NotJudged && !is_right {
                    score.not_judged += dt;
                } else {
                    score.judged += dt;
                    score.right += if is_right { dt } else { 0.0 };
                    score.unclear += if p.right.unclear { dt } else { 0.0 };
                }
            }
            let wrongly = told.is_disagreement() && !is_right && p.time - changed > TRANSITION;
            let false_flag = wrongly || p.circuit;
            if row.kind == Kind::Healthy && false_flag && !flagged {
                score.false_flags += 1;
            }
            flagged = p.is_flagged() && (flagged || false_flag);
            // A gross fault from its onset to its end.
            match (p.right.gross, &mut open) {
                (Some(since), None) => {
                    let before = points[..i].iter().rev().find(|q| q.time < since - 0.05);
                    let already = p.right.excused || before.is_some_and(Point::is_flagged);
                    open = Some((since, p.time, None, already));
                }
                (None, Some(stretch)) => {
                    close(*stretch, score);
                    open = None;
                }
                _ => {}
            }
            if let Some((since, to, delay, _)) = &mut open {
                *to = p.time;
                if p.is_flagged() && delay.is_none() {
                    *delay = Some((p.time - *since).max(0.0));
                }
            }
        }
        if let Some(stretch) = open {
            close(stretch, score);
        }
    }

    /// Everything that blames a component although only the hook-up is wrong.
    pub fn blames(&self) -> Vec<String> {
        let mut blames = Vec::new();
        for (k, points) in self.points.iter().enumerate() {
            if let Some(p) = points.iter().find(|p| p.told.is_disagreement()) {
                blames.push(format!("cam {k} {} at {:.1} s", p.told.words(), p.time));
            }
        }
        for (k, condition) in &self.conditions {
            if is_fault(*condition) {
                blames.push(format!("circuit {k} {condition:?}"));
            }
        }
        for cause in &self.named {
            if !matches!(cause, Cause::LeadFault | Cause::AsCommanded) {
                blames.push(format!("finding {cause:?}"));
            }
        }
        blames
    }

    /// Whether the fault has shown itself, so that its cause can be found at all.
    fn showed(&self, cam: Cam) -> bool {
        let points = &self.points[cam.index()];
        let lasting = |wanted: fn(&Right) -> bool| {
            let n = points.iter().filter(|p| wanted(&p.right)).count();
            n as f64 * 0.02 > SHOWN
        };
        lasting(|r| !r.excused && !r.unclear && !r.states.has(AgreementState::Following))
    }

    fn score_findings(&self, row: &Row, score: &mut Score) {
        let cams = Cam::ALL.into_iter().filter(|cam| {
            let engine = &self.car.scenario.engine;
            engine.cam(*cam).phaser.is_some()
                && match row.kind {
                    Kind::Healthy => true,
                    _ => concerns(row, &self.car, *cam) && self.showed(*cam),
                }
        });
        for cam in cams {
            score.causes += 1;
            let id = [CamId::INTAKE, CamId::EXHAUST][cam.index()];
            let rows: Vec<_> = (self.last.findings.causes.iter())
                .filter(|c| c.cam.is_none_or(|c| c == id))
                .collect();
            // A weak supply is a cause that is there, beside a phaser that does as it is told.
            let weak = |cause| is_supply_low(row) && cause == Cause::SupplyOrGround;
            let is_true = |cause: Cause| row.causes.contains(&cause) || weak(cause);
            let truth = rows.iter().filter(|c| is_true(c.cause));
            if truth.clone().any(|c| c.standing != Standing::Contradicted) {
                score.uncontradicted += 1;
            }
            let supported = truth.clone().any(|c| c.standing == Standing::Supported);
            let rivals = rows
                .iter()
                .any(|c| c.standing == Standing::Supported && !is_true(c.cause));
            let separated = self.last.findings.next_check.as_ref().is_some_and(|check| {
                check.separates.iter().any(|c| is_true(*c)) && check.cam.is_none_or(|c| c == id)
            });
            if supported && (!rivals || separated) {
                score.named += 1;
            }
        }
    }

    /// Prints every change of what is told and of what is right.
    pub fn trace(&self, row: &Row) {
        let engine = &self.car.scenario.engine;
        println_all(&[
            format!(
                "{}: {:?}, {:?}",
                row.name, self.car.programme, self.car.scenario.faults
            ),
            format!("fault on {:?}; crank {:?}", self.car.cam, engine.crank),
            format!("sheet {:?}", self.car.sheet.cams),
            format!("intake {:?}", engine.intake),
            format!("exhaust {:?}", engine.exhaust),
        ]);
        for (k, points) in self.points.iter().enumerate() {
            let mut before: Option<&Point> = None;
            for p in points {
                if before.is_none_or(|b| b.told != p.told || b.right.states != p.right.states) {
                    let [duty, hold, phase, rpm] = p.figures;
                    let mark = if p.right.states.has(p.told) { ' ' } else { '*' };
                    println_all(&[format!(
                        "{mark} cam {k} {:7.2} s  told {:15} right {:45} duty {duty:5.1} hold {hold:5.1} phase {phase:6.1} rpm {rpm:6.0}{}",
                        p.time,
                        p.told.words(),
                        p.right.states.words(),
                        p.right
                            .gross
                            .map_or(String::new(), |g| format!(" gross since {g:.2}")),
                    )]);
                }
                before = Some(p);
            }
        }
        let events = self.last.events.iter();
        println_all(&events.map(|e| e.text.clone()).collect::<Vec<_>>());
        let leads = self.last.leads.iter();
        println_all(
            &leads
                .map(|l| {
                    format!(
                        "lead {} {:?} {:?} {} {:?}",
                        l.input, l.role, l.proof, l.note, l.mistake
                    )
                })
                .collect::<Vec<_>>(),
        );
        let causes = self.last.findings.causes.iter();
        println_all(
            &causes
                .map(|c| format!("{:?} {:?} {:?}", c.cam, c.cause, c.standing))
                .collect::<Vec<_>>(),
        );
        println_all(&[
            format!("next {:?}", self.last.findings.next_check),
            format!("conditions {:?}", self.conditions),
            format!("blames {:?}", self.blames()),
            format!("{}", self.score(row)),
        ]);
    }
}

fn println_all(lines: &[String]) {
    lines.iter().for_each(|line| eprintln!("{line}"));
}

/// A stretch of a gross fault: onset, end, delay of the flag, whether a flag stood already.
fn close((since, to, delay, already): (f64, f64, Option<f64>, bool), score: &mut Score) {
    if to - since < SHOWN {
        return;
    }
    if already {
        score.standing += 1;
    } else {
        // One that was never told took longer than it lasted.
        score.delays.push(delay.unwrap_or(f64::INFINITY));
    }
}
