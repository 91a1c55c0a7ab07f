//! The Hook-up screen: one row per lead, whether it lives, what it shows, and what to try if it does not.

pub mod proposal;

use crate::amendment::Amendment;
use crate::screen::live::words::{self, capital};
use crate::setup::Setup;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button;
use crate::widget::envelope::envelope;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::canvas::{self, Canvas, Frame, Geometry};
use iced::widget::{Column, Space, column, container, responsive, row, scrollable, text};
use iced::{
    Alignment, Color, Element, Length, Point, Rectangle, Renderer, Size, Theme, border, mouse,
};
use keyway_analysis::lead::Role;
use keyway_analysis::snapshot::{LeadSnapshot, ProofState, Snapshot, Trace, Traces};
use proposal::Proposal;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// How long a figure stands before it changes, so that it can be read.
const FIGURE_PERIOD: Duration = Duration::from_millis(250);

/// Columns of a miniature trace, one per pixel of its widest form.
pub const COLUMNS: usize = 240;

/// Time a miniature shows: two idle revolutions or 30 periods of a valve's drive.
pub const SPAN_SECONDS: f64 = 0.15;

/// What is done on the screen; each names the input of a lead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Message {
    /// Works with what was recognised on this lead for this session.
    Use(usize),
    /// Saves the engine sheet with what was recognised on this lead, as a new file.
    Save(usize),
}

/// The screen.
#[derive(Debug, Default)]
pub struct Hookup {
    shown: Option<(Instant, Arc<Snapshot>)>,
    traces: Arc<Traces>,
}

impl Hookup {
    /// Name of the screen.
    pub fn title(&self) -> &'static str {
        "Hook-up"
    }

    /// Takes the newest state.
    pub fn refresh(&mut self, snapshot: Arc<Snapshot>, traces: Arc<Traces>, now: Instant) {
        let is_due = self
            .shown
            .as_ref()
            .is_none_or(|(at, _)| now.duration_since(*at) >= FIGURE_PERIOD);
        if is_due {
            self.shown = Some((now, snapshot));
        }
        self.traces = traces;
    }

    /// Forgets what was measured.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The crank of the engine sheet as it would have to be for this lead, if that differs.
    pub fn amendment(&self, setup: &Setup, input: usize) -> Option<Amendment> {
        let (_, snapshot) = self.shown.as_ref()?;
        let lead = snapshot.leads.iter().find(|l| l.input == input)?;
        proposal(setup, lead)?.amendment
    }

    /// The screen as it stands.
    pub fn view<'a>(&'a self, setup: &'a Setup, look: Look) -> Element<'a, Message> {
        responsive(move |size| self.rows(setup, look, size)).into()
    }

    fn rows<'a>(&'a self, setup: &'a Setup, look: Look, size: Size) -> Element<'a, Message> {
        let p = look.palette();
        let plan = &setup.plan;
        let is_narrow = size.width < 1000.0;
        let widths = if is_narrow {
            [92.0, 128.0, 120.0, 104.0]
        } else {
            [104.0, 160.0, 240.0, 160.0]
        };
        let head = |words: &'static str, width: Length| {
            text(words).size(font::SMALL).color(p.quiet).width(width)
        };
        let [state, role, mini, figures] = widths.map(Length::Fixed);
        let heading = row![
            head("State", state),
            head("Lead", role),
            head("Where to connect", Length::FillPortion(4)),
            head("Now", mini),
            head("Level and range", figures),
            head("What to try", Length::FillPortion(4)),
        ]
        .spacing(STEP * 1.5)
        .padding([0.0, STEP * 2.0]);
        let count = plan.leads.len().max(1);
        // A row never becomes taller than is calm, and never lower than two lines of text.
        #[allow(
            clippy::cast_precision_loss,
            reason = "a lead plan has a handful of leads"
        )]
        let height = ((size.height - 96.0) / count as f32).clamp(48.0, 88.0);
        let mut list = Column::new();
        for (i, lead) in plan.leads.iter().enumerate() {
            let now = self
                .shown
                .as_ref()
                .and_then(|(_, s)| s.leads.iter().find(|l| l.input == lead.input));
            let proposal = now.and_then(|l| proposal(setup, l));
            let trace = self.traces.leads.iter().find(|t| t.role == lead.role);
            let ink = ink(look, lead.role);
            let line = row![
                life(now, look).width(state),
                column![
                    text(capital(&words::lead(lead.role)))
                        .size(font::BODY)
                        .font(font::BOLD)
                        .color(ink),
                    text(format!("input {}", lead.input))
                        .size(font::SMALL)
                        .color(p.quiet),
                ]
                .spacing(2)
                .width(role),
                text(&lead.place)
                    .size(font::SMALL)
                    .color(p.text)
                    .width(Length::FillPortion(4)),
                Canvas::new(Miniature {
                    trace,
                    ink,
                    ground: p.background,
                })
                .width(mini)
                .height(height - 12.0),
                level(now, look).width(figures),
                text(advice(lead.role, now, proposal.as_ref()))
                    .size(font::SMALL)
                    .color(if needs_help(now) { p.text } else { p.quiet })
                    .width(Length::FillPortion(4)),
                // Keeps the row at its height; more words make it taller.
                Space::new().width(1).height(height),
            ]
            .spacing(STEP * 1.5)
            .align_y(Alignment::Center);
            if i > 0 {
                list = list.push(
                    container(Space::new().width(Length::Fill).height(1))
                        .style(move |_| container::background(p.hairline)),
                );
            }
            list = list.push(line);
            if let Some(proposal) = proposal.filter(|p| p.sheet.is_some()) {
                list = list.push(difference(lead.input, proposal, look));
            }
        }
        let sheet = container(list)
            .padding([0.0, STEP * 2.0])
            .width(Length::Fill)
            .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)));
        column![
            text(format!("Hook-up: {}", plan.name))
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text)
                .wrapping(text::Wrapping::None),
            heading,
            scrollable(sheet).spacing(STEP),
        ]
        .spacing(STEP)
        .into()
    }
}

