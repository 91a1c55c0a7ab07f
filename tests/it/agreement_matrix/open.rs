//! What must hold, and the rows that do not hold yet, by name with their figure: a worse one fails the check.

use super::score::Score;

/// A figure of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// Percent of the judged time in a right state, at least.
    Right,
    /// Percent of the time in which a judgement is owed that is judged, at least.
    Judged,
    /// Seconds to the flag of the slowest gross fault of twenty, at most.
    Delay,
    /// False flags, at most.
    False,
    /// Runs that blame a component for a mistake of the hook-up, at most.
    Blamed,
    /// Percent of the true causes that are uncontradicted, at least.
    Uncontradicted,
    /// Percent of the true causes that stand alone or are named with a check that separates them, at least.
    Named,
}

use Figure::{Blamed, Delay, False, Judged, Named, Right, Uncontradicted};

/// The goal of every figure. That for the judged share keeps a silent judge from passing; it is no goal of the issue.
const GOALS: [(Figure, f64); 7] = [
    (Right, 99.0),
    (Judged, 90.0),
    (Delay, 2.0),
    (False, 0.0),
    (Blamed, 0.0),
    (Uncontradicted, 100.0),
    (Named, 95.0),
];

/// Rows that do not hold: matrix, row, figure, and what is reached in the part that the check runs.
const OPEN: &[(&str, &str, Figure, f64)] = &[
    ("one", "healthy idle", Named, 62.4),
    ("one", "no command from the start", Judged, 49.9),
    ("one", "no command from the start", Named, 0.0),
    ("one", "crank wheel moved", Named, 87.4),
    ("one", "open coil", Right, 98.7),
    ("one", "open feed", Delay, f64::INFINITY),
    ("one", "open feed", Named, 0.0),
    ("one", "wire to the driver open", Judged, 77.4),
    ("one", "wire to the driver open", Named, 49.9),
    ("one", "short to supply", Judged, 82.5),
    ("one", "short to supply", Named, 74.9),
    ("one", "weak driver", Judged, 65.2),
    ("one", "oil-starved idle", Named, 66.6),
    ("one", "stretched chain", Named, 24.9),
    ("two", "stuck midway", Delay, 3.1),
    ("two", "stuck at full travel", Delay, 5.6),
    ("two", "slow phaser", Right, 96.7),
    ("two", "no command from the start", Judged, 30.7),
    ("two", "no command from the start", Named, 0.0),
    ("two", "both cams one tooth", Named, 74.9),
    ("two", "cam wheel moved", Judged, 86.7),
    ("two", "crank wheel moved", Right, 88.4),
    ("two", "cam sensor drops out", Judged, 86.3),
    ("two", "open feed", Delay, f64::INFINITY),
    ("two", "open feed", Named, 49.9),
    ("two", "wire to the driver open", Judged, 75.1),
    ("two", "wire to the driver open", Named, 49.9),
    ("two", "short to supply", Judged, 47.9),
    ("two", "short to supply", Named, 0.0),
    ("two", "weak driver", Judged, 54.2),
    ("two", "spool stuck shut", Delay, f64::INFINITY),
    ("two", "spool stuck open", Delay, 25.8),
    ("two", "command leads swapped", Blamed, 1.0),
];

impl Figure {
    /// The figure of a score, and whether more of it is better.
    fn of(self, score: &Score) -> (Option<f64>, bool) {
        let causes = |n: usize| (score.causes > 0).then(|| 100.0 * n as f64 / score.causes as f64);
        match self {
            Right => (score.right_share(), true),
            Judged => (score.judged_share(), true),
            Delay => (score.delay(0.95), false),
            False => (Some(score.false_flags as f64), false),
            Blamed => (Some(score.blamed as f64), false),
            Uncontradicted => (causes(score.uncontradicted), true),
            Named => (causes(score.named), true),
        }
    }
}

/// Everything in which a row of a matrix is worse than its goal, or than what is known of it.
pub fn worse(matrix: &str, row: &str, score: &Score) -> Vec<String> {
    let mut found = Vec::new();
    for (figure, goal) in GOALS {
        let (Some(value), more) = figure.of(score) else {
            continue;
        };
        let known = OPEN
            .iter()
            .find(|o| (o.0, o.1, o.2) == (matrix, row, figure));
        let bound = known.map_or(goal, |o| o.3);
        let holds = if more { value >= bound } else { value <= bound };
        if !holds {
            found.push(format!(
                "(\"{matrix}\", \"{row}\", {figure:?}, {value:.1}),"
            ));
        }
    }
    found
}
