//! Beside the table: stored codes, base timing, results of trials.

use super::view::panel;
use super::{Findings, Message, verdict};
use crate::figure;
use crate::font;
use crate::screen::live::words::{self, capital};
use crate::screen::source::field;
use crate::theme::{Look, STEP, TARGET};
use crate::widget::button;
use crate::widget::mark::{self, Mark};
use iced::widget::{Column, Row, column, row, text, text_input};
use iced::{Alignment, Element, Length};
use keyway_analysis::base_timing::{BaseTiming, CamBase, Conclusion};
use keyway_analysis::findings::{Bearing, CodeView};
use keyway_analysis::reading::Reading;
use keyway_analysis::trial::{Measure, Outcome, TrialResult, TrialsView};

fn heading<'a>(words: &'static str, look: Look) -> text::Text<'a> {
    text(words)
        .size(font::SMALL)
        .font(font::BOLD)
        .color(look.palette().quiet)
}

fn block<'a>(content: Column<'a, Message>, look: Look) -> Element<'a, Message> {
    panel(content.spacing(6).width(Length::Fill), look)
        .padding([STEP, STEP * 1.5])
        .into()
}

/// The codes that the controller has stored, and what was measured of each.
pub fn codes<'a>(screen: &Findings, look: Look, id: &'static str) -> Element<'a, Message> {
    let p = look.palette();
    let entry = row![
        text_input("P0014", &screen.typed)
            .id(id)
            .on_input(Message::Type)
            .on_submit(Message::Add)
            .font(font::MONO)
            .size(16)
            .padding([11, 12])
            .style(move |_, status| field(look, status)),
        button::action("Add", None, false, look, Some(Message::Add)),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center);
    let mut content = column![heading("Stored codes", look), entry];
    for code in &screen.codes {
        let findings = screen.snapshot.as_ref().map(|s| &s.findings);
        let view = findings.and_then(|f| f.codes.iter().find(|c| c.code == *code));
        content = content.push(one_code(code, view, look));
    }
    if screen.codes.is_empty() {
        content = content.push(
            text("As the scan of the controller showed them. Each is explained, and checked against what was measured.")
                .size(font::SMALL)
                .color(p.quiet),
        );
    }
    block(content, look)
}

fn one_code<'a>(code: &str, view: Option<&CodeView>, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut head = Row::new().spacing(STEP).align_y(Alignment::Center).push(
        text(code.to_owned())
            .size(16)
            .font(font::BOLD)
            .color(p.text)
            .width(Length::Fill),
    );
    if let Some(view) = view {
        let (shape, word) = match view.bearing {
            Bearing::Supports => (Mark::Disc, "borne out"),
            Bearing::Contradicts => (Mark::Cross, "not borne out"),
            Bearing::NotShown => (Mark::Dash, "not shown"),
        };
        head = head
            .push(mark::mark(shape, 12.0, p.text, p.panel))
            .push(text(word).size(font::SMALL).color(p.text));
    }
    let remove = Message::Remove(code.to_owned());
    head = head.push(button::wide("×", false, look, Some(remove)).width(TARGET));
    let mut content = column![head].spacing(2);
    if let Some(view) = view {
        content = content
            .push(text(view.meaning.clone()).size(font::SMALL).color(p.quiet))
            .push(text(view.measured.clone()).size(font::SMALL).color(p.text));
    }
    content.into()
}

/// Where the cams stand at rest.
pub fn base_timing<'a>(base: &BaseTiming, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let is_out = !matches!(base.conclusion, Conclusion::Good | Conclusion::NotJudged);
    let against = text(base.against.clone()).size(font::SMALL).color(p.quiet);
    let mut content = column![heading("Base timing", look), against];
    let mut line = Row::new().spacing(STEP);
    if is_out {
        line = line.push(mark::mark(Mark::Warning, 16.0, p.alarm, p.panel));
    }
    content = content.push(
        line.push(
            text(base.sentence.clone())
                .size(font::BODY)
                .color(if is_out { p.alarm } else { p.text }),
        ),
    );
    for cam in base.cams.iter().filter(|c| c.offset.any().is_some()) {
        content = content.push(cam_line(cam, look));
    }
    if let Some(next) = &base.next {
        content = content.push(text(next.clone()).size(font::SMALL).color(p.quiet));
    }
    block(content, look)
}

