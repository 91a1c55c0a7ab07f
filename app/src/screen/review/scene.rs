//! What is on the Review page as data, for an exhibit.

use super::plan::Plan;
use super::{Opened, Shown, axis, detail, picture, table};
use crate::exhibit::scene::{Axis, Curve, CurveShape, Row, Scene, Stretch, Value};
use crate::review::course::Course;
use crate::screen::live::words;
use iced::Size;
use keyway_acquisition::recording::lens::Shape;
use keyway_analysis::lead::Role;
use std::ops::Range;

/// Points of a measured curve above which it is kept as least and greatest per column.
const MOST_POINTS: usize = 4000;

/// The scene; none before anything was seen.
pub fn scene(opened: &Opened, shown: Shown) -> Option<Scene> {
    let seen = opened.seen.as_ref()?;
    let window = opened.window.range();
    let mut rows = Vec::new();
    // Only the scales are wanted, so any size will do.
    let plan = Plan::new(Size::new(1000.0, 1000.0), 0, detail::rows(opened, shown));
    for lead in detail::lead_lanes(opened, &plan, shown) {
        let Some(seen_lead) = lead.seen else {
            continue;
        };
        rows.push(Row {
            y: axis(&words::lead(lead.role), &seen_lead.unit, lead.lane.y),
            curves: vec![Curve {
                name: words::capital(&words::lead(lead.role)),
                role: Some(lead.role),
                shape: samples(&seen_lead.shape, &(seen.gaze.from..seen.gaze.to), &window),
            }],
            stretches: (seen.missing.iter())
                .filter(|m| m.to > window.start && m.from < window.end)
                .map(|m| Stretch {
                    from: m.from.max(window.start),
                    to: m.to.min(window.end),
                    words: m.why.words(),
                    is_disagreement: false,
                })
                .collect(),
        });
    }
    if let (Some(course), Some([speed, duty, phase])) =
        (&opened.course, detail::course_lanes(opened, &plan, shown))
    {
        rows.push(Row {
            y: axis("engine speed", "rpm", speed.y),
            curves: vec![curve(
                "Engine speed",
                Role::Crank,
                course,
                &course.speed,
                &window,
            )],
            stretches: Vec::new(),
        });
        let cams = |of: &dyn Fn(usize) -> (Role, Vec<Option<f32>>)| {
            (course.cams.iter().enumerate())
                .map(|(i, cam)| {
                    let (role, values) = of(i);
                    let name = format!("{} cam", words::cam_capital(cam.id));
                    curve(&name, role, course, &values, &window)
                })
                .collect::<Vec<_>>()
        };
        rows.push(Row {
            y: axis("duty", "%", duty.y),
            curves: cams(&|i| {
                (
                    Role::Command(course.cams[i].id),
                    course.cams[i].duty.clone(),
                )
            }),
            stretches: disagreements(course, &window),
        });
        rows.push(Row {
            y: axis("phase", "°crank", phase.y),
            curves: cams(&|i| (Role::Cam(course.cams[i].id), course.cams[i].phase.clone())),
            stretches: disagreements(course, &window),
        });
    }
    let cursors: Vec<(String, f64)> = (picture::NAMES.iter().zip(opened.cursors))
        .filter_map(|(name, at)| Some(((*name).to_owned(), at?)))
        .collect();
    Some(Scene {
        title: format!(
            "{}, {} to {}",
            opened.name,
            axis::clock(window.start, 2),
            axis::clock(window.end, 2)
        ),
        screen: "Review".to_owned(),
        engine: opened.setup.sheet.name.clone(),
        recordings: vec![opened.name.clone()],
        x: Axis {
            label: "time".to_owned(),
            unit: "s".to_owned(),
            from: window.start,
            to: window.end,
        },
        rows,
        cursors,
        values: values(opened),
        ..Scene::default()
    })
}

fn axis(label: &str, unit: &str, [from, to]: [f64; 2]) -> Axis {
    Axis {
        label: label.to_owned(),
        unit: unit.to_owned(),
        from,
        to,
    }
}

