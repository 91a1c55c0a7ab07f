//! Gauges: a figure, and a scale with the zone in which it should be. The eye compares, it does not read.

use super::plan::shrunk;
use super::words;
use crate::theme::{Palette, RADIUS};
use crate::widget::label::{self, Anchor, Label};
use crate::{figure, font};
use iced::widget::canvas::{Frame, Path, Stroke};
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::engine::{CamSheet, EngineSheet};
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{AgreementState, CamSnapshot, Snapshot};
use keyway_analysis::units::{Band, Percent};

/// Highest speed on the scale: above it car engines rarely turn (from memory).
const FULL_SPEED: f64 = 7_000.0;

/// Supply scale: a battery that can still crank, to the top of a 12 V charging system (common practice).
const SUPPLY_SCALE: [f64; 2] = [8.0, 16.0];

/// Degrees shown beyond the phaser's stops, so that a cam that jumped a tooth stays on the scale.
const BEYOND_STOPS: f64 = 12.0;

/// One gauge as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Gauge {
    /// What it shows.
    pub title: String,
    /// Cam colour, or that of the text.
    pub colour: Color,
    /// The figure with its quality.
    pub reading: Reading<f64>,
    /// Decimals of the figure.
    pub decimals: usize,
    /// Whether a plus sign is written.
    pub is_signed: bool,
    /// Unit beside the figure.
    pub unit: &'static str,
    /// A few words at the right.
    pub note: String,
    /// Ends of the scale.
    pub scale: [f64; 2],
    /// Zone in which the figure should be.
    pub zone: Option<[f64; 2]>,
    /// Whether this figure is what is wrong.
    pub is_alarm: bool,
}

/// The gauges in their order: speed and supply, then phase and duty per cam.
pub fn gauges(snapshot: &Snapshot, sheet: &EngineSheet, p: &Palette) -> Vec<Gauge> {
    let mut gauges = vec![speed(snapshot, sheet, p), supply(snapshot, sheet, p)];
    for cam in &snapshot.cams {
        let cam_sheet = sheet.cam(cam.id);
        gauges.push(phase(cam, cam_sheet, p));
        gauges.push(duty(cam, p));
    }
    gauges
}

fn speed(snapshot: &Snapshot, sheet: &EngineSheet, p: &Palette) -> Gauge {
    Gauge {
        title: "Engine speed".to_owned(),
        colour: p.quiet,
        reading: snapshot.speed.map(|v| v.0),
        decimals: 0,
        is_signed: false,
        unit: "rpm",
        note: "0.2 s mean, zone: idle".to_owned(),
        scale: [0.0, FULL_SPEED],
        zone: Some([sheet.idle.low.0, sheet.idle.high.0]),
        is_alarm: false,
    }
}

fn supply(snapshot: &Snapshot, sheet: &EngineSheet, p: &Palette) -> Gauge {
    let zone = sheet.supply;
    // The zone holds for a running engine; a starting one draws the supply down rightly.
    let is_running = snapshot
        .speed
        .valid()
        .is_some_and(|v| v >= sheet.idle.low * 0.8);
    let outside = snapshot
        .supply
        .valid()
        .filter(|v| is_running && !zone.contains(*v));
    let note = match (outside, snapshot.supply_ripple.valid()) {
        (Some(v), _) if v < zone.low => "below its zone".to_owned(),
        (Some(_), _) => "above its zone".to_owned(),
        (None, Some(ripple)) => format!("ripple {} V", figure::plain(ripple.0, 1)),
        (None, None) => String::new(),
    };
    Gauge {
        title: "Supply".to_owned(),
        colour: p.quiet,
        reading: snapshot.supply.map(|v| v.0),
        decimals: 1,
        is_signed: false,
        unit: "V",
        note,
        scale: SUPPLY_SCALE,
        zone: Some([zone.low.0, zone.high.0]),
        is_alarm: outside.is_some(),
    }
}

fn phase(cam: &CamSnapshot, sheet: Option<&CamSheet>, p: &Palette) -> Gauge {
    let state = cam.agreement.state;
    // No command is the fault of the command, and its gauge carries the frame.
    let is_alarm = state.is_disagreement() && state != AgreementState::NoCommand;
    let stop = sheet
        .and_then(|s| s.phaser.as_ref())
        .map_or(0.0, |f| f.rest.drive_sign() * f.authority.0);
    let tolerance = sheet
        .filter(|s| s.known_good)
        .map(|s| [-s.tolerance.0, s.tolerance.0]);
    let due = cam.due.map(|d| [d.low.0, d.high.0]);
    let note = match cam.due {
        Some(d) if is_alarm => format!("{}, {}", state.words(), short_due(d.low.0, d.high.0)),
        Some(_) | None => state.words().to_owned(),
    };
    Gauge {
        title: format!("{} cam", words::cam_capital(cam.id)),
        colour: p.cam(cam.id),
        reading: cam.phase.map(|v| v.0),
        decimals: 1,
        is_signed: true,
        unit: "°",
        note,
        scale: [stop.min(0.0) - BEYOND_STOPS, stop.max(0.0) + BEYOND_STOPS],
        zone: due.or(if sheet.is_some_and(|s| s.phaser.is_none()) {
            tolerance
        } else {
            None
        }),
        is_alarm,
    }
}

