//! A circuit in closed form, and leads that look at it.

use super::super::*;
use crate::calibration::Input;
use crate::engine::{CamSheet, CrankSheet, EdgeKind, Rest, Sensor};
use crate::lead::Lead;
use crate::units::{Band, CrankDegrees, DegreesPerSecond, SampleTime};

/// A circuit in closed form.
#[derive(Debug, Clone, Copy)]
pub(super) struct Made {
    pub volts: f64,
    /// Coil, driver, feed; ohms.
    pub coil: f64,
    pub driver: f64,
    pub feed: f64,
    pub henries: f64,
    /// The clamp; `None` for a diode.
    pub clamp: Option<f64>,
    pub hertz: f64,
    pub duty: f64,
}

pub(super) const VECTOR: Made = Made {
    volts: 14.0,
    coil: 7.68,
    driver: 0.32,
    feed: 0.0,
    henries: 0.020,
    clamp: Some(53.0),
    hertz: 250.0,
    // 2.5 ms · ln 2 of 4 ms: the current reaches 0.875 A.
    duty: 0.433_217,
};

pub(super) const DIODE_DROP: f64 = 0.7;

impl Made {
    pub fn ohms(&self) -> f64 {
        self.coil + self.driver + self.feed
    }

    /// Current when the driver begins to conduct: none with a clamp, with a diode that of the periodic state.
    pub fn start(&self) -> f64 {
        if self.clamp.is_some() {
            return 0.0;
        }
        let (on, off) = (self.duty / self.hertz, (1.0 - self.duty) / self.hertz);
        let (rise, fall) = (
            (-on * self.ohms() / self.henries).exp(),
            (-off * self.coil / self.henries).exp(),
        );
        let (up, down) = (self.volts / self.ohms(), -DIODE_DROP / self.coil);
        // i1 = up + (i0 − up)·rise and i0 = down + (i1 − down)·fall.
        ((down + (up - up * rise - down) * fall) / (1.0 - rise * fall)).max(0.0)
    }

    /// Current, pin and supply at a time since the driver began to conduct.
    pub fn at(&self, t: f64) -> [f64; 3] {
        let on = self.duty / self.hertz;
        let up = self.volts / self.ohms();
        let conducting =
            |t: f64| up + (self.start() - up) * (-t * self.ohms() / self.henries).exp();
        if t < on {
            let i = conducting(t);
            return [i, i * self.driver, self.volts - i * self.feed];
        }
        let (from, since) = (conducting(on), t - on);
        let (to, pin, ohms) = match self.clamp {
            Some(clamp) => (
                (self.volts - clamp) / (self.coil + self.feed),
                clamp,
                self.coil + self.feed,
            ),
            None => (-DIODE_DROP / self.coil, self.volts + DIODE_DROP, self.coil),
        };
        let i = to + (from - to) * (-since * ohms / self.henries).exp();
        if i <= 0.0 {
            return [0.0, self.volts, self.volts];
        }
        let drawn = if self.clamp.is_some() { i } else { 0.0 };
        [i, pin, self.volts - drawn * self.feed]
    }
}

/// How the leads are fitted and set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bench {
    pub rate: f64,
    pub clamp: bool,
    pub supply: bool,
    /// Full scale of the command's input, volts.
    pub range: f64,
    pub proof: ProofState,
    pub rpm: Option<f64>,
}

pub(super) const BENCH: Bench = Bench {
    rate: 200_000.0,
    clamp: true,
    supply: true,
    range: 80.0,
    proof: ProofState::Proven,
    rpm: Some(1500.0),
};

pub(super) const CRANK: CrankSheet = CrankSheet {
    wheel: String::new(),
    sensor: Sensor::Vr,
    gap_to_tdc: CrankDegrees(0.0),
    active_edge: EdgeKind::Falling,
};

pub(super) fn phaser() -> PhaserSheet {
    PhaserSheet {
        rest: Rest::Retarded,
        authority: CrankDegrees(40.0),
        hold: Band {
            low: Percent(30.0),
            high: Percent(70.0),
        },
        rest_below: Percent(20.0),
        slowest: DegreesPerSecond(8.0),
        frequency: Some(Hertz(250.0)),
        always_driven: true,
    }
}

