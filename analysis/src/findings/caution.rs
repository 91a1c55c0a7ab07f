//! Cautions, each worded once. General wording after OSHA, NIOSH, UN R100 and driver data sheets; figures from memory are
//! left out.

/// What a check can harm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Caution {
    /// Belts, fans, pulleys.
    Rotating,
    /// Exhaust and coolant.
    Hot,
    /// The pin of a switched coil.
    Flyback,
    /// A running engine in a room.
    ExhaustGas,
    /// Coils and plugs.
    Ignition,
    /// A hybrid's engine and battery.
    HighVoltage,
    /// Hot oil under pressure.
    Oil,
}

/// Stands under every check.
pub(super) const DEFERENCE: &str = "The maker's procedure and figures come first, and local codes; work that needs a licence or training is for those who have it.";

impl Caution {
    pub fn words(self) -> &'static str {
        match self {
            Self::Rotating => {
                "Keep hands, sleeves and leads clear of belts and fans, which may start by themselves; park brake on, in neutral or park."
            }
            Self::Hot => "Exhaust, turbocharger and coolant are hot; let them cool or keep clear.",
            Self::Flyback => {
                "The command pin reaches 45 to 60 V when the driver opens; use an input that bears it."
            }
            Self::ExhaustGas => {
                "Lead exhaust gas out at the tailpipe; a fan in a closed room is not enough."
            }
            Self::Ignition => {
                "Ignition gives many kilovolts: disable fuel and ignition before a plug is out, and never crank with an open secondary."
            }
            Self::HighVoltage => {
                "A hybrid may start by itself when ready, and carries high voltage: only a trained person isolates it."
            }
            Self::Oil => {
                "Oil is hot and under pressure: stop the engine before a gauge or a valve is taken out."
            }
        }
    }
}
