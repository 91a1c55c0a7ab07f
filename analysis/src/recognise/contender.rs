//! Wheels that an unknown rhythm may come from: those of the table, those of a family with as many teeth as the
//! rhythm repeats after, and what one turn of the rhythm itself shows.

use super::evidence::Pattern;
use super::rhythm::{Rhythm, median};
use crate::wheel::Wheel;
use crate::wheel_table::PUBLISHED;

/// Price of a wheel of the table, in logarithms of likelihood: one of some thirty.
const TABLE: f64 = 3.4;
/// Price of a wheel of a family: one of some three hundred.
const FAMILY: f64 = 5.7;
/// Price beside that of a pitch that is no whole number of half degrees: wheels are drawn in those (from memory).
const ODD: f64 = 3.0;
/// Fewest teeth of a family.
const FEWEST: usize = 3;
/// Price of a damaged tooth beside the choice which: one wheel in fifty that are measured (from memory).
const DAMAGE: f64 = 4.0;
/// Price of each way in which a turn divides: the signal tells less of where it is than such a wheel is made for.
const SYMMETRY: f64 = 3.0;
/// Price of a choice among the equal ones below.
const EVENS: f64 = 2.6;
/// Equal wheels, up to the finest that is common.
const EVEN: [u16; 14] = [2, 3, 4, 6, 8, 12, 16, 18, 20, 24, 30, 36, 48, 60];
/// Numbers of intervals after which the rhythm may repeat that are followed up.
const REPEATS: usize = 8;
/// Fewest intervals of a turn from which pitches can be counted: below, a gap is no exception among its neighbours.
const COUNTED: usize = 7;
/// Fewest teeth of a wheel with gaps in unusual places, and the most that may be missing, as a part: with fewer teeth
/// gaps and a swinging speed are not told apart.
const UNUSUAL: usize = 10;
const MISSING: f64 = 0.25;
/// Intervals on either side that show the usual pitch: seven bear two gaps close together, as on 36-2-2-2.
const NEAR: usize = 3;
/// A pitch counted must be within this part of a whole number: half-way to a half is 0.25.
const ROUNDED: f64 = 0.25;
/// Widest gap that is counted, pitches.
const WIDEST: u16 = 4;
/// Repeats that are looked at closely, which costs milliseconds each.
const CLOSE_LOOKS: usize = 2;
/// Places that stand out most among which gaps are sought, and the most gaps.
const PLACES: usize = 8;
const GAPS: usize = 5;
/// A gap is worth adding if it leaves less than this part of the squares.
const WORTH: f64 = 0.75;
/// Most edges a learnt list may have; longer ones are of no use to a person.
const LISTED: usize = 40;
/// Two turns that differ by more, as a part of an interval, are no list of angles.
const STEADY: f64 = 0.05;
/// What an angle of a learnt list may be, as logarithm of an interval against the mean: half to twice.
const ANYTHING: f64 = 0.35;

/// Where a wheel was taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// The engine sheet.
    Sheet,
    /// The table of published wheels.
    Table,
    /// A kind of wheel: equal teeth, some missing or one added.
    Family,
    /// Pitches counted in the signal: equal ones with gaps in unusual places.
    Counted,
    /// Angles measured in the signal.
    Learnt,
}

/// A wheel with what speaks against it beforehand.
#[derive(Debug, Clone)]
pub(super) struct Contender {
    pub wheel: Wheel,
    pub origin: Origin,
    /// Intervals it would give; with a damaged tooth not those of the wheel.
    pub pattern: Pattern,
    /// Logarithm of how unlikely it is beforehand.
    pub price: f64,
    /// Tooth that is missing although the wheel should have it, counted from 1.
    pub damaged: Option<usize>,
}

impl Contender {
    fn new(wheel: Wheel, origin: Origin, price: f64) -> Self {
        let pattern = Pattern::of(&wheel);
        Self {
            price: price + SYMMETRY * (wheel.symmetry() as f64).ln(),
            pattern,
            wheel,
            origin,
            damaged: None,
        }
    }
}

