//! What the Live screen shows, as data: the strip or the traces as they stand, the figures of the gauges
//! with their quality, and the sentence.

use super::gauge::{self, Gauge};
use super::sentence;
use super::{Live, Lower, TraceView, cylinders, strip, traces, words};
use crate::exhibit::scene::{Axis, Curve, CurveShape, Row, Scene, Stretch, Value};
use crate::figure;
use crate::theme::Look;
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::Role;
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{AgreementState, CamPoint, Snapshot};
use keyway_analysis::units::CrankDegrees;

impl Live {
    /// What is on the screen as data, to be kept as an exhibit; none before the first samples.
    pub fn scene(&self, sheet: &EngineSheet) -> Option<Scene> {
        let newest = self.newest.as_ref()?;
        let shown = self.shown.as_ref().map_or(newest, |(_, shown)| shown);
        let said = sentence::sentence(shown);
        let mut values = figures(shown, sheet);
        let (title, x, rows) = match self.lower {
            Lower::Strip => (said.title.clone(), ago(-strip::SPAN), lanes(newest, sheet)),
            Lower::Traces => {
                let view = self.trace_view();
                let (title, x) = trace_axis(view);
                (title, x, leads(self, newest, view))
            }
            Lower::Cylinders => {
                values.extend(cylinders::values(&shown.cylinders));
                let title = "Cylinders beside each other".to_owned();
                (title, Axis::default(), Vec::new())
            }
            // Trials are steps to be read; the course beside them is what they look at.
            Lower::Trials => (said.title.clone(), ago(-strip::SPAN), lanes(newest, sheet)),
        };
        let mut sentence = if title == said.title {
            said.detail
        } else {
            format!("{}. {}", said.title, said.detail)
        };
        if let Some(more) = said.more {
            sentence = format!("{sentence} {more}");
        }
        Some(Scene {
            title,
            screen: self.title(),
            engine: sheet.name.clone(),
            sentence: sentence.trim().to_owned(),
            recordings: Vec::new(),
            x,
            rows,
            cursors: Vec::new(),
            values,
        })
    }
}

/// A time axis that ends now.
fn ago(from: f64) -> Axis {
    Axis {
        label: "before now".to_owned(),
        unit: "s".to_owned(),
        from,
        to: 0.0,
    }
}

/// Duty and phase of all cams, with where the phase was due and the disagreements.
fn lanes(snapshot: &Snapshot, sheet: &EngineSheet) -> Vec<Row> {
    let stretches: Vec<Stretch> = strip::stretches(snapshot)
        .into_iter()
        .map(|s| Stretch {
            from: -s.from.min(strip::SPAN),
            to: -s.to,
            words: format!("{} {}", words::cam(s.cam), s.state.words()),
            is_disagreement: true,
        })
        .collect();
    let mut duty = Vec::new();
    let mut phase = Vec::new();
    for (index, cam) in snapshot.cams.iter().enumerate() {
        let name = words::cam(cam.id);
        let line = |pick: &dyn Fn(&CamPoint) -> Option<f64>| {
            CurveShape::Line(
                course(snapshot, index, |c| pick(c).map(|v| [v]))
                    .into_iter()
                    .map(|(at, [v])| [at, v])
                    .collect(),
            )
        };
        let due = course(snapshot, index, |c| c.due.map(|d| [d.low.0, d.high.0]));
        phase.push(Curve {
            name: format!("{name}, due"),
            role: Some(Role::Cam(cam.id)),
            shape: CurveShape::Envelope(
                due.into_iter()
                    .map(|(at, [low, high])| [at, low, high])
                    .collect(),
            ),
        });
        phase.push(Curve {
            name: name.clone(),
            role: Some(Role::Cam(cam.id)),
            shape: line(&|c| c.phase.map(|v| v.0)),
        });
        duty.push(Curve {
            name,
            role: Some(Role::Command(cam.id)),
            shape: line(&|c| c.duty.map(|v| v.0)),
        });
    }
    let [low, high] = strip::degrees(sheet);
    let row = |label: &str, unit: &str, from, to, curves| Row {
        y: Axis {
            label: label.to_owned(),
            unit: unit.to_owned(),
            from,
            to,
        },
        curves,
        stretches: stretches.clone(),
    };
    vec![
        row("duty", "%", 0.0, 100.0, duty),
        row("cam phase", CrankDegrees::UNIT, low, high, phase),
    ]
}

/// What a cam did over the strip: seconds before now (negative) and values, which are not numbers where
/// nothing was known.
fn course<const N: usize>(
    snapshot: &Snapshot,
    cam: usize,
    pick: impl Fn(&CamPoint) -> Option<[f64; N]>,
) -> Vec<(f64, [f64; N])> {
    let Some(rate) = strip::rate(snapshot) else {
        return Vec::new();
    };
    snapshot
        .history
        .iter()
        .map(|point| {
            let at = (point.at.0 - snapshot.at.0) / rate;
            let value = point.cams.get(cam).and_then(&pick);
            (at, value.unwrap_or([f64::NAN; N]))
        })
        .filter(|(at, _)| *at >= -strip::SPAN)
        .collect()
}

