//! What stands beside the picture: the cursors, what happened, the search.

use super::items::Kind;
use super::{FIND_FIELD, Message, Opened, Side, axis, detail, strip, table};
use crate::font;
use crate::screen::live::words;
use crate::screen::source::field;
use crate::theme::{Look, RADIUS, STEP, TARGET};
use crate::widget::button;
use iced::widget::canvas::{self, Geometry};
use iced::widget::{
    Button, Column, Row, column, container, row, scrollable, space, text, text_input,
};
use iced::{Alignment, Color, Element, Length, Rectangle, Renderer, Theme, border, mouse};

/// Its width, logical pixels.
pub const WIDTH: f32 = 348.0;

/// Room for the name of a lead, logical pixels.
const NAME: f32 = 112.0;

/// Entries of a list that are shown at a time: more than are looked through by hand.
const MOST: usize = 60;

/// The panel.
pub fn view(opened: &Opened, side: Side, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let content = match side {
        Side::Cursors => cursors(opened, look),
        Side::Events => events(opened, look),
        Side::Find => find(opened, look),
    };
    container(content)
        .padding([STEP, STEP * 1.5])
        .width(WIDTH)
        .height(Length::Fill)
        .style(move |_| container::background(p.panel).border(border::rounded(RADIUS)))
        .into()
}

fn small<'a>(words: impl text::IntoFragment<'a>, ink: Color) -> text::Text<'a> {
    text(words).size(font::SMALL).color(ink)
}

fn cursors(opened: &Opened, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let is_put = |which: usize| opened.cursors[which].is_some();
    let both = is_put(0) && is_put(1);
    let any = is_put(0) || is_put(1);
    let key = |word: &'static str, is_on, message| {
        button::wide(word, is_on, look, message).width(Length::Fill)
    };
    let active = |which: usize| is_put(which) && opened.active == which;
    let keys = row![
        key("A", active(0), Some(Message::TakeCursor(0))),
        key("B", active(1), Some(Message::TakeCursor(1))),
        key("Zoom", false, both.then_some(Message::ShowCursors)),
        key("Clear", false, any.then_some(Message::ClearCursors)),
    ]
    .spacing(4);
    let nudge = row![
        key("<<", false, any.then_some(Message::NudgeCursor(-20.0))),
        key("<", false, any.then_some(Message::NudgeCursor(-1.0))),
        key(">", false, any.then_some(Message::NudgeCursor(1.0))),
        key(">>", false, any.then_some(Message::NudgeCursor(20.0))),
    ]
    .spacing(4);
    let mut content = Column::new().spacing(5);
    if !any {
        content = content.push(small(
            "Click into the window to put cursor A, and again for B. Drag a cursor, or press A or B and move it with the keys , and .",
            p.quiet,
        ));
    }
    for line in table::lines(opened) {
        content = content.push(
            row![
                small(line.name, p.quiet).width(92.0),
                text(line.figure)
                    .size(font::BODY)
                    .font(font::BOLD)
                    .color(p.text),
                small(line.why, p.quiet).width(Length::Fill),
            ]
            .spacing(STEP)
            .align_y(Alignment::Center),
        );
    }
    if let Some(between) = &opened.between {
        content = content.push(leads(opened, between, look));
    } else if any {
        content = content.push(small("measuring…", p.quiet));
    }
    column![
        keys,
        nudge,
        scrollable(content.padding([0, 4]))
            .spacing(4)
            .height(Length::Fill)
    ]
    .spacing(4)
    .into()
}

