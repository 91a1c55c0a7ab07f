//! What the keys do; those that a text field takes never come here.

use super::{Application, Message, Tab, frame};
use crate::screen::transport::STEP_SECONDS;
use crate::screen::{live, source};
use crate::session::playback::Order;
use iced::keyboard::{Event, Key, key::Named};

/// The message of a key, if it has one.
pub fn meaning(event: &Event, app: &Application) -> Option<Message> {
    let Event::KeyPressed { key, modifiers, .. } = event else {
        return None;
    };
    if modifiers.control() || modifiers.alt() || modifiers.logo() {
        return None;
    }
    if app.source.is_some() {
        // The panel covers everything else.
        return matches!(key, Key::Named(Named::Escape))
            .then_some(Message::Source(source::Message::Close));
    }
    let is_recording_open = app.shown.playback.is_some();
    match key {
        Key::Named(Named::Space) => Some(Message::ToggleHold),
        Key::Named(Named::Escape) => Some(Message::CloseNotice),
        Key::Named(Named::ArrowLeft) if is_recording_open => {
            Some(Message::Player(Order::Step(-STEP_SECONDS)))
        }
        Key::Named(Named::ArrowRight) if is_recording_open => {
            Some(Message::Player(Order::Step(STEP_SECONDS)))
        }
        Key::Character(c) => match c.to_lowercase().as_str() {
            "r" if !is_recording_open => Some(Message::ToggleRecord),
            "l" => Some(Message::ToggleLook),
            "t" if app.tab == Tab::Live => Some(Message::Live(match app.live.wanted() {
                None => live::Message::ShowTraces,
                Some(_) => live::Message::ShowStrip,
            })),
            "k" if app.tab == Tab::Live => Some(Message::Live(live::Message::ToggleCrankLock)),
            "e" if app.tab == Tab::Live => Some(Message::Live(live::Message::ToggleEnlarged)),
            "+" if app.tab == Tab::Live => Some(Message::Live(live::Message::ShorterSpan)),
            "-" if app.tab == Tab::Live => Some(Message::Live(live::Message::LongerSpan)),
            "s" => Some(Message::ChooseSource),
            other => Tab::ALL
                .into_iter()
                .find(|tab| frame::key(*tab) == other)
                .map(Message::Open),
        },
        _ => None,
    }
}