/// What the signal of a lead looks like, beside the sheet.
fn proposal(setup: &Setup, lead: &LeadSnapshot) -> Option<Proposal> {
    Proposal::of(&setup.sheet, lead.role, lead.recognition.as_deref()?)
}

/// Below a lead whose signal is not what the sheet says: what it looks like, and what can be done.
fn difference<'a>(input: usize, proposal: Proposal, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let small = |words: String| text(words).size(font::SMALL).color(p.quiet);
    let sheet = proposal.sheet.unwrap_or_default();
    let words = column![
        row![
            mark::mark(Mark::Question, 18.0, p.alarm, p.background),
            text(proposal.looks)
                .size(font::BODY)
                .font(font::BOLD)
                .color(p.text),
        ]
        .spacing(STEP),
        text(sheet).size(font::BODY).color(p.text),
        small(proposal.others),
    ]
    .spacing(4)
    .width(Length::Fill);
    let mut content = row![words].spacing(STEP * 2.0).align_y(Alignment::Center);
    if let Some(amendment) = proposal.amendment {
        content = content
            .push(
                text(amendment.lines())
                    .size(font::SMALL)
                    .font(font::MONO)
                    .color(p.quiet)
                    .wrapping(text::Wrapping::None),
            )
            .push(
                column![
                    button::action(
                        "Use for this session",
                        None,
                        false,
                        look,
                        Some(Message::Use(input))
                    ),
                    button::action(
                        "Save as a new sheet",
                        None,
                        false,
                        look,
                        Some(Message::Save(input))
                    ),
                ]
                .spacing(4),
            );
    }
    container(
        container(content)
            .padding([STEP, STEP * 1.5])
            .width(Length::Fill)
            .style(move |_| {
                container::background(p.background)
                    .border(border::rounded(RADIUS).color(p.edge).width(1))
            }),
    )
    .padding(iced::Padding::ZERO.bottom(STEP))
    .into()
}

