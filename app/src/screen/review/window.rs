//! The part of the recording that is looked at in detail, from the whole down to single samples.

use std::ops::Range;

/// Samples across the narrowest window.
const FEWEST_SAMPLES: f64 = 12.0;

/// The window, seconds since the start of the recording. It never reaches outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Begin.
    pub from: f64,
    /// End.
    pub to: f64,
    /// Length of the recording.
    length: f64,
    /// Narrowest.
    least: f64,
}

impl Window {
    /// The whole of a recording of this length, `rate` samples a second.
    pub fn new(length: f64, rate: f64) -> Self {
        let length = if length > 0.0 { length } else { 1e-3 };
        let least = if rate > 0.0 {
            FEWEST_SAMPLES / rate
        } else {
            1e-3
        };
        Self {
            from: 0.0,
            to: length,
            length,
            least: least.min(length),
        }
    }

    /// How long it is.
    pub fn span(&self) -> f64 {
        self.to - self.from
    }

    /// Its middle.
    pub fn middle(&self) -> f64 {
        f64::midpoint(self.from, self.to)
    }

    /// As a range.
    pub fn range(&self) -> Range<f64> {
        self.from..self.to
    }

    /// Whether an instant lies in it.
    pub fn holds(&self, at: f64) -> bool {
        (self.from..=self.to).contains(&at)
    }

    /// Whether it shows the whole recording.
    pub fn is_whole(&self) -> bool {
        self.span() >= self.length * (1.0 - 1e-9)
    }

    /// Whether it cannot be narrower.
    pub fn is_narrowest(&self) -> bool {
        // Far into a long recording a double tells some nanoseconds of a second apart.
        self.span() <= self.least * (1.0 + 1e-6)
    }

    /// Length of the recording.
    pub fn length(&self) -> f64 {
        self.length
    }

    /// `times` as long, with the instant `about` where it is on the screen.
    #[must_use]
    pub fn zoomed(&self, times: f64, about: f64) -> Self {
        let about = about.clamp(self.from, self.to);
        let span = (self.span() * times).clamp(self.least, self.length);
        let share = (about - self.from) / self.span();
        self.placed(about - share * span, span)
    }

    /// Later by this share of its length.
    #[must_use]
    pub fn panned(&self, share: f64) -> Self {
        self.placed(self.from + share * self.span(), self.span())
    }

    /// The same length around an instant.
    #[must_use]
    pub fn centred(&self, at: f64) -> Self {
        self.placed(at - self.span() / 2.0, self.span())
    }

    /// From here to there.
    #[must_use]
    pub fn showing(&self, from: f64, to: f64) -> Self {
        let span = (to - from).clamp(self.least, self.length);
        self.placed(f64::midpoint(from, to) - span / 2.0, span)
    }

    fn placed(&self, from: f64, span: f64) -> Self {
        let from = from.clamp(0.0, (self.length - span).max(0.0));
        Self {
            from,
            to: (from + span).min(self.length),
            ..*self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn it_stays_within_the_recording_and_above_single_samples() {
        let whole = Window::new(3600.0, 200_000.0);
        assert!(whole.is_whole());
        assert_eq!(whole.zoomed(2.0, 10.0), whole);
        let mut window = whole;
        for _ in 0..100 {
            window = window.zoomed(0.5, 1234.5);
        }
        assert!(window.is_narrowest() && window.holds(1234.5));
        assert!(near(window.span(), 12.0 / 200_000.0), "{}", window.span());
        for _ in 0..100 {
            window = window.zoomed(2.0, 1234.5);
        }
        assert!(window.is_whole());
        let end = whole.showing(100.0, 110.0).panned(1e6);
        assert!(near(end.from, 3590.0) && near(end.to, 3600.0));
        let begin = end.centred(-5.0);
        assert!(near(begin.from, 0.0) && near(begin.to, 10.0));
    }

    #[test]
    fn what_is_under_the_hand_stays_there() {
        let window = Window::new(100.0, 1000.0).showing(20.0, 40.0);
        let zoomed = window.zoomed(0.25, 25.0);
        let share = |w: &Window| (25.0 - w.from) / w.span();
        assert!(near(share(&window), share(&zoomed)));
        assert!(near(zoomed.span(), 5.0));
    }

    #[test]
    fn an_empty_recording_has_a_window_too() {
        let window = Window::new(0.0, 0.0);
        assert!(window.span() > 0.0 && window.zoomed(0.5, 0.0).span() > 0.0);
    }
}
