//! How the Findings screen is put together.

use super::{CODE_FIELD, Findings, Message, Page, side, table, verdict};
use crate::figure;
use crate::font;
use crate::screen::live::words::{self, capital, list};
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, column, container, responsive, row, scrollable, text};
use iced::{Alignment, Element, Length, Size, border};
use keyway_analysis::findings::{CauseRow, Evidence, NextCheck};
use std::sync::Arc;

/// Room that a scroll bar takes beside what it moves, logical pixels.
const BAR: f32 = 12.0;

/// The screen.
pub fn view(screen: &Findings, look: Look) -> Element<'_, Message> {
    responsive(move |size| sized(screen, look, size)).into()
}

fn sized(screen: &Findings, look: Look, size: Size) -> Element<'_, Message> {
    let rows = screen.rows();
    let main: Element<'_, Message> = if rows.is_empty() {
        first_steps(screen, look)
    } else {
        let wide = table::WIDTH.min(size.width * 0.66);
        let picture = table::table(&rows, screen.selection(), look, wide);
        panel(scrollable(container(picture).width(wide + BAR)), look)
            .height(Length::Fill)
            .width(Length::Shrink)
            .into()
    };
    let beside = column![pages(screen, look), page(screen, look)]
        .spacing(STEP)
        .width(if rows.is_empty() {
            Length::Fixed(size.width * 0.4)
        } else {
            Length::Fill
        });
    let body = row![main, beside].spacing(STEP).height(Length::Fill);
    column![top(screen, &rows, look)]
        .push(next_check(screen, look))
        .push(body)
        .spacing(STEP)
        .into()
}

/// The keys of what stands beside the table.
fn pages<'a>(screen: &Findings, look: Look) -> Element<'a, Message> {
    let keys = [
        ("Evidence", Page::Evidence),
        ("Codes", Page::Codes),
        ("Timing", Page::Timing),
        ("Cautions", Page::Cautions),
    ]
    .map(|(word, page)| {
        let is_on = screen.page == page;
        button::wide(word, is_on, look, Some(Message::Beside(page)))
            .width(Length::Fill)
            .into()
    });
    Row::with_children(keys).spacing(4).into()
}

fn page(screen: &Findings, look: Look) -> Element<'_, Message> {
    let mut content = Column::new().spacing(STEP);
    match (screen.page, &screen.snapshot) {
        (Page::Evidence, _) => content = content.push(evidence(screen, look)),
        (Page::Cautions, _) => content = content.push(cautions(screen, look)),
        (Page::Codes, _) => content = content.push(side::codes(screen, look, CODE_FIELD)),
        (Page::Timing, Some(s)) => {
            content = content
                .push(side::base_timing(&s.base_timing, look))
                .push(side::trials(screen, &s.trials, look));
        }
        (Page::Timing, None) => {}
    }
    scrollable(content).height(Length::Fill).spacing(4).into()
}

/// A panel of the screen.
pub fn panel<'a>(
    content: impl Into<Element<'a, Message>>,
    look: Look,
) -> iced::widget::Container<'a, Message> {
    let p = look.palette();
    container(content)
        .width(Length::Fill)
        .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)))
}

/// What is the case, and the cams to choose from.
fn top<'a>(screen: &Findings, rows: &[&CauseRow], look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let (heading, line) = if rows.is_empty() {
        ("Findings".to_owned(), String::new())
    } else {
        verdict::summary(rows)
    };
    let line = match screen.share {
        Some(share) if share < 1.0 => {
            format!(
                "Measuring the whole recording: {:.0} %. {line}",
                share * 100.0
            )
        }
        Some(_) => format!("From the whole recording. {line}"),
        None => line,
    };
    let words = column![
        text(heading)
            .size(font::HEADING)
            .font(font::BOLD)
            .color(p.text)
            .wrapping(text::Wrapping::None),
        text(line).size(font::SMALL).color(p.quiet),
    ]
    .clip(true)
    .width(Length::Fill);
    let mut bar = Row::new()
        .push(words)
        .spacing(STEP)
        .align_y(Alignment::Center);
    let subjects = screen.subjects();
    if subjects.len() > 1 {
        for subject in subjects {
            bar = bar.push(button::action(
                verdict::subject(subject),
                None,
                screen.subject() == Some(subject),
                look,
                Some(Message::Choose(subject)),
            ));
        }
    }
    bar.into()
}

/// Causes that are named beside the next check.
const APART: usize = 4;

/// The one check that separates what remains, with what to mind first.
fn next_check<'a>(screen: &Findings, look: Look) -> Option<Element<'a, Message>> {
    let p = look.palette();
    let findings = &screen.snapshot.as_ref()?.findings;
    let check: &NextCheck = findings.next_check.as_ref()?;
    let mut apart: Vec<String> = (check.separates.iter().take(APART))
        .map(|c| c.words().to_owned())
        .collect();
    if check.separates.len() > APART {
        apart.push(format!("{} more", check.separates.len() - APART));
    }
    let cam = check
        .cam
        .map_or_else(String::new, |id| format!(", {} cam", words::cam(id)));
    let apart = if apart.is_empty() {
        String::new()
    } else {
        format!(", tells apart: {}", list(&apart))
    };
    let line = |words: String| {
        text(words)
            .size(font::SMALL)
            .color(p.quiet)
            .wrapping(text::Wrapping::None)
    };
    let mut lines = column![
        line(format!("Next check{cam}{apart}")),
        text(check.action.clone())
            .size(16)
            .font(font::BOLD)
            .color(p.text),
    ]
    .spacing(2)
    .clip(true);
    if let Some(first) = findings.cautions.first() {
        lines = lines.push(
            row![
                mark::mark(Mark::Warning, 14.0, p.quiet, p.panel),
                line(first.clone()),
            ]
            .spacing(6),
        );
    }
    Some(
        container(lines)
            .padding([STEP, STEP * 2.0])
            .width(Length::Fill)
            .style(move |_| {
                container::background(p.panel)
                    .border(border::rounded(RADIUS).color(p.text).width(1))
            })
            .into(),
    )
}