/// A table of the leads: one row each at the cursors, one with mean and ends between them.
fn leads<'a>(
    opened: &Opened,
    between: &crate::review::between::Between,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let both = opened.cursors.iter().all(Option::is_some);
    let cell = |words: String, ink: Color| {
        small(words, ink)
            .width(Length::Fill)
            .align_x(Alignment::End)
            .wrapping(text::Wrapping::None)
    };
    let name =
        |words: String, ink: Color| small(words, ink).width(NAME).wrapping(text::Wrapping::None);
    let head = |words: [&str; 4]| {
        let [first, rest @ ..] = words.map(str::to_owned);
        rest.into_iter()
            .fold(row![name(first, p.quiet)], |row, w| {
                row.push(cell(w, p.quiet))
            })
            .spacing(4)
    };
    let mut table = column![
        space().height(4),
        head(["at the cursors", "A", "B", "B − A"])
    ]
    .spacing(3);
    let lines = table::leads(between);
    for line in &lines {
        let ink = detail::colour(line.role, p);
        table = table.push(
            (with_unit(&line.at, &line.unit).into_iter())
                .fold(row![name(line.name.clone(), ink)], |row, w| {
                    row.push(cell(w, p.text))
                })
                .spacing(4),
        );
    }
    if both {
        let share = between.share;
        let title = if share >= 1.0 {
            "A to B".to_owned()
        } else {
            format!("A to B, {:.0} % read", share * 100.0)
        };
        table = table
            .push(space().height(6))
            .push(head([title.as_str(), "mean", "least", "most"]));
        for line in lines {
            let ink = detail::colour(line.role, p);
            table = table.push(
                (with_unit(&line.between, &line.unit).into_iter())
                    .fold(row![name(line.name, ink)], |row, w| {
                        row.push(cell(w, p.text))
                    })
                    .spacing(4),
            );
        }
    }
    table.into()
}

/// The unit behind the last of three figures is enough for the row.
fn with_unit(figures: &[String; 3], unit: &str) -> [String; 3] {
    let [a, b, c] = figures.clone();
    [a, b, format!("{c} {unit}")]
}

/// A row of a list that can be pressed.
fn entry<'a>(
    time: String,
    words: String,
    sign: Option<(Kind, Color)>,
    is_on: bool,
    look: Look,
    message: Message,
) -> Button<'a, Message> {
    let p = look.palette();
    let mut line = Row::new().spacing(STEP).align_y(Alignment::Center);
    line = line.push(small(time, p.quiet).width(74.0));
    if let Some((kind, ink)) = sign {
        line = line.push(
            canvas::Canvas::new(Sign(kind, ink))
                .width(14.0)
                .height(14.0),
        );
    }
    line = line.push(small(words, p.text).width(Length::Fill));
    iced::widget::button(container(line).center_y(Length::Shrink).padding([4, 0]))
        .width(Length::Fill)
        .padding([8, 8])
        .style(move |_, status| button::style(look, is_on, status))
        .on_press(message)
}

fn events(opened: &Opened, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let items = &opened.items;
    let middle = opened
        .picked
        .unwrap_or_else(|| items.partition_point(|i| i.at < opened.window.from));
    let first = middle
        .saturating_sub(MOST / 2)
        .min(items.len().saturating_sub(MOST));
    let last = (first + MOST).min(items.len());
    let mut list = Column::new().spacing(4).padding([0, 4]);
    if items.is_empty() {
        let words = if opened.course.as_ref().is_some_and(|c| c.is_complete) {
            "Nothing happened in this recording, and nothing was said."
        } else {
            "Nothing yet; the recording is still being measured."
        };
        list = list.push(small(words, p.quiet));
    }
    if first > 0 {
        let words = format!("{first} before these: go back with Previous, or move the window.");
        list = list.push(small(words, p.quiet));
    }
    for (i, item) in items.iter().enumerate().take(last).skip(first) {
        let ink = if item.is_wrong { p.alarm } else { p.text };
        let is_on = opened.picked == Some(i);
        let time = axis::clock(item.at, 2);
        let sign = Some((item.kind, ink));
        let row = entry(time, item.text.clone(), sign, is_on, look, Message::GoTo(i));
        list = list.push(row);
    }
    if last < items.len() {
        let words = format!("{} after these.", items.len() - last);
        list = list.push(small(words, p.quiet));
    }
    let keys = row![
        button::wide("Previous (P)", false, look, Some(Message::Jump(false))).width(Length::Fill),
        button::wide("Next (N)", false, look, Some(Message::Jump(true))).width(Length::Fill),
    ]
    .spacing(4);
    column![keys, scrollable(list).spacing(4).height(Length::Fill)]
        .spacing(STEP)
        .into()
}