/// "due −3°", "due +10 to +14°".
fn short_due(low: f64, high: f64) -> String {
    if high - low < 3.0 {
        format!("due {}°", figure::signed((low + high) / 2.0, 0))
    } else {
        format!(
            "due {} to {}°",
            figure::signed(low, 0),
            figure::signed(high, 0)
        )
    }
}

fn duty(cam: &CamSnapshot, p: &Palette) -> Gauge {
    let hold = cam.command.hold.map(
        |Band {
             low: Percent(low),
             high: Percent(high),
         }| [low, high],
    );
    let is_alarm = cam.agreement.state == AgreementState::NoCommand;
    let note = match cam.command.frequency {
        _ if is_alarm => "no command".to_owned(),
        Reading::Valid(f) => format!("{} Hz", figure::plain(f.0, 0)),
        Reading::Stale(..) | Reading::Suspect(..) | Reading::Missing(_) => String::new(),
    };
    Gauge {
        title: format!("{} duty", words::cam_capital(cam.id)),
        colour: p.cam(cam.id),
        reading: cam.command.duty.map(|v| v.0),
        decimals: 1,
        is_signed: false,
        unit: "%",
        note,
        scale: [0.0, 100.0],
        zone: hold,
        is_alarm,
    }
}

/// How a gauge is arranged in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// Title, figure and scale below each other.
    Tall,
    /// Scale beside the figure.
    Wide,
    /// Note beside the figure, scale below.
    Narrow,
}

struct Places {
    form: Form,
    inner: Rectangle,
    title_y: f32,
    figure_y: f32,
    figure_size: f32,
    track: Rectangle,
}

/// Room for the figure and its unit in the wide form, logical pixels: "−123.4 °" at its size.
const WIDE_FIGURE: f32 = 128.0;

fn places(tile: Rectangle) -> Places {
    if tile.height >= 100.0 {
        let inner = shrunk(tile, 16.0, 8.0);
        let track_y = tile.y + tile.height - 28.0;
        let track = Rectangle::new(Point::new(inner.x, track_y), Size::new(inner.width, 10.0));
        let title_y = inner.y + 12.0;
        let figure_y = (title_y + 10.0 + track_y) / 2.0;
        return Places {
            form: Form::Tall,
            inner,
            title_y,
            figure_y,
            figure_size: 35.0,
            track,
        };
    }
    let inner = shrunk(tile, 12.0, 6.0);
    let title_y = inner.y + 9.0;
    if tile.width >= 260.0 {
        let figure_y = (title_y + 10.0 + tile.y + tile.height) / 2.0 - 3.0;
        let track = Rectangle::new(
            Point::new(inner.x + WIDE_FIGURE, figure_y - 6.0),
            Size::new(inner.width - WIDE_FIGURE, 10.0),
        );
        return Places {
            form: Form::Wide,
            inner,
            title_y,
            figure_y,
            figure_size: 26.0,
            track,
        };
    }
    let track_y = tile.y + tile.height - 16.0;
    let track = Rectangle::new(Point::new(inner.x, track_y), Size::new(inner.width, 6.0));
    let figure_y = (title_y + 7.0 + track_y) / 2.0;
    Places {
        form: Form::Narrow,
        inner,
        title_y,
        figure_y,
        figure_size: 20.0,
        track,
    }
}

/// What does not move: panel and track.
pub fn face(frame: &mut Frame, tile: Rectangle, p: &Palette) {
    frame.fill(
        &Path::rounded_rectangle(tile.position(), tile.size(), RADIUS.into()),
        p.panel,
    );
    let track = places(tile).track;
    frame.fill_rectangle(track.position(), track.size(), p.background);
}

/// What moves: zone, pointer, alarm frame.
pub fn hands(frame: &mut Frame, tile: Rectangle, gauge: &Gauge, p: &Palette) {
    let track = places(tile).track;
    let [low, high] = gauge.scale;
    // The share of the scale, kept on it.
    let x = |value: f64| track.x + track.width * share((value - low) / (high - low));
    if let Some([from, to]) = gauge.zone {
        let at = Point::new(x(from), track.y);
        // At rest the zone may have no width; it must still be seen.
        let size = Size::new((x(to) - x(from)).max(4.0), track.height);
        frame.fill_rectangle(at, size, p.zone);
        for edge in [at.x, at.x + size.width - 1.0] {
            frame.fill_rectangle(Point::new(edge, at.y), Size::new(1.0, size.height), p.edge);
        }
    }
    if let Some(value) = gauge.reading.any() {
        let colour = match gauge.reading {
            _ if gauge.is_alarm => p.alarm,
            Reading::Valid(_) | Reading::Suspect(..) => p.text,
            Reading::Stale(..) | Reading::Missing(_) => p.edge,
        };
        let tip = Point::new(x(value), track.y + track.height * 0.35);
        let pointer = Path::new(|b| {
            b.move_to(tip);
            b.line_to(Point::new(tip.x + 7.0, tip.y + 15.0));
            b.line_to(Point::new(tip.x - 7.0, tip.y + 15.0));
            b.close();
        });
        frame.fill(&pointer, colour);
    }
    if gauge.is_alarm {
        let border = shrunk(tile, 1.0, 1.0);
        let path = Path::rounded_rectangle(border.position(), border.size(), RADIUS.into());
        frame.stroke(&path, Stroke::default().with_color(p.alarm).with_width(2.0));
    }
}

