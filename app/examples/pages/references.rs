//! Pictures of the References page.

use super::{Picture, workpiece};
use keyway::application::pages::Page;
use keyway::application::{Application, Message, Tab};
use keyway::screen::references::Message as Own;
use keyway::screen::references::{combining, taking, typing};
use keyway::session::choice::Choice;
use keyway::session::{Bench, Plan};
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::theme::Look;
use keyway_analysis::reference::handbook::{Shaft, Side};
use std::error::Error;
use std::path::PathBuf;
use std::time::{Duration, Instant};

const MEASURED: &str = include_str!("../../../analysis/src/reference/examples/measured.toml");
const HANDBOOK: &str = include_str!("../../../analysis/src/reference/examples/handbook.toml");
const COMBINED: &str = include_str!("../../../analysis/src/reference/examples/combined.toml");

/// All of them.
pub fn all() -> Vec<Picture> {
    vec![
        Picture {
            name: "references-list",
            make: list,
        },
        Picture {
            name: "references-partial",
            make: partial,
        },
        Picture {
            name: "references-handbook",
            make: handbook,
        },
        Picture {
            name: "references-recording",
            make: recording,
        },
        Picture {
            name: "references-combine",
            make: combine,
        },
        Picture {
            name: "references-empty",
            make: empty,
        },
    ]
}

fn folder(name: &str) -> Result<PathBuf, Box<dyn Error>> {
    let folder = std::env::temp_dir()
        .join("keyway-pictures-references")
        .join(name);
    std::fs::create_dir_all(&folder)?;
    Ok(folder)
}

/// The examples, engines that differ a little, one of another type, and a spoiled file.
fn filled() -> Result<PathBuf, Box<dyn Error>> {
    let folder = folder("filled")?;
    let other = MEASURED
        .replace("Light van 2.0, bench engine", "Estate 3.2 six, yard car")
        .replace("Light van 2.0, two phasers", "Estate 3.2 six");
    for (name, text) in [
        ("bench.toml", MEASURED.to_owned()),
        ("book.toml", HANDBOOK.to_owned()),
        ("van.toml", COMBINED.to_owned()),
        ("six.toml", other),
        (
            "spoiled.toml",
            MEASURED.replace("tolerance = 2.5", "tolerance = \"wide\""),
        ),
    ] {
        std::fs::write(folder.join(name), text)?;
    }
    let moved = [
        ("KW 512", 0.4),
        ("KW 118", -0.2),
        ("KW 604", 0.1),
        ("KW 771", 4.2),
    ];
    for (vehicle, by) in moved {
        let mut reference = keyway_analysis::reference::Reference::read(MEASURED)?;
        reference.name = format!("Light van 2.0, {vehicle}");
        vehicle.clone_into(&mut reference.vehicle);
        for edge in reference.cams.iter_mut().take(1).flat_map(|c| &mut c.edges) {
            edge.angle.0 += by;
        }
        std::fs::write(folder.join(format!("{vehicle}.toml")), reference.text())?;
    }
    Ok(folder)
}

fn settings(look: Look, references: PathBuf) -> Settings {
    Settings {
        look,
        references: Some(references),
        ..Settings::default()
    }
}

/// Time passes until long work is done.
fn settle(app: &mut Application, seconds: f64) {
    let end = Instant::now() + Duration::from_secs_f64(seconds);
    while Instant::now() < end {
        let _ = app.update(Message::Tick(Instant::now()));
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn still(look: Look, references: PathBuf) -> Result<Application, Box<dyn Error>> {
    let mut app = Application::still(Setup::built_in()?, "", settings(look, references))?;
    let _ = app.update(Message::Open(Tab::Recordings));
    let _ = app.update(Message::Turn(Page::References));
    settle(&mut app, 0.3);
    Ok(app)
}

fn list(look: Look) -> Result<Application, Box<dyn Error>> {
    still(look, filled()?)
}

fn partial(look: Look) -> Result<Application, Box<dyn Error>> {
    let folder = filled()?;
    let mut app = still(look, folder.clone())?;
    let _ = app.update(Message::References(Own::Pick(folder.join("book.toml"))));
    Ok(app)
}

fn empty(look: Look) -> Result<Application, Box<dyn Error>> {
    still(look, folder("empty")?)
}

fn handbook(look: Look) -> Result<Application, Box<dyn Error>> {
    let mut app = still(look, filled()?)?;
    let typed = [
        Own::TypeIn,
        Own::Typing(typing::Message::Degrees("65".to_owned())),
        Own::Typing(typing::Message::Window(1)),
        Own::Typing(typing::Message::Shaft(Shaft::Cam)),
        Own::Typing(typing::Message::Side(Side::After)),
        Own::Typing(typing::Message::Window(0)),
        Own::Typing(typing::Message::Mark(
            keyway_analysis::reference::EdgeMark::Falling,
        )),
        Own::Typing(typing::Message::Add),
        Own::Typing(typing::Message::Window(1)),
        Own::Typing(typing::Message::Degrees("111,5".to_owned())),
        Own::Typing(typing::Message::Mark(
            keyway_analysis::reference::EdgeMark::Rising,
        )),
        Own::Typing(typing::Message::Source(
            "Engine book 2.0, page 14-7".to_owned(),
        )),
        Own::Typing(typing::Message::Save),
    ];
    for message in typed {
        let _ = app.update(Message::References(message));
    }
    Ok(app)
}

fn recording(look: Look) -> Result<Application, Box<dyn Error>> {
    let file = workpiece::recorded(&workpiece::Workpiece {
        driver: "[{ kind = \"idle\", seconds = 1000 }]",
        renamed: ["known_good = true", "known_good = false"],
        ..workpiece::Workpiece::of("healthy", 10.0)
    });
    let plan = Plan::of(Choice::Recording(PathBuf::from(file.path())));
    let mut bench = Bench::new()?;
    bench.open(&plan)?;
    let mut app = Application::new(bench, plan, settings(look, filled()?), None)?;
    let _ = app.update(Message::Open(Tab::Recordings));
    let _ = app.update(Message::Turn(Page::References));
    for message in [
        Own::Take,
        Own::Taking(taking::Message::Vehicle("KW 347".to_owned())),
        Own::Taking(taking::Message::Oil("88".to_owned())),
        Own::Taking(taking::Message::Go),
    ] {
        let _ = app.update(Message::References(message));
    }
    settle(&mut app, 8.0);
    Ok(app)
}

fn combine(look: Look) -> Result<Application, Box<dyn Error>> {
    let mut app = still(look, filled()?)?;
    let _ = app.update(Message::References(Own::Combine));
    let _ = app.update(Message::References(Own::Combining(
        combining::Message::Down,
    )));
    Ok(app)
}
