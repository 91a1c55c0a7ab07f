//! The cycle dial: the 720 crank degrees of one engine cycle as a ring. One pair of bands a cam,
//! outer band where the cam's windows are at rest, inner band where they are measured now; the
//! wedge between them is the phase, labelled early or late; a hand shows where the crank is, while
//! that is known; the middle says it in words.

use super::sentence;
use super::words;
use crate::font;
use crate::theme::{Palette, RADIUS};
use crate::widget::label::{self, Anchor, Label};
use iced::widget::canvas::{Frame, Path, Stroke};
use iced::{Color, Point, Rectangle, Vector};
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::{AgreementState, CamSnapshot, Snapshot};
use keyway_analysis::units::CrankAngle;
use std::f32::consts::TAU;

/// Room beside and above the ring for its figures, logical pixels.
const RIM: [f32; 2] = [46.0, 44.0];

/// Height of the line at the foot that says what the cams are judged against: the ring stands half of it higher.
const LINE: f32 = 17.0;

/// Least phase that is drawn as a wedge, crank degrees; less cannot be seen.
const LEAST_WEDGE: f64 = 1.0;

/// Where the rings lie.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Rings {
    centre: Point,
    outer: f32,
    depth: f32,
    cams: f32,
}

impl Rings {
    fn new(panel: Rectangle, cams: usize) -> Self {
        let cams = super::plan::count(cams.max(1));
        let room = (panel.width / 2.0 - RIM[0]).min(panel.height / 2.0 - RIM[1]);
        let outer = room.max(20.0);
        // The middle keeps about half the radius for its words.
        let depth = (outer * 0.48 / cams).min(outer * 0.24);
        Self {
            centre: panel.center() - Vector::new(0.0, LINE / 2.0),
            outer,
            depth,
            cams,
        }
    }

    fn inner(self) -> f32 {
        self.outer - self.depth * self.cams
    }

    /// Radii of a cam's outer and inner band, [inside, outside] each.
    fn bands(self, index: usize) -> [[f32; 2]; 2] {
        let outside = self.outer - self.depth * super::plan::count(index);
        let thick = self.depth * 0.38;
        let gap = (self.depth * 0.04).max(1.0);
        [
            [outside - thick, outside],
            [outside - 2.0 * thick - gap, outside - thick - gap],
        ]
    }

    fn at(self, degrees: f32, radius: f32) -> Point {
        let (s, c) = (degrees / 720.0 * TAU).sin_cos();
        self.centre + Vector::new(s, -c) * radius
    }

    /// A piece of ring from one crank angle over some degrees.
    fn sector(self, from: f32, over: f32, [inside, outside]: [f32; 2]) -> Path {
        let steps = (over.abs() / 4.0).ceil().clamp(1.0, 180.0);
        let mut edge = Vec::new();
        let mut k = 0.0;
        while k <= steps {
            edge.push(from + over * k / steps);
            k += 1.0;
        }
        Path::new(|b| {
            b.move_to(self.at(from, outside));
            for a in &edge {
                b.line_to(self.at(*a, outside));
            }
            for a in edge.iter().rev() {
                b.line_to(self.at(*a, inside));
            }
            b.close();
        })
    }
}

/// Crank degrees as the drawing counts them.
#[allow(
    clippy::cast_possible_truncation,
    reason = "an angle to be drawn; f32 is what is drawn with"
)]
fn drawn(degrees: f64) -> f32 {
    degrees as f32
}

/// Start and length of a window, crank degrees.
fn window([rise, fall]: [CrankAngle; 2]) -> [f32; 2] {
    let over = (fall.degrees() - rise.degrees()).rem_euclid(720.0);
    [drawn(rise.degrees()), drawn(over)]
}

