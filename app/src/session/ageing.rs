//! What becomes of the figures when no samples arrive any more: the analysis has no clock, so the
//! session ages them. An old figure must not look like one of now.

use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{AgreementState, ProofState, Snapshot};
use keyway_analysis::units::Seconds;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// From this age on the figures are called stale: some thirty times what a sample takes to the screen.
const STALE: Duration = Duration::from_secs(1);

/// Remembers when the newest snapshot came.
#[derive(Debug, Default)]
pub struct Ageing {
    newest: Option<(Arc<Snapshot>, Instant)>,
}

impl Ageing {
    /// The snapshot as it is to be shown now.
    pub fn shown(&mut self, snapshot: Arc<Snapshot>, now: Instant) -> Arc<Snapshot> {
        match &self.newest {
            Some((newest, came)) if Arc::ptr_eq(newest, &snapshot) => {
                let age = now.saturating_duration_since(*came);
                if age < STALE {
                    snapshot
                } else {
                    Arc::new(aged(&snapshot, Seconds(age.as_secs_f64())))
                }
            }
            _ => {
                self.newest = Some((Arc::clone(&snapshot), now));
                snapshot
            }
        }
    }
}

/// The same snapshot after `age` without samples.
fn aged(snapshot: &Snapshot, age: Seconds) -> Snapshot {
    let mut old = snapshot.clone();
    let sentence = format!("No samples have come for {:.0} s.", age.0);
    old.speed = stale(old.speed, age);
    old.supply = stale(old.supply, age);
    old.supply_ripple = stale(old.supply_ripple, age);
    for cam in &mut old.cams {
        cam.phase = stale(cam.phase, age);
        cam.due = None;
        let command = &mut cam.command;
        command.duty = stale(command.duty, age);
        command.frequency = stale(command.frequency, age);
        command.low = stale(command.low, age);
        command.high = stale(command.high, age);
        command.current = stale(command.current, age);
        cam.agreement.state = AgreementState::NotJudged;
        cam.agreement.since = snapshot.at;
        cam.agreement.sentence.clone_from(&sentence);
    }
    for lead in &mut old.leads {
        if lead.proof != ProofState::Spare {
            lead.proof = ProofState::Silent;
            "no samples come".clone_into(&mut lead.note);
        }
    }
    old
}

fn stale<T: Copy>(reading: Reading<T>, age: Seconds) -> Reading<T> {
    match reading {
        Reading::Valid(v) => Reading::Stale(v, age),
        Reading::Stale(v, older) => Reading::Stale(v, older + age),
        Reading::Suspect(..) | Reading::Missing(_) => reading,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::analyser::Analyser;
    use crate::setup::Setup;
    use keyway_acquisition::block::{DeviceInfo, StreamInfo};
    use keyway_analysis::units::Volts;

    #[test]
    fn a_snapshot_that_stays_grows_old() {
        let mut analyser = Analyser::new(Setup::built_in().unwrap());
        let stream = StreamInfo {
            device: DeviceInfo {
                maker: String::new(),
                model: String::new(),
                serial: String::new(),
                firmware: String::new(),
                channels: Vec::new(),
                max_rate_hz: 200_000.0,
            },
            generation: 0,
            rate_hz: 200_000.0,
            enabled: Vec::new(),
        };
        analyser.begin(&stream).unwrap();
        let mut snapshot = analyser.snapshot().unwrap();
        snapshot.supply = Reading::Valid(Volts(13.7));
        let snapshot = Arc::new(snapshot);
        let (mut ageing, start) = (Ageing::default(), Instant::now());
        let mut at = |seconds: f64| {
            let now = start + Duration::from_secs_f64(seconds);
            ageing.shown(Arc::clone(&snapshot), now)
        };
        assert_eq!(at(0.0).supply, Reading::Valid(Volts(13.7)));
        assert_eq!(at(0.5).supply, Reading::Valid(Volts(13.7)));
        let old = at(3.0);
        assert!(
            matches!(old.supply, Reading::Stale(v, age) if v == Volts(13.7) && age.0 > 2.9),
            "{:?}",
            old.supply
        );
        assert!(
            old.cams
                .iter()
                .all(|c| c.agreement.state == AgreementState::NotJudged)
        );
    }
}
