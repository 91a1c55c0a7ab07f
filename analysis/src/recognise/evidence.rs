//! How well a sequence of intervals fits a wheel, as the logarithm of a likelihood.
//!
//! The logarithm of an interval is the logarithm of its pitch less that of the speed over it. What is left after
//! taking the pitches of a wheel at one alignment away must therefore be a speed: a constant, a drift, and the
//! orders of crank speed that a four-stroke engine has, each with a size drawn from a bell curve. One of them, the
//! firing order, and its overtones may be large. The marginal likelihood of that linear model (Rasmussen & Williams, Gaussian Processes for
//! Machine Learning, section 2.1 and equation 5.8) weighs fit against freedom: a wheel that needs a wild engine to
//! explain the intervals loses against one that needs a calm one.
#![allow(
    clippy::needless_range_loop,
    reason = "matrices are easier to read by their indices"
)]

use crate::wheel::Wheel;

/// Orders of crank speed: firing orders of one to twelve cylinders, four-stroke, and their doubles.
const ORDERS: [f64; 10] = [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0];
/// Pitches that a swing of the speed must take to be told from the pitches themselves.
/// Of equal teeth three: alternating ones are two kinds of tooth rather than a speed that knows them.
const PER_SWING: f64 = 2.0;
const PER_SWING_EVEN: f64 = 3.0;
/// Scatter of intervals below which a better fit proves nothing: teeth are cut to about a tenth of a degree of
/// their 6 to 10 (from memory). Less would let chance decide between wheels, more hides small differences.
const FLOOR: f64 = 0.01;
/// Widths of the bell curve of all orders, in scatters of an interval: of an engine that runs smoothly.
const SMOOTH: [f64; 3] = [0.1, 0.5, 1.5];
/// Widths of the bell curve of the firing order, in scatters of an interval; the other orders keep the last of those.
const RIPPLES: [f64; 3] = [6.0, 20.0, 60.0];
/// Highest firing order: eight cylinders.
const HIGHEST_FIRING: f64 = 4.0;
/// Logarithm of the number of firing orders, the price of a choice among them.
const CHOICE: f64 = 1.95;
/// Width of the second, third, ... overtone against the firing order's own: the second harmonic of the logarithm of
/// a speed that swings by 45 % of its mean is an eighth, that of a starter's lurch twice that (from memory).
const OVERTONES: [f64; 4] = [1.0, 0.3, 0.15, 0.1];
/// Width for the constant and the drifts, in scatters: so wide that they are free.
const FREE: f64 = 200.0;
/// Logarithms of pitches that differ by less are the same: a fiftieth.
const ALIKE: f64 = 0.02;
/// Fewest intervals that are looked at together.
const FEWEST: usize = 8;
/// Most places of the sequence that are looked at.
const PLACES: usize = 12;
/// Scatter of a place that an extra or a missing edge has spoilt: the logarithm of an interval there says nothing but
/// that it lies between half and twice another.
const SPOILT: f64 = 0.4;
/// What is left of a speed that swings by much, as a part of the swing: overtones that are not among the orders.
const UNTOLD: f64 = 0.06;
/// Places that are glanced at.
const GLANCES: usize = 4;
/// Alignments that survive the first look.
const FINALISTS: usize = 2;

/// A wheel as a sequence of intervals.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pattern {
    /// Logarithm of each pitch in degrees.
    pub log: Vec<f64>,
    /// Crank degrees at the middle of each.
    mid: Vec<f64>,
    /// Degrees after which it begins again.
    period: f64,
    /// Alignments that differ.
    part: usize,
    orders: Vec<f64>,
}

/// How it fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Fit {
    /// Logarithm of the likelihood per interval.
    pub evidence: f64,
    /// Scatter of an interval against the model, as a part of it.
    pub scatter: f64,
    /// Swing of the speed that explains the rest, root mean square as a part of the speed.
    pub ripple: f64,
    /// Share of the places looked at that are not spoilt.
    pub share: f64,
    /// Tooth after which the newest place looked at begins, and the number of that interval.
    pub tooth: usize,
    /// Number of the interval that begins at `tooth`.
    pub from: usize,
}

