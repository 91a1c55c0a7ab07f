//! What is on the Compare page as data.

use super::{Compare, Shown};
use crate::compare::side::Side;
use crate::compare::table::{difference, value, word};
use crate::exhibit::scene::{Axis, Curve, CurveShape, Row, Scene, Stretch, Value};
use keyway_analysis::comparison::{Compared, Verdict};

/// Measures that are kept with it.
const KEPT: usize = 12;

/// The scene; none before anything was compared.
pub(super) fn of(page: &Compare) -> Option<Scene> {
    let outcome = page.outcome.as_ref()?;
    let names: Vec<&str> = outcome.sides.iter().map(|s| s.name.as_str()).collect();
    let name = |place: usize| (*names.get(place).unwrap_or(&"")).to_owned();
    let how = match page.shown {
        Shown::Table => "measures".to_owned(),
        Shown::Crank => format!("by crank angle, {}", page.next_words()),
        Shown::Events => format!("by event, {}", page.next_words()),
    };
    let chart = &page.chart;
    let rows = (chart.lanes.iter())
        .map(|lane| Row {
            y: Axis {
                label: lane.title.clone(),
                unit: lane.unit.to_owned(),
                from: lane.y.0,
                to: lane.y.1,
            },
            curves: (lane.curves.iter())
                .map(|(which, points)| Curve {
                    name: name(*which),
                    role: lane.role,
                    shape: CurveShape::Line(points.clone()),
                })
                .collect(),
            stretches: (lane.bars.iter())
                .filter_map(|(whose, from, to)| {
                    Some(Stretch {
                        from: *from,
                        to: *to,
                        words: name((*whose)?),
                        is_disagreement: false,
                    })
                })
                .collect(),
        })
        .collect();
    Some(Scene {
        title: format!("{}: {how}", names.join(" and ")),
        screen: "Compare".to_owned(),
        engine: outcome.sides.first().map(|s| s.engine.clone())?,
        sentence: page.words(),
        recordings: outcome.sides.iter().map(Side::file_name).collect(),
        x: Axis {
            label: chart.axis.0.clone(),
            unit: chart.axis.1.to_owned(),
            from: chart.x.0,
            to: chart.x.1,
        },
        rows,
        cursors: Vec::new(),
        values: page.rows().into_iter().take(KEPT).map(kept).collect(),
    })
}

impl Compare {
    fn next_words(&self) -> String {
        match (&self.outcome, self.shown) {
            (Some(outcome), Shown::Crank) => {
                let laid = outcome.laid.get(self.laid);
                laid.map_or_else(String::new, |l| l.words.to_owned())
            }
            _ => self.anchor.words(),
        }
    }
}

fn kept(row: &Compared) -> Value {
    let [by, range] = difference(row);
    let figures = format!("{} → {}", value(&row.base), value(&row.other));
    let figure = match row.difference {
        Some(_) => format!("{figures} {}, {by} {range}", row.base.unit),
        None => figures,
    };
    let quality = match &row.verdict {
        Verdict::NotComparable(why) | Verdict::NotShown(why) => {
            format!("missing: {}, {why}", word(&row.verdict))
        }
        Verdict::Exceeds
        | Verdict::ExceedsAlone
        | Verdict::Within
        | Verdict::Differs
        | Verdict::Alike => "valid".to_owned(),
    };
    Value {
        name: row.base.name.clone(),
        figure,
        quality,
    }
}
