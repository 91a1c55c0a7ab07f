//! The two looks, Workshop (dark) and Daylight (light, for glare).
//!
//! Grey when all is well: colour says which cam a figure belongs to, or that something is wrong,
//! and nothing else. The cam colours and the alarm are taken from the colour-blind-safe set of
//! M. Okabe and K. Ito, "Color Universal Design" (2008): sky blue, orange, bluish green and
//! reddish purple for the cams, vermillion for the alarm; the vermillion is lighter on dark, and
//! all are darker kin of the same hues on white, to reach the contrast that WCAG 2.2 AA asks for.

use iced::Color;
use keyway_analysis::lead::{CamId, CamKind};

/// A look of the whole program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Look {
    /// Dark, for the workshop.
    #[default]
    Workshop,
    /// Light and of very high contrast, for glare.
    Daylight,
}

/// The colours of one look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Palette {
    /// Behind everything; also the track of a scale.
    pub background: Color,
    /// Ground of a panel, of the rail and of controls.
    pub panel: Color,
    /// Ground of a control under the pointer.
    pub raised: Color,
    /// Fill of the zone in which a figure should be, and of reference windows.
    pub zone: Color,
    /// Outline of a zone and of a control: seen by itself on background and panel.
    pub edge: Color,
    /// Grid lines and separators; carries no meaning.
    pub hairline: Color,
    /// Text and figures.
    pub text: Color,
    /// Text of second rank.
    pub quiet: Color,
    /// The one colour for what is wrong.
    pub alarm: Color,
    /// Ground of the sentence when something is wrong.
    pub alarm_ground: Color,
    /// Text on that ground.
    pub alarm_text: Color,
    /// Intake cam, bank 1.
    pub intake: Color,
    /// Exhaust cam, bank 1.
    pub exhaust: Color,
    /// Intake cam, bank 2.
    pub intake_2: Color,
    /// Exhaust cam, bank 2.
    pub exhaust_2: Color,
}

const WORKSHOP: Palette = Palette {
    background: Color::from_rgb8(0x1a, 0x1e, 0x23),
    panel: Color::from_rgb8(0x26, 0x2b, 0x31),
    raised: Color::from_rgb8(0x32, 0x39, 0x41),
    zone: Color::from_rgb8(0x44, 0x4e, 0x58),
    edge: Color::from_rgb8(0x7f, 0x8a, 0x95),
    hairline: Color::from_rgb8(0x3a, 0x42, 0x4a),
    text: Color::from_rgb8(0xec, 0xef, 0xf2),
    quiet: Color::from_rgb8(0xa6, 0xb0, 0xba),
    alarm: Color::from_rgb8(0xff, 0x7b, 0x45),
    alarm_ground: Color::from_rgb8(0x4a, 0x2a, 0x1c),
    alarm_text: Color::from_rgb8(0xff, 0xe3, 0xd3),
    intake: Color::from_rgb8(0x56, 0xb4, 0xe9),
    exhaust: Color::from_rgb8(0xe6, 0x9f, 0x00),
    intake_2: Color::from_rgb8(0x21, 0xb8, 0x8e),
    exhaust_2: Color::from_rgb8(0xd9, 0x8d, 0xb8),
};

const DAYLIGHT: Palette = Palette {
    background: Color::WHITE,
    panel: Color::from_rgb8(0xf0, 0xf2, 0xf4),
    raised: Color::from_rgb8(0xe0, 0xe5, 0xe9),
    zone: Color::from_rgb8(0xcb, 0xd2, 0xd8),
    edge: Color::from_rgb8(0x70, 0x7b, 0x85),
    hairline: Color::from_rgb8(0xd3, 0xd9, 0xde),
    text: Color::from_rgb8(0x0c, 0x0f, 0x12),
    quiet: Color::from_rgb8(0x47, 0x50, 0x59),
    alarm: Color::from_rgb8(0xb3, 0x3a, 0x00),
    alarm_ground: Color::from_rgb8(0xff, 0xe3, 0xd3),
    alarm_text: Color::from_rgb8(0x66, 0x1f, 0x00),
    intake: Color::from_rgb8(0x00, 0x5f, 0x99),
    exhaust: Color::from_rgb8(0x8f, 0x54, 0x00),
    intake_2: Color::from_rgb8(0x00, 0x6b, 0x4e),
    exhaust_2: Color::from_rgb8(0x94, 0x3d, 0x70),
};

