//! Gauges: a figure, and a scale with the zone in which it should be. The eye compares, it does not read.

use super::plan::{Middle, shrunk};
use super::words;
use crate::theme::{Palette, RADIUS};
use crate::widget::label::{self, Anchor, Label};
use crate::{figure, font};
use iced::widget::canvas::{Frame, Path, Stroke};
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::engine::{CamSheet, EngineSheet};
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{AgreementState, CamSnapshot, Snapshot};
use keyway_analysis::units::{Band, CrankDegrees, Percent};

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
    /// Zone that was learnt from this very phaser: in which it holds, or where it is predicted to be.
    pub learnt: Option<[f64; 2]>,
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
        learnt: None,
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
        learnt: None,
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
        Some(_) | None => format!("{}{}", state.words(), rates(cam)),
    };
    let predicted = cam.observer.as_ref().and_then(|o| o.predicted.valid());
    Gauge {
        title: format!("{} cam", words::cam_capital(cam.id)),
        colour: p.cam(cam.id),
        reading: cam.phase.map(|v| v.0),
        decimals: 1,
        is_signed: true,
        unit: CrankDegrees::UNIT,
        note,
        scale: [stop.min(0.0) - BEYOND_STOPS, stop.max(0.0) + BEYOND_STOPS],
        zone: due.or(if sheet.is_some_and(|s| s.phaser.is_none()) {
            tolerance
        } else {
            None
        }),
        learnt: predicted.map(|b| [b.low.0, b.high.0]),
        is_alarm,
    }
}

/// ", 62°/s out, 48°/s back": how quickly it was seen to move, as far as it was.
fn rates(cam: &CamSnapshot) -> String {
    let Some(observer) = &cam.observer else {
        return String::new();
    };
    [(observer.rate_out, "out"), (observer.rate_back, "back")]
        .into_iter()
        .filter_map(|(rate, way)| {
            let rate = rate.valid()?;
            Some(format!(", {}°/s {way}", figure::plain(rate.0, 0)))
        })
        .collect()
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
    let observer = cam.observer.as_ref();
    let learnt = observer
        .and_then(|o| o.hold.valid())
        .map(|b| [b.low.0, b.high.0]);
    let note = match cam.command.frequency {
        _ if is_alarm => "no command".to_owned(),
        Reading::Valid(f) => format!("{} Hz{}", figure::plain(f.0, 0), holds(learnt)),
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
        learnt,
        is_alarm,
    }
}

/// ", holds at 47 to 53 %".
fn holds(learnt: Option<[f64; 2]>) -> String {
    learnt.map_or_else(String::new, |[low, high]| {
        format!(
            ", holds at {} to {} %",
            figure::plain(low, 0),
            figure::plain(high, 0)
        )
    })
}

/// Where a gauge lies: a panel of its own, or a half of one that it shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tile {
    /// What belongs to this gauge alone.
    place: Rectangle,
    /// The panel it stands on.
    panel: Rectangle,
    part: Part,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Whole,
    /// The left half, which carries the words of both.
    First,
    Second,
}

/// The tiles of all gauges, in their order.
pub fn tiles(middle: &Middle) -> Vec<Tile> {
    let mut tiles = Vec::new();
    for (i, panel) in middle.gauges.iter().copied().enumerate() {
        if !middle.is_paired || i < 2 {
            tiles.push(Tile {
                place: panel,
                panel,
                part: Part::Whole,
            });
            continue;
        }
        let half = Size::new(panel.width / 2.0, panel.height);
        let middle = Point::new(panel.x + half.width, panel.y);
        for (at, part) in [(panel.position(), Part::First), (middle, Part::Second)] {
            tiles.push(Tile {
                place: Rectangle::new(at, half),
                panel,
                part,
            });
        }
    }
    tiles
}

/// How a gauge is arranged in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    /// Title, figure and scale below each other.
    Tall,
    /// Scale beside the figure.
    Wide,
}

struct Places {
    form: Form,
    inner: Rectangle,
    title_y: f32,
    figure_y: f32,
    figure_size: f32,
    track: Rectangle,
}

/// Room for the figure and its unit beside the scale, in times the type size: "1 842 rpm", "100.0 %".
const FIGURE: f32 = 4.1;