/// Share of the scale's length, kept within it.
#[allow(
    clippy::cast_possible_truncation,
    reason = "a share of a screen length; f32 is what is drawn with"
)]
fn share(value: f64) -> f32 {
    value.clamp(0.0, 1.0) as f32
}

/// The words and figures.
pub fn words(labels: &mut Vec<Label>, tile: Rectangle, gauge: &Gauge, p: &Palette) {
    let Places {
        form,
        inner,
        title_y,
        figure_y,
        figure_size,
        track,
    } = places(tile);
    let right = inner.x + inner.width;
    let note_colour = if gauge.is_alarm { p.alarm } else { p.quiet };
    let title = Label::new(
        gauge.title.clone(),
        Point::new(inner.x, title_y),
        Anchor::Left,
        gauge.colour,
    );
    let title_wide = label::width(&gauge.title, font::SMALL, font::REGULAR);
    labels.push(title);

    let (text, colour) = match gauge.reading {
        Reading::Missing(_) => (figure::NONE.to_owned(), p.quiet),
        Reading::Stale(v, _) => (written(gauge, v), p.quiet),
        Reading::Valid(v) | Reading::Suspect(v, _) => (written(gauge, v), p.text),
    };
    let figure_wide = label::width(&text, figure_size, font::BOLD);
    let unit_wide = label::width(gauge.unit, figure_size * 0.46, font::REGULAR);
    labels.push(
        Label::new(text, Point::new(inner.x, figure_y), Anchor::Left, colour)
            .size(figure_size)
            .bold(),
    );
    let after = inner.x + figure_wide + 4.0;
    if !matches!(gauge.reading, Reading::Missing(_)) {
        // On the figure's foot line, not on its middle.
        let y = figure_y + figure_size * 0.18;
        labels.push(
            Label::new(gauge.unit, Point::new(after, y), Anchor::Left, p.quiet)
                .size((figure_size * 0.46).max(font::SMALL)),
        );
    }
    let quality = match gauge.reading {
        Reading::Valid(_) => None,
        Reading::Stale(_, age) => Some(format!("{} s old", figure::plain(age.0, 1))),
        Reading::Suspect(_, why) => Some(format!("suspect: {why}")),
        Reading::Missing(why) => Some(why.to_string()),
    };
    let is_missing = matches!(gauge.reading, Reading::Missing(_));
    match (form, quality) {
        (Form::Tall, Some(why)) => {
            note(
                labels,
                gauge.note.clone(),
                right,
                title_y,
                right - inner.x - title_wide - 12.0,
                note_colour,
            );
            let x = if is_missing {
                after + 12.0
            } else {
                after + unit_wide + 16.0
            };
            let y = figure_y + figure_size * 0.18;
            labels.push(Label::new(why, Point::new(x, y), Anchor::Left, p.quiet).within(right - x));
        }
        (Form::Wide, Some(why)) if is_missing => {
            note(
                labels,
                gauge.note.clone(),
                right,
                title_y,
                right - inner.x - title_wide - 12.0,
                note_colour,
            );
            // Nothing stands on the scale, so the reason may stand above it.
            let at = Point::new(track.x + 8.0 - WIDE_FIGURE + figure_wide + 8.0, figure_y);
            labels.push(Label::new(why, at, Anchor::Left, p.quiet).within(right - at.x));
        }
        (Form::Narrow, quality) => {
            let words = quality.unwrap_or_else(|| gauge.note.clone());
            let x = if is_missing {
                after + 6.0
            } else {
                after + unit_wide + 10.0
            };
            note(labels, words, right, figure_y + 3.0, right - x, note_colour);
        }
        (Form::Tall | Form::Wide, quality) => {
            let words = quality.unwrap_or_else(|| gauge.note.clone());
            note(
                labels,
                words,
                right,
                title_y,
                right - inner.x - title_wide - 12.0,
                note_colour,
            );
        }
    }
}

fn note(labels: &mut Vec<Label>, words: String, x: f32, y: f32, most: f32, colour: Color) {
    if !words.is_empty() {
        labels.push(Label::new(words, Point::new(x, y), Anchor::Right, colour).within(most));
    }
}

fn written(gauge: &Gauge, value: f64) -> String {
    if gauge.is_signed {
        figure::signed(value, gauge.decimals)
    } else {
        figure::plain(value, gauge.decimals)
    }
}