/// What is seen of a lead, as far as it lies in the window.
fn samples(shape: &Shape, stretch: &Range<f64>, window: &Range<f64>) -> CurveShape {
    match shape {
        Shape::Samples(samples) => CurveShape::Line(
            (samples.iter())
                .filter(|(at, _)| window.contains(at))
                .map(|(at, v)| [*at, f64::from(*v)])
                .collect(),
        ),
        Shape::Columns(columns) => {
            let step = (stretch.end - stretch.start) / columns.len().max(1) as f64;
            CurveShape::Envelope(
                (columns.iter().enumerate())
                    .map(|(i, ends)| (stretch.start + (i as f64 + 0.5) * step, ends))
                    .filter(|(at, _)| window.contains(at))
                    .map(|(at, ends)| match ends {
                        Some([low, high]) => [at, f64::from(*low), f64::from(*high)],
                        None => [at, f64::NAN, f64::NAN],
                    })
                    .collect(),
            )
        }
    }
}

/// A measured value in the window; broken where it is not known.
fn curve(
    name: &str,
    role: Role,
    course: &Course,
    values: &[Option<f32>],
    window: &Range<f64>,
) -> Curve {
    let points = course.within(window);
    let shape = if points.len() > MOST_POINTS {
        let columns = MOST_POINTS / 2;
        let reduced = crate::review::course::reduced(
            &course.at[points.clone()],
            &values[points],
            window,
            columns,
        );
        samples(&Shape::Columns(reduced), window, window)
    } else {
        let mut line = Vec::with_capacity(points.len());
        for i in points.clone() {
            if i > points.start && !course.follows(i) {
                line.push([course.at[i] - 1e-3, f64::NAN]);
            }
            line.push([course.at[i], values[i].map_or(f64::NAN, f64::from)]);
        }
        CurveShape::Line(line)
    };
    Curve {
        name: name.to_owned(),
        role: Some(role),
        shape,
    }
}

fn disagreements(course: &Course, window: &Range<f64>) -> Vec<Stretch> {
    let mut stretches = Vec::new();
    for (i, cam) in course.cams.iter().enumerate() {
        let stays = course.stays(i).into_iter();
        let bad = stays
            .filter(|s| s.state.is_disagreement() && s.to > window.start && s.from < window.end);
        stretches.extend(bad.map(|s| Stretch {
            from: s.from.max(window.start),
            to: s.to.min(window.end),
            words: format!("{} {}", words::cam(cam.id), s.state.words()),
            is_disagreement: true,
        }));
    }
    stretches
}

/// What the cursors say.
fn values(opened: &Opened) -> Vec<Value> {
    let mut values: Vec<Value> = (table::lines(opened).into_iter())
        .map(|line| Value {
            name: line.name,
            quality: if line.why.is_empty() {
                "valid".to_owned()
            } else {
                format!("missing: {}", line.why)
            },
            figure: line.figure,
        })
        .collect();
    let Some(between) = &opened.between else {
        return values;
    };
    let both = opened.cursors.iter().all(Option::is_some);
    for lead in table::leads(between) {
        let [a, b, difference] = lead.at;
        let [mean, low, high] = lead.between;
        let mut push = |what: &str, figure: String| {
            let is_known = figure != crate::figure::NONE;
            values.push(Value {
                name: format!("{} {what}", lead.name),
                quality: if is_known {
                    "valid".to_owned()
                } else {
                    "missing: no sample".to_owned()
                },
                figure: if is_known {
                    format!("{figure} {}", lead.unit)
                } else {
                    figure
                },
            });
        };
        for (what, figure, is_put) in [
            ("at A", a, opened.cursors[0].is_some()),
            ("at B", b, opened.cursors[1].is_some()),
            ("B less A", difference, both),
            ("mean A to B", mean, both && between.share >= 1.0),
            ("least A to B", low, both && between.share >= 1.0),
            ("most A to B", high, both && between.share >= 1.0),
        ] {
            if is_put {
                push(what, figure);
            }
        }
    }
    values
}
