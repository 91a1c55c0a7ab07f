//! The traces: the leads against time, or locked to the crank over one cycle of 720 degrees.

use super::TraceView;
use super::plan::{LINE, count};
use super::words;
use crate::figure;
use crate::font;
use crate::theme::Palette;
use crate::widget::envelope::envelope;
use crate::widget::label::{self, Anchor, Label};
use iced::widget::canvas::Frame;
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::lead::Role;
use keyway_analysis::snapshot::{LeadSnapshot, Trace, Traces};

/// Room at the left of a lane for the lead's name, logical pixels.
const GUTTER: f32 = 144.0;

/// Below this height two columns of lanes read better than one, logical pixels.
const LOW_LANE: f32 = 26.0;

/// Where the lanes lie.
struct Lanes {
    plot: Rectangle,
    across: usize,
    rows: usize,
}

impl Lanes {
    fn new(plot: Rectangle, leads: usize) -> Self {
        let high = plot.height - LINE;
        let across = if high / count(leads.max(1)) < LOW_LANE {
            2
        } else {
            1
        };
        Self {
            plot,
            across,
            rows: leads.div_ceil(across).max(1),
        }
    }

    fn column(&self, column: usize) -> Rectangle {
        let gap = 16.0;
        let wide = (self.plot.width - gap * count(self.across - 1)) / count(self.across);
        let x = self.plot.x + (wide + gap) * count(column) + GUTTER;
        let high = self.plot.height - LINE;
        Rectangle::new(
            Point::new(x, self.plot.y),
            Size::new(wide - GUTTER - 16.0, high),
        )
    }

    fn lane(&self, index: usize) -> Rectangle {
        let column = self.column(index / self.rows);
        let high = column.height / count(self.rows);
        let y = column.y + high * count(index % self.rows);
        Rectangle::new(
            Point::new(column.x, y + 1.0),
            Size::new(column.width, high - 3.0),
        )
    }
}

/// Colour of a lead: its cam's, or that of the text.
fn colour(role: Role, p: &Palette) -> Color {
    match role {
        Role::Cam(id) | Role::Command(id) | Role::Current(id) => p.cam(id),
        Role::Crank | Role::StarterCurrent | Role::Supply | Role::Pressure | Role::Spare => p.text,
    }
}

/// The traces of leads that are connected.
pub fn fitted(traces: &Traces) -> impl Iterator<Item = &Trace> {
    traces.leads.iter().filter(|t| t.role != Role::Spare)
}

/// Marks on the horizontal axis as shares of its length, with the words of those that have any.
#[allow(clippy::cast_possible_truncation, reason = "shares of a screen length")]
fn marks(view: TraceView, traces: &Traces) -> Vec<(f32, Option<String>)> {
    let span = match view {
        TraceView::CrankLocked => {
            let words = ["0 firing", "", "180", "", "360", "", "540", "", "720°"];
            let mark = |(k, words): (usize, &str)| {
                (
                    count(k) / 8.0,
                    (!words.is_empty()).then(|| words.to_owned()),
                )
            };
            return words.into_iter().enumerate().map(mark).collect();
        }
        TraceView::Time(span) => span,
    };
    // The columns hold whole samples, so they may reach a little further back than was asked for.
    let held = if traces.span.0 > 0.0 {
        traces.span
    } else {
        span
    };
    let words = |tenth: u8| match tenth {
        10 => Some(format!("{} ms", figure::plain(-span.0 * 1000.0, 0))),
        5 => Some(figure::plain(-span.0 * 500.0, 0)),
        0 => Some("now".to_owned()),
        _ => None,
    };
    (0..=10_u8)
        .map(|tenth| {
            let share = 1.0 - span.0 / held.0 * f64::from(tenth) / 10.0;
            (share as f32, words(tenth))
        })
        .filter(|(share, _)| *share >= -1e-3)
        .collect()
}

/// What does not move: lanes and marks.
pub fn face(frame: &mut Frame, plot: Rectangle, traces: &Traces, view: TraceView, p: &Palette) {
    let leads = self::lanes(traces);
    let lanes = Lanes::new(plot, leads);
    for lane in (0..leads).map(|i| lanes.lane(i)) {
        frame.fill_rectangle(lane.position(), lane.size(), p.background);
        for (share, _) in marks(view, traces) {
            let x = (lane.x + lane.width * share).round();
            if share > 0.0 && share < 1.0 {
                frame.fill_rectangle(
                    Point::new(x, lane.y),
                    Size::new(1.0, lane.height),
                    p.hairline,
                );
            }
        }
    }
}

/// Number of lanes.
pub fn lanes(traces: &Traces) -> usize {
    fitted(traces).count()
}