/// What does not move: panel, degree marks, reference windows.
pub fn face(frame: &mut Frame, panel: Rectangle, cams: &[CamSnapshot], p: &Palette) {
    frame.fill(
        &Path::rounded_rectangle(panel.position(), panel.size(), RADIUS.into()),
        p.panel,
    );
    let rings = Rings::new(panel, cams.len());
    let line = |width: f32, colour: Color| Stroke::default().with_color(colour).with_width(width);
    for k in 0..24_u8 {
        let degrees = f32::from(k) * 30.0;
        let (length, colour) = if k % 6 == 0 {
            (10.0, p.quiet)
        } else {
            (4.0, p.edge)
        };
        let from = rings.at(degrees, rings.outer + 4.0);
        let tick = Path::line(from, rings.at(degrees, rings.outer + 4.0 + length));
        frame.stroke(&tick, line(if k % 6 == 0 { 2.0 } else { 1.0 }, colour));
    }
    for (i, cam) in cams.iter().enumerate() {
        let [outer, inner] = rings.bands(i);
        for band in [outer, inner] {
            let middle = (band[0] + band[1]) / 2.0;
            frame.stroke(&Path::circle(rings.centre, middle), line(1.0, p.hairline));
        }
        for w in &cam.reference {
            let [from, over] = window(*w);
            let sector = rings.sector(from, over, outer);
            frame.fill(&sector, p.zone);
            frame.stroke(&sector, line(1.0, p.edge));
        }
    }
}

/// What moves: measured windows, wedges, zones in which the edge is due.
pub fn hands(frame: &mut Frame, panel: Rectangle, snapshot: &Snapshot, p: &Palette) {
    let rings = Rings::new(panel, snapshot.cams.len());
    for (i, cam) in snapshot.cams.iter().enumerate() {
        let [_, inner] = rings.bands(i);
        let colour = match cam.phase {
            Reading::Valid(_) | Reading::Suspect(..) => p.cam(cam.id),
            Reading::Stale(..) | Reading::Missing(_) => p.edge,
        };
        for w in &cam.measured {
            let [from, over] = window(*w);
            frame.fill(&rings.sector(from, over, inner), colour);
        }
    }
    if let Some(angle) = snapshot.angle {
        hand(frame, rings, angle, p);
    }
    for wedge in wedges(snapshot) {
        let [outer, inner] = rings.bands(wedge.index);
        let colour = wedge.colour(p);
        let whole = [inner[0], outer[1]];
        frame.fill(
            &rings.sector(wedge.from, wedge.over, whole),
            Color { a: 0.55, ..colour },
        );
        // The edge as measured, led out to its label.
        let end = wedge.from + wedge.over;
        let lead = Path::line(rings.at(end, inner[0]), rings.at(end, rings.outer + 16.0));
        frame.stroke(&lead, Stroke::default().with_color(colour).with_width(1.5));
        if let Some([low, high]) = wedge.due {
            let over = (high - low).max(3.0);
            let from = wedge.from + (low + high - over) / 2.0;
            let between = [inner[1] - 1.0, outer[0] + 1.0];
            let due = rings.sector(from, over, [between[0] - 2.0, between[1] + 2.0]);
            frame.fill(&due, p.text);
        }
    }
}

/// Half the width of the crank's hand at its head outside the ring, logical pixels.
const HAND: f32 = 7.0;

/// Where the crank is: a head outside the ring that points inwards, and a hairline across it. It
/// stands in front of the bands, so that it is not taken for an edge or for where one is due.
fn hand(frame: &mut Frame, rings: Rings, angle: CrankAngle, p: &Palette) {
    let degrees = drawn(angle.degrees());
    let line = Path::line(
        rings.at(degrees, rings.inner()),
        rings.at(degrees, rings.outer + 3.0),
    );
    frame.stroke(&line, Stroke::default().with_color(p.text).with_width(1.0));
    let aside = HAND / (rings.outer + 14.0) / TAU * 720.0;
    let head = Path::new(|b| {
        b.move_to(rings.at(degrees, rings.outer + 3.0));
        b.line_to(rings.at(degrees - aside, rings.outer + 15.0));
        b.line_to(rings.at(degrees + aside, rings.outer + 15.0));
        b.close();
    });
    frame.fill(&head, p.text);
}