/// Everything worth trying on a rhythm. `sheet` is what the engine sheet says.
pub(super) fn contenders(rhythm: &Rhythm, sheet: Option<&Wheel>) -> Vec<Contender> {
    let mut list: Vec<Contender> = Vec::new();
    if let Some(wheel) = sheet.filter(|w| !w.is_coded() && w.symmetry() < w.teeth()) {
        list.push(Contender::new(wheel.clone(), Origin::Sheet, TABLE));
    }
    for row in PUBLISHED {
        add(&mut list, row.name, Origin::Table, TABLE);
    }
    for n in EVEN {
        if let Ok(wheel) = Wheel::parse(&n.to_string()) {
            // An even wheel is one kind; how many teeth it has is told by nothing but the ripple.
            let mut even = Contender::new(wheel, Origin::Family, TABLE);
            even.price = TABLE + EVENS;
            list.push(even);
        }
    }
    let mut repeats = rhythm.repeats(REPEATS);
    // Half orders of the engine repeat after two turns only.
    for n in repeats.clone().into_iter().filter(|n| n.is_multiple_of(2)) {
        if !repeats.contains(&(n / 2)) {
            repeats.push(n / 2);
        }
    }
    for (rank, n) in repeats.into_iter().enumerate() {
        for missing in 1..=3 {
            if n >= FEWEST {
                let text = format!("{}-{missing}", n + missing);
                add(&mut list, &text, Origin::Family, family(n + missing));
            }
        }
        if n > FEWEST {
            add(
                &mut list,
                &format!("{}+1", n - 1),
                Origin::Family,
                family(n - 1),
            );
        }
        if let Some((turn, differ)) = rhythm.turn(n) {
            counted(&mut list, &turn, rank < CLOSE_LOOKS);
            learnt(&mut list, rhythm, &turn, differ);
        }
    }
    list
}

/// Price of a wheel of a family with `n` pitches.
fn family(n: usize) -> f64 {
    if 720_usize.is_multiple_of(n) {
        FAMILY
    } else {
        FAMILY + ODD
    }
}

fn add(list: &mut Vec<Contender>, notation: &str, origin: Origin, price: f64) {
    if let Ok(wheel) = Wheel::parse(notation) {
        if wheel.is_coded() {
            return;
        }
        push(list, Contender::new(wheel, origin, price));
    }
}

/// Adds it unless something gives the same intervals with as many teeth.
fn push(list: &mut Vec<Contender>, new: Contender) {
    let is_there = list.iter().any(|c| {
        c.wheel.teeth() == new.wheel.teeth()
            && c.damaged == new.damaged
            && c.pattern.is_like(&new.pattern)
    });
    if !is_there {
        list.push(new);
    }
}

/// Wheels whose pitches are whole multiples of the usual one around each, the same with one tooth more, and, where
/// the speed swings too much for that, those that leave least when the speed is taken away.
fn counted(list: &mut Vec<Contender>, turn: &[f64], is_close_look: bool) {
    let n = turn.len();
    if n < COUNTED {
        return;
    }
    let units: Option<Vec<u16>> = (0..n)
        .map(|j| {
            let near = (0..=2 * NEAR).map(|d| turn[(j + n + d - NEAR) % n]);
            let ratio = (turn[j] - median(near.collect())).exp();
            (1..=WIDEST).find(|u| (ratio / f64::from(*u) - 1.0).abs() < ROUNDED)
        })
        .collect();
    if let Some(units) = units {
        offer(list, &units);
    }
    if is_close_look {
        close_look(list, turn);
    }
}

