//! The judgement in one sentence, with its numbers, without the cam's name in front.

use crate::engine::Rest;

/// What a judgement found, in numbers: degrees along the drive (away from rest positive), seconds, percent, volts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finding {
    /// Duty in the hold zone: no motion is owed.
    Holding {
        /// Duty.
        duty: f64,
        /// Phase.
        phase: f64,
        /// Duty at which it has held before, if learnt.
        hold: Option<f64>,
    },
    /// Commanded to rest and there.
    AtRest {
        /// Duty.
        duty: f64,
        /// Phase.
        phase: f64,
    },
    /// Driven and at the far stop.
    AtStop {
        /// Duty.
        duty: f64,
        /// Phase.
        phase: f64,
    },
    /// Driven; not long enough to judge, or moving as it must.
    Driven {
        /// Duty.
        duty: f64,
        /// For how long.
        seconds: f64,
        /// Moved along the drive.
        moved: f64,
        /// Rate at which it has moved when driven hard, if learnt.
        rate: Option<f64>,
    },
    /// Driven and still.
    Stuck {
        /// Duty.
        duty: f64,
        /// For how long.
        seconds: f64,
        /// Moved along the drive.
        moved: f64,
        /// Least motion that was due.
        due: f64,
    },
    /// Was stuck or slow when last driven; nothing is owed now.
    Unrefuted {
        /// Duty now.
        duty: f64,
        /// When it last was owed, seconds ago.
        ago: f64,
    },
    /// Driven and too slow.
    Slow {
        /// Duty.
        duty: f64,
        /// For how long.
        seconds: f64,
        /// Moved along the drive.
        moved: f64,
        /// Least motion that was due.
        due: f64,
    },
    /// Moves against the drive.
    Against {
        /// Duty.
        duty: f64,
        /// For how long.
        seconds: f64,
        /// Moved against the drive.
        moved: f64,
    },
    /// Commanded to rest and elsewhere.
    OffRest {
        /// Duty.
        duty: f64,
        /// For how long.
        seconds: f64,
        /// Phase, advance positive.
        phase: f64,
        /// Tolerance of the reference.
        tolerance: f64,
        /// Whether it stands beyond the rest stop, where no phaser can go.
        beyond: bool,
    },
    /// Swings.
    Hunting {
        /// Reversals.
        reversals: usize,
        /// Peak to peak.
        swing: f64,
        /// Within how long.
        seconds: f64,
        /// Duty, peak to peak.
        duty_swing: f64,
    },
    /// The command stands still.
    NoCommand {
        /// Level of the pin.
        volts: f64,
        /// For how long.
        seconds: f64,
    },
    /// No cam edges.
    NoPosition {
        /// For how long.
        seconds: f64,
        /// Level of the cam lead.
        volts: Option<f64>,
    },
    /// Not judged.
    NotJudged(Reason),
}

/// Why nothing is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// The cam has no phaser.
    NoPhaser,
    /// No lead on the command.
    NoCommandLead,
    /// No lead on the cam sensor.
    NoCamLead,
    /// The command lead shows nothing.
    CommandSilent,
    /// The command lead does not switch between ground and supply.
    CommandDoubtful,
    /// The cam lead shows nothing.
    CamSilent,
    /// The cam lead is not proven.
    CamUnproven,
    /// The crank lead is not proven.
    CrankUnproven,
    /// The pin stands at ground: full drive, a short, or a lead on ground.
    HeldAtGround,
    /// The crank does not turn.
    Stopped,
    /// Below running speed, where no oil pressure is owed.
    Cranking,
    /// Just started.
    RunIn,
    /// Crank pattern not found.
    NoSync,
    /// Half of the cycle not known.
    CycleUnresolved,
    /// The cams fit an even crank wheel at more than one tooth.
    SeveralPositions,
    /// The cam edges do not fit the sheet.
    PatternMismatch,
    /// Samples were lost.
    Gap,
    /// Not enough seen yet.
    Measuring,
    /// Which way the command moves it has not been shown.
    SenseNotShown,
    /// More duty moves it the other way than the sheet says.
    SenseOpposite,
}

impl Reason {
    fn words(self) -> &'static str {
        match self {
            Self::NoPhaser => "This cam has no phaser.",
            Self::NoCommandLead => "No lead on its command.",
            Self::NoCamLead => "No lead on its sensor.",
            Self::CommandSilent => "The command lead shows nothing; check that it is on the pin.",
            Self::CommandDoubtful => {
                "The command lead does not switch between ground and supply; check its place and its probe factor."
            }
            Self::CamSilent => "The cam lead shows nothing; check that it is on the signal pin.",
            Self::CamUnproven => "The cam lead is not proven; its row of the hook-up says why.",
            Self::CrankUnproven => "The crank lead is not proven; its row of the hook-up says why.",
            Self::HeldAtGround => {
                "The command pin stands at ground; full drive, a short to ground and a slipped lead look the same."
            }
            Self::Stopped => "The engine does not turn.",
            Self::Cranking => "Below running speed no oil pressure, and so no motion, is owed.",
            Self::RunIn => "The engine has only just started.",
            Self::NoSync => "The crank pattern is not found.",
            Self::CycleUnresolved => "The cycle is not resolved yet.",
            Self::SeveralPositions => {
                "The teeth of the crank wheel are alike, and the cams fit more than one of them."
            }
            Self::PatternMismatch => {
                "The cam edges do not fit the engine sheet; check for swapped leads."
            }
            Self::Gap => "Samples were lost; starting again.",
            Self::Measuring => "Measuring.",
            Self::SenseNotShown => {
                "Whether this duty drives the cam or rests it has not been shown yet; change the engine speed and let it move once."
            }
            Self::SenseOpposite => {
                "More duty moves this cam the other way than its sheet says; check its rest side, and which level of the pin is on."
            }
        }
    }
}

