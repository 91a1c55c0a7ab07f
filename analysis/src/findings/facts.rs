//! The evidence: one fact of each kind, always all of them and in the same order, so that the rows of a cam line up.

use super::Cause;
use super::CodeView;
use super::fact::Fact;
use super::picture::Picture;

mod electrical;
mod movement;
mod other;
mod place;
mod sensors;

/// Causes before the valve.
const ELECTRICAL: [Cause; 3] = [
    Cause::NoCommand,
    Cause::WiringOrDriver,
    Cause::SupplyOrGround,
];
/// Causes from the valve on to the phaser.
const HYDRAULIC: [Cause; 3] = [Cause::Valve, Cause::OilOrSluggish, Cause::PhaserStuck];
/// Causes of a position that is wrong whatever the phaser does.
const PLACE: [Cause; 2] = [Cause::BaseTiming, Cause::WheelOrSensor];

/// All facts of a cam.
pub(super) fn facts(p: Picture<'_>, codes: &[CodeView]) -> Vec<Fact> {
    vec![
        sensors::leads(p),
        electrical::command_pin(p),
        electrical::supply(p),
        electrical::current(p),
        electrical::losses(p),
        movement::when_driven(p),
        movement::against(p),
        movement::rate(p),
        place::return_to_rest(p),
        place::against_reference(p),
        place::cams_together(p),
        movement::hunting(p),
        sensors::cam_sensor(p),
        sensors::crank_wheel(p),
        sensors::windows(p),
        other::trials(p),
        other::pressure(),
        other::codes(p, codes),
    ]
}
