//! The agreement strip: command and position on one time axis, the expected band behind the
//! position, disagreement tinted from its onset.

use super::plan::{LINE, count};
use super::words;
use crate::font;
use crate::theme::Palette;
use crate::widget::label::{self, Anchor, Label};
use iced::widget::canvas::{Frame, LineJoin, Path, Stroke};
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::engine::EngineSheet;
use keyway_analysis::lead::CamId;
use keyway_analysis::snapshot::{AgreementState, CamPoint, Snapshot};

/// Length of the strip, seconds.
pub const SPAN: f64 = 20.0;

/// Degrees shown beyond the phasers' stops.
const BEYOND_STOPS: f64 = 6.0;

/// Room at the left and right of the lanes for their figures, logical pixels.
const GUTTER: [f32; 2] = [52.0, 56.0];

struct Lanes {
    plot: Rectangle,
    duty: Rectangle,
    phase: Rectangle,
    /// Ends of the phase scale, crank degrees.
    degrees: [f64; 2],
}

impl Lanes {
    fn new(plot: Rectangle, sheet: &EngineSheet) -> Self {
        let x = plot.x + GUTTER[0];
        let wide = plot.width - GUTTER[0] - GUTTER[1];
        // A line for the words of disagreements above, one for the time below.
        let (top, high) = (plot.y + LINE, (plot.height - 2.0 * LINE).max(20.0));
        let duty_high = high * 0.4;
        let lane = |y: f32, h: f32| Rectangle::new(Point::new(x, y), Size::new(wide, h));
        Self {
            plot: lane(plot.y, LINE + high),
            duty: lane(top, duty_high),
            phase: lane(top + duty_high + 8.0, high - duty_high - 8.0),
            degrees: degrees(sheet),
        }
    }

    /// Place on the time axis, seconds before now.
    #[allow(
        clippy::cast_possible_truncation,
        reason = "a share of a screen length"
    )]
    fn x(&self, ago: f64) -> f32 {
        self.plot.x + self.plot.width * (1.0 - ago / SPAN).clamp(0.0, 1.0) as f32
    }

    #[allow(
        clippy::cast_possible_truncation,
        reason = "a share of a screen length"
    )]
    fn y(lane: Rectangle, value: f64, [low, high]: [f64; 2]) -> f32 {
        lane.y + lane.height * (1.0 - (value - low) / (high - low)).clamp(0.0, 1.0) as f32
    }

    fn duty_y(&self, duty: f64) -> f32 {
        Self::y(self.duty, duty, [0.0, 100.0])
    }

    fn phase_y(&self, degrees: f64) -> f32 {
        Self::y(self.phase, degrees, self.degrees)
    }
}

/// Ends of the phase scale, crank degrees: the phasers' stops, and a little beyond.
pub fn degrees(sheet: &EngineSheet) -> [f64; 2] {
    let stops = sheet.cams.iter().filter_map(|c| c.phaser.as_ref());
    stops
        .map(|f| f.rest.drive_sign() * f.authority.0)
        .fold([-BEYOND_STOPS, BEYOND_STOPS], |[low, high], stop| {
            [low.min(stop - BEYOND_STOPS), high.max(stop + BEYOND_STOPS)]
        })
}

/// What does not move: lanes and time marks.
pub fn face(frame: &mut Frame, plot: Rectangle, sheet: &EngineSheet, p: &Palette) {
    let lanes = Lanes::new(plot, sheet);
    for lane in [lanes.duty, lanes.phase] {
        frame.fill_rectangle(lane.position(), lane.size(), p.background);
    }
    let zero = lanes.phase_y(0.0);
    frame.fill_rectangle(
        Point::new(lanes.phase.x, zero),
        Size::new(lanes.phase.width, 1.0),
        p.hairline,
    );
    for ago in [15.0, 10.0, 5.0] {
        for lane in [lanes.duty, lanes.phase] {
            frame.fill_rectangle(
                Point::new(lanes.x(ago), lane.y),
                Size::new(1.0, lane.height),
                p.hairline,
            );
        }
    }
}