fn find(opened: &Opened, look: Look) -> Element<'_, Message> {
    let p = look.palette();
    let form = row![
        text_input("duty > 60 and phase < 5", &opened.find.text)
            .id(FIND_FIELD)
            .on_input(Message::Type)
            .on_submit(Message::Search)
            .font(font::MONO)
            .size(font::BODY)
            .padding([12, 10])
            .style(move |_, status| field(look, status)),
        button::wide("Search", false, look, Some(Message::Search)).width(76.0),
    ]
    .spacing(4);
    let mut list = Column::new().spacing(4).padding([0, 4]);
    match &opened.find.result {
        None => list = list.push(hints(look)),
        Some(Err(why)) => {
            list = list
                .push(small(format!("Not understood: {why}."), p.alarm))
                .push(hints(look));
        }
        Some(Ok(found)) => {
            let long: f64 = found.hits.iter().map(|h| h.to - h.from).sum();
            let unfinished = opened.course.as_ref().is_none_or(|c| !c.is_complete);
            let summary = match found.hits.len() {
                0 => format!("{}: nowhere", found.text),
                1 => format!("{}: 1 stretch, {}", found.text, axis::duration(long)),
                n => format!(
                    "{}: {n} stretches, {} in all",
                    found.text,
                    axis::duration(long)
                ),
            };
            list = list.push(small(summary, p.text));
            if unfinished {
                list = list.push(small("In what is measured so far.", p.quiet));
            }
            let at = found.picked.unwrap_or(0);
            let first = at
                .saturating_sub(MOST / 2)
                .min(found.hits.len().saturating_sub(MOST));
            let last = (first + MOST).min(found.hits.len());
            for (i, hit) in found.hits.iter().enumerate().take(last).skip(first) {
                let cams: Vec<String> = hit.cams.iter().map(|c| words::cam(*c)).collect();
                let words = [axis::duration(hit.to - hit.from), words::list(&cams)]
                    .iter()
                    .filter(|w| !w.is_empty())
                    .cloned()
                    .collect::<Vec<_>>()
                    .join(" · ");
                let is_on = found.picked == Some(i);
                let time = axis::clock(hit.from, 2);
                list = list.push(entry(time, words, None, is_on, look, Message::GoToHit(i)));
            }
            if last < found.hits.len() {
                let words = format!("{} after these.", found.hits.len() - last);
                list = list.push(small(words, p.quiet));
            }
        }
    }
    column![form, scrollable(list).spacing(4).height(Length::Fill)]
        .spacing(STEP)
        .into()
}

fn hints<'a>(look: Look) -> Element<'a, Message> {
    let p = look.palette();
    let mut column = column![
        small(
            "Fields: speed (rpm), supply (V), duty (%) and phase (° crank), the last two with a cam behind if one is meant. States by their words. and, or, not, brackets; for 2 s at the end for a least length.",
            p.quiet,
        ),
        small("For example:", p.quiet),
    ]
    .spacing(6);
    for example in [
        "duty > 60 and phase < 5",
        "exhaust not following for 2 s",
        "disagreeing and speed > 1500",
        "supply < 12.5",
    ] {
        let key = iced::widget::button(
            text(example)
                .size(font::SMALL)
                .font(font::MONO)
                .color(p.text)
                .height(Length::Fill)
                .align_y(Alignment::Center),
        )
        .width(Length::Fill)
        .height(TARGET)
        .padding([0, 10])
        .style(move |_, status| button::style(look, false, status))
        .on_press(Message::Type(example.to_owned()));
        column = column.push(key);
    }
    column.into()
}

/// The sign of what happened, as a widget.
struct Sign(Kind, Color);

impl<M> canvas::Program<M> for Sign {
    type State = canvas::Cache;

    fn draw(
        &self,
        cache: &canvas::Cache,
        renderer: &Renderer,
        _theme: &Theme,
        bounds: Rectangle,
        _cursor: mouse::Cursor,
    ) -> Vec<Geometry> {
        // Small enough to be drawn again: the list it stands in changes.
        cache.clear();
        vec![cache.draw(renderer, bounds.size(), |frame| {
            let middle = frame.center();
            strip::mark(frame, self.0, middle, self.1);
        })]
    }
}
