//! The casebook on looks made as data.

use super::check::every_action;
use super::*;
use crate::base_timing::{CamBase, Conclusion};
use crate::circuit::{CircuitCause, Condition, Flyback};
use crate::engine::EngineSheet;
use crate::proof::{Mistake, ProofState};
use crate::snapshot::AgreementState::{
    self, Following, NoCommand, NotFollowing, NotJudged, OffRest,
};
use crate::trial::{TrialKind, TrialOrder, TrialStatus};
use crate::units::{Hertz, Volts};

const RATE: f64 = 1000.0;
const CAM: CamId = CamId::EXHAUST;

/// A session with one cam, exhaust, resting advanced; what is seen is changed as it goes on.
struct Session {
    book: Casebook,
    at: f64,
    leads: Vec<(Role, LeadProof)>,
    phase: f64,
    duty: f64,
    state: AgreementState,
    since: f64,
    circuit: CircuitView,
    base: BaseTiming,
    trials: TrialsView,
}

impl Session {
    /// Leads proven, engine running, nothing moves yet.
    fn new() -> Self {
        let text = include_str!("../../../app/assets/sheets/light-van.toml");
        let mut engine = EngineSheet::from_toml(text).expect("the sheet in the assets");
        engine.cams.retain(|c| c.cam == CAM);
        let roles = [
            Role::Crank,
            Role::Cam(CAM),
            Role::Command(CAM),
            Role::Current(CAM),
            Role::Supply,
        ];
        let proven = |role| (role, LeadProof::plain(ProofState::Proven, "works".into()));
        Self {
            book: Casebook::new(&engine, Hertz(RATE)),
            at: 0.0,
            leads: roles.map(proven).to_vec(),
            phase: 0.0,
            duty: 5.0,
            state: Following,
            since: 0.0,
            circuit: CircuitView {
                condition: Condition::Sound,
                sentence: "In order.".into(),
                rests_on: vec![Role::Command(CAM), Role::Current(CAM)],
                flyback: Flyback::Clamped(Volts(50.0)),
                sag: Reading::Valid(Volts(0.1)),
                ..CircuitView::unseen()
            },
            base: BaseTiming::unseen(&[]),
            trials: TrialsView::default(),
        }
    }

    fn step(&mut self) {
        self.at += 0.1;
        let agreement = Agreement {
            state: self.state,
            since: SampleTime(self.since * RATE),
            sentence: "As it was said.".into(),
            rests_on: Vec::new(),
        };
        let detail = PhaseDetail::default();
        let cams = [CamCase {
            phase: Reading::Valid(CrankDegrees(self.phase)),
            duty: Reading::Valid(Percent(self.duty)),
            agreement: &agreement,
            circuit: Some(&self.circuit),
            observer: None,
            detail: &detail,
        }];
        self.book.look(&CaseLook {
            at: SampleTime(self.at * RATE),
            sync: Sync::Cycle,
            damaged: &[],
            speed: Reading::Valid(Rpm(850.0)),
            leads: &self.leads,
            cams: &cams,
            base: &self.base,
            trials: &self.trials,
        });
    }

    fn run(&mut self, seconds: f64) -> &mut Self {
        let end = self.at + seconds;
        while self.at < end {
            self.step();
        }
        self
    }

    fn told(&mut self, state: AgreementState) -> &mut Self {
        self.state = state;
        self.since = self.at - 0.5;
        self
    }

    /// Driven there and back as a sound phaser does, then rests. The exhaust is driven to retard.
    fn move_and_return(&mut self) -> &mut Self {
        for (duty, to) in [(80.0, -30.0), (50.0, -30.0), (8.0, 0.0)] {
            self.duty = duty;
            let from = self.phase;
            for i in 1..=10 {
                self.phase = from + (to - from) * f64::from(i) / 10.0;
                self.step();
            }
        }
        self.run(4.0)
    }

    fn lead(&mut self, role: Role, state: ProofState, mistake: Option<Mistake>) -> &mut Self {
        let lead = self.leads.iter_mut().find(|l| l.0 == role).expect("fitted");
        lead.1 = LeadProof {
            mistake,
            ..LeadProof::plain(state, "something".into())
        };
        self
    }

    fn rests_at(&mut self, offset: f64, conclusion: Conclusion) -> &mut Self {
        self.base = BaseTiming {
            cams: vec![CamBase {
                cam: CAM,
                offset: Reading::Valid(CrankDegrees(offset)),
                uncertainty: Some(CrankDegrees(0.5)),
                teeth: Some(offset / (720.0 / 42.0)),
                looks: 4,
            }],
            conclusion,
            sentence: "At rest.".into(),
            next: None,
            rests_on: vec![Role::Crank, Role::Cam(CAM)],
            against: String::new(),
        };
        self
    }

