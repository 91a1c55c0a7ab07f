//! An exhibit as a whole: drawn, kept, saved, and whatever a document may hold.

use super::document::{Document, Draft, FORM};
use super::layout::{self, Page, marks};
use super::mark::{Ink, Mark, Nib, Share};
use super::scene::{Axis, Curve, CurveShape, Row, Scene, Stretch, Value};
use super::shape::Shape;
use super::{picture, store};
use crate::chart::Format;
use keyway_analysis::lead::Role;
use std::path::PathBuf;

fn axis(label: &str, unit: &str, from: f64, to: f64) -> Axis {
    Axis {
        label: label.to_owned(),
        unit: unit.to_owned(),
        from,
        to,
    }
}

/// Eight leads of 1,500 columns with noise, as the largest exhibit of the Live screen.
fn traces() -> Scene {
    let role = |words: &str| Role::try_from(words.to_owned()).ok();
    let leads = [
        ("crank", role("crank")),
        ("intake cam", role("cam intake")),
        ("exhaust cam", role("cam exhaust")),
        ("intake command", role("command intake")),
        ("exhaust command", role("command exhaust")),
        ("intake current", role("current intake")),
        ("supply", role("supply")),
        ("cylinder", role("pressure")),
    ];
    let rows = leads
        .into_iter()
        .enumerate()
        .map(|(lead, (name, role))| {
            let points = (0..1_500_u32)
                .map(|k| {
                    let t = f64::from(k) / 1_500.0;
                    let phase = (t * 40.0 + lead as f64).sin();
                    let noise = f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 65_536.0;
                    let low = 6.0 + 5.0 * phase + 0.4 * noise;
                    [-0.1 + 0.1 * t, low, low + 0.3 + 0.2 * noise]
                })
                .collect();
            Row {
                y: axis(name, "V", 0.0, 15.0),
                curves: vec![Curve {
                    name: name.to_owned(),
                    role,
                    shape: CurveShape::Envelope(points),
                }],
                stretches: Vec::new(),
            }
        })
        .collect();
    Scene {
        title: "Traces, 100 ms".to_owned(),
        screen: "Live".to_owned(),
        x: axis("time", "s", -0.1, 0.0),
        rows,
        cursors: vec![("A".to_owned(), -0.08), ("B".to_owned(), -0.021)],
        values: vec![Value {
            name: "Supply".to_owned(),
            figure: "13.8 V".to_owned(),
            quality: "suspect: signal leaves the input range".to_owned(),
        }],
        ..Scene::default()
    }
}

fn document() -> Document {
    let mut document = Document::new(traces(), "Light van 2.0", "2026-11-30 14:03 UTC".to_owned());
    document.note = "Ventil hängt <hier> & \"dort\"".to_owned();
    document
}

fn all_marks() -> Vec<Mark> {
    vec![
        Mark::Stroke {
            points: vec![[0.30, 0.30], [0.40, 0.35], [0.50, 0.30]],
            ink: Ink::Vermillion,
            nib: Nib::Broad,
        },
        Mark::Arrow {
            from: [0.70, 0.60],
            to: [0.60, 0.50],
            ink: Ink::Blue,
            nib: Nib::Fine,
        },
        Mark::Text {
            at: [0.71, 0.60],
            words: "Größe < 3 & fällt".to_owned(),
            ink: Ink::Green,
        },
        Mark::Highlight {
            from: [0.45, 0.70],
            to: [0.30, 0.80],
            ink: Ink::Purple,
        },
    ]
}

/// Pixels of a PNG as another library reads it: width, height, RGB.
fn decoded(file: &[u8]) -> (usize, usize, Vec<u8>) {
    let decoder = png::Decoder::new(std::io::Cursor::new(file));
    let mut reader = decoder.read_info().unwrap();
    let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut rgb).unwrap();
    (info.width as usize, info.height as usize, rgb)
}