/// Whether every fitted lead shows what it should.
pub fn is_proven(snapshot: &Snapshot) -> bool {
    let is_good = |l: &LeadSnapshot| matches!(l.proof, ProofState::Proven | ProofState::Spare);
    snapshot.leads.iter().all(is_good)
}

fn ink(look: Look, role: Role) -> Color {
    let p = look.palette();
    match role {
        Role::Cam(id) | Role::Command(id) | Role::Current(id) => p.cam(id),
        Role::Spare => p.quiet,
        Role::Crank | Role::StarterCurrent | Role::Supply | Role::Pressure => p.text,
    }
}

/// Shape and word of a lead's life.
pub fn life_words(life: Option<ProofState>) -> (Mark, &'static str) {
    match life {
        None => (Mark::Dash, "waiting"),
        Some(ProofState::Proven) => (Mark::Check, "proven"),
        Some(ProofState::Doubtful) => (Mark::Question, "doubtful"),
        Some(ProofState::Silent) => (Mark::Cross, "silent"),
        Some(ProofState::Spare) => (Mark::Dash, "not fitted"),
    }
}

fn needs_help(now: Option<&LeadSnapshot>) -> bool {
    now.is_some_and(|l| matches!(l.proof, ProofState::Doubtful | ProofState::Silent))
}

fn life<'a>(now: Option<&LeadSnapshot>, look: Look) -> iced::widget::Row<'a, Message> {
    let p = look.palette();
    let (shape, word) = life_words(now.map(|l| l.proof));
    let ink = if needs_help(now) {
        p.alarm
    } else if now.is_some_and(|l| l.proof == ProofState::Proven) {
        p.text
    } else {
        p.quiet
    };
    row![
        mark::mark(shape, 18.0, ink, p.panel),
        text(word).size(font::BODY).color(ink),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
}

fn level<'a>(now: Option<&LeadSnapshot>, look: Look) -> iced::widget::Column<'a, Message> {
    let p = look.palette();
    let (figure, range) = match now {
        None => (figure::NONE.to_owned(), String::new()),
        Some(l) if l.proof == ProofState::Spare => (figure::NONE.to_owned(), String::new()),
        Some(l) => (
            l.level.map_or_else(
                || figure::NONE.to_owned(),
                |v| format!("{} {}", figure::plain(v, 1), l.unit),
            ),
            l.range.map_or_else(String::new, |[low, high]| {
                format!(
                    "{} to {} {}",
                    figure::plain(low, 1),
                    figure::plain(high, 1),
                    l.unit
                )
            }),
        ),
    };
    column![
        text(figure).size(16).font(font::BOLD).color(p.text),
        text(range).size(font::SMALL).color(p.quiet),
    ]
    .spacing(2)
}

/// What to try, from what the role should show and what the lead shows.
fn advice(role: Role, now: Option<&LeadSnapshot>, proposal: Option<&Proposal>) -> String {
    let Some(lead) = now else {
        return "waiting for samples".to_owned();
    };
    let try_this = match (lead.proof, role) {
        (ProofState::Proven | ProofState::Spare, _) => {
            // What differs from the sheet has a row of its own.
            return match proposal.filter(|p| p.sheet.is_none()) {
                Some(proposal) => format!("{}. {}", capital(&lead.note), proposal.looks),
                None => lead.note.clone(),
            };
        }
        (ProofState::Silent, Role::Crank) => {
            "Is the engine turning? Else reseat the probe and its ground clip on the two sensor pins."
        }
        (ProofState::Silent, Role::Cam(_)) => {
            "Reseat the probe on the signal pin; is the sensor's supply there?"
        }
        (ProofState::Silent, Role::Command(_)) => {
            "Back-probe the control-side pin with the connector plugged in; try the other pin."
        }
        (ProofState::Silent, Role::Current(_)) => {
            "Switch the clamp on, zero it, close its jaws around one wire only."
        }
        (ProofState::Silent | ProofState::Doubtful, Role::StarterCurrent) => {
            "Crank the engine once; zero the clamp, close its jaws around the starter's cable, arrow to the starter."
        }
        (ProofState::Silent, Role::Supply) => {
            "Is the ignition on? Check the fuse, then the ground clip."
        }
        (ProofState::Silent, Role::Pressure) => "Check the sensor's supply and its plug.",
        (ProofState::Doubtful, Role::Crank) => {
            "Swap the two sensor pins, and check that the sheet names the right wheel."
        }
        (ProofState::Doubtful, Role::Cam(_)) => {
            "Is it the right cam? Swap the two cam leads and see whether the doubt moves."
        }
        (ProofState::Doubtful, Role::Command(_)) => {
            "Is it the control side, not the supply side? Check the probe factor."
        }
        (ProofState::Doubtful, Role::Current(_)) => {
            "Zero the clamp, turn its arrow to the valve, check the factor in the lead plan."
        }
        (ProofState::Doubtful, Role::Supply | Role::Pressure) => {
            "Check the probe factor against the switch on the probe, and the ground."
        }
        (ProofState::Silent | ProofState::Doubtful, Role::Spare) => "",
    };
    match lead.note.as_str() {
        "" => try_this.to_owned(),
        // The analysis has seen what happened and says itself what to try.
        note if note.contains(';') => format!("{}.", capital(note)),
        note => format!("{}. {try_this}", capital(note)),
    }
}

/// A small trace, scaled to what it shows.
struct Miniature<'a> {
    trace: Option<&'a Trace>,
    ink: Color,
    ground: Color,
}