/// The words around and in the ring. `snapshot` is the one whose figures are shown, `newest` the
/// one that is drawn.
pub fn words(
    labels: &mut Vec<Label>,
    panel: Rectangle,
    snapshot: &Snapshot,
    newest: &Snapshot,
    p: &Palette,
) {
    let rings = Rings::new(panel, newest.cams.len());
    let (left, right) = (panel.x + 12.0, panel.x + panel.width - 12.0);
    let (top, bottom) = (panel.y + 16.0, panel.y + panel.height - 16.0);
    labels.push(Label::new(
        "720° crank",
        Point::new(left, top),
        Anchor::Left,
        p.quiet,
    ));
    let legend = bottom - LINE;
    // What the grey windows are, and how good.
    let wide = panel.width - 24.0;
    let against = format!("grey at rest, {}", newest.base_timing.against);
    let line = Point::new(left, bottom);
    labels.push(Label::new(against, line, Anchor::Left, p.quiet).within(wide));
    labels.push(Label::new(
        "mark: due",
        Point::new(right, legend - 18.0),
        Anchor::Right,
        p.quiet,
    ));
    labels.push(Label::new(
        "colour: now",
        Point::new(right, legend),
        Anchor::Right,
        p.quiet,
    ));
    if newest.angle.is_some() {
        labels.push(Label::new(
            "hand: crank",
            Point::new(right, top),
            Anchor::Right,
            p.quiet,
        ));
    }
    for (degrees, words, anchor) in [
        (0.0, "0 firing", Anchor::Middle),
        (180.0, "180", Anchor::Left),
        (360.0, "360", Anchor::Middle),
        (540.0, "540", Anchor::Right),
    ] {
        let at = rings.at(
            degrees,
            rings.outer + if anchor == Anchor::Middle { 24.0 } else { 17.0 },
        );
        labels.push(Label::new(words, at, anchor, p.quiet));
    }
    for wedge in wedges(newest) {
        let Some(cam) = snapshot.cams.get(wedge.index) else {
            continue;
        };
        let Some(phase) = cam.phase.any() else {
            continue;
        };
        let at = rings.at(wedge.from + wedge.over, rings.outer + 20.0);
        let words = words::phase(phase);
        let wide = label::width(&words, font::SMALL, font::BOLD);
        let (anchor, x) = if at.x < rings.centre.x {
            (Anchor::Right, at.x.max(panel.x + wide + 4.0))
        } else {
            (Anchor::Left, at.x.min(panel.x + panel.width - wide - 4.0))
        };
        labels.push(Label::new(words, Point::new(x, at.y), anchor, wedge.colour(p)).bold());
    }
    middle(labels, rings, snapshot, p);
}