#[test]
fn the_svg_is_well_formed_and_holds_values_and_note_as_text() {
    let mut document = document();
    document.marks = all_marks();
    let svg = picture::svg(&document).unwrap();
    let tree = roxmltree::Document::parse(&svg).unwrap();
    let texts: Vec<&str> = tree
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .filter_map(|n| n.text())
        .map(str::trim)
        .collect();
    for words in [
        "Traces, 100 ms",
        "Light van 2.0 · Live · 2026-11-30 14:03 UTC",
        "Supply",
        "13.8 V",
        "Ventil hängt <hier> & \"dort\"",
        "Größe < 3 & fällt",
        "A \u{2212}0.08000",
        "time, s",
    ] {
        assert!(texts.contains(&words), "'{words}' is not in {texts:?}");
    }
    let page = layout::whole(&document);
    let root = tree.root_element();
    assert_eq!(root.attribute("width"), Some("194mm"));
    let size = super::shape::Place::from([page.size[0] * 2.0, page.size[1] * 2.0]);
    assert_eq!(
        root.attribute("viewBox"),
        Some(format!("0 0 {} {}", size[0], size[1].ceil()).as_str())
    );
}

#[test]
fn a_mark_lies_at_the_same_share_in_both_files() {
    let mut document = document();
    document.marks = all_marks();
    let field = Page::new(&document).field;
    let scale = f64::from(picture::SCALE);
    let at =
        |share: Share| [0, 1].map(|axis| (share[axis] * f64::from(field[axis]) * scale).round());
    let svg = picture::svg(&document).unwrap();
    let tree = roxmltree::Document::parse(&svg).unwrap();
    // The stroke of the pen is the line with its colour and its width.
    let stroke = tree
        .descendants()
        .find(|n| n.has_tag_name("polyline") && n.attribute("stroke") == Some("#B33A00"))
        .and_then(|n| n.attribute("points"))
        .unwrap();
    let places: Vec<[f64; 2]> = stroke
        .split_whitespace()
        .map(|pair| {
            let (x, y) = pair.split_once(',').unwrap();
            [x.parse().unwrap(), y.parse().unwrap()]
        })
        .collect();
    let want: Vec<_> = [[0.30, 0.30], [0.40, 0.35], [0.50, 0.30]].map(at).into();
    assert_eq!(places, want);
    let (wide, _, rgb) = decoded(&picture::png(&document).unwrap());
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "pixels"
    )]
    let pixel = |share: Share| {
        let [x, y] = at(share).map(|v| v as usize);
        rgb[(y * wide + x) * 3..][..3].to_vec()
    };
    assert_eq!(pixel([0.35, 0.325]), [0xb3, 0x3a, 0x00], "on the stroke");
    assert_eq!(pixel([0.65, 0.55]), [0x00, 0x5f, 0x99], "on the arrow");
    assert_eq!(pixel([0.45, 0.75]), [0x94, 0x3d, 0x70], "on the box's edge");
}

#[test]
fn the_png_has_its_size_and_is_not_blank() {
    let document = document();
    let page = layout::whole(&document);
    let (wide, high, rgb) = decoded(&picture::png(&document).unwrap());
    assert_eq!(wide, 2400);
    assert!((high as f64 - f64::from(page.size[1]) * 2.0).abs() <= 1.0);
    let inked = rgb.chunks(3).filter(|p| *p != [255, 255, 255]).count();
    assert!(inked > wide * high / 20, "{inked} pixels");
}

