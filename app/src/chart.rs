//! The review chart: speed, duty, phase and agreement of a whole recording on one time axis.

use crate::fault::Fault;
use crate::survey::Survey;
use keyway_analysis::lead::{CamId, CamKind};
use keyway_analysis::snapshot::{AgreementState, HistoryPoint};
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::{FontStyle, register_font};
use std::path::Path;
use std::sync::{Arc, OnceLock};

/// Pixels. Wide enough that a minute at 20 points a second has a pixel for each.
const SIZE: (u32, u32) = (1400, 900);

/// Okabe and Ito's colour-blind-safe set (2008), their darker kin as on the daylight theme.
const INTAKE: RGBColor = RGBColor(0x00, 0x5f, 0x9e);
const EXHAUST: RGBColor = RGBColor(0x9a, 0x5b, 0x00);
const ALARM: RGBColor = RGBColor(0xb8, 0x36, 0x00);
const INK: RGBColor = RGBColor(0x1c, 0x20, 0x26);
const QUIET: RGBColor = RGBColor(0xd3, 0xd8, 0xde);

/// Kinds of picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Vector drawing.
    Svg,
    /// Pixels.
    Png,
}

impl Format {
    /// The kind that the ending of a file name stands for.
    pub fn of(path: &Path) -> Result<Self, Fault> {
        let ending = path.extension().and_then(|e| e.to_str());
        match ending.map(str::to_ascii_lowercase).as_deref() {
            Some("svg") => Ok(Self::Svg),
            Some("png") => Ok(Self::Png),
            _ => Err(Fault::Chart(Arc::from(
                "the file name must end in .svg or .png",
            ))),
        }
    }
}

/// Draws the chart; the ending of the name decides between SVG and PNG.
pub fn draw(survey: &Survey, path: &Path) -> Result<(), Fault> {
    let format = Format::of(path)?;
    fonts()?;
    let failed = |why: String| Fault::Chart(Arc::from(why));
    match format {
        Format::Svg => {
            let mut text = String::new();
            let root = SVGBackend::with_string(&mut text, SIZE).into_drawing_area();
            chart(survey, root).map_err(failed)?;
            std::fs::write(path, text).map_err(|e| Fault::unwritable(path, &e))
        }
        Format::Png => {
            // The encoder writes the file itself; a folder that refuses is found out before.
            drop(std::fs::File::create(path).map_err(|e| Fault::unwritable(path, &e))?);
            chart(survey, BitMapBackend::new(path, SIZE).into_drawing_area()).map_err(failed)
        }
    }
}

/// Registers the embedded fonts once; plotters asks for "sans-serif" where nothing is said.
fn fonts() -> Result<(), Fault> {
    static DONE: OnceLock<bool> = OnceLock::new();
    let regular = include_bytes!("../assets/fonts/B612-Regular.otf");
    let bold = include_bytes!("../assets/fonts/B612-Bold.otf");
    let done = *DONE.get_or_init(|| {
        register_font("sans-serif", FontStyle::Normal, regular).is_ok()
            && register_font("sans-serif", FontStyle::Bold, bold).is_ok()
    });
    if done {
        Ok(())
    } else {
        Err(Fault::Chart(Arc::from("the built-in font is damaged")))
    }
}

fn colour(cam: CamId) -> RGBColor {
    match cam.kind {
        CamKind::Intake => INTAKE,
        CamKind::Exhaust => EXHAUST,
    }
}

fn chart<B: DrawingBackend>(survey: &Survey, root: DrawingArea<B, Shift>) -> Result<(), String> {
    paint(survey, &root).map_err(|e| e.to_string())
}

type Painted<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

fn paint<B: DrawingBackend>(survey: &Survey, root: &DrawingArea<B, Shift>) -> Painted<B> {
    root.fill(&WHITE)?;
    let (title, rest) = root.split_vertically(56);
    title.draw(&Text::new(
        survey.title.clone(),
        (24, 18),
        ("sans-serif", 22)
            .into_font()
            .style(FontStyle::Bold)
            .color(&INK),
    ))?;
    let length = survey.seconds.max(1.0);
    let seconds = |p: &HistoryPoint| survey.seconds_at(p.at);

    let parts = rest.split_by_breakpoints::<u32, u32, _, _>([], [210, 420, 660]);
    let speeds = survey.points.iter().filter_map(|p| p.speed);
    let top = speeds.map(|s| s.0).fold(1000.0, f64::max) * 1.05;
    panel(
        &parts[0],
        length,
        0.0..top,
        "engine speed, rpm",
        &mut |chart| {
            for run in runs(&survey.points, |p| p.speed.map(|s| (seconds(p), s.0))) {
                let _ = chart.draw_series(LineSeries::new(run, INK.stroke_width(1)))?;
            }
            Ok(())
        },
    )?;
    panel(&parts[1], length, 0.0..100.0, "duty, %", &mut |chart| {
        for (i, cam) in survey.cams.iter().enumerate() {
            let duty = |p: &HistoryPoint| Some((seconds(p), p.cams.get(i)?.duty?.0));
            for run in runs(&survey.points, duty) {
                let _ = chart.draw_series(LineSeries::new(run, colour(cam.id).stroke_width(1)))?;
            }
        }
        Ok(())
    })?;
    panel(
        &parts[2],
        length,
        phase_range(survey),
        "cam phase, ° crank, advance upwards; pale: where it is due",
        &mut |chart| {
            for (i, cam) in survey.cams.iter().enumerate() {
                let due = survey.points.iter().filter_map(|p| {
                    let due = p.cams.get(i)?.due?;
                    let x = seconds(p);
                    Some(Rectangle::new(
                        [(x - 0.025, due.low.0), (x + 0.025, due.high.0)],
                        colour(cam.id).mix(0.15).filled(),
                    ))
                });
                let _ = chart.draw_series(due)?;
                let phase = |p: &HistoryPoint| Some((seconds(p), p.cams.get(i)?.phase?.0));
                for run in runs(&survey.points, phase) {
                    let _ =
                        chart.draw_series(LineSeries::new(run, colour(cam.id).stroke_width(2)))?;
                }
            }
            Ok(())
        },
    )?;
    agreement(survey, &parts[3], length)
}

