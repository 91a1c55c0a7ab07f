//! What is looked at: a span of time in columns of equal length.

/// A span and its columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    /// Seconds since the start of the recording.
    pub from: f64,
    pub to: f64,
    /// At least one.
    pub columns: usize,
}

impl Window {
    /// Nothing lies before the start, and a span that runs backwards is empty.
    pub fn new(from: f64, to: f64, columns: usize) -> Self {
        let from = from.max(0.0);
        Self {
            from,
            to: to.max(from),
            columns: columns.max(1),
        }
    }

    /// Seconds of a column.
    pub fn step(self) -> f64 {
        (self.to - self.from) / self.columns as f64
    }

    /// The column of an instant; the nearest for one outside.
    pub fn column(self, at: f64) -> usize {
        let share = (at - self.from) / (self.to - self.from);
        whole(share * self.columns as f64).min(self.columns - 1)
    }

    /// Whether something between these times reaches into it.
    pub fn meets(self, begin: f64, end: f64) -> bool {
        begin < self.to && end > self.from
    }
}

/// The whole part of a number, 0 for a negative one or none.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "saturates at both ends, which is what is wanted"
)]
pub(super) fn whole(x: f64) -> usize {
    x as usize
}
