//! The window that is looked at: the leads at the probe tips, and what was measured of that stretch.

use super::axis;
use super::curve::{self, Lane};
use super::plan::{GUTTER, LINE, Plan};
use super::strip::{self, TICK_ROOM};
use super::{Opened, Shown};
use crate::figure;
use crate::font;
use crate::review::course::{Absent, Why};
use crate::review::gaze::SeenLead;
use crate::screen::live::words;
use crate::theme::Palette;
use crate::widget::label::{self, Anchor, Label};
use iced::widget::canvas::Frame;
use iced::{Color, Point, Rectangle, Size};
use keyway_analysis::lead::Role;
use std::ops::Range;

/// Least range of a scale of a lead, in its unit.
const LEAST_RANGE: f64 = 0.2;

/// Rows of the window: leads first, then speed, duty and phase.
pub fn rows(opened: &Opened, shown: Shown) -> usize {
    let leads = if shown.leads { leads(opened) } else { 0 };
    let course = if shown.course { 3 } else { 0 };
    (leads + course).max(1)
}

/// Leads of the plan that are fitted; they keep their rows whether something is seen of them or not.
fn leads(opened: &Opened) -> usize {
    fitted(opened).count()
}

fn fitted(opened: &Opened) -> impl Iterator<Item = Role> {
    let leads = opened.setup.plan.leads.iter();
    leads.map(|l| l.role).filter(|r| *r != Role::Spare)
}

/// Colour of a lead: its cam's, or that of the text.
pub fn colour(role: Role, p: &Palette) -> Color {
    match role {
        Role::Cam(id) | Role::Command(id) | Role::Current(id) => p.cam(id),
        Role::Crank | Role::StarterCurrent | Role::Supply | Role::Pressure | Role::Spare => p.text,
    }
}

/// A lead with its row.
pub struct LeadLane<'a> {
    /// What it is connected to.
    pub role: Role,
    /// Where it is drawn.
    pub lane: Lane,
    /// What is seen of it, if anything.
    pub seen: Option<&'a SeenLead>,
}

/// The leads with their rows.
pub fn lead_lanes<'a>(opened: &'a Opened, plan: &Plan, shown: Shown) -> Vec<LeadLane<'a>> {
    if !shown.leads {
        return Vec::new();
    }
    let seen = opened.seen.as_deref();
    fitted(opened)
        .zip(&plan.lanes)
        .map(|(role, area)| {
            let seen = seen.and_then(|s| s.leads.iter().find(|l| l.role == role));
            let ends = seen.and_then(|s| curve::ends(&s.shape));
            LeadLane {
                role,
                lane: Lane {
                    area: *area,
                    x: opened.window.range(),
                    y: curve::scale(ends.unwrap_or([0.0, 1.0]), LEAST_RANGE),
                },
                seen,
            }
        })
        .collect()
}

/// Rows of speed, duty and phase, if they are shown and measured.
pub fn course_lanes(opened: &Opened, plan: &Plan, shown: Shown) -> Option<[Lane; 3]> {
    let course = opened.course.as_ref().filter(|_| shown.course)?;
    let first = if shown.leads { leads(opened) } else { 0 };
    let areas: [Rectangle; 3] = plan.lanes.get(first..first + 3)?.try_into().ok()?;
    Some(strip::lanes(course, areas, &opened.window.range()))
}

/// The stretch in which was looked last.
fn stretch(opened: &Opened) -> Range<f64> {
    opened
        .seen
        .as_ref()
        .map_or(0.0..1.0, |s| s.gaze.from..s.gaze.to)
}

fn ticks(opened: &Opened, plan: &Plan) -> axis::Ticks {
    let most = strip::floor(plan.wide() / TICK_ROOM);
    axis::ticks(opened.window.from, opened.window.to, most)
}

fn along(opened: &Opened, plan: &Plan) -> Lane {
    Lane {
        area: plan.detail,
        x: opened.window.range(),
        y: [0.0, 1.0],
    }
}

/// Draws what does not move.
pub fn draw(frame: &mut Frame, opened: &Opened, plan: &Plan, shown: Shown, p: &Palette) {
    let along = along(opened, plan);
    for area in &plan.lanes {
        frame.fill_rectangle(area.position(), area.size(), p.background);
    }
    strip::grid(frame, &ticks(opened, plan), &along, &plan.lanes, p);
    let leads = lead_lanes(opened, plan, shown);
    // Samples that are missing, over the rows of the leads.
    if let (Some(first), Some(last)) = (leads.first(), leads.last()) {
        let top = first.lane.area.y;
        let bottom = last.lane.area.y + last.lane.area.height;
        for (absent, from, to) in missing(opened, &along) {
            let size = Size::new((to - from).max(2.0), bottom - top);
            let ground = if absent.why == Why::NotRead {
                p.panel
            } else {
                p.alarm_ground
            };
            frame.fill_rectangle(Point::new(from, top), size, ground);
        }
    }
    let stretch = stretch(opened);
    for lead in &leads {
        if let Some(seen) = lead.seen {
            let colour = colour(lead.role, p);
            lead.lane.shape(frame, &seen.shape, &stretch, colour);
        }
    }
    if let (Some(lanes), Some(course)) = (course_lanes(opened, plan, shown), &opened.course) {
        strip::curves(frame, course, &lanes, p);
        let areas = lanes.map(|l| l.area);
        strip::grid(frame, &ticks(opened, plan), &along, &areas, p);
    }
}

