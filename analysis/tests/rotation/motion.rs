//! Mathematically generated edges of a crank and its cams: the truth the tests measure against.

use keyway_analysis::edge::Edge;
use keyway_analysis::engine::EdgeKind::{self, Falling, Rising};
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::rotation::Rotation;
use keyway_analysis::units::{Hertz, SampleTime};

/// Samples per second.
pub const RATE: f64 = 200_000.0;

/// A crank speed: rpm with a linear rise in time and a sinusoidal ripple in angle.
#[derive(Clone, Copy)]
pub struct Motion {
    pub rpm: f64,
    pub rpm_per_second: f64,
    /// Amplitude as a part of the mean.
    pub ripple: f64,
    /// Periods of the ripple in a revolution.
    pub order: f64,
    /// Where the ripple begins, degrees of its own period.
    pub from: f64,
}

impl Motion {
    pub fn steady(rpm: f64) -> Self {
        Self {
            rpm,
            rpm_per_second: 0.0,
            ripple: 0.0,
            order: 2.0,
            from: 0.0,
        }
    }

    fn degrees_per_second(&self, angle: f64, t: f64) -> f64 {
        let ripple = self.ripple * (self.order * angle + self.from).to_radians().sin();
        6.0 * (self.rpm + self.rpm_per_second * t) * (1.0 + ripple)
    }

    /// Time to get from one angle to another, from time `t`: Runge-Kutta of fourth order.
    pub fn advance(&self, mut angle: f64, to: f64, mut t: f64) -> f64 {
        let n = ((to - angle) / 0.25).ceil().max(1.0);
        let h = (to - angle) / n;
        let mut k = 0.0;
        while k < n {
            let f = |a: f64, t: f64| 1.0 / self.degrees_per_second(a, t);
            let k1 = f(angle, t);
            let k2 = f(angle + h / 2.0, t + h / 2.0 * k1);
            let k3 = f(angle + h / 2.0, t + h / 2.0 * k2);
            let k4 = f(angle + h, t + h * k3);
            t += h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4);
            angle += h;
            k += 1.0;
        }
        t
    }
}

/// The lead an edge comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum From {
    Crank,
    Cam(usize),
}

/// An edge with the crank angle at which it truly is.
#[derive(Debug, Clone, Copy)]
pub struct TrueEdge {
    pub from: From,
    pub edge: Edge,
    pub angle: f64,
}

/// Teeth minus missing, as numbers.
pub fn wheel(sheet: &EngineSheet) -> (u32, u32) {
    let (n, m) = sheet
        .crank
        .wheel
        .split_once('-')
        .expect("teeth minus missing");
    (n.parse().expect("teeth"), m.parse().expect("missing"))
}

/// All edges between two angles of the cycle count; `phase` gives each cam's phase at an angle.
pub fn edges(
    sheet: &EngineSheet,
    motion: Motion,
    angles: [f64; 2],
    phase: impl Fn(usize, f64) -> f64,
) -> Vec<TrueEdge> {
    let mut list: Vec<(f64, From, EdgeKind)> = Vec::new();
    let (n, m) = wheel(sheet);
    let pitch = 360.0 / f64::from(n);
    let mut turn = (angles[0] / 720.0).floor() * 720.0 - 720.0;
    while turn <= angles[1] + 720.0 {
        for half in [0.0, 360.0] {
            for tooth in 0..n - m {
                let a = turn + half - sheet.crank.gap_to_tdc.0 + f64::from(tooth) * pitch;
                list.push((a, From::Crank, Falling));
                list.push((a + 0.4 * pitch, From::Crank, Rising));
            }
        }
        for (i, cam) in sheet.cams.iter().enumerate() {
            for [r, f] in &cam.windows {
                for (at, kind) in [(r, Rising), (f, Falling)] {
                    let rest = turn + at;
                    list.push((rest - phase(i, rest), From::Cam(i), kind));
                }
            }
        }
        turn += 720.0;
    }
    list.retain(|e| e.0 >= angles[0] && e.0 < angles[1]);
    list.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut angle, mut t) = (angles[0], 0.0);
    list.into_iter()
        .map(|(a, from, kind)| {
            t = motion.advance(angle, a, t);
            angle = a;
            let edge = Edge {
                at: SampleTime(1000.0 + t * RATE),
                kind,
            };
            TrueEdge { from, edge, angle }
        })
        .collect()
}

/// The light van's sheet.
pub fn van() -> EngineSheet {
    EngineSheet::from_toml(include_str!("../../../app/assets/sheets/light-van.toml"))
        .expect("a sheet")
}

/// The same with a 36-1 wheel.
pub fn van_36_1() -> EngineSheet {
    let mut sheet = van();
    sheet.crank.wheel = "36-1".to_owned();
    sheet
}

/// Feeds edges in blocks of 512 samples, as a stream would, and calls back after each block.
pub fn feed(
    rotation: &mut Rotation,
    edges: &[TrueEdge],
    mut each: impl FnMut(&mut Rotation, SampleTime),
) {
    let Some(last) = edges.last() else {
        return;
    };
    let (mut i, mut end) = (0, 0.0);
    while end <= last.edge.at.0 + 1024.0 {
        end += 512.0;
        let from = i;
        while i < edges.len() && edges[i].edge.at.0 < end {
            i += 1;
        }
        for e in &edges[from..i] {
            if e.from == From::Crank {
                rotation.push_crank(e.edge);
            }
        }
        for e in &edges[from..i] {
            if let From::Cam(cam) = e.from {
                rotation.push_cam(cam, e.edge);
            }
        }
        rotation.settle(SampleTime(end));
        each(rotation, SampleTime(end));
    }
}

/// A rotation of this sheet.
pub fn rotation(sheet: &EngineSheet) -> Rotation {
    Rotation::new(sheet, Hertz(RATE)).expect("a rotation")
}
