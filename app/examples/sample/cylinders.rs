//! Cylinders compared with each other.

use keyway_analysis::ripple::{
    ByCurrent, CrankingEnd, CylinderView, NotJudged, RelativeCompression, RunningBalance, Share,
    Weak,
};
use keyway_analysis::units::{Percent, Rpm, SampleTime};

fn shares(order: &[Option<u8>], values: &[f64], spread: f64) -> Vec<Share> {
    order
        .iter()
        .zip(values)
        .enumerate()
        .map(|(place, (cylinder, value))| Share {
            cylinder: *cylinder,
            place,
            value: Percent(*value),
            spread: Percent(spread),
            error: Percent(spread / 5.0),
        })
        .collect()
}

/// One cylinder of four hardly works; it has not been cranked.
pub fn one_weak(order: &[u8]) -> CylinderView {
    let order: Vec<_> = order.iter().copied().map(Some).collect();
    CylinderView {
        running: Ok(RunningBalance {
            at: SampleTime(0.0),
            cycles: 32,
            speed: Rpm(792.0),
            cylinders: shares(&order, &[128.0, 131.0, 17.0, 124.0], 11.0),
            weak: vec![Weak {
                place: 2,
                is_beyond_the_wheel: true,
            }],
            harmonics: Vec::new(),
            half_order_points_to: Some(2),
            wheel_learnt: Some(200),
        }),
        cranking: Err(NotJudged::NotSeen),
    }
}

/// Eight cylinders, two of them low, one taking work, with the starter's current, the cycle unknown.
pub fn eight() -> CylinderView {
    let order = [None; 8];
    let low = [98.0, 61.0, 95.0, 100.0, 93.0, 97.0, 58.0, 96.0];
    CylinderView {
        running: Ok(RunningBalance {
            at: SampleTime(0.0),
            cycles: 24,
            speed: Rpm(688.0),
            cylinders: shares(
                &order,
                &[118.0, 96.0, 121.0, -22.0, 117.0, 124.0, 115.0, 131.0],
                14.0,
            ),
            weak: vec![Weak {
                place: 3,
                is_beyond_the_wheel: true,
            }],
            harmonics: Vec::new(),
            half_order_points_to: None,
            wheel_learnt: None,
        }),
        cranking: Ok(RelativeCompression {
            at: SampleTime(0.0),
            cycles: 9,
            speed: Rpm(183.0),
            cylinders: shares(&order, &low, 6.0),
            low: vec![1, 6],
            by_current: Some(ByCurrent {
                cylinders: shares(&order, &low.map(|v| v * 0.97 + 2.0), 5.0),
                cycles: 9,
                low: vec![1, 6],
                difference: Percent(4.0),
                agrees: true,
            }),
            end: CrankingEnd::Fired,
        }),
    }
}