/// The sentence for a finding of a cam that rests at `rest`.
pub fn sentence(finding: Finding, rest: Rest) -> String {
    let signed = |along: f64| along * rest.drive_sign();
    match finding {
        Finding::Holding { duty, phase, hold } => match hold {
            Some(hold) => format!(
                "{duty:.0} % commanded, it holds at about {hold:.0} %; {}.",
                place(signed(phase))
            ),
            None => format!(
                "{duty:.0} % lies in the hold zone, where no motion is owed; stands {}.",
                place(signed(phase))
            ),
        },
        Finding::AtRest { duty, phase } => format!(
            "{duty:.0} % commands rest; stands {}.",
            place(signed(phase))
        ),
        Finding::AtStop { duty, phase } => format!(
            "{duty:.0} % commanded; stands at its far stop, {}.",
            place(signed(phase))
        ),
        Finding::Driven {
            duty,
            seconds,
            moved,
            rate,
        } => {
            let learnt = rate.map_or_else(String::new, |rate| {
                format!("; driven hard it moves at {rate:.0}°/s")
            });
            format!(
                "{duty:.0} % commanded for {seconds:.1} s, moved {:.1}°{learnt}.",
                zero(moved)
            )
        }
        Finding::Stuck {
            duty,
            seconds,
            moved,
            due,
        } => format!(
            "{duty:.0} % commanded for {seconds:.1} s, moved {:.1}°, at least {:.0}° was due.",
            zero(moved),
            due
        ),
        Finding::Unrefuted { duty, ago } => format!(
            "Did not follow when it last had to, {ago:.1} s ago, and has not shown since that it can; {duty:.0} % now."
        ),
        Finding::Slow {
            duty,
            seconds,
            moved,
            due,
        } => format!(
            "{duty:.0} % commanded for {seconds:.1} s, moved only {:.1}°, at least {due:.0}° was due.",
            zero(moved)
        ),
        Finding::Against {
            duty,
            seconds,
            moved,
        } => format!("{duty:.0} % commanded for {seconds:.1} s, moved {moved:.1}° the other way."),
        Finding::OffRest {
            duty,
            seconds,
            phase,
            tolerance,
            beyond,
        } => {
            let why = if beyond {
                "beyond the rest stop, where a phaser cannot go: the timing has moved, or the reference is of another engine"
            } else {
                "the phaser is off its rest, or the timing has moved"
            };
            format!(
                "{duty:.0} % commanded rest for {seconds:.1} s; stands {:.1}° {} of its reference (± {tolerance:.0}° is good): {why}.",
                phase.abs(),
                if phase < 0.0 { "late" } else { "early" }
            )
        }
        Finding::Hunting {
            reversals,
            swing,
            seconds,
            duty_swing,
        } => format!(
            "Swings by {swing:.0}°, {reversals} reversals in {seconds:.1} s, the duty by {duty_swing:.0} points, at steady speed."
        ),
        Finding::NoCommand { volts, seconds } => format!(
            "The command pin has stood at {volts:.1} V for {seconds:.1} s; this controller always drives it."
        ),
        Finding::NoPosition { seconds, volts } => match volts {
            Some(volts) => format!(
                "No edge from the cam sensor for {seconds:.1} s while the crank turns; its signal stands at {volts:.1} V."
            ),
            None => {
                format!("No edge from the cam sensor for {seconds:.1} s while the crank turns.")
            }
        },
        Finding::NotJudged(reason) => reason.words().to_owned(),
    }
}

/// "12.3° early of its reference", or "on its reference" within the last shown digit.
fn place(phase: f64) -> String {
    if phase.abs() < 0.05 {
        "on its reference".to_owned()
    } else {
        format!(
            "{:.1}° {} of its reference",
            phase.abs(),
            if phase < 0.0 { "late" } else { "early" }
        )
    }
}

/// Avoids "-0.0".
fn zero(x: f64) -> f64 {
    if x.abs() < 0.05 { 0.0 } else { x }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_carry_their_numbers() {
        let stuck = Finding::Stuck {
            duty: 78.2,
            seconds: 2.41,
            moved: 0.6,
            due: 8.3,
        };
        assert_eq!(
            sentence(stuck, Rest::Advanced),
            "78 % commanded for 2.4 s, moved 0.6°, at least 8° was due."
        );
        let off = Finding::OffRest {
            duty: 10.0,
            seconds: 3.0,
            phase: -17.1,
            tolerance: 3.0,
            beyond: false,
        };
        assert_eq!(
            sentence(off, Rest::Advanced),
            "10 % commanded rest for 3.0 s; stands 17.1° late of its reference (± 3° is good): the phaser is off its rest, or the timing has moved."
        );
        let hold = Finding::Holding {
            duty: 50.0,
            phase: 12.0,
            hold: None,
        };
        assert!(sentence(hold, Rest::Advanced).ends_with("12.0° late of its reference."));
    }
}
