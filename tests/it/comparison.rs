//! Differences of two samples, of two rates, and sequences with a memory, against SciPy and the NIST/SEMATECH
//! e-Handbook; the values are made by `tests/reference/comparison.py`.

use keyway_analysis::comparison::{Difference, Estimate, Relation, Tally};
use keyway_analysis::units::Seconds;
use serde::Deserialize;

const SAME: Relation = Relation {
    same_engine: true,
    same_scope: true,
};

#[derive(Deserialize)]
struct Table {
    welch: Vec<Welch>,
    published: Published,
    rates: Vec<Rates>,
    memory: Vec<Memory>,
}

#[derive(Deserialize)]
struct Welch {
    name: String,
    base: Vec<f64>,
    other: Vec<f64>,
    by: f64,
    statistic: f64,
    probability: f64,
    freedom: f64,
    half_width: f64,
}

/// Mean, standard deviation and number of either sample.
#[derive(Deserialize)]
struct Published {
    base: (f64, f64, f64),
    other: (f64, f64, f64),
    statistic: f64,
    freedom: f64,
    probability: f64,
}

/// Events and seconds of either.
#[derive(Deserialize)]
struct Rates {
    base: (u64, f64),
    other: (u64, f64),
    probability: f64,
}

#[derive(Deserialize)]
struct Memory {
    phi: f64,
    values: Vec<f64>,
    independent: f64,
}

fn table() -> Table {
    serde_json::from_str(include_str!("../reference/comparison.json")).expect("comparison.json")
}

#[test]
fn differences_of_samples_are_those_of_scipy() {
    for case in table().welch {
        let estimate = |values: &[f64]| Estimate::of_independent(values).expect("two and more");
        let d = Difference::of(&estimate(&case.base), &estimate(&case.other), SAME);
        let near = |got: f64, due: f64, what: &str| {
            let slip = (got - due).abs() / due.abs().max(1e-6);
            assert!(slip < 1e-6, "{}: {what} {got}, due {due}", case.name);
        };
        near(d.by, case.by, "difference");
        near(d.by / d.uncertainty, case.statistic, "statistic");
        near(d.freedom, case.freedom, "freedom");
        near(d.probability, case.probability, "probability");
        near(d.half_width, case.half_width, "half width");
    }
}

#[test]
fn the_published_example_is_met() {
    let case = table().published;
    let told = |(mean, deviation, n): (f64, f64, f64)| {
        Estimate::reported(mean, deviation / n.sqrt(), n - 1.0, 0)
    };
    let d = Difference::of(&told(case.base), &told(case.other), SAME);
    // The handbook gives the first less the second.
    assert!((-d.by / d.uncertainty - case.statistic).abs() < 5e-4);
    assert!((d.freedom - case.freedom).abs() < 5e-3, "{}", d.freedom);
    assert!((d.probability / case.probability - 1.0).abs() < 1e-3);
}

#[test]
fn rates_are_compared_as_scipy_does() {
    for case in table().rates {
        let tally = |(events, over): (u64, f64)| Tally {
            events,
            over: Seconds(over),
        };
        let d = tally(case.base).difference(&tally(case.other));
        let slip = (d.probability - case.probability).abs();
        assert!(slip < 1e-9, "{} due {}", d.probability, case.probability);
    }
}

/// The closed form is met to a fifth: 2,000 values tell a correlation no better.
#[test]
fn values_that_follow_each_other_count_for_fewer() {
    for case in table().memory {
        let got = Estimate::of_sequence(&case.values)
            .expect("enough")
            .independent;
        eprintln!(
            "memory {}: {got:.0} values, due {:.0}",
            case.phi, case.independent
        );
        assert!(
            (got / case.independent - 1.0).abs() < 0.2,
            "{} {got}",
            case.phi
        );
    }
}