#[test]
fn no_words_lie_over_others() {
    let mut document = document();
    let long = "a very long word for what is measured, Donaudampfschifffahrtsgesellschaft ";
    document.title = long.repeat(9);
    document.note = long.repeat(30);
    document.engine = long.repeat(4);
    document.scene.sentence = long.repeat(9);
    document.scene.recordings = vec![long.repeat(3); 4];
    document.scene.values = vec![
        Value {
            name: long.to_owned(),
            figure: long.to_owned(),
            quality: long.repeat(2),
        };
        5
    ];
    for (k, row) in document.scene.rows.iter_mut().enumerate() {
        row.y.label = long.to_owned();
        row.curves[0].name = long.repeat(k + 1);
    }
    let mut taken: Vec<([f32; 2], [f32; 2], String)> = Vec::new();
    for shape in Page::new(&document).shapes {
        let Shape::Text(text) = shape else { continue };
        let wide = super::lettering::width(&text.words, text.size, text.is_bold);
        let left = match text.anchor {
            super::shape::Anchor::Left => text.at[0],
            super::shape::Anchor::Middle => text.at[0] - wide / 2.0,
            super::shape::Anchor::Right => text.at[0] - wide,
        };
        let upper = [left, text.at[1] - text.size * 0.74];
        let lower = [left + wide, text.at[1] + text.size * 0.2];
        assert!(left >= 0.0 && lower[0] <= layout::WIDTH, "{}", text.words);
        for (a, b, words) in &taken {
            let is_over = (0..2).all(|k| upper[k] < b[k] - 0.5 && lower[k] > a[k] + 0.5);
            assert!(!is_over, "'{}' over '{words}'", text.words);
        }
        taken.push((upper, lower, text.words));
    }
    assert!(taken.len() > 60);
}

#[test]
fn whatever_a_document_holds_is_drawn_without_a_panic() {
    let wild = [
        f64::NAN,
        f64::INFINITY,
        -1e308,
        1e308,
        5e-324,
        -3.0,
        0.5,
        9e15,
    ];
    for a in wild {
        for b in wild {
            let curve = |shape| Curve {
                name: "x\u{0}\u{fffe}\n\u{202e}".to_owned(),
                role: None,
                shape,
            };
            let scene = Scene {
                title: "\u{7}".repeat(3),
                x: axis("", "", a, b),
                rows: vec![Row {
                    y: axis("", "", b, a),
                    curves: vec![
                        curve(CurveShape::Line(vec![[a, b], [b, a], [0.0, a]])),
                        curve(CurveShape::Envelope(vec![[a, b, a], [b, a, b]])),
                        curve(CurveShape::Line(Vec::new())),
                    ],
                    stretches: vec![Stretch {
                        from: a,
                        to: b,
                        words: "w".repeat(300),
                        is_disagreement: true,
                    }],
                }],
                cursors: vec![("A".repeat(200), a), (String::new(), b)],
                ..Scene::default()
            };
            // Neither as it is handed over, nor as it comes out of a file.
            let mut raw = Document::new(Scene::default(), "", String::new());
            raw.scene = scene.clone();
            raw.marks = vec![
                Mark::Stroke {
                    points: vec![[a, b], [b, a]],
                    ink: Ink::Blue,
                    nib: Nib::Broad,
                },
                Mark::Arrow {
                    from: [a, a],
                    to: [b, b],
                    ink: Ink::Blue,
                    nib: Nib::Broad,
                },
                Mark::Text {
                    at: [b, a],
                    words: "\u{1}".to_owned(),
                    ink: Ink::Blue,
                },
                Mark::Highlight {
                    from: [a, b],
                    to: [b, b],
                    ink: Ink::Blue,
                },
            ];
            let svg = picture::svg(&raw).unwrap();
            let _tree = roxmltree::Document::parse(&svg).unwrap();
            let text = Document::new(scene, "", String::new()).text().unwrap();
            let kept = Document::from_text("wild", &text).unwrap();
            let page = layout::whole(&kept);
            let on_page = |p: &[f32; 2]| p.iter().all(|v| v.is_finite());
            for shape in &page.shapes {
                let places = match shape {
                    Shape::Rectangle(a, b, _) => vec![*a, *b],
                    Shape::Area(places, _) | Shape::Line(places, _, _) => places.clone(),
                    Shape::Text(text) => vec![text.at],
                };
                assert!(places.iter().all(on_page), "{shape:?}");
            }
        }
    }
}

#[test]
#[allow(clippy::float_cmp, reason = "exact in binary, or rounded to the same")]
fn marks_outside_come_onto_the_field() {
    let field = [1200.0, 700.0];
    assert_eq!(marks::place([-5.0, 9e99], field), [0.0, 700.0]);
    assert_eq!(marks::place([f64::NAN, 0.5], field), [600.0, 350.0]);
    let (upper, lower, _) = marks::words_box([1.0, 1.0], "late by one tooth", field);
    assert!(upper[0] > 0.0 && lower[0] <= 1200.0 && lower[1] <= 700.1);
}

