//! The matrix over which agreement, flags and findings must hold: every row of `rows` with engines, sheets and driving
//! drawn at random, scored against the truth of the simulator (`oracle` says what is right when).
//!
//! There are two. Matrix one may be looked into while rules are made. Matrix two has other seeds and other, wider
//! ranges; nothing is tuned on it: it is run and its table is reported, but no single run of it is looked at to change
//! a threshold or a rule.
//!
//! The check runs a part of both, the same each time. `KEYWAY_MATRIX=whole` runs the whole of both, all seeds;
//! `KEYWAY_MATRIX=healthy` the healthy rows with many other seeds, and prints for how many hours; with `KEYWAY_SEEDS=5` fewer seeds:
//! `KEYWAY_MATRIX=whole cargo test --release -p keyway-tests agreement_matrix -- --nocapture`.
//!
//! The name of a row runs that row of matrix one, a line of scores for each seed; with `KEYWAY_SEED=3` one run, with
//! every change of what is told and what is right, `*` where it is wrong:
//! `KEYWAY_MATRIX="stuck midway" KEYWAY_SEED=3 cargo test --release -p keyway-tests agreement_matrix -- --nocapture`.

mod car;
mod chance;
mod course;
mod open;
mod oracle;
mod programme;
mod rows;
mod score;
mod spread;

use course::Course;
use rows::{Kind, ROWS, Row};
use score::{HEAD, Score};
use spread::{ONE, Spread, TWO};
use std::ops::RangeInclusive;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Seeds of a whole matrix.
const SEEDS: u64 = 20;
/// Seeds of each that the check runs.
const CHECKED: [u64; 2] = [4, 2];

/// Runs rows of a matrix with these seeds; the scores by row.
fn scores(spread: &Spread, rows: &[&Row], seeds: RangeInclusive<u64>) -> Vec<Score> {
    let jobs: Vec<(usize, u64)> = (0..rows.len())
        .flat_map(|row| seeds.clone().map(move |seed| (row, seed)))
        .collect();
    let next = AtomicUsize::new(0);
    let scores = Mutex::new(vec![Score::default(); rows.len()]);
    let workers = std::thread::available_parallelism().map_or(2, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers {
            let _ = scope.spawn(|| {
                while let Some(&(row, seed)) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let score = Course::run(spread, rows[row], seed).score(rows[row]);
                    scores.lock().expect("no worker panicked")[row].add(&score);
                }
            });
        }
    });
    scores.into_inner().expect("no worker panicked")
}

/// Prints the table of a matrix; returns its last line.
fn print(spread: &Spread, rows: &[&Row], scores: &[Score]) -> Score {
    eprintln!("matrix {}\n{HEAD}", spread.name);
    let mut total = Score::default();
    for (row, score) in rows.iter().zip(scores) {
        eprintln!("{:30} {score}", row.name);
        total.add(score);
    }
    eprintln!("{:30} {total}", "all");
    total
}

fn all() -> Vec<&'static Row> {
    ROWS.iter().collect()
}

#[test]
fn both_hold() {
    match std::env::var("KEYWAY_MATRIX").as_deref() {
        Ok("whole") => whole(),
        Ok("healthy") => healthy_hours(),
        Ok(row) => one_row(row),
        Err(_) => a_part(),
    }
}

fn a_part() {
    for (spread, seeds) in [&ONE, &TWO].into_iter().zip(CHECKED) {
        let scores = scores(spread, &all(), 1..=seeds);
        let total = print(spread, &all(), &scores);
        let worse: Vec<String> = (ROWS.iter().zip(&scores))
            .flat_map(|(row, score)| open::worse(spread.name, row.name, score))
            .collect();
        assert!(worse.is_empty(), "worse than known:\n{}", worse.join("\n"));
        assert!(total.right_share().is_some_and(|r| r >= 99.0), "{total}");
        assert!(total.judged_share().is_some_and(|j| j >= 90.0), "{total}");
    }
}

fn whole() {
    let seeds = number("KEYWAY_SEEDS").unwrap_or(SEEDS);
    for spread in [&ONE, &TWO] {
        let scores = scores(spread, &all(), 1..=seeds);
        let _ = print(spread, &all(), &scores);
    }
}

fn healthy_hours() {
    let rows: Vec<_> = ROWS.iter().filter(|r| r.kind == Kind::Healthy).collect();
    // Half a minute or so of each row and matrix for each seed; other seeds than those of the matrix.
    let seeds = number("KEYWAY_SEEDS").unwrap_or(280);
    for spread in [&ONE, &TWO] {
        let scores = scores(spread, &rows, 1001..=1000 + seeds);
        let total = print(spread, &rows, &scores);
        let hours = total.healthy_seconds / 2.0 / 3600.0;
        eprintln!(
            "{hours:.2} h of healthy running, {} false flags",
            total.false_flags
        );
    }
}

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok().and_then(|s| s.parse().ok())
}

fn one_row(name: &str) {
    let row = ROWS.iter().find(|r| r.name == name);
    let names: Vec<_> = ROWS.iter().map(|r| r.name).collect();
    let row =
        row.unwrap_or_else(|| panic!("KEYWAY_MATRIX must be whole, healthy or one of {names:?}"));
    let seed = number("KEYWAY_SEED");
    if let Some(seed) = seed {
        Course::run(&ONE, row, seed).trace(row);
        return;
    }
    eprintln!("{HEAD}");
    for seed in 1..=SEEDS {
        let course = Course::run(&ONE, row, seed);
        eprintln!(
            "{:30} {} {:?}",
            format!("seed {seed}"),
            course.score(row),
            course.blames()
        );
    }
}