pub(super) fn sheet() -> EngineSheet {
    EngineSheet {
        name: String::new(),
        cylinders: 4,
        firing_order: vec![1, 3, 4, 2],
        idle: Band {
            low: Rpm(650.0),
            high: Rpm(900.0),
        },
        supply: Band {
            low: Volts(13.2),
            high: Volts(14.8),
        },
        crank: CRANK,
        cams: vec![CamSheet {
            cam: CamId::INTAKE,
            windows: Vec::new(),
            known_good: true,
            tolerance: CrankDegrees(3.0),
            sprocket_teeth: None,
            phaser: Some(phaser()),
            reference: None,
        }],
    }
}

pub(super) fn channel(role: Role, range: f64, factor: f64, rate: f64) -> Channel {
    let input = Input {
        number: 1,
        scale: range / 8192.0,
        offset: 0.0,
        low: -range,
        high: range * (1.0 - 1.0 / 8192.0),
        unit: "V".into(),
    };
    let lead = Lead {
        input: 1,
        role,
        place: String::new(),
        factor,
    };
    Channel::new(&lead, &input, 0, &CRANK, Hertz(rate)).expect("usable")
}

/// Numbers that look random, with unit variance.
pub(super) fn noise(n: u64, salt: u64) -> f64 {
    let mut x = (n ^ (salt << 40)).wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut total = 0.0;
    for _ in 0..4 {
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^= x >> 31;
        total += (x >> 11) as f64 / (1u64 << 53) as f64 - 0.5;
    }
    total * 3.0_f64.sqrt()
}

/// Looks at `seconds` of what `signal` gives at each time: current, pin, supply. Returns the views, one each look.
pub(super) fn watch(
    bench: &Bench,
    seconds: f64,
    signal: impl Fn(f64) -> [f64; 3],
) -> Vec<Arc<CircuitView>> {
    let rate = bench.rate;
    let mut leads = [
        channel(Role::Current(CamId::INTAKE), 5.0, 10.0, rate),
        channel(Role::Command(CamId::INTAKE), bench.range, 1.0, rate),
        channel(Role::Supply, 20.0, 1.0, rate),
    ];
    // Noise of a plausible instrument: 2 mV of a clamp of 0.1 V/A, 30 mV, 8 mV.
    let rms = [0.020, 0.030, 0.008];
    let mut checker = Checker::new(&sheet(), CamId::INTAKE, &phaser(), Hertz(rate));
    let (mut periods, mut views) = (Vec::new(), Vec::new());
    let per_slice = 0.005 * rate;
    let mut first = 0u64;
    for slice in 1..=span::index(seconds * 200.0) {
        let end = span::index(slice as f64 * per_slice);
        let made: Vec<[f64; 3]> = (first..end)
            .map(|n| signal((n as f64 + 0.37) / rate))
            .collect();
        for (k, lead) in leads.iter_mut().enumerate() {
            let samples: Vec<i16> = (first..end)
                .zip(&made)
                .map(|(n, v)| lead.calibration.raw(v[k] + rms[k] * noise(n, k as u64)))
                .collect();
            lead.work(first, &samples, &mut Vec::new(), &mut periods);
        }
        first = end;
        if slice % 20 == 0 {
            let seen = |k: usize| Some((&leads[k], bench.proof));
            checker.look(&CircuitLook {
                at: SampleTime(end as f64),
                command: seen(1),
                current: seen(0).filter(|_| bench.clamp),
                supply: seen(2).filter(|_| bench.supply),
                speed: bench.rpm.map(Rpm),
                periods: &periods,
                touched: false,
            });
            periods.clear();
            views.push(checker.view());
        }
    }
    views
}

pub(super) fn switched(bench: &Bench, made: Made, seconds: f64) -> Arc<CircuitView> {
    let views = watch(bench, seconds, |t| made.at(t.rem_euclid(1.0 / made.hertz)));
    Arc::clone(views.last().expect("looks"))
}
