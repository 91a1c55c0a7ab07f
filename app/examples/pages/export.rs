//! Pictures of the Export panel.

use super::Picture;
use keyway::application::{Application, Message, Tab};
use keyway::screen::export::{Message as Export, Offer};
use keyway::screen::recordings;
use keyway::settings::Settings;
use keyway::setup::Setup;
use keyway::theme::Look;
use keyway_acquisition::export::Form;
use std::error::Error;
use std::path::PathBuf;
use std::sync::Arc;

/// All of them.
pub fn all() -> Vec<Picture> {
    let picture = |name, make| Picture { name, make };
    vec![
        picture("export-samples", |look| panel(look, &[])),
        picture("export-chosen", |look| {
            panel(
                look,
                &[
                    Export::Form(Form::Wav),
                    Export::From("12.5".to_owned()),
                    Export::To("14".to_owned()),
                    Export::Lead(3),
                    Export::Lead(4),
                    Export::Lead(7),
                ],
            )
        }),
        picture("export-results", |look| {
            panel(look, &[Export::Results(true)])
        }),
        picture("export-refused", |look| {
            panel(look, &[Export::From("240".to_owned())])
        }),
        picture("export-running", |look| panel(look, &[Export::Begin])),
        picture("export-unreadable", |look| {
            let why = "2026-11-25-160312.mcap ends after 120 bytes, before its header is complete: there is nothing to read";
            panel(look, &[Export::Looked(Err(Arc::from(why)))])
        }),
    ]
}

fn panel(look: Look, messages: &[Export]) -> Result<Application, Box<dyn Error>> {
    let settings = Settings {
        look,
        ..Settings::default()
    };
    let mut app = Application::still(Setup::built_in()?, "", settings)?;
    let file = PathBuf::from("/home/workshop/recordings/2026-11-25-160312.mcap");
    let _task = app.update(Message::Open(Tab::Recordings));
    let _task = app.update(Message::Recordings(recordings::Message::Export(
        file.clone(),
    )));
    let leads = [
        "crank",
        "cam-intake",
        "cam-exhaust",
        "command-intake",
        "command-exhaust",
        "supply",
        "current-exhaust",
        "input-8",
    ];
    let offer = Offer {
        file,
        length: 161.9,
        leads: leads.map(str::to_owned).to_vec(),
        streams: 1,
    };
    let _task = app.update(Message::Export(Export::Looked(Ok(offer))));
    for message in messages {
        let _task = app.update(Message::Export(message.clone()));
    }
    Ok(app)
}