fn places(tile: Tile) -> Places {
    let r = tile.place;
    if r.height >= 100.0 && tile.part == Part::Whole {
        let inner = shrunk(r, 16.0, 8.0);
        let track_y = r.y + r.height - 28.0;
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
    let inner = shrunk(r, 12.0, 6.0);
    let title_y = inner.y + 9.0;
    let figure_y = (title_y + 10.0 + r.y + r.height) / 2.0 - 3.0;
    let figure_size = if tile.part == Part::Whole { 26.0 } else { 19.0 };
    let beside = figure_size * FIGURE + if tile.part == Part::Whole { 16.0 } else { 0.0 };
    let track = Rectangle::new(
        Point::new(inner.x + beside, figure_y - 6.0),
        Size::new((inner.width - beside).max(1.0), 10.0),
    );
    Places {
        form: Form::Wide,
        inner,
        title_y,
        figure_y,
        figure_size,
        track,
    }
}

/// What does not move: the panel.
pub fn face(frame: &mut Frame, tile: Tile, p: &Palette) {
    if tile.part != Part::Second {
        let r = tile.panel;
        frame.fill(
            &Path::rounded_rectangle(r.position(), r.size(), RADIUS.into()),
            p.panel,
        );
    }
}

/// What moves: scale, zone, pointer, alarm frame.
pub fn hands(frame: &mut Frame, tile: Tile, gauge: &Gauge, p: &Palette) {
    let Places { form, track, .. } = places(tile);
    let [low, high] = gauge.scale;
    // The share of the scale, kept on it.
    let x = |value: f64| track.x + track.width * share((value - low) / (high - low));
    // Beside a missing figure the reason takes the place of the scale.
    let has_scale = form == Form::Tall || gauge.reading.any().is_some();
    if has_scale {
        frame.fill_rectangle(track.position(), track.size(), p.background);
    }
    if let Some([from, to]) = gauge.zone.filter(|_| has_scale) {
        let at = Point::new(x(from), track.y);
        // At rest the zone may have no width; it must still be seen.
        let size = Size::new((x(to) - x(from)).max(4.0), track.height);
        frame.fill_rectangle(at, size, p.zone);
        for edge in [at.x, at.x + size.width - 1.0] {
            frame.fill_rectangle(Point::new(edge, at.y), Size::new(1.0, size.height), p.edge);
        }
    }
    if let Some([from, to]) = gauge.learnt.filter(|_| has_scale) {
        // A line along the scale's head, so that it is told from the zone below it without colour.
        let size = Size::new((x(to) - x(from)).max(4.0), 3.0);
        frame.fill_rectangle(Point::new(x(from), track.y - 4.0), size, p.quiet);
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
        let border = shrunk(tile.panel, 1.0, 1.0);
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
pub fn words(labels: &mut Vec<Label>, tile: Tile, gauge: &Gauge, p: &Palette) {
    let Places {
        form,
        inner,
        title_y,
        figure_y,
        figure_size,
        track,
    } = places(tile);
    let right = inner.x + inner.width;
    let is_missing = matches!(gauge.reading, Reading::Missing(_));
    let (text, ink) = match gauge.reading {
        Reading::Missing(_) => (figure::NONE.to_owned(), p.quiet),
        Reading::Stale(v, _) => (written(gauge, v), p.quiet),
        Reading::Valid(v) | Reading::Suspect(v, _) => (written(gauge, v), p.text),
    };
    let mut after = inner.x + label::width(&text, figure_size, font::BOLD) + 4.0;
    let at = Point::new(inner.x, figure_y);
    let figure = Label::new(text, at, Anchor::Left, ink);
    labels.push(if is_missing {
        figure.size(figure_size * 0.7)
    } else {
        figure.size(figure_size).bold()
    });
    // Small type stands on the figure's foot line, not on its middle.
    let foot = figure_y + figure_size * 0.18;
    if !is_missing && gauge.unit != CrankDegrees::UNIT {
        let size = (figure_size * 0.46).max(font::SMALL);
        labels.push(
            Label::new(gauge.unit, Point::new(after, foot), Anchor::Left, p.quiet).size(size),
        );
        after += label::width(gauge.unit, size, font::REGULAR);
    }
    let quality = match gauge.reading {
        Reading::Valid(_) => None,
        Reading::Stale(_, age) => Some(format!("{} s old", figure::plain(age.0, 1))),
        Reading::Suspect(_, why) => Some(format!("suspect: {why}")),
        Reading::Missing(why) => Some(why.to_string()),
    };
    // The quality stands beside the figure; where the scale is there, it takes the place of the note.
    let is_beside = form == Form::Tall || is_missing;
    let note = match &quality {
        Some(why) if !is_beside => {
            // What is wrong stays in front; what was due is told by the scale.
            let state = gauge.note.split(", ").next().filter(|_| gauge.is_alarm);
            state.map_or_else(|| why.clone(), |state| format!("{state}, {why}"))
        }
        Some(_) | None => gauge.note.clone(),
    };
    if let Some(why) = quality.filter(|_| is_beside) {
        let at = Point::new(
            after + 10.0,
            if form == Form::Tall {
                figure_y
            } else {
                track.center_y()
            },
        );
        let room = right - at.x;
        let high = label::height(&why, font::SMALL, font::REGULAR, room);
        let top = Point::new(at.x, at.y - high / 2.0);
        labels.push(Label::new(why, top, Anchor::Block, p.quiet).within(room));
    }
    let right = match tile.part {
        Part::Whole => right,
        Part::First => tile.panel.x + tile.panel.width - 12.0,
        Part::Second => return,
    };
    let title = Point::new(inner.x, title_y);
    labels.push(Label::new(
        gauge.title.clone(),
        title,
        Anchor::Left,
        gauge.colour,
    ));
    if !note.is_empty() {
        let room = right - inner.x - label::width(&gauge.title, font::SMALL, font::REGULAR) - 12.0;
        let ink = if gauge.is_alarm { p.alarm } else { p.quiet };
        let at = Point::new(right, title_y);
        // A list that does not fit loses its last part rather than its last letters.
        let is_long = label::width(&note, font::SMALL, font::REGULAR) > room;
        let note = match note.split_once(", ") {
            Some((first, _)) if is_long => first.to_owned(),
            Some(_) | None => note,
        };
        labels.push(Label::new(note, at, Anchor::Right, ink).within(room));
    }
}

/// A value as the gauge writes it, without its unit unless that is a degree sign.
pub fn written(gauge: &Gauge, value: f64) -> String {
    let sign = if gauge.unit == CrankDegrees::UNIT {
        "°"
    } else {
        ""
    };
    if gauge.is_signed {
        format!("{}{sign}", figure::signed(value, gauge.decimals))
    } else {
        format!("{}{sign}", figure::plain(value, gauge.decimals))
    }
}