impl Pattern {
    pub fn of(wheel: &Wheel) -> Self {
        let n = wheel.teeth();
        let fineness = 360.0 / wheel.narrowest().0;
        let swing = if wheel.symmetry() == n {
            PER_SWING_EVEN
        } else {
            PER_SWING
        };
        Self {
            log: (0..n).map(|t| wheel.pitch(t).0.ln()).collect(),
            mid: (0..n)
                .map(|t| wheel.angle(t).0 + 0.5 * wheel.pitch(t).0)
                .collect(),
            period: wheel.period().0,
            part: n / wheel.symmetry(),
            orders: (ORDERS.into_iter())
                .filter(|o| swing * o <= fineness)
                .collect(),
        }
    }

    /// Equal pitches times whole numbers, one turn of the crank.
    pub fn of_units(units: &[u16]) -> Self {
        let pitch = 360.0 / f64::from(units.iter().sum::<u16>().max(1));
        let mut at = 0.0;
        let mid = (units.iter())
            .map(|u| {
                let width = pitch * f64::from(*u);
                at += width;
                at - 0.5 * width
            })
            .collect();
        Self {
            log: units.iter().map(|u| (pitch * f64::from(*u)).ln()).collect(),
            mid,
            period: 360.0,
            part: units.len(),
            orders: (ORDERS.into_iter())
                .filter(|o| PER_SWING * o * pitch <= 360.0)
                .collect(),
        }
    }

    /// Squares that are left of one turn, which begins at tooth 0, when the pitches and a speed are taken away.
    pub fn squares(&self, turn: &[f64]) -> f64 {
        let twice: Vec<f64> = turn.iter().chain(turn).copied().collect();
        Model::new(self, twice.len()).glance(&self.rest(&twice, 0), 0)
    }

    /// Whether both give the same intervals wherever one begins.
    pub fn is_like(&self, other: &Self) -> bool {
        self.turned(other).is_some()
    }

    /// Tooth of the other that does what tooth 0 does here, if both give the same intervals.
    pub fn turned(&self, other: &Self) -> Option<usize> {
        let n = self.part;
        if n != other.part {
            return None;
        }
        (0..n).find(|k| {
            let shift = other.log[*k] - self.log[0];
            (0..n).all(|i| (other.log[(k + i) % n] - self.log[i] - shift).abs() < ALIKE)
        })
    }

    /// Intervals after which it repeats.
    pub fn part(&self) -> usize {
        self.part
    }

    /// The fit to `y`, logarithms of consecutive intervals; `None` when they are fewer than two turns.
    pub fn fit(&self, y: &[f64]) -> Option<Fit> {
        let n = self.log.len();
        // Whole cycles: then the orders look the same from every tooth.
        let cycle = 2 * n;
        let length = cycle * FEWEST.div_ceil(cycle).min(y.len() / cycle);
        if length == 0 {
            return None;
        }
        let room = y.len() - length;
        let places = (2 * room / length + 1).min(PLACES);
        let model = Model::new(self, length);
        let mut fits: Vec<Fit> = (0..places)
            .map(|p| {
                let from = if places > 1 {
                    room * p / (places - 1)
                } else {
                    room
                };
                self.at(&model, &y[from..from + length], from)
            })
            .collect();
        // Each place is either good or spoilt.
        let spoilt = -SPOILT.ln() - 0.5;
        let evidence = fits.iter().map(|f| f.evidence.max(spoilt)).sum::<f64>() / fits.len() as f64;
        let good = fits.iter().filter(|f| f.evidence > spoilt + 0.5).count();
        let share = good as f64 / fits.len() as f64;
        fits.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
        fits.truncate(good.max(1));
        let middle = fits[(fits.len() - 1) / 2];
        // The newest good place tells the alignment.
        let told = fits.iter().max_by_key(|f| f.from)?;
        Some(Fit {
            evidence,
            share,
            tooth: told.tooth,
            from: told.from,
            ..middle
        })
    }

