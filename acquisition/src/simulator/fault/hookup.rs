//! Mistakes at the scope's leads. The engine does not notice any of them.

use super::super::bounds;
use serde::Deserialize;

const fn hum() -> f64 {
    4.0
}

/// A place on the engine that a lead or a clamp can be on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Point {
    /// The crank sensor's signal.
    Crank,
    /// The intake cam sensor's signal.
    IntakeSensor,
    /// The exhaust cam sensor's signal.
    ExhaustSensor,
    /// The intake valve's control-side pin.
    IntakeControl,
    /// The exhaust valve's control-side pin.
    ExhaustControl,
    /// The supply-side pin of the valve that the clamp belongs on.
    Supply,
    /// A clamp around the wire of the valve that it belongs on.
    Wire,
    /// What the last input is on: the battery cable with a large clamp, if the plan has one.
    Last,
    /// The intake valve's supply-side pin.
    IntakeSupply,
    /// The exhaust valve's supply-side pin.
    ExhaustSupply,
    /// The cam sensors' supply from the controller, 5 V.
    SensorSupply,
    /// The cam sensors' ground at the controller.
    SensorGround,
    /// The battery's negative post, or the engine block.
    Ground,
    /// The battery's positive post.
    Battery,
    /// The control side of an injector: at the supply, pulled low once in two crank turns.
    Injector,
    /// A clamp around the wire of the intake valve.
    IntakeWire,
    /// A clamp around the wire of the exhaust valve.
    ExhaustWire,
    /// A clamp around no wire.
    NoWire,
}

impl Point {
    /// Points, and what each of the eight inputs is on without any mistake.
    pub(in super::super) const COUNT: usize = 18;
    pub(in super::super) const USUAL: [Self; 8] = [
        Self::Crank,
        Self::IntakeSensor,
        Self::ExhaustSensor,
        Self::IntakeControl,
        Self::ExhaustControl,
        Self::Supply,
        Self::Wire,
        Self::Last,
    ];

    /// Place in an array of all points.
    pub(in super::super) fn index(self) -> usize {
        self as usize
    }

    /// Whether a clamp makes it, which has no contact with the engine.
    pub(in super::super) fn is_clamp(self) -> bool {
        matches!(
            self,
            Self::Wire | Self::Last | Self::IntakeWire | Self::ExhaustWire | Self::NoWire
        )
    }
}

/// What is wrong with one lead.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(
    tag = "kind",
    rename_all = "kebab-case",
    rename_all_fields = "snake_case",
    deny_unknown_fields
)]
pub enum HookupFault {
    /// It touches nothing.
    Off,
    /// It is on another point than the plan says, or touches it for a while.
    On {
        /// The point.
        point: Point,
    },
    /// Its two wires are exchanged, or the clamp is turned around.
    Reversed,
    /// Its ground is not connected: mains hum rides on the signal.
    GroundMissing {
        /// Amplitude of the hum, volts.
        #[serde(default = "hum", deserialize_with = "bounds::not_negative")]
        hum: f64,
    },
}
