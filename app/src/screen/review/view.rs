//! How the Review page is put together.

use super::picture::Picture;
use super::{Message, Opened, PAN_STEP, Review, Shown, Side, ZOOM_STEP, side};
use crate::font;
use crate::theme::{Look, RADIUS, STEP};
use crate::widget::button;
use crate::widget::label::Labels;
use iced::widget::{Row, canvas, column, container, responsive, row, stack, text};
use iced::{Element, Length, border};

/// The page.
pub fn view(page: &Review, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let Some(opened) = &page.opened else {
        let words = page.fault.as_deref().unwrap_or(
            "No recording is open. Press Review beside one on the Files page, or play one there.",
        );
        let ink = if page.fault.is_some() {
            p.alarm
        } else {
            p.quiet
        };
        return container(text(words).size(font::BODY).color(ink))
            .padding(STEP * 2.0)
            .into();
    };
    let lanes = page.lanes;
    let picture = responsive(move |size| {
        let picture = Picture::new(opened, lanes, look, size);
        let words = Labels(picture.words());
        stack![
            canvas::Canvas::new(picture)
                .width(Length::Fill)
                .height(Length::Fill),
            Element::from(words),
        ]
        .into()
    });
    let picture = container(picture)
        .padding([STEP, 4.0])
        .width(Length::Fill)
        .height(Length::Fill)
        .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)));
    let body = row![picture]
        .push(page.side.map(|s| side::view(opened, s, look)))
        .spacing(STEP);
    column![keys(opened, lanes, page.side, look), body]
        .spacing(STEP)
        .height(Length::Fill)
        .into()
}

fn keys<'a>(opened: &Opened, lanes: Shown, side: Option<Side>, look: Look) -> Element<'a, Message> {
    let key = |word: &'static str, is_on: bool, message: Option<Message>| {
        button::action(word, None, is_on, look, message)
    };
    let window = &opened.window;
    let out = (!window.is_whole()).then_some(Message::Zoom(ZOOM_STEP, None));
    let into = (!window.is_narrowest()).then_some(Message::Zoom(1.0 / ZOOM_STEP, None));
    let pan = |by: f64| (!window.is_whole()).then_some(Message::Pan(by));
    let rows = match (lanes.leads, lanes.course) {
        (true, true) => "Rows: all",
        (true, false) => "Rows: leads",
        (false, _) => "Rows: measured",
    };
    let any = !opened.items.is_empty();
    let jump = |is_forward| any.then_some(Message::Jump(is_forward));
    let beside = |word, which| key(word, side == Some(which), Some(Message::Beside(which)));
    Row::with_children([
        key("−", false, out),
        key("+", false, into),
        key(
            "Whole",
            false,
            (!window.is_whole()).then_some(Message::Whole),
        ),
        key("<", false, pan(-2.0 * PAN_STEP)),
        key(">", false, pan(2.0 * PAN_STEP)),
        key("Previous", false, jump(false)),
        key("Next", false, jump(true)),
        key(rows, false, Some(Message::Rows)),
        key("Live here", false, Some(Message::LiveHere)),
        iced::widget::space::horizontal().into(),
        beside("Cursors", Side::Cursors),
        beside("Events", Side::Events),
        beside("Find", Side::Find),
    ])
    .spacing(4)
    .into()
}