    /// The evidence at a glance: high for whatever could fit, cheap.
    pub fn guess(&self, y: &[f64]) -> Option<f64> {
        let cycle = 2 * self.log.len();
        let length = cycle * FEWEST.div_ceil(cycle).min(y.len() / cycle);
        if length == 0 {
            return None;
        }
        let model = Model::new(self, length);
        let room = y.len() - length;
        let spoilt = -SPOILT.ln() - 0.5;
        let sum: f64 = (0..GLANCES)
            .map(|p| {
                let from = room * p / (GLANCES - 1);
                let y = &y[from..from + length];
                let squares = (0..self.part)
                    .map(|k| model.glance(&self.rest(y, k), k))
                    .fold(f64::INFINITY, f64::min);
                let variance = (squares.max(0.0) / length as f64).max(FLOOR * FLOOR);
                (-0.5 * variance.ln() - 0.5).max(spoilt)
            })
            .sum();
        Some(sum / GLANCES as f64)
    }

    fn at(&self, model: &Model, y: &[f64], from: usize) -> Fit {
        let mut ranked: Vec<(f64, usize)> = (0..self.part)
            .map(|k| (model.glance(&self.rest(y, k), k), k))
            .collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
        (ranked.iter().take(FINALISTS))
            .map(|&(_, k)| {
                let (evidence, scatter, ripple) = model.evidence(&self.rest(y, k), k);
                Fit {
                    evidence,
                    scatter,
                    ripple,
                    share: 1.0,
                    tooth: k,
                    from,
                }
            })
            .max_by(|a, b| a.evidence.total_cmp(&b.evidence))
            .unwrap_or(Fit {
                evidence: f64::NEG_INFINITY,
                scatter: f64::INFINITY,
                ripple: 0.0,
                share: 0.0,
                tooth: 0,
                from,
            })
    }

    /// What is left of the intervals without the pitches, about its mean.
    fn rest(&self, y: &[f64], k: usize) -> Vec<f64> {
        let n = self.log.len();
        let mut z: Vec<f64> = (y.iter().enumerate())
            .map(|(i, y)| y - self.log[(k + i) % n])
            .collect();
        let mean = z.iter().sum::<f64>() / z.len() as f64;
        z.iter_mut().for_each(|z| *z -= mean);
        z
    }
}

/// The speeds an engine may have over a number of intervals of a wheel.
struct Model {
    length: usize,
    teeth: usize,
    /// Per interval of one cycle, the values of all orders.
    orders: Vec<Vec<f64>>,
    /// The order of each value.
    order: Vec<f64>,
    /// Products of all values with each other over the length, lower half.
    products: Vec<Vec<f64>>,
    /// Factor of the equations of the orders alone.
    factor: Vec<Vec<f64>>,
}

impl Model {
    fn new(pattern: &Pattern, length: usize) -> Self {
        let n = pattern.log.len();
        let orders: Vec<Vec<f64>> = (0..2 * n)
            .map(|i| {
                let angle = pattern.mid[i % n] + if i >= n { pattern.period } else { 0.0 };
                (pattern.orders.iter())
                    .flat_map(|o| {
                        let (s, c) = (o * angle.to_radians()).sin_cos();
                        [s, c]
                    })
                    .collect()
            })
            .collect();
        let order: Vec<f64> = pattern.orders.iter().flat_map(|&o| [o; 2]).collect();
        let m = order.len();
        let mut products = vec![vec![0.0; m]; m];
        for i in 0..length {
            let row = &orders[i % (2 * n)];
            for a in 0..m {
                for b in 0..=a {
                    products[a][b] += row[a] * row[b];
                }
            }
        }
        let mut factor = products.clone();
        for (a, row) in factor.iter_mut().enumerate() {
            // A ripple of eight scatters: enough to compare alignments by.
            row[a] += 1.0 / 64.0;
        }
        factorise(&mut factor);
        Self {
            length,
            teeth: n,
            orders,
            order,
            products,
            factor,
        }
    }

    fn row(&self, k: usize, i: usize) -> &[f64] {
        &self.orders[(k + i) % (2 * self.teeth)]
    }

    /// Squares that are left when a drift and the orders are taken away, nearly.
    fn glance(&self, z: &[f64], k: usize) -> f64 {
        let half = 0.5 * (self.length - 1) as f64;
        let (mut moment, mut inertia) = (0.0, 0.0);
        for (i, z) in z.iter().enumerate() {
            let t = i as f64 - half;
            moment += t * z;
            inertia += t * t;
        }
        let slope = moment / inertia;
        let mut squares = 0.0;
        let mut b = vec![0.0; self.order.len()];
        for (i, z) in z.iter().enumerate() {
            let z = z - slope * (i as f64 - half);
            squares += z * z;
            for (b, f) in b.iter_mut().zip(self.row(k, i)) {
                *b += f * z;
            }
        }
        forward(&self.factor, &mut b);
        squares - b.iter().map(|b| b * b).sum::<f64>()
    }

