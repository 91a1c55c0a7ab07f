//! Pictures of the Review page, of a recording of the simulated engine.

use super::{Picture, workpiece};
use keyway::application::{Application, Message};
use keyway::screen::{recordings, review};
use keyway::session::choice::Choice;
use keyway::session::{Bench, Plan};
use keyway::settings::Settings;
use keyway::theme::Look;
use std::error::Error;
use std::path::PathBuf;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// Longest that reading may take.
const PATIENCE: Duration = Duration::from_secs(120);

/// All of them.
pub fn all() -> Vec<Picture> {
    vec![
        Picture {
            name: "review-whole",
            make: |look| page(look, &[]),
        },
        Picture {
            name: "review-window",
            make: |look| page(look, &[review::Message::Show(17.0, 17.4)]),
        },
        Picture {
            name: "review-samples",
            make: |look| page(look, &[review::Message::Show(12.000_1, 12.001_1)]),
        },
        Picture {
            name: "review-gap",
            make: |look| page(look, &[review::Message::Show(8.98, 9.04)]),
        },
        Picture {
            name: "review-cursors",
            make: |look| {
                page(
                    look,
                    &[
                        review::Message::Show(17.0, 17.2),
                        review::Message::PutCursor(17.04),
                        review::Message::PutCursor(17.163),
                    ],
                )
            },
        },
        Picture {
            name: "review-events",
            make: |look| {
                page(
                    look,
                    &[
                        review::Message::Beside(review::Side::Events),
                        review::Message::Jump(true),
                        review::Message::Jump(true),
                        review::Message::Jump(true),
                    ],
                )
            },
        },
        Picture {
            name: "review-found",
            make: |look| {
                let wish = "duty > 60 and phase > -30 for 0.5 s";
                page(
                    look,
                    &[
                        review::Message::Type(wish.to_owned()),
                        review::Message::Search,
                        review::Message::GoToHit(0),
                        review::Message::Whole,
                    ],
                )
            },
        },
        Picture {
            name: "review-mistake",
            make: |look| {
                page(
                    look,
                    &[
                        review::Message::Type("duty > lots".to_owned()),
                        review::Message::Search,
                    ],
                )
            },
        },
    ]
}

/// The page with a recording on it, after these messages.
fn page(look: Look, messages: &[review::Message]) -> Result<Application, Box<dyn Error>> {
    static MADE: OnceLock<workpiece::File> = OnceLock::new();
    let file = MADE.get_or_init(|| {
        workpiece::recorded(&workpiece::Workpiece {
            gap: Some(9.0),
            ..workpiece::Workpiece::of("default", 30.0)
        })
    });
    let path = PathBuf::from(file.path());
    let settings = Settings {
        look,
        ..Settings::default()
    };
    let plan = Plan::of(Choice::Recording(path.clone()));
    let mut app = Application::new(Bench::new()?, plan, settings, None)?;
    let open = recordings::Message::Review(path);
    let _task = app.update(Message::Recordings(open));
    settle(&mut app)?;
    for message in messages {
        let _task = app.update(Message::Review(message.clone()));
    }
    settle(&mut app)?;
    Ok(app)
}

fn settle(app: &mut Application) -> Result<(), Box<dyn Error>> {
    let start = Instant::now();
    loop {
        let _task = app.update(Message::Tick(Instant::now()));
        if app.pages().review.is_settled() {
            return Ok(());
        }
        if start.elapsed() > PATIENCE {
            return Err("the recording was not read in time".into());
        }
        std::thread::sleep(Duration::from_millis(10));
    }
}
