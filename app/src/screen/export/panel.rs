//! How the Export panel looks.

use super::{Export, Message};
use crate::screen::live::words::capital;
use crate::screen::source::field;
use crate::theme::{Look, Palette, RADIUS, STEP};
use crate::widget::button as key;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::{Row, column, container, progress_bar, row, scrollable, text, text_input};
use iced::{Alignment, Element, Length, border};
use keyway_acquisition::export::Form;

/// Identity of the field for the begin, for focus and tests.
pub const FROM_FIELD: &str = "export-from";

/// Width of the words before each row.
const LABEL: f32 = 72.0;

impl Export {
    /// The panel.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let close = if self.is_running() { "Cancel" } else { "Close" };
        let name = self.file.file_name().unwrap_or_default().to_string_lossy();
        let length = self
            .offer
            .as_ref()
            .map_or_else(String::new, |o| format!(" · {}", figure::clock(o.length)));
        let top = row![
            column![
                text("Export")
                    .size(font::HEADING)
                    .font(font::BOLD)
                    .color(p.text),
                text(format!("{name}{length}"))
                    .size(font::SMALL)
                    .color(p.quiet),
            ]
            .spacing(4)
            .width(Length::Fill),
            key::action(close, Some(Mark::Cross), false, look, Some(Message::Close)),
        ]
        .align_y(Alignment::Center);
        let request = self.request();
        let told = match (&self.wrong, &request) {
            (Some(why), _) => Some(warning(why, p)),
            (None, Err(why)) if self.offer.is_some() => Some(warning(why, p)),
            (None, Err(why)) => Some(text(*why).size(font::BODY).color(p.quiet).into()),
            (None, Ok(_)) => None,
        };
        let begin = (request.is_ok() && !self.is_running()).then_some(Message::Begin);
        let foot: Element<'_, Message> = match self.running {
            Some(share) => progress(share, p),
            None => row![
                label("File", p),
                entry("file to write", &self.place, Message::Place, look),
                key::action("Export", None, false, look, begin),
            ]
            .spacing(STEP)
            .align_y(Alignment::Center)
            .into(),
        };
        container(
            column![top, self.what(look), self.form(look), self.span(look)]
                .push((!self.results).then(|| self.leads(look)))
                .push(foot)
                .push(told)
                .spacing(STEP * 1.5)
                .padding(STEP * 2.0),
        )
        .max_width(860)
        .style(move |_| {
            container::background(p.panel).border(border::rounded(RADIUS).color(p.edge).width(1))
        })
        .into()
    }

    fn what(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let choice = |words, results| {
            key::action(
                words,
                None,
                self.results == results,
                look,
                Some(Message::Results(results)),
            )
        };
        row![
            label("What", p),
            choice("Samples", false),
            choice("Results per engine cycle", true),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center)
        .into()
    }

    fn form(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let choice = |words, form| {
            let is_possible = !(self.results && form == Form::Wav);
            let press = is_possible.then_some(Message::Form(form));
            key::action(words, None, self.form == form, look, press)
        };
        let about = match (self.form, self.results) {
            (Form::Parquet, _) => "For pandas, Polars and DuckDB; small, and exact.",
            (Form::Csv, false) => "Text, a line per sample; large. Import reads it again.",
            (Form::Csv, true) => "Text, a line per engine cycle.",
            (Form::Wav, _) => "Sound, a channel per lead; for spans without a gap.",
        };
        row![
            label("Form", p),
            choice("Parquet", Form::Parquet),
            choice("CSV", Form::Csv),
            choice("WAV", Form::Wav),
            text(about).size(font::SMALL).color(p.quiet),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center)
        .into()
    }

    fn span(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let words = |words: &'static str| text(words).size(font::BODY).color(p.quiet);
        row![
            label("From", p),
            entry("the start", &self.from, Message::From, look)
                .id(FROM_FIELD)
                .width(120),
            words("s to"),
            entry("the end", &self.to, Message::To, look).width(120),
            words("s"),
        ]
        .spacing(STEP)
        .align_y(Alignment::Center)
        .into()
    }

    fn leads(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let leads = self.offer.as_ref().map_or(&[][..], |o| &o.leads);
        let mut keys = Row::new().spacing(STEP);
        for (i, (name, chosen)) in leads.iter().zip(&self.chosen).enumerate() {
            let mark = if *chosen { Mark::Check } else { Mark::Ring };
            let words = capital(&name.replace('-', " "));
            keys = keys.push(key::action(
                words,
                Some(mark),
                *chosen,
                look,
                Some(Message::Lead(i)),
            ));
        }
        row![
            label("Leads", p),
            scrollable(keys.wrap().vertical_spacing(STEP)).width(Length::Fill),
        ]
        .spacing(STEP)
        .into()
    }
}

fn label<'a>(words: &'static str, p: &'a Palette) -> Element<'a, Message> {
    text(words)
        .size(font::SMALL)
        .color(p.quiet)
        .width(LABEL)
        .into()
}

fn warning<'a>(words: &str, p: &'a Palette) -> Element<'a, Message> {
    row![
        mark::mark(Mark::Warning, 18.0, p.alarm, p.panel),
        text(words.to_owned()).size(font::BODY).color(p.text),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
    .into()
}

fn progress<'a>(share: f32, p: &'a Palette) -> Element<'a, Message> {
    row![
        text(format!("{:.0} %", share * 100.0))
            .size(font::BODY)
            .color(p.text)
            .width(LABEL),
        progress_bar(0.0..=1.0, share).style(move |_| progress_bar::Style {
            background: p.background.into(),
            bar: p.text.into(),
            border: border::rounded(RADIUS),
        }),
    ]
    .spacing(STEP)
    .align_y(Alignment::Center)
    .into()
}

fn entry<'a>(
    hint: &'a str,
    typed: &'a str,
    message: fn(String) -> Message,
    look: Look,
) -> text_input::TextInput<'a, Message> {
    text_input(hint, typed)
        .on_input(message)
        .on_submit(Message::Begin)
        .font(font::MONO)
        .size(font::BODY)
        .padding([12, 12])
        .style(move |_, status| field(look, status))
}
