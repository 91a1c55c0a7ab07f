//! What runs come to, as figures.

use std::fmt;

/// Figures of one run, or of several together. Times in seconds, each cam counted for itself.
#[derive(Debug, Clone, Default)]
pub struct Score {
    pub runs: usize,
    /// Time in which a judgement is owed; of that, time in transitions, not judged, judged, and judged right.
    pub seconds: f64,
    pub transition: f64,
    pub not_judged: f64,
    pub judged: f64,
    pub right: f64,
    /// Judged while the sheet's hold zone leaves it open what is right.
    pub unclear: f64,
    /// Seconds from the onset of a gross fault to its flag.
    pub delays: Vec<f64>,
    /// Gross faults that began while a flag stood, or in the run-in.
    pub standing: usize,
    pub healthy_seconds: f64,
    pub false_flags: usize,
    /// Runs in which a component was blamed for a mistake of the hook-up.
    pub blamed: usize,
    /// Causes that showed; of those, uncontradicted in the end, and alone or named with their check.
    pub causes: usize,
    pub uncontradicted: usize,
    pub named: usize,
}

impl Score {
    /// Adds another.
    pub fn add(&mut self, other: &Self) {
        self.runs += other.runs;
        self.seconds += other.seconds;
        self.transition += other.transition;
        self.not_judged += other.not_judged;
        self.judged += other.judged;
        self.right += other.right;
        self.unclear += other.unclear;
        self.delays.extend(&other.delays);
        self.standing += other.standing;
        self.healthy_seconds += other.healthy_seconds;
        self.false_flags += other.false_flags;
        self.blamed += other.blamed;
        self.causes += other.causes;
        self.uncontradicted += other.uncontradicted;
        self.named += other.named;
    }

    /// Percent of the judged time in which what was told was right.
    pub fn right_share(&self) -> Option<f64> {
        percent(self.right, self.judged)
    }

    /// Percent of the time outside transitions that was judged.
    pub fn judged_share(&self) -> Option<f64> {
        percent(self.judged, self.judged + self.not_judged)
    }

    /// Seconds within which this share of the gross faults was flagged.
    pub fn delay(&self, share: f64) -> Option<f64> {
        let mut delays = self.delays.clone();
        delays.sort_by(f64::total_cmp);
        let part = (delays.len() as f64 * share).ceil();
        let place = (1..=delays.len()).find(|n| *n as f64 >= part)?;
        Some(delays[place - 1])
    }

    /// False flags in an hour of healthy running; each cam's hour counts for itself halves.
    pub fn false_rate(&self) -> f64 {
        // Both cams run at the same time: an engine's hour is two of a cam.
        self.false_flags as f64 / (self.healthy_seconds / 2.0 / 3600.0).max(1e-9)
    }
}

/// Percent; none of nothing.
fn percent(part: f64, whole: f64) -> Option<f64> {
    (whole > 0.0).then(|| 100.0 * part / whole)
}

fn figure(value: Option<f64>, digits: usize) -> String {
    value.map_or("-".to_owned(), |v| format!("{v:.digits$}"))
}

/// The head of the table.
pub const HEAD: &str = "row                            runs   owed s  right % judged % trans. % unclear %  delay med   p95 (n, stood) false  per h blamed  causes uncontr. named";

impl fmt::Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rate = (self.healthy_seconds > 0.0).then(|| self.false_rate());
        write!(
            f,
            "{:4} {:8.0} {:>8} {:>8} {:>8} {:>9}      {:>5} {:>5} ({:3}, {:3}) {:5} {:>6} {:6}  {:6} {:7} {:5}",
            self.runs,
            self.seconds,
            figure(self.right_share(), 2),
            figure(self.judged_share(), 1),
            figure(percent(self.transition, self.seconds), 1),
            figure(percent(self.unclear, self.judged), 1),
            figure(self.delay(0.5), 2),
            figure(self.delay(0.95), 2),
            self.delays.len(),
            self.standing,
            self.false_flags,
            figure(rate, 2),
            self.blamed,
            self.causes,
            self.uncontradicted,
            self.named,
        )
    }
}