/// The axis of the traces, and how they are called.
fn trace_axis(view: TraceView) -> (String, Axis) {
    match view {
        TraceView::Time(span) => {
            let ms = span.0 * 1000.0;
            let title = format!("Leads, the last {} ms", figure::plain(ms, 0));
            let axis = Axis {
                label: "before now".to_owned(),
                unit: "ms".to_owned(),
                from: -ms,
                to: 0.0,
            };
            (title, axis)
        }
        TraceView::CrankLocked => {
            let axis = Axis {
                label: "crank from firing TDC 1".to_owned(),
                unit: "°".to_owned(),
                from: 0.0,
                to: 720.0,
            };
            ("Leads over one engine cycle".to_owned(), axis)
        }
    }
}

/// One row for each lead.
fn leads(live: &Live, snapshot: &Snapshot, view: TraceView) -> Vec<Row> {
    traces::fitted(&live.traces)
        .map(|trace| {
            let held = if live.traces.span.0 > 0.0 {
                live.traces.span.0
            } else {
                1.0
            };
            let [from, long] = match view {
                TraceView::Time(_) => [-held * 1000.0, held * 1000.0],
                TraceView::CrankLocked => [0.0, 720.0],
            };
            let count = trace.columns.len().max(1);
            let points = trace
                .columns
                .iter()
                .enumerate()
                .map(|(k, column)| {
                    #[allow(clippy::cast_precision_loss, reason = "some hundreds of columns")]
                    let at = from + long * (k as f64 + 0.5) / count as f64;
                    let [low, high] = column.map_or([f64::NAN; 2], |column| column.map(f64::from));
                    [at, low, high]
                })
                .collect();
            let [low, high] =
                traces::scale(trace, &snapshot.leads).map_or([0.0, 1.0], |s| s.map(f64::from));
            let name = words::lead(trace.role);
            Row {
                y: Axis {
                    label: name.clone(),
                    unit: trace.unit.clone(),
                    from: low,
                    to: high,
                },
                curves: vec![Curve {
                    name,
                    role: Some(trace.role),
                    shape: CurveShape::Envelope(points),
                }],
                stretches: Vec::new(),
            }
        })
        .collect()
}

/// The figures of the gauges, and what is judged of each cam.
fn figures(snapshot: &Snapshot, sheet: &EngineSheet) -> Vec<Value> {
    // Only the words are wanted; any look has the same.
    let palette = Look::Workshop.palette();
    let mut values: Vec<Value> = gauge::gauges(snapshot, sheet, palette)
        .into_iter()
        .map(|gauge| figure_of(&gauge))
        .collect();
    for cam in &snapshot.cams {
        let name = words::cam_capital(cam.id);
        values.push(value(
            format!("{name} duty frequency"),
            cam.command.frequency.map(|f| f.0),
            |v| format!("{} Hz", figure::plain(v, 0)),
        ));
        values.push(Value {
            name: format!("{name} agreement"),
            figure: cam.agreement.state.words().to_owned(),
            // That it follows needs no reason; everything else has one.
            quality: match cam.agreement.state {
                AgreementState::Following => "valid".to_owned(),
                _ => cam.agreement.sentence.clone(),
            },
        });
    }
    values
}

fn figure_of(shown: &Gauge) -> Value {
    value(shown.title.clone(), shown.reading, |v| {
        let figure = gauge::written(shown, v);
        if shown.unit == CrankDegrees::UNIT {
            figure
        } else {
            format!("{figure} {}", shown.unit)
        }
    })
}

/// A figure with its quality in words.
pub fn value(name: String, reading: Reading<f64>, write: impl Fn(f64) -> String) -> Value {
    let (figure, quality) = match reading {
        Reading::Valid(v) => (write(v), "valid".to_owned()),
        Reading::Stale(v, age) => {
            let age = figure::plain(age.0, 1);
            (write(v), format!("stale: {age} s old"))
        }
        Reading::Suspect(v, why) => (write(v), format!("suspect: {why}")),
        Reading::Missing(why) => (figure::NONE.to_owned(), format!("missing: {why}")),
    };
    Value {
        name,
        figure,
        quality,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use keyway_analysis::reading::Why;
    use keyway_analysis::units::Seconds;

    #[test]
    fn a_figure_is_never_without_its_quality() {
        let of = |reading| {
            let v = value("Supply".to_owned(), reading, |v| format!("{v} V"));
            (v.figure, v.quality)
        };
        for (reading, figure, quality) in [
            (Reading::Valid(13.8), "13.8 V", "valid"),
            (
                Reading::Stale(13.8, Seconds(2.04)),
                "13.8 V",
                "stale: 2.0 s old",
            ),
            (
                Reading::Suspect(13.8, Why::Clipped),
                "13.8 V",
                "suspect: signal leaves the input range",
            ),
            (
                Reading::Missing(Why::NoLead),
                "—",
                "missing: no lead fitted",
            ),
        ] {
            assert_eq!(of(reading), (figure.to_owned(), quality.to_owned()));
        }
    }
}
