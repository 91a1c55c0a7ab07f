//! The lead plan: which input carries which signal.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// Intake or exhaust.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CamKind {
    /// Intake cam.
    Intake,
    /// Exhaust cam.
    Exhaust,
}

/// A camshaft: its kind and bank (1 or 2). Written "intake", "exhaust", "intake-2", "exhaust-2".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct CamId {
    /// Intake or exhaust.
    pub kind: CamKind,
    /// Bank, 1 or 2.
    pub bank: u8,
}

impl CamId {
    /// Intake cam of bank 1.
    pub const INTAKE: Self = Self {
        kind: CamKind::Intake,
        bank: 1,
    };
    /// Exhaust cam of bank 1.
    pub const EXHAUST: Self = Self {
        kind: CamKind::Exhaust,
        bank: 1,
    };
}

impl fmt::Display for CamId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.kind {
            CamKind::Intake => "intake",
            CamKind::Exhaust => "exhaust",
        })?;
        if self.bank > 1 {
            write!(f, "-{}", self.bank)
        } else {
            Ok(())
        }
    }
}

impl FromStr for CamId {
    type Err = String;
    fn from_str(s: &str) -> Result<Self, String> {
        let (kind, bank) = match s.split_once('-') {
            Some((kind, bank)) => (
                kind,
                bank.parse()
                    .map_err(|_| format!("'{s}': the bank must be 1 or 2"))?,
            ),
            None => (s, 1),
        };
        let kind = match kind {
            "intake" => CamKind::Intake,
            "exhaust" => CamKind::Exhaust,
            _ => {
                return Err(format!(
                    "'{s}': a cam is intake, exhaust, intake-2 or exhaust-2"
                ));
            }
        };
        if !(1..=2).contains(&bank) {
            return Err(format!("'{s}': the bank must be 1 or 2"));
        }
        Ok(Self { kind, bank })
    }
}

impl TryFrom<String> for CamId {
    type Error = String;
    fn try_from(s: String) -> Result<Self, String> {
        s.parse()
    }
}

impl From<CamId> for String {
    fn from(id: CamId) -> Self {
        id.to_string()
    }
}

/// What a lead is connected to. Written "crank", "supply", "pressure", "spare",
/// "cam intake", "command exhaust", "current intake-2", "current starter".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Role {
    /// Crank sensor.
    Crank,
    /// Cam sensor.
    Cam(CamId),
    /// Control side of the phaser valve.
    Command(CamId),
    /// Current of the phaser valve.
    Current(CamId),
    /// Current of the starter: a clamp around the battery cable that feeds it.
    StarterCurrent,
    /// Battery or supply side of the valve.
    Supply,
    /// Cylinder pressure.
    Pressure,
    /// Not connected.
    Spare,
}

impl Role {
    /// Unit at the probe's tip where the input is in this one: a clamp's volts become amperes, a
    /// transducer's become kilopascals.
    pub fn unit_at_tip(self, input: &str) -> &str {
        match self {
            Self::Current(_) | Self::StarterCurrent => "A",
            Self::Pressure => "kPa",
            Self::Crank | Self::Cam(_) | Self::Command(_) | Self::Supply | Self::Spare => input,
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Crank => f.write_str("crank"),
            Self::StarterCurrent => f.write_str("current starter"),
            Self::Supply => f.write_str("supply"),
            Self::Pressure => f.write_str("pressure"),
            Self::Spare => f.write_str("spare"),
            Self::Cam(id) => write!(f, "cam {id}"),
            Self::Command(id) => write!(f, "command {id}"),
            Self::Current(id) => write!(f, "current {id}"),
        }
    }
}

impl TryFrom<String> for Role {
    type Error = String;
    fn try_from(s: String) -> Result<Self, String> {
        Ok(match s.split_once(' ') {
            None => match s.as_str() {
                "crank" => Self::Crank,
                "supply" => Self::Supply,
                "pressure" => Self::Pressure,
                "spare" => Self::Spare,
                _ => {
                    return Err(format!(
                        "'{s}': a role is crank, supply, pressure, spare, or cam, command or current with a cam, or current starter"
                    ));
                }
            },
            Some(("cam", id)) => Self::Cam(id.parse()?),
            Some(("command", id)) => Self::Command(id.parse()?),
            Some(("current", "starter")) => Self::StarterCurrent,
            Some(("current", id)) => Self::Current(id.parse()?),
            Some((what, _)) => {
                return Err(format!(
                    "'{what}': expected cam, command or current before the cam"
                ));
            }
        })
    }
}

impl From<Role> for String {
    fn from(role: Role) -> Self {
        role.to_string()
    }
}

/// One lead: an input with a role.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lead {
    /// Device input, counted from 1 as printed at the socket.
    pub input: usize,
    /// What it is connected to.
    pub role: Role,
    /// Where to connect, in the technician's words.
    #[serde(default)]
    pub place: String,
    /// Units at the probe tip per unit at the input: 10 for a 10:1 probe; for a clamp, amperes per volt.
    #[serde(default = "one")]
    pub factor: f64,
}

fn one() -> f64 {
    1.0
}

/// All leads of a hook-up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeadPlan {
    /// Name of the plan.
    pub name: String,
    /// The leads.
    pub leads: Vec<Lead>,
}

impl LeadPlan {
    /// Reads a plan. The error names the line and what is wrong there.
    pub fn from_toml(text: &str) -> Result<Self, toml::de::Error> {
        toml::from_str(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_role_is_read_as_it_is_written() {
        for role in [
            Role::Crank,
            Role::Cam(CamId::EXHAUST),
            Role::Current(CamId::INTAKE),
            Role::StarterCurrent,
            Role::Spare,
        ] {
            assert_eq!(Role::try_from(role.to_string()), Ok(role));
        }
        assert_eq!(Role::StarterCurrent.to_string(), "current starter");
    }
}