    fn standing(&self, cause: Cause) -> Standing {
        let view = self.book.view();
        let row = view.causes.iter().find(|r| r.cause == cause);
        row.expect("a row for each cause").standing
    }

    fn all(&self, standing: Standing) -> Vec<Cause> {
        let view = self.book.view();
        (view.causes.iter())
            .filter(|r| r.standing == standing)
            .map(|r| r.cause)
            .collect()
    }

    fn named(&self) -> Vec<Cause> {
        (self.book.view().next_check.as_ref()).map_or_else(Vec::new, |c| c.separates.clone())
    }
}

#[test]
fn one_that_moves_both_ways_and_rests_on_its_reference_works_as_commanded() {
    let mut s = Session::new();
    let _ = s.run(3.0);
    assert_eq!(s.all(Standing::Supported), []);
    assert!(s.named().contains(&Cause::AsCommanded), "{:?}", s.named());
    let _ = s.rests_at(0.4, Conclusion::Good).move_and_return();
    assert_eq!(s.all(Standing::Supported), [Cause::AsCommanded]);
    for cause in [
        Cause::LeadFault,
        Cause::NoCommand,
        Cause::WiringOrDriver,
        Cause::SupplyOrGround,
        Cause::Valve,
        Cause::PhaserStuck,
        Cause::BaseTiming,
        Cause::WheelOrSensor,
    ] {
        assert_eq!(s.standing(cause), Standing::Contradicted, "{cause:?}");
    }
}

#[test]
fn with_current_proven_a_cam_that_does_not_move_leaves_valve_oil_and_phaser() {
    let mut s = Session::new();
    let _ = s.rests_at(0.0, Conclusion::Good).run(4.0);
    s.duty = 80.0;
    let _ = s.told(NotFollowing).run(3.0);
    assert_eq!(
        s.all(Standing::Supported),
        [Cause::Valve, Cause::OilOrSluggish, Cause::PhaserStuck]
    );
    for cause in [Cause::NoCommand, Cause::WiringOrDriver, Cause::AsCommanded] {
        assert_eq!(s.standing(cause), Standing::Contradicted, "{cause:?}");
    }
    assert!(s.named().contains(&Cause::PhaserStuck));
    assert!(!s.book.view().cautions.is_empty());
}

#[test]
fn no_component_is_blamed_through_a_lead_that_is_not_proven() {
    for fails_after in [-1.0, 0.5] {
        let mut s = Session::new();
        let _ = s.run(4.0);
        s.duty = 80.0;
        if fails_after < 0.0 {
            let _ = s
                .lead(
                    Role::Cam(CAM),
                    ProofState::Doubtful,
                    Some(Mistake::WrongPlace),
                )
                .run(1.0)
                .told(NotFollowing)
                .run(5.0);
        } else {
            let _ = s.told(NotFollowing).run(fails_after);
            assert_eq!(s.all(Standing::Supported), [], "too early to say");
            let _ = s.lead(Role::Cam(CAM), ProofState::Silent, None).run(5.0);
        }
        assert_eq!(s.all(Standing::Supported), [Cause::LeadFault]);
        let view = s.book.view();
        let next = view.next_check.as_ref().expect("prove the lead");
        assert!(next.action.contains("cam exhaust lead"), "{}", next.action);
    }
}

#[test]
fn a_fault_that_came_and_went_stays_in_the_table_with_its_time() {
    let mut s = Session::new();
    let _ = s.rests_at(0.0, Conclusion::Good).run(4.0).move_and_return();
    let _ = s.told(NoCommand).run(3.0).told(Following).move_and_return();
    assert_eq!(
        s.all(Standing::Supported),
        [Cause::NoCommand, Cause::WiringOrDriver]
    );
    assert_eq!(s.standing(Cause::AsCommanded), Standing::Contradicted);
    let view = s.book.view();
    let row = view.causes.iter().find(|r| r.cause == Cause::NoCommand);
    let evidence = row.expect("a row").evidence.iter();
    let at = evidence
        .filter(|e| e.bearing == Bearing::Supports)
        .find_map(|e| e.at);
    let at = at.expect("its time").0 / RATE;
    assert!((10.0..13.0).contains(&at), "{at}");
}

