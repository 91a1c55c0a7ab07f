//! One lead in full at the foot of the Hook-up screen: what is seen, what is recognised as a mistake,
//! what to try, and the touch test step by step.

use super::{Message, life_words, needs_help};
use crate::font;
use crate::screen::live::words::{self, capital};
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, column, container, row, text};
use iced::{Alignment, Element, Length, border};
use keyway_analysis::lead::Role;
use keyway_analysis::snapshot::{LeadSnapshot, Mistake, Touch};

/// Height of the panel: a heading and three lines, logical pixels.
pub const HEIGHT: f32 = 100.0;

/// A recognised mistake in words.
pub fn mistake(mistake: Mistake) -> String {
    match mistake {
        Mistake::FactorTooSmall => "shows a tenth: probe factor too small".to_owned(),
        Mistake::FactorTooLarge => "shows ten times too much: probe factor too large".to_owned(),
        Mistake::Swapped(role) => format!("shows the {}: leads swapped?", words::lead(role)),
        Mistake::Inverted => "the sensor's two wires are exchanged".to_owned(),
        Mistake::Off => "touches nothing".to_owned(),
        Mistake::NoGround => "the scope's ground is missing".to_owned(),
        Mistake::Clipped => "leaves the input's range".to_owned(),
        Mistake::TooFewSamples => "too few samples a second".to_owned(),
        Mistake::ClampReversed => "the clamp sits the wrong way round".to_owned(),
        Mistake::WrongPlace => "a signal, but not of this lead".to_owned(),
    }
}

/// The lead in full.
pub fn detail<'a>(lead: &LeadSnapshot, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let (shape, word) = life_words(Some(lead.proof));
    let is_wrong = needs_help(Some(lead));
    let ink = if is_wrong { p.alarm } else { p.text };
    let name = capital(&words::lead(lead.role));
    let recognised = lead
        .mistake
        .map_or_else(String::new, |m| format!(" · {}", mistake(m)));
    let heading = row![
        mark::mark(shape, 16.0, ink, p.panel),
        text(format!("{name}: {word}{recognised}"))
            .size(font::BODY)
            .font(font::BOLD)
            .color(ink)
            .wrapping(text::Wrapping::None),
        text(lead.place.clone())
            .size(font::SMALL)
            .color(p.quiet)
            .wrapping(text::Wrapping::None),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
    .clip(true);
    let mut lines: Column<'a, Message> = column![heading].spacing(4).width(Length::Fill);
    if !lead.note.is_empty() {
        let note = sentence(&lead.note);
        lines = lines.push(text(note).size(font::BODY).color(p.text));
    }
    match lead.touch {
        Some(touch) => lines = lines.push(steps(touch, look)),
        None if !lead.try_next.is_empty() => {
            lines = lines.push(
                row![
                    text("Try").size(font::BODY).font(font::BOLD).color(p.quiet),
                    text(lead.try_next.clone()).size(font::BODY).color(p.text),
                ]
                .spacing(STEP),
            );
        }
        None => {}
    }
    let mut line = Row::new()
        .push(lines)
        .spacing(STEP * 2.0)
        .align_y(Alignment::Center);
    if let Some((word, message)) = key(lead) {
        line = line.push(button::action(word, None, false, look, Some(message)));
    }
    container(line)
        .padding([STEP, STEP * 2.0])
        .width(Length::Fill)
        .height(HEIGHT)
        .clip(true)
        .style(move |_| {
            let edge = if is_wrong { p.alarm } else { p.edge };
            container::background(p.panel).border(border::rounded(RADIUS).color(edge).width(1))
        })
        .into()
}

/// The key beside the words: a command pin that stands still is explained by the touch test only.
fn key(lead: &LeadSnapshot) -> Option<(&'static str, Message)> {
    match (lead.touch, lead.role) {
        (Some(Touch::Done), _) => Some(("Done, close", Message::EndTouch)),
        (Some(Touch::ToGround | Touch::ToSupply), _) => Some(("Stop the test", Message::EndTouch)),
        (None, Role::Command(_)) => Some(("Touch test", Message::AskTouch(lead.role))),
        (None, _) => None,
    }
}

/// The three steps of the touch test, with the one that is due in front of the eye.
fn steps<'a>(touch: Touch, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let place = match touch {
        Touch::ToGround => 0,
        Touch::ToSupply => 1,
        Touch::Done => 2,
    };
    let words = [
        "1  Touch its tip to ground",
        "2  Touch it to the supply",
        "3  Put it back on its pin",
    ];
    let all = words.into_iter().enumerate().map(|(i, words)| {
        let (shape, ink) = if i < place {
            (Mark::Check, p.quiet)
        } else if i == place {
            (Mark::Play, p.text)
        } else {
            (Mark::Ring, p.quiet)
        };
        let words = text(words).size(font::BODY).color(ink);
        let words = if i == place {
            words.font(font::BOLD)
        } else {
            words
        };
        row![mark::mark(shape, 14.0, ink, p.panel), words]
            .spacing(6)
            .align_y(Alignment::Center)
            .into()
    });
    Row::with_children(all).spacing(STEP * 2.5).into()
}

/// With a capital and a full stop.
fn sentence(words: &str) -> String {
    let words = capital(words);
    if words.ends_with(['.', '?', '!']) {
        words
    } else {
        format!("{words}.")
    }
}
