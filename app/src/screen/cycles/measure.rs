//! What the two cursors say.

use super::plot::between;
use super::{Cycles, Show, Stock};
use crate::figure;

/// One lead at the cursors, in its unit.
#[derive(Debug, Clone, PartialEq)]
pub struct AtCursors {
    /// Place of the lead.
    pub lead: usize,
    /// At A and at B; none where a cursor is not put or nothing is known.
    pub at: [Option<f32>; 2],
}

impl AtCursors {
    /// B less A.
    pub fn difference(&self) -> Option<f32> {
        Some(self.at[1]? - self.at[0]?)
    }
}

impl Cycles {
    /// The values at the cursors of the leads that are shown: of the cycle shown, else of the mean of all.
    pub fn at_cursors(&self, stock: &Stock) -> Vec<AtCursors> {
        let shown = self.shown(stock).into_iter();
        shown
            .map(|lead| {
                let values = self.line(stock, lead);
                let at = self.cursors.map(|cursor| {
                    let place = cursor? / 720.0 * values.len() as f64 - 0.5;
                    between(values, place)
                });
                AtCursors { lead, at }
            })
            .collect()
    }

    /// The line of a lead on which figures rest.
    pub(super) fn line<'a>(&self, stock: &'a Stock, lead: usize) -> &'a [f32] {
        let of_one = || stock.locked.leads[lead].cycles.get(self.at);
        match self.show {
            Show::One => of_one().map(Vec::as_slice).unwrap_or_default(),
            Show::All | Show::Mean => &stock.courses[lead].mean,
        }
    }

    /// Length of the cycle on which times rest, seconds: of the one shown, else the mean.
    fn length(&self, stock: &Stock) -> Option<f64> {
        match self.show {
            Show::One => stock.cycles().get(self.at).map(|c| c.end - c.begin),
            Show::All | Show::Mean => stock.mean_length(),
        }
    }

    /// The cursors in words; none without one.
    pub fn cursor_words(&self, stock: &Stock) -> Option<String> {
        let place = |name: &str, angle: f64| format!("{name} {}°", figure::plain(angle, 1));
        match self.cursors {
            [None, None] => None,
            [Some(a), None] => Some(place("A", a)),
            [None, Some(b)] => Some(place("B", b)),
            [Some(a), Some(b)] => {
                let turn = b - a;
                let mut words = format!(
                    "{} · {} · Δ {} °crank = {} °cam",
                    place("A", a),
                    place("B", b),
                    figure::signed(turn, 1),
                    figure::signed(turn / 2.0, 2),
                );
                if let Some(length) = self.length(stock) {
                    let ms = turn / 720.0 * length * 1000.0;
                    let rpm = figure::plain(120.0 / length, 0);
                    words = format!("{words} = {} ms at {rpm} rpm", figure::signed(ms, 3));
                }
                Some(words)
            }
        }
    }

    /// What is shown, in one line.
    pub fn facts(&self, stock: &Stock) -> String {
        let cycles = stock.cycles();
        let Some((low, high)) = stock.speeds() else {
            return "No cycles".to_owned();
        };
        let rpm = |v: f64| figure::plain(v, 0);
        if let (Show::One, Some(cycle)) = (self.show, cycles.get(self.at)) {
            return format!(
                "Cycle {} of {} · begins at {} s · {} rpm",
                self.at + 1,
                cycles.len(),
                figure::plain(cycle.begin, 3),
                rpm(cycle.rpm()),
            );
        }
        let count = match cycles.len() {
            1 => "1 cycle".to_owned(),
            n => format!("{n} cycles"),
        };
        let speed = if high - low < 1.0 {
            format!("{} rpm", rpm(low))
        } else {
            format!("{} to {} rpm", rpm(low), rpm(high))
        };
        let (from, to) = stock.locked.span;
        let mut words = format!(
            "{count} · {speed} · {} to {} s",
            figure::plain(from, 2),
            figure::plain(to, 2)
        );
        if stock.locked.left_out > 0 {
            words = format!(
                "{words} · {} more left out, evenly",
                figure::plain(stock.locked.left_out as f64, 0)
            );
        }
        words
    }
}
