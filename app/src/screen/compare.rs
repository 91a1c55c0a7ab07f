//! The Compare page: two or more recordings on top of each other, side by side, and as a table.

use crate::exhibit::scene::Scene;
use crate::font;
use crate::theme::Look;
use iced::Element;
use iced::keyboard::Key;
use iced::widget::text;

/// The page.
#[derive(Debug, Default)]
pub struct Compare {}

/// What is done on it.
#[derive(Debug, Clone)]
pub enum Message {}

/// What the parent has to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// Nothing.
    None,
}

impl Compare {
    /// Name of the page.
    pub fn title(&self) -> &'static str {
        "Compare"
    }

    /// Does what a message asks.
    pub fn update(&mut self, message: Message) -> Action {
        match message {}
    }

    /// What a key does here, if anything.
    pub fn key(&self, _key: &Key) -> Option<Message> {
        None
    }

    /// What is on the page as data, to be kept as an exhibit; none when it is empty.
    pub fn scene(&self) -> Option<Scene> {
        None
    }

    /// The page.
    pub fn view(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        text(self.title())
            .size(font::HEADING)
            .font(font::BOLD)
            .color(p.text)
            .into()
    }
}
