//! The engine sheet: what has to be known of an engine to read its crank, cams and actuators.

use crate::lead::CamId;
use crate::units::{Band, CrankDegrees, DegreesPerSecond, Hertz, Percent, Rpm, Volts};
use serde::{Deserialize, Serialize};

/// An engine, as the technician's TOML file describes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EngineSheet {
    /// How the engine is called on screen.
    pub name: String,
    /// Number of cylinders.
    pub cylinders: u8,
    /// Firing order, cylinder numbers.
    pub firing_order: Vec<u8>,
    /// Idle speed zone.
    pub idle: Band<Rpm>,
    /// Supply zone with the engine running.
    pub supply: Band<Volts>,
    /// The tone wheel on the crank.
    pub crank: CrankSheet,
    /// The cams that have a sensor.
    pub cams: Vec<CamSheet>,
}

/// The tone wheel and its sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CrankSheet {
    /// Wheel pattern in the notation of [`crate::wheel`]: "60-2", "36-1", "12+1", "at 0 70 180 250".
    pub wheel: String,
    /// Kind of sensor.
    pub sensor: Sensor,
    /// Crank degrees from the active edge of tooth 0 (the first after the gap) to the next firing-or-exchange TDC
    /// of cylinder 1, in [0, 360). For a wheel of like parts, from the tooth 0 of the part before that TDC.
    pub gap_to_tdc: CrankDegrees,
    /// The edge that marks the tooth: for a Hall sensor which edge, for a VR sensor the direction of the zero crossing.
    pub active_edge: EdgeKind,
}

/// Kind of sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sensor {
    /// Variable reluctance: the tooth centre is the zero crossing.
    Vr,
    /// Hall switch: the tooth edges are the level changes.
    Hall,
}

/// Direction of an edge or zero crossing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum EdgeKind {
    /// Upwards.
    Rising,
    /// Downwards.
    Falling,
}

impl EdgeKind {
    /// The other direction.
    pub fn other(self) -> Self {
        match self {
            Self::Rising => Self::Falling,
            Self::Falling => Self::Rising,
        }
    }
}

/// A cam with a sensor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CamSheet {
    /// Which cam.
    pub cam: CamId,
    /// The sensor's high windows over one cycle with the cam at rest, each [rising edge, falling edge]
    /// in crank degrees after firing TDC 1 (may exceed 720 when it wraps). This fixes the pattern.
    pub windows: Vec<[f64; 2]>,
    /// Whether those angles come from a known-good engine. If not, phase is shown but offset is not judged.
    pub known_good: bool,
    /// How far an edge may be from the reference at rest and still be good.
    pub tolerance: CrankDegrees,
    /// Teeth of the cam sprocket, if known.
    pub sprocket_teeth: Option<u16>,
    /// The phaser, if it has one.
    pub phaser: Option<PhaserSheet>,
    /// The reference from which those angles were taken, if they were taken from one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<CamReference>,
}

/// What a sheet says of the reference from which the angles of a cam were taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CamReference {
    /// Its name.
    pub name: String,
    /// How good it is, in a few words: "5 engines, ±1.2°".
    pub quality: String,
    /// Half width of the 95 % range of its angles as a whole, as far as the tolerance does not hold it already.
    #[serde(default)]
    pub uncertainty: CrankDegrees,
    /// The edges of which it gives the angle, counted from 1: rising of the first window, falling of the first window,
    /// and so on. `None` when it gives all; the others then only make the pattern known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub edges: Option<Vec<usize>>,
}

/// A vane phaser and its valve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhaserSheet {
    /// Where the phaser rests: a retarded rest moves to advance under drive and the reverse.
    pub rest: Rest,
    /// Travel from rest to the other stop.
    pub authority: CrankDegrees,
    /// Duty zone outside which the published phasers must move (common practice 35 to 65 %, default 30 to 70 %).
    pub hold: Band<Percent>,
    /// Below this duty the valve is commanded to rest.
    pub rest_below: Percent,
    /// The slowest rate that still counts as following when driven outside the hold zone.
    pub slowest: DegreesPerSecond,
    /// PWM frequency the controller uses, if known.
    pub frequency: Option<Hertz>,
    /// Whether this controller drives the valve whenever the engine runs, so that silence is a fault.
    pub always_driven: bool,
}

/// The end stop at which a phaser rests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Rest {
    /// Rests fully retarded (usual on intake); phase is positive when driven.
    Retarded,
    /// Rests fully advanced (usual on exhaust); phase is negative when driven.
    Advanced,
}

impl Rest {
    /// Sign of the phase when driven away from rest.
    pub fn drive_sign(self) -> f64 {
        match self {
            Self::Retarded => 1.0,
            Self::Advanced => -1.0,
        }
    }
}

impl CamSheet {
    /// Whether an offset can be judged: by the sheet's own angles, or by those of a reference.
    pub fn is_judged(&self) -> bool {
        self.known_good || self.reference.is_some()
    }

    /// Edges of which the angle is known, counted from 0, if those are not all.
    pub fn known_edges(&self) -> Option<Vec<usize>> {
        let edges = self.reference.as_ref()?.edges.as_ref()?;
        let known = edges.iter().filter_map(|n| n.checked_sub(1));
        Some(known.filter(|&i| i < 2 * self.windows.len()).collect())
    }
}

impl EngineSheet {
    /// Reads a sheet. The error names the line and what is wrong there.
    pub fn from_toml(text: &str) -> Result<Self, toml::de::Error> {
        toml::from_str(text)
    }

    /// The sheet of one cam.
    pub fn cam(&self, id: CamId) -> Option<&CamSheet> {
        self.cams.iter().find(|c| c.cam == id)
    }
}
