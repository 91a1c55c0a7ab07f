//! What the keys do; those that a text field takes never come here.

use super::pages::Page;
use super::{Application, Message, Tab, frame};
use crate::screen::transport::{STEP_SECONDS, faster, slower};
use crate::screen::{export, findings, import, live, recordings, source};
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
    if app.import.is_some() {
        return Some(match key {
            Key::Named(Named::Escape) => Message::Import(import::Message::Close),
            Key::Named(Named::Tab) => Message::FocusField,
            _ => return None,
        });
    }
    if app.exporting.is_some() {
        return Some(match key {
            Key::Named(Named::Escape) => Message::Export(export::Message::Close),
            Key::Named(Named::ArrowUp) => Message::Export(export::Message::Turn(-1)),
            Key::Named(Named::ArrowDown) => Message::Export(export::Message::Turn(1)),
            Key::Named(Named::PageUp) => Message::Export(export::Message::Results(false)),
            Key::Named(Named::PageDown) => Message::Export(export::Message::Results(true)),
            Key::Named(Named::Enter) => Message::Export(export::Message::Begin),
            Key::Named(Named::Tab) => Message::FocusField,
            _ => return None,
        });
    }
    if app.source.is_some() {
        // The panel covers everything else.
        return Some(match key {
            Key::Named(Named::Escape) => Message::Source(source::Message::Close),
            Key::Named(Named::ArrowUp) => Message::Source(source::Message::Up),
            Key::Named(Named::ArrowDown) => Message::Source(source::Message::Down),
            Key::Named(Named::Enter) => Message::Source(source::Message::Take),
            Key::Named(Named::Tab) => Message::FocusField,
            _ => return None,
        });
    }
    let play = app.shown.playback.as_deref();
    let is_recording_open = play.is_some();
    if app.tab == Tab::Recordings {
        let turned = match key {
            Key::Named(Named::PageUp) => Some(-1),
            Key::Named(Named::PageDown) => Some(1),
            _ => None,
        };
        if let Some(by) = turned {
            return Some(Message::Turn(app.pages.open.turned(by)));
        }
        if let Some(message) = app.pages.key(key) {
            return Some(message);
        }
    }
    if app.tab == Tab::Job
        && let Some(message) = app.job.key(key)
    {
        return Some(Message::Job(message));
    }
    match key {
        Key::Named(Named::Space) => Some(Message::ToggleHold),
        Key::Named(Named::Escape) if is_recording_open && app.notice.is_none() => {
            Some(Message::LeaveRecording)
        }
        Key::Named(Named::Escape) => Some(Message::CloseNotice),
        Key::Named(named) if app.tab == Tab::Recordings && app.pages.open == Page::Files => {
            Some(Message::Recordings(match named {
                Named::ArrowUp => recordings::Message::Up,
                Named::ArrowDown => recordings::Message::Down,
                Named::Enter => recordings::Message::Take,
                Named::Tab => return Some(Message::FocusField),
                _ => return None,
            }))
        }
        Key::Named(Named::Tab)
            if app.tab == Tab::Recordings
                && [Page::Review, Page::Compare].contains(&app.pages.open) =>
        {
            Some(Message::FocusField)
        }
        Key::Named(named) if app.tab == Tab::Findings => Some(Message::Findings(match named {
            Named::ArrowUp => findings::Message::Move(0, -1),
            Named::ArrowDown => findings::Message::Move(0, 1),
            Named::ArrowLeft => findings::Message::Move(-1, 0),
            Named::ArrowRight => findings::Message::Move(1, 0),
            Named::Enter => findings::Message::Take,
            Named::Tab => return Some(Message::FocusField),
            _ => return None,
        })),
        Key::Named(named) => Some(Message::Player(match (named, play) {
            (Named::ArrowLeft, Some(_)) => Order::Step(-STEP_SECONDS),
            (Named::ArrowRight, Some(_)) => Order::Step(STEP_SECONDS),
            (Named::ArrowUp, Some(play)) => Order::Speed(faster(play.speed)),
            (Named::ArrowDown, Some(play)) => Order::Speed(slower(play.speed)),
            _ => return None,
        })),
        Key::Character(c) => match c.to_lowercase().as_str() {
            "r" if !is_recording_open => Some(Message::ToggleRecord),
            "l" => Some(Message::ToggleLook),
            "t" if app.tab == Tab::Live => Some(Message::Live(match app.live.wanted() {
                None => live::Message::ShowTraces,
                Some(_) => live::Message::ShowStrip,
            })),
            "c" if app.tab == Tab::Live => Some(Message::Live(live::Message::ShowCylinders)),
            "y" if app.tab == Tab::Live => Some(Message::Live(live::Message::ShowTrials)),
            "c" if app.tab == Tab::Recordings && app.pages.open == Page::Files => {
                Some(Message::Recordings(recordings::Message::CompareTaken))
            }
            "k" if app.tab == Tab::Live => Some(Message::Live(live::Message::ToggleCrankLock)),
            "e" if app.tab == Tab::Live => Some(Message::Live(live::Message::ToggleEnlarged)),
            "e" if app.tab == Tab::Recordings && app.pages.open == Page::Files => {
                Some(Message::Recordings(recordings::Message::ExportTaken))
            }
            "+" if app.tab == Tab::Live => Some(Message::Live(live::Message::ShorterSpan)),
            "-" if app.tab == Tab::Live => Some(Message::Live(live::Message::LongerSpan)),
            "s" => Some(Message::ChooseSource),
            "i" => Some(Message::BringIn),
            "x" => Some(Message::Keep),
            other => Tab::ALL
                .into_iter()
                .find(|tab| frame::key(*tab) == other)
                .map(Message::Open),
        },
        Key::Unidentified => None,
    }
}
