//! The Live screen in every state, without a display.

#[path = "../../../examples/sample/mod.rs"]
mod sample;

use super::board::Board;
use super::sentence::sentence;
use super::{Action, Live, Message, TraceView, TraceWish};
use crate::font;
use crate::theme::{Look, TARGET};
use crate::widget::label::Label;
use iced::{Point, Rectangle, Size, Vector};
use iced_test::Simulator;
use keyway_analysis::reading::Reading;
use keyway_analysis::snapshot::Snapshot;
use keyway_analysis::units::{Rpm, Seconds};
use sample::Moment;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The place left by rail and top bar at 1024×600, 1280×800 and 1920×1080.
const SIZES: [Size; 3] = [
    Size::new(920.0, 540.0),
    Size::new(1176.0, 740.0),
    Size::new(1816.0, 1020.0),
];

fn live(moment: &Moment, messages: &[Message]) -> Live {
    for file in font::files() {
        iced::advanced::graphics::text::font_system()
            .write()
            .expect("no test panics while it holds the font system")
            .load_font(file);
    }
    let mut live = Live::new();
    live.refresh(
        Arc::clone(&moment.snapshot),
        Arc::clone(&moment.traces),
        Instant::now(),
    );
    for message in messages {
        let _ = live.update(*message);
    }
    live
}

fn labels(live: &Live, moment: &Moment, size: Size) -> Vec<Label> {
    let snapshot = Arc::clone(&moment.snapshot);
    let shown = Arc::clone(&moment.snapshot);
    let board = Board::new(live, &moment.sheet, Look::Workshop, size, snapshot, shown);
    let mut labels = Vec::new();
    board.words(&mut labels);
    labels
}

#[test]
fn words_neither_overlap_nor_leave_the_screen() {
    for moment in sample::moments() {
        for messages in [
            &[][..],
            &[Message::ToggleEnlarged],
            &[Message::ShowTraces],
            &[Message::ShowTraces, Message::ToggleEnlarged],
            &[Message::ShowCylinders],
            &[Message::ShowCylinders, Message::ToggleEnlarged],
            &[
                Message::ShowTraces,
                Message::ToggleCrankLock,
                Message::ToggleEnlarged,
            ],
        ] {
            let live = live(&moment, messages);
            for size in SIZES {
                let labels = labels(&live, &moment, size);
                let what = format!("{} at {size:?} after {messages:?}", moment.name);
                assert!(labels.len() > 15, "{what}: only {} labels", labels.len());
                for (i, a) in labels.iter().enumerate() {
                    let place = a.bounds();
                    let screen = Rectangle::with_size(size);
                    assert!(
                        place.is_within(&screen),
                        "{what}: '{}' leaves the screen",
                        a.words
                    );
                    for b in &labels[i + 1..] {
                        // Line boxes are higher than letters; a quarter of one may be shared.
                        let shared = place.intersection(&b.bounds());
                        let most = 0.25 * place.height.min(b.bounds().height);
                        let is_clear = shared.is_none_or(|s| s.height <= most || s.width <= 1.0);
                        assert!(is_clear, "{what}: '{}' and '{}' overlap", a.words, b.words);
                    }
                }
            }
        }
    }
}

#[test]
fn no_label_is_smaller_than_the_least_type() {
    let moment = sample::four_cams();
    let live = live(&moment, &[]);
    for size in SIZES {
        for label in labels(&live, &moment, size) {
            assert!(
                label.size >= font::SMALL,
                "'{}' is set in {}",
                label.words,
                label.size
            );
        }
    }
}

#[test]
fn sentences_say_what_is_wrong_and_of_which_cam() {
    let words = |moment: Moment| {
        let s = sentence(&moment.snapshot);
        (s.is_alarm, s.title, s.detail, s.more.unwrap_or_default())
    };
    for (moment, is_alarm, title, detail, more) in [
        (
            sample::healthy(),
            false,
            "No disagreement",
            "Intake and exhaust cams follow their command.",
            "",
        ),
        (
            sample::not_following(),
            true,
            "Exhaust cam: not following",
            "78 % commanded for 3.9 s, moved 0.6°, at least 8° was due. \
             Crank, cam, command and supply leads are proven.",
            "",
        ),
        (
            sample::no_signal(),
            false,
            "No engine speed: no signal on the lead",
            "Without the crank nothing else can be judged. Check the crank lead first.",
            "",
        ),
        (
            sample::cam_lost(),
            true,
            "Exhaust cam: no position",
            "No edges from the cam sensor for 2.1 s while the crank turns. First check the cam lead.",
            "",
        ),
        (
            sample::four_cams(),
            true,
            "Intake 2 cam: not following",
            "81 % commanded for 3.9 s, moved 0.2°, at least 10° was due. \
             Crank, cam and command leads are proven.",
            "+1 more: exhaust 2 cam lagging",
        ),
    ] {
        let want = (
            is_alarm,
            title.to_owned(),
            detail.to_owned(),
            more.to_owned(),
        );
        assert_eq!(words(moment), want);
    }
}