/// What moves: the traces.
pub fn hands(
    frame: &mut Frame,
    plot: Rectangle,
    traces: &Traces,
    leads: &[LeadSnapshot],
    p: &Palette,
) {
    let lanes = Lanes::new(plot, self::lanes(traces));
    for (i, trace) in fitted(traces).enumerate() {
        let lane = lanes.lane(i);
        let Some([low, high]) = scale(trace, leads) else {
            continue;
        };
        let y = |v: f32| {
            lane.y + 2.0 + (lane.height - 4.0) * (1.0 - (v - low) / (high - low)).clamp(0.0, 1.0)
        };
        let columns: Vec<_> = trace
            .columns
            .iter()
            .map(|c| c.map(|[least, most]| [y(most), y(least)]))
            .collect();
        let step = lane.width / count(columns.len().max(1));
        frame.fill(&envelope(&columns, lane.x, step), colour(trace.role, p));
    }
}

/// The words: leads with their scales, and the axis.
pub fn words(
    labels: &mut Vec<Label>,
    plot: Rectangle,
    traces: &Traces,
    leads: &[LeadSnapshot],
    view: TraceView,
    p: &Palette,
) {
    let lanes = Lanes::new(plot, self::lanes(traces));
    for (i, trace) in fitted(traces).enumerate() {
        let lane = lanes.lane(i);
        let x = lane.x - GUTTER;
        let range = scale(trace, leads).map_or_else(
            || "no samples".to_owned(),
            |[low, high]| {
                let decimals = usize::from(high - low < 4.0);
                let end = |v: f32| figure::plain(f64::from(v), decimals);
                format!("{} to {} {}", end(low), end(high), trace.unit)
            },
        );
        let is_tall = lane.height >= 34.0;
        let y = lane.center_y() - if is_tall { 9.0 } else { 0.0 };
        let name = words::lead(trace.role);
        labels.push(
            Label::new(name, Point::new(x, y), Anchor::Left, colour(trace.role, p))
                .within(GUTTER - 8.0),
        );
        if is_tall {
            labels.push(
                Label::new(range, Point::new(x, y + 18.0), Anchor::Left, p.quiet)
                    .within(GUTTER - 8.0),
            );
        }
    }
    let y = plot.y + plot.height - LINE * 0.4;
    for column in 0..lanes.across {
        let c = lanes.column(column);
        for (share, words) in marks(view, traces) {
            let Some(words) = words else { continue };
            let half = label::width(&words, font::SMALL, font::REGULAR) / 2.0;
            let x = (c.x + c.width * share).min(plot.x + plot.width - half);
            labels.push(Label::new(words, Point::new(x, y), Anchor::Middle, p.quiet));
        }
    }
}

/// Ends of a lane's scale: what the lead showed in the last second and in these columns, rounded
/// outwards so that the scale stands still while the signal breathes.
#[allow(
    clippy::cast_possible_truncation,
    reason = "values to be drawn; f32 is what the traces hold"
)]
pub fn scale(trace: &Trace, leads: &[LeadSnapshot]) -> Option<[f32; 2]> {
    let second = leads
        .iter()
        .find(|l| l.role == trace.role)
        .and_then(|l| l.range);
    let second = second.map(|[low, high]| [low as f32, high as f32]);
    let [low, high] = trace
        .columns
        .iter()
        .copied()
        .chain([second])
        .flatten()
        .reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])?;
    Some(rounded([low, high]))
}

/// A scale's ends for values from `low` to `high`, rounded outwards.
pub(crate) fn rounded([low, high]: [f32; 2]) -> [f32; 2] {
    let step = round_step((high - low).max(0.2) / 5.0);
    // A little below nothing, as a driver's saturation, is drawn at nothing rather than a step below.
    let low = if low < 0.0 && low > -0.04 * (high - low) {
        0.0
    } else {
        low
    };
    // Nothing stays nothing; any other end has a little air.
    let air = if low.abs() < 1e-6 { 0.0 } else { 0.02 };
    let low = (low / step - air).floor() * step;
    let high = (high / step + 0.02).ceil() * step;
    [low, if high > low { high } else { low + step }]
}

/// 1, 2 or 5 times a power of ten, not below `least`.
fn round_step(least: f32) -> f32 {
    let decade = 10_f32.powf(least.log10().floor());
    [1.0, 2.0, 5.0]
        .map(|k| k * decade)
        .into_iter()
        .find(|s| *s >= least)
        .unwrap_or(10.0 * decade)
}

#[cfg(test)]
mod tests {
    use super::{round_step, scale};
    use keyway_analysis::lead::Role;
    use keyway_analysis::snapshot::Trace;

    #[test]
    fn scales_are_rounded_outwards() {
        for (least, want) in [
            (0.3, 0.5),
            (1.0, 1.0),
            (4.9, 5.0),
            (6.0, 10.0),
            (120.0, 200.0),
        ] {
            assert!((round_step(least) - want).abs() < 1e-4 * want, "{least}");
        }
        let trace = |columns| Trace {
            role: Role::Supply,
            unit: "V".to_owned(),
            columns,
        };
        let [low, high] = scale(&trace(vec![Some([0.3, 13.9]), None]), &[]).expect("has samples");
        assert!(
            (low - 0.0).abs() < 1e-6 && (high - 15.0).abs() < 1e-6,
            "{low} {high}"
        );
        assert_eq!(scale(&trace(vec![None]), &[]), None);
    }
}
