//! The Hook-up screen: one row per lead, whether it lives, what it shows, and what to try if it does not.

mod detail;
pub mod proposal;
mod scene;

pub use detail::mistake as mistake_words;

use crate::amendment::Amendment;
use crate::screen::live::words::{self, capital};
use crate::setup::Setup;
use crate::theme::{Look, RADIUS, STEP, TARGET};
use crate::widget::button;
use crate::widget::envelope::envelope;
use crate::widget::label;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::canvas::{self, Canvas, Frame, Geometry};
use iced::widget::{
    Column, Space, column, container, mouse_area, responsive, row, scrollable, text,
};
use iced::{
    Alignment, Color, Element, Font, Length, Point, Rectangle, Renderer, Size, Theme, border, mouse,
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
    /// Shows this lead in full at the foot of the screen.
    Pick(usize),
    /// The lead of this role will be touched to ground and to supply.
    AskTouch(Role),
    /// The touch test ends.
    EndTouch,
}

/// The screen.
#[derive(Debug, Default)]
pub struct Hookup {
    shown: Option<(Instant, Arc<Snapshot>)>,
    traces: Arc<Traces>,
    picked: Option<usize>,
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

    /// Shows the lead on this input in full.
    pub fn pick(&mut self, input: usize) {
        self.picked = Some(input);
    }

    /// The lead that is shown in full: the one that was picked, else the first that needs help.
    fn foremost(&self) -> Option<&LeadSnapshot> {
        let leads = &self.shown.as_ref()?.1.leads;
        let picked = leads.iter().find(|l| Some(l.input) == self.picked);
        picked
            .or_else(|| leads.iter().find(|l| l.touch.is_some()))
            .or_else(|| leads.iter().find(|l| needs_help(Some(l))))
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
            [100.0, 136.0, 104.0, 116.0]
        } else {
            [112.0, 160.0, 200.0, 136.0]
        };
        let head = |words: &'static str, width: Length| {
            text(words).size(font::SMALL).color(p.quiet).width(width)
        };
        // What is left for the two columns of running text, in the shares 2 and 3.
        let spare = size.width - widths.iter().sum::<f32>() - 5.0 * STEP * 1.5 - 5.0 * STEP;
        let [state, role, mini, figures] = widths.map(Length::Fixed);
        // Where to connect stands at the foot when there is no room for it here.
        let place = if is_narrow { 0.0 } else { spare * 0.4 };
        let seen = spare - place;
        let heading = row![head("State", state), head("Lead", role),]
            .push((!is_narrow).then(|| head("Where to connect", place.into())))
            .push(head("Now", mini))
            .push(head("Level, range", figures))
            .push(head("What is seen, what to try", seen.into()))
            .spacing(STEP * 1.5)
            .padding([0.0, STEP * 2.0]);
        let foremost = self.foremost();
        let foot = foremost.map(|lead| detail::detail(lead, look));
        let room = size.height
            - if foot.is_some() {
                74.0 + detail::HEIGHT
            } else {
                96.0
            };
        let count = plan.leads.len().max(1);
        // A row never becomes taller than is calm, and never lower than a finger and two lines of text.
        #[allow(
            clippy::cast_precision_loss,
            reason = "a lead plan has a handful of leads"
        )]
        let height = (room / count as f32).clamp(TARGET, 80.0);
        let mut list = Column::new();
        for (i, lead) in plan.leads.iter().enumerate() {
            let now = self
                .shown
                .as_ref()
                .and_then(|(_, s)| s.leads.iter().find(|l| l.input == lead.input));
            let proposal = now.and_then(|l| proposal(setup, l));
            let trace = self.traces.leads.iter().find(|t| t.role == lead.role);
            let ink = ink(look, lead.role);
            let is_picked = foremost.is_some_and(|l| l.input == lead.input);
            let ground = if is_picked { p.raised } else { p.panel };
            let line = row![
                life(now, ground, look).width(state),
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
            ]
            .push((!is_narrow).then(|| {
                text(two_lines(&lead.place, place))
                    .size(font::SMALL)
                    .color(p.text)
                    .width(place)
            }))
            .push(
                Canvas::new(Miniature {
                    trace,
                    ink,
                    ground: p.background,
                })
                .width(mini)
                .height(height - 10.0),
            )
            .push(level(now, look).width(figures))
            .push(seen_words(now, proposal.as_ref(), seen, look))
            .push(Space::new().width(1).height(height))
            .spacing(STEP * 1.5)
            .align_y(Alignment::Center);
            if i > 0 {
                list = list.push(
                    container(Space::new().width(Length::Fill).height(1))
                        .style(move |_| container::background(p.hairline)),
                );
            }
            let line = container(line)
                .padding([0.0, STEP * 2.0])
                .style(move |_| container::background(ground));
            list = list.push(mouse_area(line).on_press(Message::Pick(lead.input)));
            if let Some(proposal) = proposal.filter(|p| p.sheet.is_some()) {
                list = list.push(
                    container(difference(lead.input, proposal, look)).padding([0.0, STEP * 2.0]),
                );
            }
        }
        let sheet = container(list)
            .width(Length::Fill)
            .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)));
        column![
            text(format!("Hook-up: {}", plan.name))
                .size(font::HEADING)
                .font(font::BOLD)
                .color(p.text)
                .wrapping(text::Wrapping::None),
            heading,
            scrollable(sheet).spacing(STEP).height(Length::Fill),
        ]
        .push(foot)
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

fn life<'a>(
    now: Option<&LeadSnapshot>,
    ground: Color,
    look: Look,
) -> iced::widget::Row<'a, Message> {
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
        mark::mark(shape, 18.0, ink, ground),
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

/// As much as stands in two lines of small text; the whole is at the foot of the screen.
fn two_lines(words: &str, width: f32) -> String {
    // Lines break at words, so the second seldom begins where the first is full.
    label::cut(words.to_owned(), font::SMALL, font::REGULAR, width * 1.8)
}

/// What is seen on a lead, and below it what to try.
fn seen_words<'a>(
    now: Option<&LeadSnapshot>,
    proposal: Option<&Proposal>,
    width: f32,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let line = |words: String, ink: Color| text(words).size(font::SMALL).color(ink);
    let single = |words: &str, ink: Color, face: Font| {
        line(label::cut(words.to_owned(), font::SMALL, face, width), ink)
            .font(face)
            .wrapping(text::Wrapping::None)
    };
    let Some(lead) = now else {
        return line("waiting for samples".to_owned(), p.quiet)
            .width(width)
            .into();
    };
    if !needs_help(now) {
        let words = match proposal.filter(|p| p.sheet.is_none()) {
            Some(proposal) => format!("{}. {}", capital(&lead.note), proposal.looks),
            None => lead.note.clone(),
        };
        return line(two_lines(&words, width), p.quiet).width(width).into();
    }
    let seen = match lead.mistake {
        Some(mistake) => capital(&detail::mistake(mistake)),
        None => capital(&lead.note),
    };
    if lead.try_next.is_empty() {
        return line(two_lines(&seen, width), p.text).width(width).into();
    }
    column![
        single(&seen, p.text, font::BOLD),
        single(&lead.try_next, p.text, font::REGULAR),
    ]
    .width(width)
    .spacing(2)
    .into()
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
