//! The embedded typeface. Without system fonts the toolkit shows no text and no error, so nothing
//! is left to the machine: B612 (SIL Open Font License 1.1, licence beside the files in
//! `assets/fonts`), made for cockpit displays, with digits of one width.

use iced::Font;
use iced::font::Weight;
use std::borrow::Cow;

/// Running text.
pub const REGULAR: Font = Font::with_name("B612");

/// Figures and headings.
pub const BOLD: Font = Font {
    weight: Weight::Bold,
    ..REGULAR
};

/// Paths and other text that must line up.
pub const MONO: Font = Font::with_name("B612 Mono");

/// Smallest size on any screen, logical pixels.
pub const SMALL: f32 = 13.0;

/// Size of running text, logical pixels.
pub const BODY: f32 = 14.0;

/// Size of headings, logical pixels.
pub const HEADING: f32 = 18.0;

/// The font files, for the toolkit's settings.
pub fn files() -> Vec<Cow<'static, [u8]>> {
    [
        include_bytes!("../assets/fonts/B612-Regular.otf").as_slice(),
        include_bytes!("../assets/fonts/B612-Bold.otf").as_slice(),
        include_bytes!("../assets/fonts/B612Mono-Regular.otf").as_slice(),
    ]
    .map(Cow::Borrowed)
    .into()
}

/// Toolkit settings with the fonts in place.
pub fn settings() -> iced::Settings {
    iced::Settings {
        default_font: REGULAR,
        default_text_size: BODY.into(),
        fonts: files(),
        antialiasing: true,
        ..iced::Settings::default()
    }
}
