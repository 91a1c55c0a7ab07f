//! How wide words are, where lines break, and what stands for letters that no file may hold. Measured in
//! the embedded typeface without a window, so that commands lay out as the screen does.

use crate::figure::THIN_SPACE;
use plotters::style::{FontDesc, FontFamily, FontStyle, register_font};
use std::sync::OnceLock;

/// The typeface, and what a viewer without it may take instead: all about as wide.
pub const FAMILY: &str = "B612, Verdana, DejaVu Sans, sans-serif";

/// Height from the lowest to the highest letter in times the em, from the font's own header
/// (ascender 1930, descender -500, em 2000): the drawing library's bitmaps take a size by it.
pub const BITMAP_EM: f32 = 1.215;

/// Ascender in times the em, from the same header.
pub const ASCENT: f32 = 0.965;

/// Widths are measured this much larger, because the library gives whole pixels.
const ENLARGED: f32 = 16.0;

/// Room kept for viewers of an SVG that lack the typeface and take a wider one: the bold letters of
/// DejaVu Sans are wider by this on the words of an exhibit (measured).
const ROOM: f32 = 1.14;

/// Width of a letter in times the em if the font could not be read.
const USUAL: f32 = 0.6;

/// Registers the embedded fonts once; whether they can be used.
pub fn is_ready() -> bool {
    static DONE: OnceLock<bool> = OnceLock::new();
    let regular = include_bytes!("../../assets/fonts/B612-Regular.otf");
    let bold = include_bytes!("../../assets/fonts/B612-Bold.otf");
    *DONE.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, regular).is_ok()
            && register_font(FAMILY, FontStyle::Bold, bold).is_ok()
    })
}

/// Style of the drawing library's fonts.
pub fn style(is_bold: bool) -> FontStyle {
    if is_bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    }
}

/// Room that one line needs, in the unit of `size`, which is the em, whatever typeface it is set in.
pub fn width(words: &str, size: f32, is_bold: bool) -> f32 {
    own_width(words, size, is_bold) * ROOM
}

/// Width of one line in its own typeface.
pub fn own_width(words: &str, size: f32, is_bold: bool) -> f32 {
    let usual = || words.chars().map(|_| USUAL * size).sum();
    if !is_ready() {
        return usual();
    }
    let enlarged = f64::from(size * BITMAP_EM * ENLARGED);
    let font = FontDesc::new(FontFamily::Name(FAMILY), enlarged, style(is_bold));
    #[allow(clippy::cast_precision_loss, reason = "pixels of one line of text")]
    font.box_size(words)
        .map_or_else(|_| usual(), |(wide, _)| wide as f32 / ENLARGED)
}

/// Words that any file can hold: without control letters, which XML forbids, and with the space of the
/// typeface in place of the thin one, which it lacks.
pub fn clean(words: &str) -> String {
    words
        .chars()
        .filter_map(|c| match c {
            THIN_SPACE | '\u{202f}' => Some('\u{a0}'),
            '\t' | '\r' => Some(' '),
            '\n' => Some('\n'),
            '\u{fffe}' | '\u{ffff}' => None,
            c if c.is_control() => None,
            c => Some(c),
        })
        .collect()
}

/// One line no wider than `most`: the words, or as many letters as fit with an ellipsis.
pub fn cut(words: &str, size: f32, is_bold: bool, most: f32) -> String {
    let line = clean(words).replace('\n', " ");
    if width(&line, size, is_bold) <= most {
        return line;
    }
    // Far too long words are first brought near the room, so that the rest is quick.
    let letters: Vec<char> = line.chars().take(500).collect();
    let fits = |count: &usize| {
        let short: String = letters[..*count].iter().collect();
        width(&format!("{}…", short.trim_end()), size, is_bold) <= most
    };
    match (1..=letters.len()).rev().find(fits) {
        Some(count) => {
            let short: String = letters[..count].iter().collect();
            format!("{}…", short.trim_end())
        }
        None => String::new(),
    }
}

/// Lines no wider than `most`, and no more than `lines` of them; the last then ends with an ellipsis.
/// A word that is wider than a line is broken.
pub fn wrap(words: &str, size: f32, is_bold: bool, most: f32, lines: usize) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let fits = |line: &str| width(line, size, is_bold) <= most;
    'all: for paragraph in clean(words).lines() {
        let mut line = String::new();
        for word in paragraph.split(' ').filter(|w| !w.is_empty()) {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if fits(&longer) {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                found.push(std::mem::take(&mut line));
            }
            for letter in word.chars() {
                line.push(letter);
                if !fits(&line) && line.chars().count() > 1 {
                    let _last = line.pop();
                    found.push(std::mem::replace(&mut line, letter.to_string()));
                }
                if found.len() > lines {
                    break 'all;
                }
            }
        }
        found.push(line);
        if found.len() > lines {
            break;
        }
    }
    if found.len() > lines {
        found.truncate(lines);
        if let Some(last) = found.last_mut() {
            *last = cut(&format!("{last}………"), size, is_bold, most)
                .trim_end_matches('…')
                .to_owned()
                + "…";
            while !fits(last) && last.chars().count() > 1 {
                let kept: Vec<char> = last.chars().collect();
                *last = kept[..kept.len() - 2].iter().collect::<String>() + "…";
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fit_and_no_word_is_lost() {
        let note =
            "Ventil hängt bei warmem Öl: \u{7}siehe Spur 3 <&> Donaudampfschifffahrtsgesellschaft";
        let lines = wrap(note, 20.0, false, 200.0, 99);
        for line in &lines {
            assert!(width(line, 20.0, false) <= 200.0, "{line}");
        }
        let letters = |words: &str| -> String {
            words
                .chars()
                .filter(|c| !c.is_whitespace() && !c.is_control())
                .collect()
        };
        assert_eq!(letters(&lines.concat()), letters(note));
    }

    #[test]
    fn what_has_no_room_ends_with_an_ellipsis() {
        let long = "not following ".repeat(50);
        let lines = wrap(&long, 20.0, true, 300.0, 2);
        assert_eq!(lines.len(), 2);
        assert!(lines[1].ends_with('…'));
        assert!(width(&lines[1], 20.0, true) <= 300.0);
        let one = cut(&long, 20.0, true, 100.0);
        assert!(one.ends_with('…') && width(&one, 20.0, true) <= 100.0);
        assert_eq!(cut("duty", 20.0, false, 300.0), "duty");
        assert_eq!(cut("duty", 20.0, false, 1.0), "");
    }

    #[test]
    fn empty_lines_of_a_note_stay() {
        assert_eq!(wrap("a\n\nb", 20.0, false, 100.0, 9), ["a", "", "b"]);
    }
}
