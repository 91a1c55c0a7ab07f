//! Renders the screens in both looks and two sizes to PNG files, without a display:
//! `cargo run -p keyway --example pictures -- DIRECTORY`

#![allow(clippy::print_stdout, reason = "a command that says what it wrote")]

mod sample;

use iced::widget::{column, row};
use iced::{Element, Task};
use keyway::font;
use keyway::screen::live::{self, Live};
use keyway::status::{LinkState, LinkStatus, RecordingStatus};
use keyway::theme::Look;
use keyway::widget::bar::{self, Bar};
use keyway::widget::rail;
use sample::Moment;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The sizes the screens must fit, logical pixels.
const SIZES: [(u16, u16); 2] = [(1280, 800), (1024, 600)];

/// What the lower panel shows.
#[derive(Clone, Copy, PartialEq)]
enum Shown {
    Strip,
    Traces,
    LargeTraces,
    CrankLocked,
}

struct Scene {
    moment: Moment,
    live: Live,
    link: LinkStatus,
    recording: RecordingStatus,
    look: Look,
}

#[derive(Debug, Clone)]
enum Message {
    Live,
    Key,
}

fn scene(moment: Moment, shown: Shown, look: Look) -> Scene {
    let mut live = Live::new();
    live.refresh(
        Arc::clone(&moment.snapshot),
        Arc::clone(&moment.traces),
        Instant::now(),
    );
    let messages: &[live::Message] = match shown {
        Shown::Strip => &[],
        Shown::Traces => &[live::Message::ShowTraces],
        Shown::LargeTraces => &[live::Message::ShowTraces, live::Message::ToggleEnlarged],
        Shown::CrankLocked => &[
            live::Message::ShowTraces,
            live::Message::ToggleCrankLock,
            live::Message::ToggleEnlarged,
        ],
    };
    for message in messages {
        let _ = live.update(*message);
    }
    Scene {
        moment,
        live,
        link: LinkStatus {
            source: "Virtual scope".to_owned(),
            state: LinkState::Streaming,
            channels: 8,
            rate_hz: 200_000.0,
            lost: 0,
            bad_frames: 0,
            overruns: 0,
        },
        recording: RecordingStatus::On {
            path: PathBuf::from("van.mcap"),
            seconds: 161.0,
            bytes: 31_000_000,
        },
        look,
    }
}

fn view(scene: &Scene) -> Element<'_, Message> {
    let names = ["Job", "Hook-up", "Live", "Recordings"];
    let entries = names.into_iter().enumerate().map(|(i, name)| rail::Entry {
        name,
        key: ["F1", "F2", "F3", "F4"][i],
        is_open: i == 2,
        is_done: i < 2,
        on_press: Message::Key,
    });
    let keys = rail::legend(
        &[("Space", "hold"), ("R", "record"), ("T", "traces")],
        scene.look,
    );
    let bar = bar::bar(Bar {
        title: &scene.moment.sheet.name,
        story: "P0014 · hesitates pulling away, worse hot",
        link: &scene.link,
        recording: &scene.recording,
        is_held: false,
        look: scene.look,
        on_record: Some(Message::Key),
        on_hold: Some(Message::Key),
        on_look: Message::Key,
        on_link: Message::Key,
    });
    let live = scene
        .live
        .view(&scene.moment.sheet, scene.look)
        .map(|_| Message::Live);
    row![
        rail::rail(entries, Some(keys), scene.look),
        column![bar, live]
    ]
    .into()
}

fn main() -> Result<(), Box<dyn Error>> {
    let Some(directory) = std::env::args().nth(1).map(PathBuf::from) else {
        return Err("say in which directory to write the pictures".into());
    };
    let only = std::env::args().nth(2);
    std::fs::create_dir_all(&directory)?;
    for look in [Look::Workshop, Look::Daylight] {
        for (name, shown) in [
            ("", Shown::Strip),
            ("-traces", Shown::Traces),
            ("-traces-large", Shown::LargeTraces),
            ("-crank-locked", Shown::CrankLocked),
        ] {
            for (index, moment) in sample::moments().into_iter().enumerate() {
                // The traces look the same in every state; one picture with two cams and one with four will do.
                if shown != Shown::Strip && !["not-following", "four-cams"].contains(&moment.name) {
                    continue;
                }
                for (wide, high) in SIZES {
                    let file = format!(
                        "live-{}{name}-{}-{wide}.png",
                        moment.name,
                        look.name().to_lowercase()
                    );
                    if only.as_ref().is_some_and(|o| !file.contains(o.as_str())) {
                        continue;
                    }
                    let path = directory.join(file);
                    picture(
                        index,
                        shown,
                        look,
                        (f32::from(wide), f32::from(high)),
                        &path,
                    )?;
                    println!("{}", path.display());
                }
            }
        }
    }
    Ok(())
}

fn picture(
    index: usize,
    shown: Shown,
    look: Look,
    size: (f32, f32),
    path: &Path,
) -> Result<(), Box<dyn Error>> {
    let start = move || {
        let moment = sample::moments().swap_remove(index);
        scene(moment, shown, look)
    };
    let program = iced::application(start, |_: &mut Scene, _: Message| Task::none(), view)
        .settings(font::settings())
        .theme(move |_: &Scene| look.theme());
    let shot = iced_test::screenshot(&program, &look.theme(), size, 1.0, Duration::ZERO);
    let mut encoder = png::Encoder::new(
        std::fs::File::create(path)?,
        shot.size.width,
        shot.size.height,
    );
    encoder.set_color(png::ColorType::Rgba);
    encoder.write_header()?.write_image_data(&shot.rgba)?;
    Ok(())
}