/// A folder that is gone after the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("keyway-exhibit-{name}-{}", std::process::id()));
        drop(std::fs::remove_dir_all(&path));
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        drop(std::fs::remove_dir_all(&self.0));
    }
}

#[test]
fn nothing_that_is_there_is_written_over() {
    let folder = Folder::new("names");
    let document = document();
    let first = store::keep(&folder.0, "2026-11-30-140300", &document).unwrap();
    let text = std::fs::read_to_string(&first.path).unwrap();
    // The largest scene of the Live screen; the size is told in EXHIBITS.md.
    assert!(text.len() < 400_000, "{} bytes", text.len());
    println!("{} bytes for eight leads of 1,500 columns", text.len());
    let second = store::keep(&folder.0, "2026-11-30-140300", &document).unwrap();
    assert_ne!(first.path, second.path);
    // A picture that somebody put there holds its name too.
    std::fs::write(folder.0.join("2026-11-30-140300-3.png"), "mine").unwrap();
    let third = store::keep(&folder.0, "2026-11-30-140300", &document).unwrap();
    assert_eq!(store::name(&third.path), "2026-11-30-140300-4");
    let list = store::list(&folder.0).unwrap();
    assert_eq!(list.len(), 3);
    let about = list[0].about.clone().unwrap();
    assert_eq!(
        (about.title.as_str(), about.source.as_str()),
        ("Traces, 100 ms", "Live")
    );
    let left: Vec<_> = std::fs::read_dir(&folder.0)
        .unwrap()
        .flatten()
        .filter(|e| e.path().to_string_lossy().ends_with(".unfinished"))
        .collect();
    assert!(left.is_empty());
}

#[test]
fn saving_over_what_another_program_changed_keeps_both() {
    let folder = Folder::new("two");
    let kept = store::keep(&folder.0, "a", &document()).unwrap();
    let opened = store::open(&kept.path).unwrap();
    let mut ours = opened.document.clone();
    ours.title = "Ours".to_owned();
    let mut theirs = opened.document.clone();
    theirs.title = "Theirs".to_owned();
    let saved = store::save(&opened.path, opened.digest, &theirs).unwrap();
    assert!(!saved.is_beside);
    let late = store::save(&opened.path, opened.digest, &ours).unwrap();
    assert!(late.is_beside);
    let title = |path| store::open(path).unwrap().document.title;
    assert_eq!(title(&kept.path), "Theirs");
    assert_eq!(title(&late.path), "Ours");
}

#[test]
fn a_draft_is_found_again_and_goes_when_it_is_saved() {
    let folder = Folder::new("draft");
    let kept = store::keep(&folder.0, "a", &document()).unwrap();
    let draft = Draft {
        form: FORM,
        title: "New".to_owned(),
        note: "n".to_owned(),
        marks: all_marks(),
    };
    store::write_draft(&kept.path, &draft).unwrap();
    assert!(store::list(&folder.0).unwrap()[0].has_draft);
    let opened = store::open(&kept.path).unwrap();
    assert_eq!(opened.draft, Some(draft));
    let _saved = store::save(&opened.path, opened.digest, &opened.document).unwrap();
    assert_eq!(store::open(&kept.path).unwrap().draft, None);
}

#[test]
fn an_export_replaces_nothing_unasked() {
    let folder = Folder::new("export");
    std::fs::create_dir_all(&folder.0).unwrap();
    let to = folder.0.join("a.svg");
    let document = document();
    store::export(&document, &to, false).unwrap();
    let refused = store::export(&document, &to, false).unwrap_err();
    assert!(refused.to_string().contains("choose another name"));
    store::export(&document, &to, true).unwrap();
    assert!(store::export(&document, &folder.0.join("a.bmp"), false).is_err());
    let kept = store::keep(&folder.0, "b", &document).unwrap();
    assert!(store::picture_of(&kept.path, Format::Png).exists());
}