/// Gaps one after another, each where it explains most.
fn close_look(list: &mut Vec<Contender>, turn: &[f64]) {
    let n = turn.len();
    let out = |j: usize| turn[j] - 0.5 * (turn[(j + n - 1) % n] + turn[(j + 1) % n]);
    let mut places: Vec<usize> = (0..n).filter(|&j| out(j) > 0.0).collect();
    places.sort_by(|&a, &b| out(b).total_cmp(&out(a)));
    places.truncate(PLACES);
    let mut units = vec![1; n];
    let mut left = Pattern::of_units(&units).squares(turn);
    for _ in 0..GAPS {
        let mut best: Option<(f64, usize, u16)> = None;
        for &j in &places {
            if units[j] > 1 {
                continue;
            }
            for unit in 2..=WIDEST {
                units[j] = unit;
                let squares = Pattern::of_units(&units).squares(turn);
                if best.is_none_or(|b| squares < b.0) {
                    best = Some((squares, j, unit));
                }
            }
            units[j] = 1;
        }
        let Some((squares, j, unit)) = best.filter(|b| b.0 < WORTH * left) else {
            return;
        };
        left = squares;
        units[j] = unit;
        offer(list, &units);
        // A gap found first may have been taken for wider or narrower than it is.
        for at in (0..n).filter(|&at| units[at] > 1) {
            let next = (at + 1) % n;
            if units[next] > 1 {
                for (more, less) in [(at, next), (next, at)] {
                    if units[more] < WIDEST {
                        let mut varied = units.clone();
                        varied[more] += 1;
                        varied[less] -= 1;
                        offer(list, &varied);
                    }
                }
            }
            for other in [units[at] - 1, units[at] + 1] {
                if (2..=WIDEST).contains(&other) {
                    let mut varied = units.clone();
                    varied[at] = other;
                    offer(list, &varied);
                }
            }
        }
    }
}

/// The wheel with these pitches, and what it would be with one tooth more.
fn offer(list: &mut Vec<Contender>, units: &[u16]) {
    let Some(teeth) = Grid::of(units) else {
        return;
    };
    let Some((text, gaps)) = teeth.notation() else {
        return;
    };
    if gaps < 2 {
        // Even, or one gap: a family.
        let price = family(usize::from(teeth.pitches));
        add(list, &text, Origin::Family, price);
        return;
    }
    if Wheel::parse(&text).is_ok_and(|w| w.symmetry() > 1) {
        return;
    }
    let missing = usize::from(teeth.pitches) - units.len();
    if units.len() < UNUSUAL || missing as f64 > MISSING * units.len() as f64 {
        return;
    }
    let choice = f64::from(teeth.pitches).ln() * gaps as f64;
    add(list, &text, Origin::Counted, FAMILY + DAMAGE + choice);
    for (filled, place) in teeth.filled() {
        repaired(list, &text, &filled, place);
    }
}

/// A wheel of the table, or with one gap, that lacks the tooth at `place`.
fn repaired(list: &mut Vec<Contender>, damaged: &str, filled: &Grid, place: u16) {
    let (Some((text, gaps)), Ok(worn)) = (filled.notation(), Wheel::parse(damaged)) else {
        return;
    };
    let Ok(whole) = Wheel::parse(&text) else {
        return;
    };
    let worn = Pattern::of(&worn);
    let is_whole = (list.iter())
        .any(|c| c.damaged.is_none() && c.origin != Origin::Counted && c.pattern.is_like(&worn));
    if is_whole {
        return;
    }
    let pattern = Pattern::of(&whole);
    let known = PUBLISHED.iter().find_map(|row| {
        let wheel = Wheel::parse(row.name).ok()?;
        (wheel.teeth() == whole.teeth() && Pattern::of(&wheel).is_like(&pattern)).then_some(wheel)
    });
    let (wheel, origin, price) = match known {
        Some(wheel) => (wheel, Origin::Table, TABLE),
        None if gaps == 1 => (
            whole.clone(),
            Origin::Family,
            family(usize::from(filled.pitches)),
        ),
        None => return,
    };
    // Tooth 0 of the filled grid's own notation follows its gap; from there to the place, then on the named wheel.
    let from = filled.first();
    let steps = (f64::from((place + filled.pitches - from) % filled.pitches)) * 360.0
        / f64::from(filled.pitches);
    let index = (0..whole.teeth()).find(|&t| (whole.angle(t).0 - steps).abs() < 0.1);
    let (Some(index), Some(turned)) = (index, pattern.turned(&Pattern::of(&wheel))) else {
        return;
    };
    let number = (index + turned) % wheel.teeth();
    let mut c = Contender::new(wheel, origin, price);
    c.pattern = worn;
    c.price += DAMAGE + f64::from(filled.pitches).ln();
    c.damaged = Some(number + 1);
    push(list, c);
}

