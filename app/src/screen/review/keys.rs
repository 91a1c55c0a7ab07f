//! What the keys do on the Review page.

use super::{Message, PAN_STEP, Side, ZOOM_STEP};
use iced::keyboard::{Key, key::Named};

/// The message of a key, if it has one.
pub fn meaning(key: &Key) -> Option<Message> {
    Some(match key {
        Key::Named(Named::ArrowLeft) => Message::Pan(-PAN_STEP),
        Key::Named(Named::ArrowRight) => Message::Pan(PAN_STEP),
        Key::Named(Named::Home) => Message::Pan(f64::MIN),
        Key::Named(Named::End) => Message::Pan(f64::MAX),
        Key::Character(c) => match c.to_lowercase().as_str() {
            "+" | "=" => Message::Zoom(1.0 / ZOOM_STEP, None),
            "-" => Message::Zoom(ZOOM_STEP, None),
            "w" => Message::Whole,
            "a" => Message::TakeCursor(0),
            "b" => Message::TakeCursor(1),
            "," => Message::NudgeCursor(-1.0),
            "." => Message::NudgeCursor(1.0),
            "<" => Message::NudgeCursor(-20.0),
            ">" => Message::NudgeCursor(20.0),
            "d" => Message::ClearCursors,
            "z" => Message::ShowCursors,
            "n" => Message::Jump(true),
            "p" => Message::Jump(false),
            "v" => Message::Beside(Side::Events),
            "f" => Message::Beside(Side::Find),
            "m" => Message::Beside(Side::Cursors),
            "g" => Message::LiveHere,
            "o" => Message::Rows,
            _ => return None,
        },
        Key::Named(_) | Key::Unidentified => return None,
    })
}