/// What to mind in the checks that are named.
fn cautions<'a>(screen: &Findings, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let findings = screen.snapshot.as_ref().map(|s| Arc::clone(&s.findings));
    let cautions = findings.map_or_else(Vec::new, |f| f.cautions.clone());
    let mut lines = Column::new().spacing(STEP * 1.5);
    if cautions.is_empty() {
        let none = "None for what is open now. The maker's procedure comes first.";
        lines = lines.push(text(none).size(font::BODY).color(p.quiet));
    }
    for caution in cautions {
        lines = lines.push(
            row![
                mark::mark(Mark::Warning, 16.0, p.text, p.panel),
                text(caution)
                    .size(font::BODY)
                    .color(p.text)
                    .width(Length::Fill),
            ]
            .spacing(STEP),
        );
    }
    panel(lines, look).padding(STEP * 2.0).into()
}

/// The evidence in the selected cell.
fn evidence<'a>(screen: &Findings, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let quiet = |words: &'static str| {
        let words = text(words).size(font::BODY).color(p.quiet);
        panel(words, look).padding(STEP * 2.0).into()
    };
    let Some((row, bearing, evidence)) = screen.evidence() else {
        return quiet("What speaks for and against each cause will stand here.");
    };
    let (shape, word) = verdict::bearing(bearing);
    let mut list = column![
        row![
            mark::mark(shape, 14.0, p.text, p.panel),
            text(format!("{} {}", capital(word), row.cause.words()))
                .size(font::BODY)
                .font(font::BOLD)
                .color(p.text),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center),
    ]
    .spacing(STEP * 1.5);
    if evidence.is_empty() {
        list = list.push(text("Nothing.").size(font::BODY).color(p.quiet));
    }
    for piece in evidence {
        list = list.push(shown(screen, piece, look));
    }
    panel(list, look).padding([STEP * 1.5, STEP * 2.0]).into()
}

/// One piece of evidence: what was found, when, through which leads.
fn shown<'a>(screen: &Findings, evidence: &Evidence, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let leads: Vec<String> = evidence.leads.iter().map(|r| words::lead(*r)).collect();
    let mut rests = Vec::new();
    if let Some(at) = evidence.at {
        rests.push(format!("at {}", figure::clock(screen.seconds(at))));
    }
    if !leads.is_empty() {
        let noun = if leads.len() == 1 { "lead" } else { "leads" };
        rests.push(format!("rests on the {} {noun}", list(&leads)));
    }
    let mut words = column![
        text(capital(evidence.what))
            .size(font::SMALL)
            .font(font::BOLD)
            .color(p.quiet),
        text(capital(&evidence.text)).size(font::BODY).color(p.text),
    ]
    .spacing(2)
    .width(Length::Fill);
    if !rests.is_empty() {
        words = words.push(
            text(capital(&rests.join(", ")))
                .size(font::SMALL)
                .color(p.quiet),
        );
    }
    let mut line = Row::new()
        .push(words)
        .spacing(STEP)
        .align_y(Alignment::Center);
    if let (Some(_), Some(at)) = (screen.share, evidence.at) {
        let seconds = screen.seconds(at);
        line = line.push(button::action(
            format!("Go to {}", figure::clock(seconds)),
            Some(Mark::Play),
            false,
            look,
            Some(Message::GoTo(seconds)),
        ));
    }
    line.into()
}

/// What has to be done before anything can be found.
fn first_steps<'a>(screen: &Findings, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let step = |number: &'static str, head: &'static str, what: &'static str| {
        row![
            text(number)
                .size(22)
                .font(font::BOLD)
                .color(p.quiet)
                .width(32),
            column![
                text(head).size(16).font(font::BOLD).color(p.text),
                text(what).size(font::BODY).color(p.quiet),
            ]
            .spacing(4),
        ]
        .spacing(STEP)
    };
    let heading = if screen.share.is_some_and(|s| s < 1.0) {
        "The recording is being measured"
    } else {
        "Nothing is found yet. What has to be done first:"
    };
    let steps = column![
        text(heading).size(16).color(p.text),
        step(
            "1",
            "Prove the leads",
            "Hook-up says of each lead whether it is proven, and what to try. Nothing is blamed through a lead that is not.",
        ),
        step(
            "2",
            "Let the engine run",
            "Idle, warm, for ten seconds or more; then rev a few times, so that the controller commands the cams.",
        ),
        step(
            "3",
            "Run a trial, and type the stored codes",
            "Trials are on the Live screen. The codes are then explained, and checked against what was measured.",
        ),
    ]
    .spacing(STEP * 3.0);
    panel(steps, look)
        .padding(STEP * 3.0)
        .height(Length::Fill)
        .into()
}
