//! The one place where the simulated engine is described to the analysis. The simulator's plan and the
//! technician's sheet are separate descriptions on purpose; a test that used one for both would prove nothing.

use keyway_acquisition::block::ChannelInfo;
use keyway_acquisition::simulator::blueprint::{
    Blueprint, CamPlan, CrankSensor, PhaserPlan, RestStop,
};
use keyway_analysis::calibration::Input;
use keyway_analysis::engine::{
    CamSheet, CrankSheet, EdgeKind, EngineSheet, PhaserSheet, Rest, Sensor,
};
use keyway_analysis::lead::{CamId, LeadPlan};
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
            wheel: format!("{}-{}", engine.crank.teeth, engine.crank.missing),
            sensor,
            gap_to_tdc: CrankDegrees(engine.crank.gap_to_tdc),
            active_edge,
        },
        cams: vec![
            cam(CamId::INTAKE, &engine.intake),
            cam(CamId::EXHAUST, &engine.exhaust),
        ],
    }
}

fn cam(id: CamId, plan: &CamPlan) -> CamSheet {
    CamSheet {
        cam: id,
        windows: plan.windows.clone(),
        known_good: true,
        tolerance: CrankDegrees(3.0),
        sprocket_teeth: Some(plan.sprocket_teeth),
        phaser: plan.phaser.as_ref().map(phaser),
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
