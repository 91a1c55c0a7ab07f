//! Two recordings compared: each measure of one beside that of the other, their difference, and whether it is more
//! than chance and the way of measuring explain.
//!
//! Uncertainties are combined as JCGM 100:2008 (GUM) says: standard uncertainties in quadrature (5.1.2), what is known
//! only as a bound as a rectangular distribution (4.3.7), degrees of freedom by Welch and Satterthwaite (G.4.1). Without
//! bounds the difference of two means is then the test of the NIST/SEMATECH e-Handbook, 1.3.5.3, for unequal variances.
//! With many measures some would exceed by chance, one in twenty at 95 %: S. Holm, "A simple sequentially rejective
//! multiple test procedure", Scandinavian Journal of Statistics 6 (1979) 65, keeps it to one table in twenty.

mod conditions;
mod difference;
mod estimate;
mod holm;
mod sequence;
mod tally;

pub use conditions::{Conditions, Speed};
pub use difference::{Difference, Relation};
pub use estimate::{Estimate, Lacking};
pub use tally::Tally;

/// The share of tables of measures between which nothing differs that show a difference all the same.
pub const BY_CHANCE: f64 = 0.05;

/// A measure of one recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// Its name for programs, the same in every recording: "intake.phase-at-rest".
    pub key: String,
    /// Its name for people: "intake cam, phase at rest".
    pub name: String,
    /// To what it belongs.
    pub group: Group,
    /// Its unit: "°crank". Empty for a state.
    pub unit: &'static str,
    /// Digits after the point that say something.
    pub digits: usize,
    /// Under what it was measured.
    pub conditions: Conditions,
    /// What was found.
    pub finding: Finding,
}

/// What a measure is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Group {
    /// Where a cam stands.
    Position,
    /// How a phaser moves.
    Movement,
    /// What the controller asks for.
    Command,
    /// The circuit of a valve, and the supply.
    Circuit,
    /// The crank and the cylinders.
    Engine,
    /// Whether command and position agree.
    Agreement,
    /// What was lost, and how the leads stand.
    Recording,
}

/// What one recording gives of a measure.
#[derive(Debug, Clone, PartialEq)]
pub enum Finding {
    /// A figure with its uncertainty.
    Figure(Estimate),
    /// A figure whose uncertainty is not known, and why it is not compared.
    Alone(f64, String),
    /// Something that was counted over a time.
    Count(Tally),
    /// A state in words.
    State(String),
    /// Nothing, and why.
    NotShown(String),
}

/// Two recordings in one measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// The measure of the first.
    pub base: Measure,
    /// That of the other.
    pub other: Measure,
    /// The other less the first; none for states and where it would say nothing.
    pub difference: Option<Difference>,
    /// What that comes to.
    pub verdict: Verdict,
}

/// What a comparison in one measure comes to.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// The difference is more than the uncertainty explains, all measures of the table considered.
    Exceeds,
    /// It is more than its own 95 % range, but of so many measures one or another is so by chance.
    ExceedsAlone,
    /// It is not more than the uncertainty explains. They may still differ by as much.
    Within,
    /// The states differ.
    Differs,
    /// The states are alike.
    Alike,
    /// The two were measured under different conditions; which.
    NotComparable(String),
    /// One of them or both do not show it; which and why.
    NotShown(String),
}

/// Compares the measures of two recordings, of the first in its order, then those that only the other has. `names` are
/// what the recordings are called in sentences.
pub fn compare(
    base: &[Measure],
    other: &[Measure],
    relation: Relation,
    names: [&str; 2],
) -> Vec<Compared> {
    let lacks = |measure: &Measure, whose: &str| Measure {
        finding: Finding::NotShown(format!("{whose} has no such measure")),
        conditions: Conditions::default(),
        ..measure.clone()
    };
    let mut table: Vec<Compared> = base
        .iter()
        .map(|a| {
            let same = other.iter().find(|b| b.key == a.key).cloned();
            let b = same.unwrap_or_else(|| lacks(a, names[1]));
            pair(a.clone(), b, relation, names)
        })
        .collect();
    let only = other
        .iter()
        .filter(|b| !base.iter().any(|a| a.key == b.key));
    table.extend(only.map(|b| pair(lacks(b, names[0]), b.clone(), relation, names)));
    judge(&mut table);
    table
}

fn pair(base: Measure, other: Measure, relation: Relation, names: [&str; 2]) -> Compared {
    let (difference, verdict) = match (&base.finding, &other.finding) {
        (Finding::NotShown(a), Finding::NotShown(b)) if a == b => {
            (None, Verdict::NotShown(format!("in either: {a}")))
        }
        (Finding::NotShown(a), Finding::NotShown(b)) => {
            let words = format!("{}: {a}; {}: {b}", names[0], names[1]);
            (None, Verdict::NotShown(words))
        }
        (Finding::NotShown(why), _) => (None, Verdict::NotShown(format!("{}: {why}", names[0]))),
        (_, Finding::NotShown(why)) => (None, Verdict::NotShown(format!("{}: {why}", names[1]))),
        (a, b) => match base.conditions.differ(&other.conditions, names) {
            Some(why) => (None, Verdict::NotComparable(why)),
            None => found(a, b, relation),
        },
    };
    Compared {
        base,
        other,
        difference,
        verdict,
    }
}

fn found(base: &Finding, other: &Finding, relation: Relation) -> (Option<Difference>, Verdict) {
    match (base, other) {
        (Finding::Figure(a), Finding::Figure(b)) => {
            (Some(Difference::of(a, b, relation)), Verdict::Within)
        }
        (Finding::Count(a), Finding::Count(b)) => (Some(a.difference(b)), Verdict::Within),
        (Finding::State(a), Finding::State(b)) if a == b => (None, Verdict::Alike),
        (Finding::State(_), Finding::State(_)) => (None, Verdict::Differs),
        (Finding::Alone(_, why), _) | (_, Finding::Alone(_, why)) => {
            (None, Verdict::NotComparable(why.clone()))
        }
        _ => (
            None,
            Verdict::NotComparable("not measured in the same way".to_owned()),
        ),
    }
}

/// Judges all differences of a table together.
fn judge(table: &mut [Compared]) {
    let probabilities: Vec<f64> = (table.iter())
        .filter_map(|row| row.difference.map(|d| d.probability))
        .collect();
    let mut rejected = holm::rejected(&probabilities, BY_CHANCE).into_iter();
    for row in table {
        let Some(difference) = row.difference else {
            continue;
        };
        row.verdict = match rejected.next() {
            Some(true) => Verdict::Exceeds,
            _ if difference.probability < BY_CHANCE => Verdict::ExceedsAlone,
            _ => Verdict::Within,
        };
    }
}

#[cfg(test)]
mod tests;