/// Figures that change thirty times a second cannot be read.
#[test]
fn figures_stand_for_a_fifth_of_a_second() {
    let moment = sample::healthy();
    let mut live = live(&moment, &[]);
    let start = Instant::now() + Duration::from_secs(1);
    let at = |speed: f64| {
        let mut snapshot = Snapshot::clone(&moment.snapshot);
        snapshot.speed = Reading::Valid(Rpm(speed));
        Arc::new(snapshot)
    };
    let mut changes = 0;
    let mut last = None;
    for k in 0..60_u32 {
        let now = start + Duration::from_millis(33) * k;
        live.refresh(at(1000.0 + f64::from(k)), Arc::clone(&moment.traces), now);
        let shown = live.shown.as_ref().and_then(|(_, s)| s.speed.valid());
        changes += u32::from(shown != last);
        last = shown;
        let newest = live.newest.as_ref().and_then(|s| s.speed.valid());
        assert_eq!(
            newest,
            Some(Rpm(1000.0 + f64::from(k))),
            "the picture follows every refresh"
        );
    }
    assert!(
        (8..=10).contains(&changes),
        "{changes} changes in two seconds"
    );
}

#[test]
fn keys_send_what_they_say_and_are_large_enough_for_a_glove() {
    let moment = sample::healthy();
    for (before, key, message) in [
        (&[][..], "Traces", Message::ShowTraces),
        (&[], "Larger", Message::ToggleEnlarged),
        (&[], "Agreement", Message::ShowStrip),
        (
            &[Message::ShowTraces],
            "Crank-lock",
            Message::ToggleCrankLock,
        ),
        (&[Message::ShowTraces], "+", Message::LongerSpan),
        (&[Message::ShowTraces], "−", Message::ShorterSpan),
        (
            &[Message::ToggleEnlarged],
            "Smaller",
            Message::ToggleEnlarged,
        ),
    ] {
        let live = live(&moment, before);
        for size in SIZES {
            let reach = TARGET / 2.0 - 1.0;
            for side in [
                Vector::ZERO,
                Vector::new(0.0, reach),
                Vector::new(0.0, -reach),
                Vector::new(reach, 0.0),
            ] {
                let view = live.view(&moment.sheet, Look::Workshop);
                let mut screen = Simulator::with_size(font::settings(), size, view);
                let found = screen.find(key).expect("the key is on the screen");
                let centre: Point = found.bounds().center();
                screen.point_at(centre + side);
                let _ = screen.simulate(iced_test::simulator::click());
                let sent: Vec<_> = screen.into_messages().collect();
                assert_eq!(
                    sent,
                    [message],
                    "{key} at {size:?}, {side:?} off its middle"
                );
            }
        }
    }
}

#[test]
fn traces_are_wished_for_only_while_they_are_shown() {
    let mut live = Live::new();
    assert_eq!(live.wanted(), None);
    let wish = |view, columns| Action::WishTraces(Some(TraceWish { view, columns }));
    let time = |seconds| TraceView::Time(Seconds(seconds));
    for (message, action) in [
        (Message::ShowTraces, wish(time(0.1), 480)),
        (Message::LongerSpan, wish(time(0.2), 480)),
        (Message::ToggleEnlarged, wish(time(0.2), 1000)),
        (Message::ToggleCrankLock, wish(TraceView::CrankLocked, 1000)),
        (Message::LongerSpan, Action::None),
        (Message::ShowStrip, Action::WishTraces(None)),
    ] {
        assert_eq!(live.update(message), action);
    }
}

/// Before anything is measured the screen stands, with the reason in place of each figure.
#[test]
fn the_screen_stands_before_the_first_snapshot() {
    let live = Live::new();
    let sheet = sample::sheet();
    for size in SIZES {
        let mut screen =
            Simulator::with_size(font::settings(), size, live.view(&sheet, Look::Daylight));
        let _ = screen.find("Measuring").expect("the sentence says so");
        let _ = screen
            .find("Exhaust duty")
            .expect("every gauge has its place");
    }
}
