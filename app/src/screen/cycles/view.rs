//! How the Cycles page is put together.

use super::board::Board;
use super::{Cycles, FROM_FIELD, Message, Show, Stock, TO_FIELD, colour};
use crate::font;
use crate::screen::live::words;
use crate::screen::source::field;
use crate::theme::{Look, RADIUS, STEP, TARGET};
use crate::widget::button;
use crate::widget::label::Labels;
use crate::widget::mark::{self, Mark};
use iced::widget::{
    Canvas, Column, Row, column, container, progress_bar, responsive, row, stack, text, text_input,
};
use iced::{Alignment, Element, Length, Size};
use std::sync::Arc;

/// Below this width words are left away, logical pixels.
const NARROW: f32 = 1000.0;

impl Cycles {
    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        responsive(move |size| self.sized(look, size)).into()
    }

    fn sized(&self, look: Look, size: Size) -> Element<'_, Message> {
        let stock = self.stock.as_ref().filter(|s| !s.cycles().is_empty());
        let mut page = Column::new().spacing(STEP);
        page = page.push(self.tools(stock, look, size));
        if self.source.is_some() {
            page = page.push(if self.are_leads_open && stock.is_some() {
                self.leads(stock, look)
            } else {
                self.stretch(look, size)
            });
        }
        if let Some(stock) = stock {
            page = page.push(self.lines(stock, look));
        }
        page.push(self.body(stock, look, size)).into()
    }

    fn tools(&self, stock: Option<&Arc<Stock>>, look: Look, size: Size) -> Element<'_, Message> {
        let is_full = stock.is_some();
        let wide = |word: &'static str, width: f32, is_on: bool, message: Option<Message>| {
            button::wide(word, is_on, look, message.filter(|_| is_full)).width(width)
        };
        let show = |word, width, show: Show| {
            wide(word, width, self.show == show, Some(Message::Show(show)))
        };
        let is_narrow = size.width < NARROW;
        let mean = if is_narrow { "Mean" } else { "Mean and spread" };
        let last = stock.map_or(0, |s| s.cycles().len().saturating_sub(1));
        let is_one = self.show == Show::One;
        let back = (is_one && self.at > 0).then_some(Message::Step(-1));
        let on = (is_one && self.at < last).then_some(Message::Step(1));
        let is_whole = self.window.end - self.window.start > 719.0;
        let zoomed = |message: Message| (!is_whole).then_some(message);
        Row::new()
            .push(show("One cycle", 96.0, Show::One))
            .push(show("Overlaid", 90.0, Show::All))
            .push(show(mean, if is_narrow { 70.0 } else { 142.0 }, Show::Mean))
            .push(container("").width(STEP))
            .push(wide("Before", 76.0, false, back))
            .push(wide("Next", 64.0, false, on))
            .push(container("").width(Length::Fill))
            .push(wide("‹", TARGET, false, zoomed(Message::Pan(-0.25))))
            .push(wide("›", TARGET, false, zoomed(Message::Pan(0.25))))
            .push(wide("−", TARGET, false, zoomed(Message::Zoom(2.0, None))))
            .push(wide("+", TARGET, false, Some(Message::Zoom(0.5, None))))
            .push(wide("Whole", 74.0, false, zoomed(Message::Whole)))
            .push(container("").width(STEP))
            .push(wide(
                "Leads",
                70.0,
                self.are_leads_open,
                Some(Message::ToggleLeads),
            ))
            .spacing(4)
            .into()
    }

    fn stretch(&self, look: Look, size: Size) -> Element<'_, Message> {
        let p = look.palette();
        let entry = |id: &'static str, typed: &str, message: fn(String) -> Message| {
            text_input("s", typed)
                .id(id)
                .on_input(message)
                .on_submit(Message::Cut)
                .font(font::MONO)
                .size(font::BODY)
                .padding([12, 10])
                .width(104)
                .style(move |_, status| field(look, status))
        };
        let word = |words: &'static str| text(words).size(font::BODY).color(p.quiet);
        let key = |word: &'static str, is_on: bool, message: Option<Message>| {
            button::action(word, None, is_on, look, message)
        };
        let review = if size.width < NARROW {
            "As on Review"
        } else {
            "Stretch of Review"
        };
        let mut line = Row::new()
            .push(word("From"))
            .push(entry(FROM_FIELD, &self.from, Message::From))
            .push(word("to"))
            .push(entry(TO_FIELD, &self.to, Message::To))
            .push(word("s"));
        if self.work.is_some() {
            line = line.push(key("Cancel", false, Some(Message::Cancel))).push(
                progress_bar(0.0..=1.0, super::plot::narrow(self.share))
                    .girth(10)
                    .style(move |_| progress_bar::Style {
                        background: p.zone.into(),
                        bar: p.text.into(),
                        border: iced::border::rounded(RADIUS),
                    }),
            );
        } else {
            let as_reviewed = self.is_typed.then_some(Message::AsReviewed);
            line = line
                .push(key("Cut", false, Some(Message::Cut)))
                .push(key(review, !self.is_typed, as_reviewed))
                .push(container("").width(Length::Fill));
            if self.stock.as_ref().is_some_and(|s| !s.cycles().is_empty()) {
                let is_put = self.cursors.iter().any(Option::is_some);
                line = line
                    .push(key(
                        "A",
                        self.cursors[0].is_some() && self.hand == 0,
                        Some(Message::TakeCursor(0)),
                    ))
                    .push(key(
                        "B",
                        self.cursors[1].is_some() && self.hand == 1,
                        Some(Message::TakeCursor(1)),
                    ))
                    .push(key("Clear", false, is_put.then_some(Message::ClearCursors)));
            }
        }
        line.spacing(STEP).align_y(Alignment::Center).into()
    }

    fn leads(&self, stock: Option<&Arc<Stock>>, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let leads = stock.map(|s| s.locked.leads.as_slice()).unwrap_or_default();
        let chips = leads.iter().map(|lead| {
            let is_on = !self.hidden.contains(&lead.role);
            let ink = if is_on { colour(lead.role, p) } else { p.quiet };
            let symbol = if is_on { Mark::Check } else { Mark::Dash };
            let name = text(words::capital(&words::lead(lead.role)))
                .size(font::SMALL)
                .color(ink)
                .wrapping(text::Wrapping::None);
            let content = row![mark::mark(symbol, 12.0, ink, p.panel), name]
                .spacing(6)
                .height(Length::Fill)
                .align_y(Alignment::Center);
            iced::widget::button(content)
                .height(TARGET)
                .padding([0, 8])
                .style(move |_, status| button::style(look, is_on, status))
                .on_press(Message::ToggleLead(lead.role))
                .into()
        });
        Row::with_children(chips).spacing(4).into()
    }

    fn lines<'a>(&'a self, stock: &'a Stock, look: Look) -> Element<'a, Message> {
        let p = look.palette();
        let cursors = self.cursor_words(stock);
        let mut lines = Column::new().spacing(2);
        let mut first = Row::new().spacing(STEP * 2.0).push(
            text(self.facts(stock))
                .size(font::BODY)
                .font(font::BOLD)
                .color(p.text),
        );
        if let Some(words) = cursors {
            first = first.push(text(words).size(font::BODY).color(p.text));
        }
        lines = lines.push(first.wrap().vertical_spacing(2));
        if let Some(words) = &stock.locked.hindrance {
            lines = lines.push(
                row![
                    mark::mark(Mark::Warning, 14.0, p.text, p.background),
                    text(words).size(font::SMALL).color(p.text),
                ]
                .spacing(6)
                .align_y(Alignment::Center),
            );
        }
        lines.into()
    }

    fn body<'a>(
        &'a self,
        stock: Option<&'a Arc<Stock>>,
        look: Look,
        size: Size,
    ) -> Element<'a, Message> {
        let p = look.palette();
        if let Some(stock) = stock {
            if self.shown(stock).is_empty() {
                return note(
                    "All leads are left away: press Leads and choose some.",
                    look,
                );
            }
            return column![
                responsive(move |size| {
                    let board = Board::new(self, stock, look, size);
                    let labels = Labels(board.words());
                    stack![
                        Canvas::new(board).width(Length::Fill).height(Length::Fill),
                        labels
                    ]
                    .into()
                }),
                text(self.legend(stock, size.width))
                    .size(font::SMALL)
                    .color(p.quiet),
            ]
            .into();
        }
        if self.work.is_some() {
            return note("Cutting the stretch into cycles…", look);
        }
        if let Some(why) = &self.why {
            return note(why, look);
        }
        if let Some(stock) = &self.stock {
            let why = stock.locked.hindrance.as_deref();
            return note(
                why.unwrap_or("There is no complete engine cycle here."),
                look,
            );
        }
        note(
            "No recording is open. Open one on the Files page; its cycles are then shown here, locked to the crank.",
            look,
        )
    }

    /// What the drawing means.
    fn legend(&self, stock: &Stock, width: f32) -> String {
        let what = match self.show {
            Show::One => "One cycle as recorded",
            Show::All => "The stronger the colour, the more cycles pass",
            Show::Mean => "Line: mean · dark: ± 1 standard deviation · light: least to greatest",
        };
        let windows = if stock.is_known() {
            " · grey: sheet's windows at rest"
        } else {
            ""
        };
        let hand = if width < NARROW {
            ""
        } else {
            " · tap for A and B, drag to move, wheel to zoom"
        };
        format!("{what}{windows}{hand}")
    }
}

fn note<'a>(words: &'a str, look: Look) -> Element<'a, Message> {
    let p = look.palette();
    container(text(words).size(font::BODY).color(p.text))
        .padding(STEP * 2.0)
        .into()
}