/// What moves: tints, due bands, lines.
pub fn hands(
    frame: &mut Frame,
    plot: Rectangle,
    snapshot: &Snapshot,
    sheet: &EngineSheet,
    p: &Palette,
) {
    let lanes = Lanes::new(plot, sheet);
    for stretch in stretches(snapshot) {
        let (x0, x1) = (lanes.x(stretch.from), lanes.x(stretch.to));
        let top = lanes.plot.y;
        let size = Size::new((x1 - x0).max(2.0), lanes.plot.height);
        frame.fill_rectangle(Point::new(x0, top), size, p.tint());
        if stretch.from < SPAN {
            frame.fill_rectangle(Point::new(x0, top), Size::new(2.0, size.height), p.alarm);
        }
    }
    for (i, cam) in snapshot.cams.iter().enumerate() {
        let colour = p.cam(cam.id);
        let points = |pick: &dyn Fn(&CamPoint) -> Option<[f32; 2]>| runs(snapshot, &lanes, i, pick);
        for run in points(&|c| {
            c.due
                .map(|d| [lanes.phase_y(d.high.0), lanes.phase_y(d.low.0)])
        }) {
            frame.fill(&band(&run), Color { a: 0.3, ..colour });
        }
        let stroke = || Stroke {
            line_join: LineJoin::Bevel,
            ..Stroke::default().with_color(colour).with_width(2.0)
        };
        let at = |y: f32| [y, y];
        for run in points(&|c| c.duty.map(|v| at(lanes.duty_y(v.0)))) {
            frame.stroke(&polyline(&run), stroke());
        }
        for run in points(&|c| c.phase.map(|v| at(lanes.phase_y(v.0)))) {
            frame.stroke(&polyline(&run), stroke());
        }
    }
}

/// The words: lanes, time, disagreements.
pub fn words(
    labels: &mut Vec<Label>,
    plot: Rectangle,
    snapshot: &Snapshot,
    sheet: &EngineSheet,
    p: &Palette,
) {
    let lanes = Lanes::new(plot, sheet);
    let (left, right) = (lanes.plot.x - 8.0, lanes.plot.x + lanes.plot.width + 8.0);
    let mut beside = |y: f32, words: String| {
        labels.push(Label::new(
            words,
            Point::new(left, y),
            Anchor::Right,
            p.quiet,
        ));
    };
    beside(lanes.duty.y + 6.0, "100 %".to_owned());
    beside(lanes.duty.y + lanes.duty.height - 9.0, "0".to_owned());
    let [low, high] = lanes.degrees;
    let stops = [high - BEYOND_STOPS, low + BEYOND_STOPS];
    for stop in stops {
        if stop.abs() > 1.0 && lanes.phase.height > 44.0 {
            beside(
                lanes.phase_y(stop),
                format!("{}°", crate::figure::signed(stop, 0)),
            );
        }
    }
    beside(lanes.phase_y(0.0), "0°".to_owned());
    for (lane, words) in [(lanes.duty, "duty"), (lanes.phase, "phase")] {
        labels.push(Label::new(
            words,
            Point::new(right, lane.center_y()),
            Anchor::Left,
            p.quiet,
        ));
    }
    let time_y = plot.y + plot.height - LINE * 0.4;
    for (ago, words) in [
        (20.0, "−20 s"),
        (15.0, "−15"),
        (10.0, "−10"),
        (5.0, "−5"),
        (0.0, "now"),
    ] {
        labels.push(Label::new(
            words,
            Point::new(lanes.x(ago), time_y),
            Anchor::Middle,
            p.quiet,
        ));
    }
    // Side by side on the line above the lanes; what has no room there stands between the lanes.
    let end = lanes.plot.x + lanes.plot.width;
    let mut taken = [lanes.plot.x; 2];
    let lines = [
        lanes.plot.y + LINE / 2.0,
        lanes.duty.y + lanes.duty.height - LINE * 0.2,
    ];
    let all = stretches(snapshot);
    let is_crowded = all.len() > 2;
    for stretch in all {
        let long = format!("{} {}", words::cam(stretch.cam), stretch.state.words());
        // In a short stretch among many the state alone: the cam is told by the line that breaks.
        let own = lanes.x(stretch.to) - lanes.x(stretch.from);
        let is_tight = label::width(&long, font::SMALL, font::REGULAR) + 8.0 > own;
        let words = if is_tight && is_crowded {
            stretch.state.words().to_owned()
        } else {
            long
        };
        let wide = label::width(&words, font::SMALL, font::REGULAR);
        let from = lanes.x(stretch.from) + 8.0;
        // Behind its onset if there is room, else before it.
        let x = if from + wide <= end {
            from
        } else {
            from - 16.0 - wide
        };
        // Between the lanes stands only what is wide enough to be told from the lines there; the
        // tint of a narrow stretch and the sentence say the rest.
        let places = if wide + 8.0 > own { 1 } else { 2 };
        for (taken, y) in taken.iter_mut().zip(lines).take(places) {
            if x >= *taken {
                let at = Point::new(x, y);
                labels.push(Label::new(words, at, Anchor::Left, p.alarm_text));
                *taken = x + wide + 12.0;
                break;
            }
        }
    }
}