/// The cam that matters most, in words, and the others below it where there is room.
fn middle(labels: &mut Vec<Label>, rings: Rings, snapshot: &Snapshot, p: &Palette) {
    let Some(cam) = sentence::foremost(snapshot) else {
        return;
    };
    let room = rings.inner() * 1.8;
    let headline = (rings.inner() * 0.27).clamp(18.0, 28.0);
    let mut y = rings.centre.y - headline * 1.3;
    let mut line = |words: String, size: f32, colour: Color, is_bold: bool, step: f32| {
        let label =
            Label::new(words, Point::new(rings.centre.x, y), Anchor::Middle, colour).size(size);
        let label = if is_bold { label.bold() } else { label };
        if label::width(&label.words, label.size, label.font) <= room {
            labels.push(label);
            y += step;
        }
    };
    line(
        words::cam(cam.id),
        font::BODY,
        p.cam(cam.id),
        false,
        headline * 0.55 + 12.0,
    );
    match cam.phase {
        Reading::Missing(why) => {
            line(
                "no position".to_owned(),
                headline * 0.8,
                p.quiet,
                true,
                headline * 0.5 + 12.0,
            );
            line(why.to_string(), font::SMALL, p.quiet, false, 18.0);
        }
        Reading::Valid(v) | Reading::Stale(v, _) | Reading::Suspect(v, _) => {
            let colour = if cam.phase.valid().is_some() {
                p.text
            } else {
                p.quiet
            };
            line(
                words::phase(v),
                headline,
                colour,
                true,
                headline * 0.5 + 14.0,
            );
            if let Some(due) = cam.due {
                line(words::due(due), font::SMALL, p.quiet, false, 18.0);
            }
            match cam.phase {
                Reading::Stale(_, age) => {
                    let words = format!("{} s old", crate::figure::plain(age.0, 1));
                    line(words, font::SMALL, p.quiet, false, 18.0);
                }
                Reading::Suspect(_, why) => {
                    line(format!("suspect: {why}"), font::SMALL, p.quiet, false, 18.0)
                }
                Reading::Valid(_) | Reading::Missing(_) => {}
            }
        }
    }
    if rings.inner() < 76.0 {
        return;
    }
    for other in snapshot.cams.iter().filter(|c| c.id != cam.id) {
        let name = words::cam(other.id);
        let words = match (other.phase.any(), other.due) {
            (Some(phase), Some(due)) => {
                format!("{name} {}, {}", words::phase(phase), words::due(due))
            }
            (Some(phase), None) => format!("{name} {}", words::phase(phase)),
            (None, _) => format!("{name}: no position"),
        };
        let is_long = label::width(&words, font::SMALL, font::REGULAR) > room;
        let words = match other.phase.any() {
            Some(phase) if is_long => format!("{name} {}", words::phase(phase)),
            Some(_) | None => words,
        };
        line(words, font::SMALL, p.cam(other.id), false, 18.0);
    }
}

/// The angle between a reference edge and where it is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Wedge {
    index: usize,
    cam: keyway_analysis::lead::CamId,
    is_alarm: bool,
    from: f32,
    over: f32,
    /// Where the edge is due, relative to the reference edge.
    due: Option<[f32; 2]>,
}

impl Wedge {
    fn colour(&self, p: &Palette) -> Color {
        if self.is_alarm {
            p.alarm
        } else {
            p.cam(self.cam)
        }
    }
}

/// One wedge a cam, each at an edge of its own, away from the others and from the figures
/// at the quarters.
fn wedges(snapshot: &Snapshot) -> Vec<Wedge> {
    let mut wedges: Vec<Wedge> = Vec::new();
    for (index, cam) in snapshot.cams.iter().enumerate() {
        let Some(phase) = cam.phase.any() else {
            continue;
        };
        // An advanced edge comes earlier, at a smaller crank angle.
        let over = drawn(-phase.0);
        let room = |from: f32| {
            let quarter = (from + over).rem_euclid(180.0);
            let away = quarter.min(180.0 - quarter);
            wedges
                .iter()
                .map(|w| apart(w.from + w.over, from + over))
                .fold(away * 1.5, f32::min)
        };
        let best = cam
            .reference
            .iter()
            .flatten()
            .map(|edge| drawn(edge.degrees()))
            .max_by(|a, b| room(*a).total_cmp(&room(*b)));
        let Some(from) = best else { continue };
        let is_alarm = cam.agreement.state.is_disagreement()
            && cam.agreement.state != AgreementState::NoCommand;
        if phase.0.abs() >= LEAST_WEDGE || is_alarm {
            let due = cam.due.map(|d| [drawn(-d.high.0), drawn(-d.low.0)]);
            wedges.push(Wedge {
                index,
                cam: cam.id,
                is_alarm,
                from,
                over,
                due,
            });
        }
    }
    wedges
}

/// Shortest way between two crank angles, degrees.
fn apart(a: f32, b: f32) -> f32 {
    let d = (a - b).rem_euclid(720.0);
    d.min(720.0 - d)
}