impl<Message> canvas::Program<Message> for Miniature<'_> {
    type State = ();

    fn draw(
        &self,
        (): &(),
        renderer: &Renderer,
        _: &Theme,
        bounds: Rectangle,
        _: mouse::Cursor,
    ) -> Vec<Geometry> {
        let mut frame = Frame::new(renderer, bounds.size());
        frame.fill_rectangle(Point::ORIGIN, bounds.size(), self.ground);
        let columns = self.trace.map_or(&[][..], |t| &t.columns);
        let ends = columns.iter().flatten();
        let low = ends.clone().map(|c| c[0]).fold(f32::INFINITY, f32::min);
        let high = ends.map(|c| c[1]).fold(f32::NEG_INFINITY, f32::max);
        if low <= high {
            // A steady level lies in the middle instead of being blown up to noise.
            let middle = f32::midpoint(low, high);
            let half = ((high - low) / 2.0).max(0.25);
            #[allow(clippy::cast_precision_loss, reason = "a few hundred columns")]
            let step = bounds.width / columns.len() as f32;
            let reach = (bounds.height / 2.0 - 4.0).max(1.0);
            let y = |v: f32| bounds.height / 2.0 - (v - middle) / half * reach;
            let heights: Vec<Option<[f32; 2]>> = columns
                .iter()
                .map(|c| c.map(|[low, high]| [y(high), y(low)]))
                .collect();
            frame.fill(&envelope(&heights, 0.0, step), self.ink);
        }
        vec![frame.into_geometry()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use keyway_analysis::quality::Quality;

    #[test]
    fn a_silent_lead_is_told_what_to_try() {
        let lead = LeadSnapshot {
            input: 1,
            role: Role::Crank,
            place: String::new(),
            proof: ProofState::Silent,
            note: "no signal".to_owned(),
            range: None,
            level: None,
            unit: "V".to_owned(),
            recognition: None,
            try_next: String::new(),
            mistake: None,
            touch: None,
            quality: Quality::default(),
        };
        assert!(
            advice(Role::Crank, Some(&lead), None).starts_with("No signal. Is the engine turning?")
        );
    }
}