    /// Logarithm of the likelihood per interval, the scatter, and the swing of the speed.
    fn evidence(&self, z: &[f64], k: usize) -> (f64, f64, f64) {
        let m = self.order.len() + 3;
        let half = 0.5 * (self.length - 1) as f64;
        let mut gram = vec![vec![0.0; m]; m];
        let mut b = vec![0.0; m];
        let mut squares = 0.0;
        for (i, z) in z.iter().enumerate() {
            let t = (i as f64 - half) / half;
            let drift = [1.0, t, t * t];
            squares += z * z;
            for (a, d) in drift.into_iter().enumerate() {
                b[a] += d * z;
                for c in 0..=a {
                    gram[a][c] += d * drift[c];
                }
            }
            for (a, f) in self.row(k, i).iter().enumerate() {
                b[a + 3] += f * z;
                for (c, d) in drift.into_iter().enumerate() {
                    gram[a + 3][c] += f * d;
                }
            }
        }
        for (a, row) in self.products.iter().enumerate() {
            gram[a + 3][3..=a + 3].copy_from_slice(&row[..=a]);
        }
        let n = self.length as f64;
        let mut best = (f64::NEG_INFINITY, f64::INFINITY, 0.0);
        let mut consider = |widths: &[f64], price: f64| {
            let s = |a: usize| if a < 3 { FREE } else { widths[a - 3] };
            let mut factor: Vec<Vec<f64>> = (0..m)
                .map(|a| (0..=a).map(|c| gram[a][c] * s(a) * s(c)).collect())
                .collect();
            for (a, row) in factor.iter_mut().enumerate() {
                row[a] += 1.0;
            }
            factorise(&mut factor);
            let freedom: f64 = (0..m).map(|a| 2.0 * factor[a][a].ln()).sum();
            let mut w: Vec<f64> = (0..m).map(|a| b[a] * s(a)).collect();
            forward(&factor, &mut w);
            let q = (squares - w.iter().map(|w| w * w).sum::<f64>()).max(0.0);
            let told = ((squares - q) / n).min(1.0);
            let variance = (q / n).max(FLOOR * FLOOR + UNTOLD * UNTOLD * told);
            let evidence = -0.5 * (variance.ln() + q / (n * variance) + freedom / n) - price / n;
            if evidence > best.0 {
                best = (evidence, (q / n).sqrt(), told.sqrt());
            }
        };
        for width in SMOOTH {
            consider(&vec![width; self.order.len()], CHOICE);
        }
        let firing = (self.order.iter().step_by(2)).filter(|o| **o <= HIGHEST_FIRING);
        for fundamental in firing {
            for ripple in RIPPLES {
                let widths: Vec<f64> = (self.order.iter())
                    .map(|order| {
                        let overtone =
                            (1..=4).position(|h| (order - f64::from(h) * fundamental).abs() < 1e-6);
                        overtone.map_or(SMOOTH[2], |h| (ripple * OVERTONES[h]).max(SMOOTH[2]))
                    })
                    .collect();
                consider(&widths, 2.0 * CHOICE);
            }
        }
        best
    }
}

/// Cholesky factor of a symmetric matrix given by its lower half, in place.
fn factorise(a: &mut [Vec<f64>]) {
    for i in 0..a.len() {
        for j in 0..=i {
            let sum: f64 = a[i][j] - (0..j).map(|k| a[i][k] * a[j][k]).sum::<f64>();
            a[i][j] = if i == j {
                sum.max(1e-12).sqrt()
            } else {
                sum / a[j][j]
            };
        }
    }
}

/// Solves the lower triangle, in place.
fn forward(factor: &[Vec<f64>], b: &mut [f64]) {
    for i in 0..b.len() {
        let sum: f64 = (0..i).map(|j| factor[i][j] * b[j]).sum();
        b[i] = (b[i] - sum) / factor[i][i];
    }
}