/// "Intake  +14.8° ± 0.9   1.0 teeth".
fn cam_line<'a>(cam: &CamBase, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let offset = match cam.offset {
        Reading::Valid(v) | Reading::Stale(v, _) | Reading::Suspect(v, _) => {
            format!("{}°", figure::signed(v.0, 1))
        }
        Reading::Missing(_) => figure::NONE.to_owned(),
    };
    let range = cam
        .uncertainty
        .map_or_else(String::new, |u| format!("± {}°", figure::plain(u.0, 1)));
    let teeth = cam
        .teeth
        .map_or_else(String::new, |t| format!("{} teeth", figure::signed(t, 1)));
    row![
        text(words::cam_capital(cam.cam))
            .size(font::BODY)
            .color(p.cam(cam.cam))
            .width(80),
        text(offset)
            .size(16)
            .font(font::BOLD)
            .color(p.text)
            .width(72),
        text(range)
            .size(font::SMALL)
            .color(p.quiet)
            .width(Length::Fill),
        text(teeth).size(font::BODY).color(p.text),
    ]
    .spacing(4)
    .align_y(Alignment::Center)
    .into()
}

/// The results of trials, the newest first.
pub fn trials<'a>(screen: &Findings, trials: &TrialsView, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut content = column![heading("Trials", look)];
    if let Some(running) = &trials.running {
        content = content.push(
            text(format!(
                "{}, {} cam: under way",
                capital(verdict::trial(running.order.kind)),
                words::cam(running.order.cam)
            ))
            .size(font::BODY)
            .color(p.text),
        );
    }
    if trials.results.is_empty() && trials.running.is_none() {
        content = content.push(
            text("None yet. Live has them under Trials.")
                .size(font::SMALL)
                .color(p.quiet),
        );
    }
    for result in trials.results.iter().rev() {
        content = content.push(one_trial(screen, result, look));
    }
    block(content, look)
}

fn one_trial<'a>(screen: &Findings, result: &TrialResult, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let (shape, word) = verdict::outcome(result.outcome);
    let ink = if result.outcome == Outcome::Unsound {
        p.alarm
    } else {
        p.text
    };
    let oil = result
        .order
        .oil
        .map_or_else(String::new, |t| format!(", oil {} °C", figure::plain(t, 0)));
    let mut content = column![
        row![
            mark::mark(shape, 14.0, ink, p.panel),
            text(format!(
                "{}, {}{oil}: {word}",
                capital(verdict::trial(result.order.kind)),
                words::cam(result.order.cam)
            ))
            .size(font::BODY)
            .font(font::BOLD)
            .color(ink)
            .width(Length::Fill),
            text(figure::clock(screen.seconds(result.span[0])))
                .size(font::SMALL)
                .color(p.quiet),
        ]
        .spacing(6)
        .align_y(Alignment::Center),
        text(result.sentence.clone())
            .size(font::SMALL)
            .color(p.text),
    ]
    .spacing(2);
    for measure in &result.measures {
        content = content.push(row![
            text(measure.name.clone())
                .size(font::SMALL)
                .color(p.quiet)
                .width(Length::Fill),
            text(written(measure)).size(font::SMALL).color(p.text),
        ]);
    }
    content.into()
}

/// "12.4 ± 0.3 °/s", or why there is none.
pub fn written(measure: &Measure) -> String {
    let Some(value) = measure.value else {
        return measure.why.clone();
    };
    let decimals = match value.abs() {
        v if v < 2.0 => 2,
        v if v < 100.0 => 1,
        _ => 0,
    };
    let range = measure.uncertainty.map_or_else(String::new, |u| {
        format!(" ± {}", figure::plain(u, decimals))
    });
    let gap = if measure.unit.starts_with('°') || measure.unit.is_empty() {
        ""
    } else {
        " "
    };
    format!(
        "{}{range}{gap}{}",
        figure::plain(value, decimals),
        measure.unit
    )
}
