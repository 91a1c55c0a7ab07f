//! Trials in the lower panel: which to run, what to do now and what is watched, and how it came out.
//! The controller gives the commands; the tool only listens.

use super::Message;
use super::words;
use crate::figure;
use crate::font;
use crate::screen::findings::written;
use crate::screen::findings::{outcome, trial};
use crate::theme::{Look, STEP, TARGET};
use crate::widget::button;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, Space, column, container, row, text};
use iced::{Alignment, Element, Length};
use keyway_analysis::lead::CamId;
use keyway_analysis::trial::{
    Outcome, TrialKind, TrialOrder, TrialResult, TrialStatus, TrialsView,
};

/// Oil temperature that is offered first, °C: a warm engine.
const WARM: f64 = 80.0;

/// Step of the oil temperature, °C: finer than its sensor is read.
const STEP_OIL: f64 = 5.0;

/// Oil temperatures that can be told, °C.
const OIL: [f64; 2] = [-30.0, 150.0];

/// Trials side by side.
const ABREAST: usize = 4;

/// What was chosen for the next trial.
#[derive(Debug, Clone, Default)]
pub struct Trials {
    cam: Option<CamId>,
    oil: Option<f64>,
    /// Results that were read and put away.
    read: usize,
}

impl Trials {
    /// On this cam.
    pub fn choose(&mut self, cam: CamId) {
        self.cam = Some(cam);
    }

    /// Warmer or colder oil; from "not read" to warm.
    pub fn set_oil(&mut self, steps: i8) {
        let oil = self.oil.map_or(WARM, |t| t + f64::from(steps) * STEP_OIL);
        self.oil = Some(oil.clamp(OIL[0], OIL[1]));
    }

    /// The results so far have been read.
    pub fn put_away(&mut self, view: &TrialsView) {
        self.read = view.results.len();
    }

    /// The trial on the chosen cam.
    pub fn order(&self, kind: TrialKind, cams: &[CamId]) -> Option<TrialOrder> {
        Some(TrialOrder {
            kind,
            cam: self.cam_of(cams)?,
            oil: self.oil,
        })
    }

    fn cam_of(&self, cams: &[CamId]) -> Option<CamId> {
        self.cam
            .filter(|c| cams.contains(c))
            .or(cams.first().copied())
    }
}

/// The panel; `cams` are those with a phaser.
pub fn panel<'a>(
    trials: &Trials,
    view: &TrialsView,
    cams: &[CamId],
    look: Look,
) -> Element<'a, Message> {
    if let Some(status) = &view.running {
        return under_way(status, look);
    }
    match view.results.last() {
        Some(result) if view.results.len() > trials.read => came_out(result, look),
        _ => choice(trials, cams, look),
    }
}

fn choice<'a>(trials: &Trials, cams: &[CamId], look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let quiet = |words: String| {
        text(words)
            .size(font::BODY)
            .color(p.quiet)
            .wrapping(text::Wrapping::None)
    };
    if cams.is_empty() {
        return quiet("No cam on the engine sheet has a phaser.".to_owned()).into();
    }
    let chosen = trials.cam_of(cams);
    let mut first = Row::new()
        .spacing(STEP)
        .align_y(Alignment::Center)
        .push(quiet("Trial on".to_owned()));
    for &cam in cams {
        let is_on = chosen == Some(cam);
        first = first.push(button::action(
            words::cam_capital(cam),
            None,
            is_on,
            look,
            Some(Message::TrialCam(cam)),
        ));
    }
    let oil = trials.oil.map_or_else(
        || "not read".to_owned(),
        |t| format!("{} °C", figure::plain(t, 0)),
    );
    let step = |word: &'static str, by: i8| {
        button::wide(word, false, look, Some(Message::Oil(by))).width(TARGET)
    };
    first = first
        .push(Space::new().width(Length::Fill))
        .push(quiet("Oil".to_owned()))
        .push(step("−", -1))
        .push(
            text(oil)
                .size(font::BODY)
                .color(p.text)
                .width(64)
                .align_x(Alignment::Center),
        )
        .push(step("+", 1));
    let mut content = column![first].spacing(6);
    for kinds in TrialKind::ALL.chunks(ABREAST) {
        let mut line = Row::new().spacing(STEP);
        for kind in kinds {
            let start = Message::StartTrial(*kind);
            let name = words::capital(trial(*kind));
            line = line.push(button::wide(name, false, look, Some(start)).width(Length::Fill));
        }
        for _ in kinds.len()..ABREAST {
            line = line.push(Space::new().width(Length::Fill));
        }
        content = content.push(line);
    }
    content.into()
}

fn heading(order: &TrialOrder) -> String {
    let oil = order
        .oil
        .map_or_else(String::new, |t| format!(", oil {} °C", figure::plain(t, 0)));
    format!(
        "{}, {} cam{oil}",
        words::capital(trial(order.kind)),
        words::cam(order.cam)
    )
}

fn under_way<'a>(status: &TrialStatus, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut content: Column<'a, Message> = column![
        text(heading(&status.order))
            .size(font::SMALL)
            .color(p.quiet),
        text(status.instruct.clone())
            .size(17)
            .font(font::BOLD)
            .color(p.text),
    ]
    .spacing(4)
    .width(Length::Fill);
    if status.hindrance.is_empty() {
        content = content
            .push(text(status.watching.clone()).size(font::BODY).color(p.text))
            .push(bar(status.progress, look));
    } else {
        content = content.push(
            row![
                mark::mark(Mark::Warning, 16.0, p.alarm, p.panel),
                text(status.hindrance.clone())
                    .size(font::BODY)
                    .color(p.alarm),
            ]
            .spacing(STEP),
        );
    }
    beside(content, "End it", Message::StopTrial, look)
}

/// How much of what is enough has been seen.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share in thousandths"
)]
fn bar<'a>(progress: f64, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let done = (progress.clamp(0.0, 1.0) * 1000.0) as u16;
    let part = |share: u16, ground| {
        container(Space::new().height(10))
            .width(Length::FillPortion(share.max(1)))
            .style(move |_| container::background(ground))
    };
    row![part(done, p.text), part(1000 - done, p.zone)]
        .push(
            text(format!("{:.0} %", progress.clamp(0.0, 1.0) * 100.0))
                .size(font::SMALL)
                .color(p.text)
                .width(52)
                .align_x(Alignment::End),
        )
        .align_y(Alignment::Center)
        .into()
}

fn came_out<'a>(result: &TrialResult, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let (shape, word) = outcome(result.outcome);
    let ink = if result.outcome == Outcome::Unsound {
        p.alarm
    } else {
        p.text
    };
    let figures: Vec<String> = (result.measures.iter())
        .map(|m| format!("{} {}", m.name, written(m)))
        .collect();
    let content = column![
        row![
            mark::mark(shape, 16.0, ink, p.panel),
            text(format!("{}: {word}", heading(&result.order)))
                .size(font::BODY)
                .font(font::BOLD)
                .color(ink),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center),
        text(result.sentence.clone()).size(font::BODY).color(p.text),
        text(figures.join(" · ")).size(font::SMALL).color(p.quiet),
    ]
    .spacing(4)
    .clip(true)
    .width(Length::Fill);
    beside(content, "Next trial", Message::PutAway, look)
}

fn beside<'a>(
    content: Column<'a, Message>,
    word: &'static str,
    message: Message,
    look: Look,
) -> Element<'a, Message> {
    row![
        content,
        button::wide(word, false, look, Some(message)).width(100)
    ]
    .spacing(STEP * 2.0)
    .into()
}