#[test]
fn a_cam_a_tooth_out_that_moves_leaves_drive_and_wheel() {
    let mut s = Session::new();
    let tooth = 720.0 / 42.0;
    s.phase = -tooth;
    let _ = s.rests_at(-tooth, Conclusion::OneOutByTeeth(CAM, -1));
    let _ = s.run(4.0).told(OffRest).run(3.0);
    for _ in 0..4 {
        for (duty, phase) in [(80.0, -40.0), (8.0, -tooth)] {
            s.duty = duty;
            s.phase = phase;
            let _ = s.run(4.0);
        }
    }
    assert_eq!(
        s.all(Standing::Supported),
        [Cause::BaseTiming, Cause::WheelOrSensor]
    );
    assert_eq!(s.standing(Cause::PhaserStuck), Standing::Contradicted);
    assert_eq!(s.named(), [Cause::BaseTiming, Cause::WheelOrSensor]);
    let view = s.book.view();
    let next = view.next_check.as_ref().expect("a check");
    assert!(next.action.contains("cylinder pressure"), "{}", next.action);
}

#[test]
fn a_circuit_that_is_open_leaves_what_its_leads_cannot_tell_apart() {
    let mut s = Session::new();
    let _ = s.run(4.0);
    s.circuit = CircuitView {
        condition: Condition::NoLoad,
        sentence: "Switches, but no current flows.".into(),
        possible: vec![CircuitCause::CoilOpen, CircuitCause::FeedOpen],
        separated_by: Some("Measure the feed.".into()),
        rests_on: vec![Role::Command(CAM), Role::Current(CAM)],
        flyback: Flyback::Absent,
        ..CircuitView::unseen()
    };
    s.duty = 80.0;
    let _ = s.run(1.0).told(NotFollowing).run(3.0);
    assert_eq!(
        s.all(Standing::Supported),
        [Cause::SupplyOrGround, Cause::Valve]
    );
    assert_eq!(s.standing(Cause::PhaserStuck), Standing::Contradicted);
    let view = s.book.view();
    let next = view.next_check.as_ref().expect("a check");
    assert_eq!(next.action, "Measure the feed.");
    assert!(next.separates.contains(&Cause::Valve));
}

#[test]
fn what_the_technician_unplugs_is_no_fault() {
    let mut s = Session::new();
    let _ = s.rests_at(0.0, Conclusion::Good).run(4.0).move_and_return();
    let order = TrialOrder {
        kind: TrialKind::RestUnplugged,
        cam: CAM,
        oil: None,
    };
    s.trials.running = Some(TrialStatus {
        order,
        began: SampleTime(s.at * RATE),
        instruct: String::new(),
        watching: String::new(),
        progress: 0.0,
        hindrance: String::new(),
    });
    let sound = s.circuit.clone();
    s.circuit.condition = Condition::NoLoad;
    s.circuit.possible = vec![CircuitCause::CoilOpen];
    let _ = s.told(NoCommand).run(5.0).told(Following);
    s.circuit = sound;
    s.trials.running = None;
    let _ = s.run(3.0);
    assert_eq!(s.all(Standing::Supported), [Cause::AsCommanded]);
}

#[test]
fn all_rows_hold_the_same_evidence_in_the_same_order() {
    let mut s = Session::new();
    let _ = s.told(NotJudged).run(2.0);
    let view = s.book.view();
    let kinds = |r: &CauseRow| r.evidence.iter().map(|e| e.what).collect::<Vec<_>>();
    let first = kinds(&view.causes[0]);
    assert!(first.len() >= 15);
    assert!(view.causes.iter().all(|r| kinds(r) == first));
}

#[test]
fn a_code_is_explained_and_checked_against_what_was_measured() {
    let mut s = Session::new();
    s.book.set_codes(&["p0014, P0420 p0017".into()]);
    let bearing = |s: &Session, code: &str| {
        let view = s.book.view();
        let found = view.codes.iter().find(|c| c.code == code).cloned();
        found.expect("explained")
    };
    assert_eq!(bearing(&s, "P0014").bearing, Bearing::NotShown);
    let outside = bearing(&s, "P0420");
    assert!(outside.meaning.contains("not one of"), "{outside:?}");
    let _ = s.rests_at(0.2, Conclusion::Good).run(4.0);
    s.duty = 80.0;
    let _ = s.told(NotFollowing).run(3.0);
    // Rests advanced, is driven to retard and stays: too early.
    let agrees = bearing(&s, "P0014");
    assert_eq!(agrees.bearing, Bearing::Supports, "{agrees:?}");
    assert!(agrees.meaning.contains("exhaust"));
    assert_eq!(bearing(&s, "P0017").bearing, Bearing::Contradicts);
}

#[test]
fn no_check_advises_to_replace_anything() {
    for action in every_action() {
        let action = action.to_lowercase();
        for word in ["replace", "renew", "new part", "fit a new"] {
            assert!(!action.contains(word), "{action}");
        }
    }
}