/// A stretch of disagreement, seconds before now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// The cam.
    pub cam: CamId,
    /// How it disagrees.
    pub state: AgreementState,
    /// Onset.
    pub from: f64,
    /// End.
    pub to: f64,
}

/// Samples per second, told by the snapshot itself.
pub fn rate(snapshot: &Snapshot) -> Option<f64> {
    let rate = snapshot.at.0 / snapshot.elapsed.0;
    (rate.is_finite() && rate > 0.0).then_some(rate)
}

/// Stretches of disagreement on the strip, by their start.
pub fn stretches(snapshot: &Snapshot) -> Vec<Stretch> {
    let Some(rate) = rate(snapshot) else {
        return Vec::new();
    };
    let mut all: Vec<Stretch> = Vec::new();
    for (i, cam) in snapshot.cams.iter().enumerate() {
        let mut open: Option<Stretch> = None;
        for point in snapshot.history.iter() {
            let ago = (snapshot.at.0 - point.at.0) / rate;
            let state = point
                .cams
                .get(i)
                .map(|c| c.state)
                .filter(|s| s.is_disagreement());
            if let Some(stretch) = open.as_mut().filter(|s| Some(s.state) == state) {
                stretch.to = ago;
                continue;
            }
            all.extend(open.take());
            open = state.map(|state| Stretch {
                cam: cam.id,
                state,
                from: ago,
                to: ago,
            });
        }
        // The present state reaches to now.
        all.extend(open.take().map(|s| Stretch { to: 0.0, ..s }));
    }
    all.retain(|s| s.to < SPAN);
    all.sort_by(|a, b| b.from.total_cmp(&a.from));
    all
}

/// Consecutive points of a cam that have a value, as [x, y, y].
fn runs(
    snapshot: &Snapshot,
    lanes: &Lanes,
    cam: usize,
    pick: &dyn Fn(&CamPoint) -> Option<[f32; 2]>,
) -> Vec<Vec<[f32; 3]>> {
    let Some(rate) = rate(snapshot) else {
        return Vec::new();
    };
    let mut runs = vec![Vec::new()];
    for point in snapshot.history.iter() {
        let ago = (snapshot.at.0 - point.at.0) / rate;
        if ago > SPAN {
            continue;
        }
        match point.cams.get(cam).and_then(pick) {
            Some([a, b]) => {
                if let Some(run) = runs.last_mut() {
                    run.push([lanes.x(ago), a, b]);
                }
            }
            None => runs.push(Vec::new()),
        }
    }
    runs.retain(|r| r.len() > 1);
    runs
}

fn polyline(run: &[[f32; 3]]) -> Path {
    Path::new(|b| {
        for (i, [x, y, _]) in run.iter().enumerate() {
            let at = Point::new(*x, *y);
            if i == 0 {
                b.move_to(at);
            } else {
                b.line_to(at);
            }
        }
    })
}

fn band(run: &[[f32; 3]]) -> Path {
    Path::new(|b| {
        for (i, [x, top, _]) in run.iter().enumerate() {
            let at = Point::new(*x, top - 1.5);
            if i == 0 {
                b.move_to(at);
            } else {
                b.line_to(at);
            }
        }
        for [x, _, bottom] in run.iter().rev() {
            b.line_to(Point::new(*x, bottom + 1.5));
        }
        b.close();
    })
}

/// Names of the cams in their colours, for the panel's heading.
pub fn legend(labels: &mut Vec<Label>, mut at: Point, snapshot: &Snapshot, p: &Palette) {
    for cam in &snapshot.cams {
        let name = words::cam(cam.id);
        let wide = label::width(&name, font::SMALL, font::REGULAR);
        labels.push(Label::new(name, at, Anchor::Left, p.cam(cam.id)));
        at.x += wide + count(2) * 8.0;
    }
}