type Chart<'a, B> = ChartContext<
    'a,
    B,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

/// One panel with its axes; `fill` draws what is in it.
fn panel<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    length: f64,
    range: std::ops::Range<f64>,
    unit: &str,
    fill: &mut dyn FnMut(&mut Chart<'_, B>) -> Painted<B>,
) -> Painted<B> {
    let mut chart = ChartBuilder::on(area)
        .margin_right(24)
        .margin_top(22)
        .x_label_area_size(24)
        .y_label_area_size(88)
        .build_cartesian_2d(0.0..length, range)?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(QUIET)
        .axis_style(QUIET)
        .label_style(("sans-serif", 14).into_font().color(&INK))
        .y_labels(5)
        .y_label_formatter(&|v| format!("{v:.0}"))
        .x_labels(12)
        .x_label_formatter(&|s| format!("{s:.0} s"))
        .draw()?;
    fill(&mut chart)?;
    // Inside the panel: beside the axis it would be turned and cut.
    let words = ("sans-serif", 15).into_font().color(&INK);
    area.draw(&Text::new(unit.to_owned(), (96, 4), words))
}

/// One bar per cam: grey while they agree, alarm colour with the word where not.
fn agreement<B: DrawingBackend>(
    survey: &Survey,
    area: &DrawingArea<B, Shift>,
    length: f64,
) -> Painted<B> {
    let (width, _) = area.dim_in_pixel();
    let (left, right) = (88.0, f64::from(width) - 24.0);
    #[allow(
        clippy::cast_possible_truncation,
        reason = "pixels of a picture 1400 wide"
    )]
    let x = |seconds: f64| (left + (right - left) * (seconds / length).clamp(0.0, 1.0)) as i32;
    let words = |size: i32, colour: RGBColor| ("sans-serif", size).into_font().color(&colour);
    let mut y = 8;
    for (i, cam) in survey.cams.iter().enumerate() {
        area.draw(&Text::new(
            cam.id.to_string(),
            (12, y + 6),
            words(15, colour(cam.id)),
        ))?;
        for span in spans(survey, i) {
            let shade = if span.state.is_disagreement() {
                ALARM.mix(0.75)
            } else if span.state == AgreementState::Following {
                QUIET.mix(1.0)
            } else {
                QUIET.mix(0.35)
            };
            let (from, to) = (x(span.from), x(span.to).max(x(span.from) + 1));
            area.draw(&Rectangle::new([(from, y), (to, y + 26)], shade.filled()))?;
            area.draw(&Rectangle::new(
                [(from, y), (from + 1, y + 26)],
                WHITE.filled(),
            ))?;
            if span.state.is_disagreement() && to - from > 12 {
                area.draw(&Text::new(
                    span.state.words(),
                    (from, y + 30),
                    words(14, ALARM),
                ))?;
            }
        }
        y += 56;
    }
    area.draw(&Text::new(
        "agreement of command and position: grey follows, pale is not judged, red disagrees",
        (88, y),
        words(14, INK),
    ))
}

/// A stretch of one state.
struct Span {
    from: f64,
    to: f64,
    state: AgreementState,
}

fn spans(survey: &Survey, cam: usize) -> Vec<Span> {
    let mut spans: Vec<Span> = Vec::new();
    for point in &survey.points {
        let Some(state) = point.cams.get(cam).map(|c| c.state) else {
            continue;
        };
        let at = survey.seconds_at(point.at);
        match spans.last_mut() {
            Some(last) if last.state == state => last.to = at,
            previous => {
                if let Some(last) = previous {
                    last.to = at;
                }
                spans.push(Span {
                    from: at,
                    to: at,
                    state,
                });
            }
        }
    }
    spans
}

/// Lines break where a value is missing: a bridge would be a value nobody measured.
fn runs(
    points: &[HistoryPoint],
    value: impl Fn(&HistoryPoint) -> Option<(f64, f64)>,
) -> Vec<Vec<(f64, f64)>> {
    let mut runs = vec![Vec::new()];
    for point in points {
        match (value(point), runs.last_mut()) {
            (Some(xy), Some(run)) => run.push(xy),
            (None, Some(run)) if !run.is_empty() => runs.push(Vec::new()),
            _ => {}
        }
    }
    runs.retain(|run| !run.is_empty());
    runs
}

fn phase_range(survey: &Survey) -> std::ops::Range<f64> {
    let phases = survey
        .points
        .iter()
        .flat_map(|p| p.cams.iter().filter_map(|c| c.phase))
        .map(|p| p.0);
    let (low, high) = phases.fold((-10.0_f64, 10.0_f64), |(l, h), p| (l.min(p), h.max(p)));
    low - 5.0..high + 5.0
}
