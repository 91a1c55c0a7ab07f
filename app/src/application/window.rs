//! The window: opens it, runs the dashboard in it, and ends the session before it goes.

use super::{Application, Message};
use crate::fault::Fault;
use crate::font;
use crate::session::{Bench, Plan};
use crate::settings::Settings;
use iced::{Element, Subscription, Task};
use std::cell::RefCell;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Size of a new window, logical pixels.
const WINDOW: (f32, f32) = (1280.0, 800.0);

/// Smallest size at which nothing is clipped, logical pixels.
const LEAST_WINDOW: (f32, f32) = (1024.0, 600.0);

/// Opens the window and returns when it is closed, or when `stop` is raised; a recording that runs
/// is finished in either case.
pub fn run(
    bench: Bench,
    plan: Plan,
    settings: Settings,
    place: Option<PathBuf>,
    stop: Arc<AtomicBool>,
) -> Result<(), Fault> {
    let application = Application::new(bench, plan, settings, place)?;
    let cell = RefCell::new(Some(application));
    iced::application(
        move || {
            // The toolkit boots once: there is one bench, and it can be given away once.
            let mut application = cell.borrow_mut().take();
            let first = application
                .as_mut()
                .map_or_else(Task::none, Application::read_shelf);
            (application, first)
        },
        move |application: &mut Option<Application>, message| match application {
            Some(application) if !stop.load(Ordering::Relaxed) => application.update(message),
            _ => {
                // Ends session and recording before the window goes.
                drop(application.take());
                iced::exit()
            }
        },
        view,
    )
    .settings(font::settings())
    .title(|a: &Option<Application>| a.as_ref().map(Application::title).unwrap_or_default())
    .theme(|a: &Option<Application>| a.as_ref().map(Application::theme))
    .subscription(|a: &Option<Application>| {
        a.as_ref()
            .map_or_else(Subscription::none, Application::subscription)
    })
    .window(iced::window::Settings {
        size: WINDOW.into(),
        min_size: Some(LEAST_WINDOW.into()),
        ..iced::window::Settings::default()
    })
    .run()
    .map_err(|e| Fault::Start {
        what: "the window",
        why: Arc::from(e.to_string()),
    })
}

/// The booted dashboard.
pub fn view(application: &Option<Application>) -> Element<'_, Message> {
    match application {
        Some(application) => application.view(),
        None => iced::widget::Space::new().into(),
    }
}