/// What is missing in the window, with its ends on the screen.
fn missing<'a>(opened: &'a Opened, along: &Lane) -> Vec<(&'a Absent, f32, f32)> {
    let missing = opened.seen.as_ref().map_or(&[][..], |s| &s.missing);
    let (left, right) = (along.area.x, along.area.x + along.area.width);
    (missing.iter())
        .filter(|m| {
            opened.window.holds(m.from)
                || opened.window.holds(m.to)
                || m.from < opened.window.from && m.to > opened.window.to
        })
        .map(|m| (m, along.at(m.from).max(left), along.at(m.to).min(right)))
        .collect()
}

/// The words of the window.
pub fn words(labels: &mut Vec<Label>, opened: &Opened, plan: &Plan, shown: Shown, p: &Palette) {
    let along = along(opened, plan);
    let ticks = ticks(opened, plan);
    let y = plan.detail.y + plan.detail.height - LINE / 2.0;
    // The flags of the cursors stand on the same line.
    let cursors = opened.cursors.iter().flatten();
    let flags: Vec<f32> = cursors.map(|at| along.at(*at)).collect();
    strip::tick_words(labels, &ticks, &along, y, &flags, p);
    if let Some(base) = &ticks.base {
        let at = Point::new(plan.x[0] - GUTTER + 4.0, y);
        labels.push(Label::new(base.clone(), at, Anchor::Left, p.text).within(GUTTER - 30.0));
    }
    heading(labels, opened, plan, p);
    let leads = lead_lanes(opened, plan, shown);
    for lead in &leads {
        lead_words(labels, lead, p);
    }
    if let Some(first) = leads.first() {
        for (absent, from, to) in missing(opened, &along) {
            let words = absent.why.words();
            if label::width(&words, font::SMALL, font::REGULAR) + 8.0 < to - from {
                let at = Point::new((from + to) / 2.0, first.lane.area.center_y());
                let ink = if absent.why == Why::NotRead {
                    p.quiet
                } else {
                    p.alarm_text
                };
                labels.push(Label::new(words, at, Anchor::Middle, ink));
            }
        }
        if opened.seen.is_none() {
            let at = Point::new(
                f32::midpoint(plan.x[0], plan.x[1]),
                first.lane.area.center_y(),
            );
            labels.push(Label::new("reading…", at, Anchor::Middle, p.quiet));
        }
    }
    if let Some(lanes) = course_lanes(opened, plan, shown) {
        strip::scale_words(labels, &lanes, p);
    }
}

fn heading(labels: &mut Vec<Label>, opened: &Opened, plan: &Plan, p: &Palette) {
    let y = plan.detail.y + LINE / 2.0 - 1.0;
    let window = &opened.window;
    // As many digits as tell the ends of the window apart.
    let digits = if window.span() > 100.0 {
        0
    } else if window.span() > 1.0 {
        2
    } else {
        4
    };
    let words = format!(
        "{} to {}, {}",
        axis::clock(window.from, digits),
        axis::clock(window.to, digits),
        axis::duration(window.span())
    );
    // Beside the head of the player's line, which may stand at the very begin.
    let at = Point::new(plan.x[0] + 14.0, y);
    labels.push(Label::new(words, at, Anchor::Left, p.text));
    let fault = opened.seen.as_ref().and_then(|s| s.fault.as_ref());
    let right = Point::new(plan.x[1], y);
    if let Some(fault) = fault {
        let room = plan.wide() * 0.6;
        labels.push(Label::new(fault.clone(), right, Anchor::Right, p.alarm).within(room));
    } else if let Some(share) = opened.seen.as_ref().and_then(|s| s.share) {
        let words = format!("reading… {:.0} %", share * 100.0);
        labels.push(Label::new(words, right, Anchor::Right, p.quiet));
    } else if opened.is_slow {
        labels.push(Label::new("reading…", right, Anchor::Right, p.quiet));
    }
}

fn lead_words(labels: &mut Vec<Label>, lead: &LeadLane<'_>, p: &Palette) {
    let x = lead.lane.area.x - GUTTER + 4.0;
    let is_tall = lead.lane.area.height >= 32.0;
    let shift = if is_tall { 8.5 } else { 0.0 };
    let at = Point::new(x, lead.lane.area.center_y() - shift);
    let name = words::lead(lead.role);
    let colour = colour(lead.role, p);
    labels.push(Label::new(name, at, Anchor::Left, colour).within(GUTTER - 8.0));
    if is_tall {
        let at = Point::new(x, at.y + 17.0);
        let range = lead.seen.map_or_else(
            || "no samples".to_owned(),
            |seen| {
                let [low, high] = lead.lane.y;
                let decimals = if high - low < 0.5 {
                    2
                } else {
                    usize::from(high - low < 4.0)
                };
                let [low, high] = [low, high].map(|v| figure::plain(v, decimals));
                format!("{low} to {high} {}", seen.unit)
            },
        );
        labels.push(Label::new(range, at, Anchor::Left, p.quiet).within(GUTTER - 8.0));
    }
}
