//! The one place where the simulated engine is described to the analysis. The simulator's plan and the
//! technician's sheet are separate descriptions on purpose; a test that used one for both would prove nothing.

use keyway_acquisition::block::ChannelInfo;
use keyway_acquisition::simulator::blueprint::{
    Blueprint, Cam, CamPlan, CrankSensor, CrankWheel, PhaserPlan, RestStop,
};
use keyway_analysis::calibration::Input;
use keyway_analysis::engine::{
    CamSheet, CrankSheet, EdgeKind, EngineSheet, PhaserSheet, Rest, Sensor,
};
use keyway_analysis::lead::{CamId, LeadPlan, Role};
use keyway_analysis::units::{Band, CrankDegrees, DegreesPerSecond, Hertz, Percent, Rpm, Volts};

/// What a technician who knows this engine would have written.
pub fn sheet(engine: &Blueprint) -> EngineSheet {
    let (sensor, active_edge) = match engine.crank.sensor {
        CrankSensor::Vr { inverted, .. } => (
            Sensor::Vr,
            if inverted {
                EdgeKind::Rising
            } else {
                EdgeKind::Falling
            },
        ),
        CrankSensor::Hall { .. } => (Sensor::Hall, EdgeKind::Falling),
    };
    EngineSheet {
        name: engine.name.clone(),
        cylinders: u8::try_from(engine.block.firing_order.len()).expect("few cylinders"),
        firing_order: engine.block.firing_order.clone(),
        idle: Band {
            low: Rpm(engine.block.idle - 100.0),
            high: Rpm(engine.block.idle + 150.0),
        },
        supply: Band {
            low: Volts(13.2),
            high: Volts(14.8),
        },
        crank: CrankSheet {
            wheel: wheel(&engine.crank),
            sensor,
            gap_to_tdc: CrankDegrees(gap_to_tdc(&engine.crank)),
            active_edge,
        },
        cams: vec![
            cam(CamId::INTAKE, &engine.intake),
            cam(CamId::EXHAUST, &engine.exhaust),
        ],
    }
}

/// The wheel in the notation of the sheet.
fn wheel(plan: &CrankWheel) -> String {
    let list = |words: Vec<String>| words.join(" ");
    let body = if !plan.marks.is_empty() {
        // A sheet gives degrees of the wheel.
        let ratio = plan.period() / 360.0;
        let marks = plan.marks.iter().map(|m| (m / ratio).to_string());
        format!("at {}", list(marks.collect()))
    } else if !plan.coded.is_empty() {
        format!("{} coded {}", plan.teeth, plan.coded)
    } else if plan.added {
        format!("{}+1", plan.teeth)
    } else if !plan.without.is_empty() {
        let gone = plan.without.iter().map(ToString::to_string);
        format!("{} without {}", plan.teeth, list(gone.collect()))
    } else if plan.missing > 0 {
        format!("{}-{}", plan.teeth, plan.missing)
    } else {
        plan.teeth.to_string()
    };
    if plan.on_cam {
        format!("cam {body}")
    } else {
        body
    }
}

/// A sheet counts an even wheel from the tooth before the TDC, and any wheel to the TDC next to come.
fn gap_to_tdc(plan: &CrankWheel) -> f64 {
    let even = plan.marks.is_empty()
        && plan.coded.is_empty()
        && plan.without.is_empty()
        && !plan.added
        && plan.missing == 0;
    let most = if even { plan.narrowest() } else { 360.0 };
    plan.gap_to_tdc.rem_euclid(most)
}

fn cam(id: CamId, plan: &CamPlan) -> CamSheet {
    CamSheet {
        cam: id,
        windows: plan.windows.clone(),
        known_good: true,
        tolerance: CrankDegrees(3.0),
        sprocket_teeth: Some(plan.sprocket_teeth),
        phaser: plan.phaser.as_ref().map(phaser),
        reference: None,
    }
}

fn phaser(plan: &PhaserPlan) -> PhaserSheet {
    PhaserSheet {
        rest: match plan.rest {
            RestStop::Retarded => Rest::Retarded,
            RestStop::Advanced => Rest::Advanced,
        },
        authority: CrankDegrees(plan.authority),
        // As the sheet's documentation gives them: no technician knows this engine's own hold duty.
        hold: Band {
            low: Percent(30.0),
            high: Percent(70.0),
        },
        rest_below: Percent(20.0),
        slowest: DegreesPerSecond(8.0),
        frequency: Some(Hertz(plan.valve.frequency)),
        always_driven: true,
    }
}

/// The lead plan that the simulated scope's wiring follows.
pub fn plan() -> LeadPlan {
    LeadPlan::from_toml(include_str!("../../app/assets/sheets/light-van-leads.toml"))
        .expect("the plan in the assets")
}

/// The same for this engine: no command where there is no phaser, and the clamp on the valve it is on.
pub fn plan_for(engine: &Blueprint) -> LeadPlan {
    let mut plan = plan();
    let cams = [(Cam::Intake, CamId::INTAKE), (Cam::Exhaust, CamId::EXHAUST)];
    for lead in &mut plan.leads {
        for (cam, id) in cams {
            if let Role::Current(_) = lead.role
                && engine.current_on == cam
            {
                lead.role = Role::Current(id);
            }
            if lead.role == Role::Command(id) && engine.cam(cam).phaser.is_none() {
                lead.role = Role::Spare;
            }
        }
    }
    plan
}

/// The device's inputs as the analysis wants to know them, counted from 1.
pub fn inputs(channels: &[ChannelInfo]) -> Vec<Input> {
    channels
        .iter()
        .enumerate()
        .map(|(i, c)| Input {
            number: i + 1,
            scale: c.scale,
            offset: c.offset,
            low: c.low,
            high: c.high,
            unit: c.unit.clone(),
        })
        .collect()
}