impl Look {
    /// Its colours.
    pub fn palette(self) -> &'static Palette {
        match self {
            Self::Workshop => &WORKSHOP,
            Self::Daylight => &DAYLIGHT,
        }
    }

    /// Its name on screen.
    pub fn name(self) -> &'static str {
        match self {
            Self::Workshop => "Workshop",
            Self::Daylight => "Daylight",
        }
    }

    /// The other one.
    pub fn other(self) -> Self {
        match self {
            Self::Workshop => Self::Daylight,
            Self::Daylight => Self::Workshop,
        }
    }

    /// The toolkit's theme, for its own widgets.
    pub fn theme(self) -> iced::Theme {
        let p = self.palette();
        iced::Theme::custom(
            self.name(),
            iced::theme::Palette {
                background: p.background,
                text: p.text,
                primary: p.text,
                success: p.text,
                warning: p.alarm,
                danger: p.alarm,
            },
        )
    }
}

impl Palette {
    /// The tint of a stretch of disagreement, laid over a panel.
    pub fn tint(&self) -> Color {
        Color {
            a: 0.2,
            ..self.alarm
        }
    }

    /// The colour of a cam: its kind and bank, never its place on a screen or at the device.
    pub fn cam(&self, id: CamId) -> Color {
        match (id.kind, id.bank) {
            (CamKind::Intake, 1) => self.intake,
            (CamKind::Exhaust, 1) => self.exhaust,
            (CamKind::Intake, _) => self.intake_2,
            (CamKind::Exhaust, _) => self.exhaust_2,
        }
    }
}

/// Corner radius of panels and controls, logical pixels.
pub const RADIUS: f32 = 6.0;

/// Step of all distances, logical pixels.
pub const STEP: f32 = 8.0;

/// Least side of anything to be touched, logical pixels.
pub const TARGET: f32 = 44.0;

#[cfg(test)]
mod tests {
    use super::{Color, DAYLIGHT, Look, Palette, WORKSHOP};

    /// Relative luminance and contrast ratio as WCAG 2.2 defines them.
    fn contrast(a: Color, b: Color) -> f32 {
        let luminance = |c: Color| {
            let [r, g, b] = [c.r, c.g, c.b].map(|v| {
                if v <= 0.04045 {
                    v / 12.92
                } else {
                    ((v + 0.055) / 1.055).powf(2.4)
                }
            });
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// What is seen of a colour that lets its ground through.
    fn over(top: Color, ground: Color) -> Color {
        let mix = |a: f32, b: f32| a * top.a + b * (1.0 - top.a);
        Color::from_rgb(
            mix(top.r, ground.r),
            mix(top.g, ground.g),
            mix(top.b, ground.b),
        )
    }

    /// WCAG 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (graphics, 3:1).
    #[test]
    fn contrast_reaches_wcag_aa() {
        for (name, p) in [("workshop", &WORKSHOP), ("daylight", &DAYLIGHT)] {
            let Palette {
                background,
                panel,
                raised,
                zone,
                ..
            } = *p;
            let texts = [
                ("text", p.text),
                ("quiet", p.quiet),
                ("alarm", p.alarm),
                ("intake", p.intake),
                ("exhaust", p.exhaust),
                ("intake-2", p.intake_2),
                ("exhaust-2", p.exhaust_2),
            ];
            let grounds = [("background", background), ("panel", panel)];
            for (what, colour) in texts {
                for (on, ground) in grounds {
                    let ratio = contrast(colour, ground);
                    assert!(ratio >= 4.5, "{name}: {what} on {on} is {ratio:.2}");
                }
                let ratio = contrast(colour, zone);
                assert!(ratio >= 3.0, "{name}: {what} on zone is {ratio:.2}");
            }
            for (what, colour, on, least) in [
                ("edge", p.edge, background, 3.0),
                ("edge", p.edge, panel, 3.0),
                ("text", p.text, raised, 4.5),
                ("quiet", p.quiet, raised, 4.5),
                ("alarm text", p.alarm_text, p.alarm_ground, 4.5),
                ("alarm text", p.alarm_text, over(p.tint(), panel), 4.5),
                ("alarm text", p.alarm_text, over(p.tint(), background), 4.5),
                ("intake", p.intake, over(p.tint(), background), 3.0),
                ("exhaust", p.exhaust, over(p.tint(), background), 3.0),
                ("intake-2", p.intake_2, over(p.tint(), background), 3.0),
                ("exhaust-2", p.exhaust_2, over(p.tint(), background), 3.0),
                ("alarm", p.alarm, p.alarm_ground, 3.0),
            ] {
                let ratio = contrast(colour, on);
                assert!(ratio >= least, "{name}: {what} is {ratio:.2}");
            }
        }
        // WCAG's own extreme: black on white is 21:1.
        assert!((contrast(Color::BLACK, Color::WHITE) - 21.0).abs() < 0.01);
    }

    #[test]
    fn looks_name_each_other() {
        assert_eq!(Look::Workshop.other().other(), Look::Workshop);
        assert_ne!(Look::Workshop.name(), Look::Daylight.name());
    }
}