/// Teeth on a grid of equal pitches.
#[derive(Debug, Clone)]
struct Grid {
    pitches: u16,
    /// Which of the pitches have a tooth.
    there: Vec<bool>,
}

impl Grid {
    fn of(units: &[u16]) -> Option<Self> {
        let pitches = units.iter().sum::<u16>();
        if pitches > 255 {
            return None;
        }
        let mut there = vec![false; usize::from(pitches)];
        let mut at = 0;
        for unit in units {
            there[usize::from(at)] = true;
            at += unit;
        }
        Some(Self { pitches, there })
    }

    fn is_gone(&self, place: u16) -> bool {
        !self.there[usize::from(place % self.pitches)]
    }

    /// Missing teeth before this place.
    fn gap_before(&self, place: u16) -> u16 {
        (1..self.pitches)
            .find(|d| !self.is_gone(place + self.pitches - d))
            .map_or(0, |d| d - 1)
    }

    /// The tooth after the widest gap.
    fn first(&self) -> u16 {
        (0..self.pitches)
            .filter(|&p| !self.is_gone(p))
            .max_by_key(|&p| (self.gap_before(p), std::cmp::Reverse(p)))
            .unwrap_or(0)
    }

    /// Its notation, and the number of gaps.
    fn notation(&self) -> Option<(String, usize)> {
        let first = self.first();
        let gone: Vec<u16> = (0..self.pitches)
            .filter(|d| self.is_gone(first + d))
            .map(|d| d + 1)
            .collect();
        let gaps = (0..self.pitches)
            .filter(|&p| !self.is_gone(p) && self.gap_before(p) > 0)
            .count();
        let text = match gaps {
            0 => self.pitches.to_string(),
            1 => format!("{}-{}", self.pitches, gone.len()),
            _ => format!(
                "{} without {}",
                self.pitches,
                gone.iter()
                    .map(u16::to_string)
                    .collect::<Vec<_>>()
                    .join(" ")
            ),
        };
        (self.pitches >= 2).then_some((text, gaps))
    }

    /// Each grid with one tooth more, and where that is.
    fn filled(&self) -> impl Iterator<Item = (Self, u16)> + '_ {
        (0..self.pitches).filter(|&p| self.is_gone(p)).map(|p| {
            let mut filled = self.clone();
            filled.there[usize::from(p)] = true;
            (filled, p)
        })
    }
}

/// The turn as a list of angles.
fn learnt(list: &mut Vec<Contender>, rhythm: &Rhythm, turn: &[f64], differ: f64) {
    let n = turn.len();
    if !(2..=LISTED).contains(&n) || differ > STEADY {
        return;
    }
    let longest = (0..n)
        .max_by(|&a, &b| turn[a].total_cmp(&turn[b]))
        .unwrap_or(0);
    let pitches: Vec<f64> = (1..=n).map(|d| turn[(longest + d) % n].exp()).collect();
    let whole: f64 = pitches.iter().sum();
    let mut at = 0.0;
    let edges: Vec<f64> = (pitches.iter())
        .map(|p| {
            let here = at;
            at += 360.0 * p / whole;
            here
        })
        .collect();
    let Ok(wheel) = Wheel::from_edges(&edges, 360.0) else {
        return;
    };
    if wheel.symmetry() > 1 {
        return;
    }
    // Each angle is a free number: what Laplace's method takes off for it (Bishop, Pattern Recognition and
    // Machine Learning, section 4.4.1).
    let turns = rhythm.y.len() as f64 / n as f64;
    let known = (ANYTHING / differ.max(0.01)).powi(2);
    let price = FAMILY + 0.5 * n as f64 * (1.0 + turns * known).ln();
    push(list, Contender::new(wheel, Origin::Learnt, price));
}
