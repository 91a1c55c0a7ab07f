//! The bar over a recording that is played: it takes the place of the usual bar, because a recording
//! has no link and cannot be recorded again.

use crate::session::playback::{Order, PlayStatus};
use crate::status::LinkStatus;
use crate::theme::{Look, RADIUS, TARGET};
use crate::widget::button;
use crate::widget::label;
use crate::widget::mark::{self, Mark};
use crate::{figure, font};
use iced::widget::{column, container, responsive, row, slider, text};
use iced::{Alignment, Color, Element, Font, Length};

/// Height of the bar, logical pixels; that of the usual one.
pub const HEIGHT: f32 = 60.0;

/// Seconds of one step.
pub const STEP_SECONDS: f64 = 0.5;

/// Speeds in the order in which the key goes through them.
const SPEEDS: [f64; 5] = [0.1, 0.25, 1.0, 2.0, 4.0];

/// The next higher speed, or the highest.
pub fn faster(speed: f64) -> f64 {
    let next = SPEEDS.iter().find(|s| **s > speed);
    next.copied().unwrap_or(speed)
}

/// The next lower speed, or the lowest.
pub fn slower(speed: f64) -> f64 {
    let next = SPEEDS.iter().rev().find(|s| **s < speed);
    next.copied().unwrap_or(speed)
}

/// What the bar shows.
#[derive(Debug, Clone)]
pub struct Transport<'a> {
    /// The engine.
    pub title: String,
    /// The file.
    pub link: &'a LinkStatus,
    /// The player.
    pub play: &'a PlayStatus,
    /// Look.
    pub look: Look,
}

/// The bar; `order` makes the message to the player, `keep` makes an exhibit, `leave` returns to the scope, `change_look`
/// changes the look.
pub fn transport<'a, Message: Clone + 'a>(
    bar: Transport<'a>,
    order: impl Fn(Order) -> Message + 'a,
    keep: Message,
    leave: Message,
    change_look: Message,
) -> Element<'a, Message> {
    let (p, look, play) = (bar.look.palette(), bar.look, bar.play);
    let lost = if bar.link.lost > 0 {
        format!(" · {} samples lost", figure::plain(bar.link.lost as f64, 0))
    } else {
        String::new()
    };
    let (title, source) = (bar.title, format!("{}{lost}", bar.link.source));
    // Cut to the room there is: the toolkit would cut in the middle of a letter.
    let heading = responsive(move |room| {
        let line = |words: &str, size: f32, font: Font, colour: Color, width: f32| {
            let words = label::cut(words.to_owned(), size, font, width);
            text(words)
                .size(size)
                .font(font)
                .color(colour)
                .wrapping(text::Wrapping::None)
        };
        let file = row![
            mark::mark(Mark::Play, 12.0, p.quiet, p.background),
            line(
                &source,
                font::SMALL,
                font::REGULAR,
                p.quiet,
                room.width - 18.0
            ),
        ]
        .spacing(6)
        .align_y(Alignment::Center);
        let lines = column![
            line(&title, font::BODY, font::BOLD, p.text, room.width),
            file,
        ];
        container(lines.spacing(4)).center_y(Length::Fill).into()
    });
    let heading = container(heading).width(Length::FillPortion(7));
    let (word, symbol, press) = if play.is_playing {
        ("Pause", Mark::Pause, Order::Pause)
    } else {
        ("Play", Mark::Play, Order::Play)
    };
    let look_mark = match look {
        Look::Workshop => Mark::Sun,
        Look::Daylight => Mark::Moon,
    };
    let next = match faster(play.speed) {
        same if same <= play.speed => SPEEDS[0],
        next => next,
    };
    let keys = row![
        button::action(
            word,
            Some(symbol),
            play.is_playing,
            look,
            Some(order(press))
        ),
        button::action(
            "−½ s",
            None,
            false,
            look,
            Some(order(Order::Step(-STEP_SECONDS)))
        ),
        button::action(
            "+½ s",
            None,
            false,
            look,
            Some(order(Order::Step(STEP_SECONDS)))
        ),
    ]
    .spacing(8);
    let speed = button::action(
        format!("× {}", play.speed),
        None,
        false,
        look,
        Some(order(Order::Speed(next))),
    );
    let time = text(format!(
        "{}/{}",
        figure::clock(play.position),
        figure::clock(play.length)
    ))
    .size(font::BODY)
    .color(p.text)
    .wrapping(text::Wrapping::None);
    let scrub = slider(0.0..=play.length.max(0.001), play.position, move |to| {
        order(Order::Seek(to))
    })
    .step(0.05)
    .height(TARGET)
    .width(Length::FillPortion(5))
    .style(move |_, _| slider::Style {
        rail: slider::Rail {
            backgrounds: (p.text.into(), p.zone.into()),
            width: 6.0,
            border: iced::border::rounded(3),
        },
        handle: slider::Handle {
            shape: slider::HandleShape::Rectangle {
                width: 14,
                border_radius: RADIUS.into(),
            },
            background: p.text.into(),
            border_width: 0.0,
            border_color: p.text,
        },
    });
    container(
        row![
            heading,
            keys,
            scrub,
            time,
            speed,
            button::action("Keep", None, false, look, Some(keep)),
            button::action("Leave", None, false, look, Some(leave)),
            button::action("", Some(look_mark), false, look, Some(change_look)),
        ]
        .spacing(8)
        .height(Length::Fill)
        .align_y(Alignment::Center),
    )
    .height(HEIGHT)
    .padding([0, 16])
    .style(move |_| container::background(p.background))
    .into()
}
