//! A dashboard under test: what a hand does, and what an eye sees.

use iced::Size;
use iced::keyboard::key::{Code, Named, Physical};
use iced::keyboard::{Event, Key, Location, Modifiers};
use iced_test::Simulator;
use keyway::application::{Application, Message};
use keyway::font;
use keyway::screen::{recordings, review};
use keyway::session::choice::Choice;
use keyway::session::shelf;
use keyway::session::{Bench, Plan};
use keyway::settings::Settings;
use keyway::status::LinkState;
use keyway::work::Progress;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Longest anything may take, on a machine that is busy with other tests too.
const PATIENCE: Duration = Duration::from_secs(60);

/// The dashboard and its folder.
pub struct Desk {
    /// The dashboard.
    pub app: Application,
    /// Folder of recordings and settings; gone with the desk.
    pub folder: PathBuf,
}

impl Desk {
    /// On the virtual scope with the default scenario, as the program starts without arguments.
    pub fn open(name: &str) -> Self {
        Self::with(name, Plan::standard())
    }

    /// On the virtual scope with this scenario.
    pub fn open_on(name: &str, scenario: &str) -> Self {
        Self::with(name, Plan::of(Choice::Scenario(scenario.to_owned())))
    }

    fn with(name: &str, plan: Plan) -> Self {
        let folder = std::env::temp_dir().join(format!("keyway-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let settings = Settings {
            recordings: Some(folder.clone()),
            references: Some(folder.join("references")),
            ..Settings::default()
        };
        let mut bench = Bench::new().unwrap();
        bench.open(&plan).unwrap();
        let place = Some(folder.join("settings.toml"));
        let app = Application::new(bench, plan, settings, place).unwrap();
        Self { app, folder }
    }

    /// Where its settings are kept.
    pub fn settings_file(&self) -> PathBuf {
        self.folder.join("settings.toml")
    }

    /// Closes the window; the folder stays.
    pub fn close(self) -> PathBuf {
        let folder = self.folder.clone();
        let mut desk = std::mem::ManuallyDrop::new(self);
        let settings = Settings::default();
        let setup = keyway::setup::Setup::built_in().unwrap();
        let empty = Application::still(setup, "", settings).unwrap();
        drop(std::mem::replace(&mut desk.app, empty));
        folder
    }

    /// A message from elsewhere.
    pub fn send(&mut self, message: Message) {
        let _task = self.app.update(message);
    }

    /// Opens a recording on the Review page.
    pub fn review(&mut self, path: &Path) {
        let open = recordings::Message::Review(path.to_owned());
        self.send(Message::Recordings(open));
        self.tick();
    }

    /// A message of the Review page.
    pub fn page(&mut self, message: review::Message) {
        self.send(Message::Review(message));
    }

    /// Time passes.
    pub fn tick(&mut self) {
        self.send(Message::Tick(Instant::now()));
    }

    /// Ticks until the figures on the screen have changed once more.
    pub fn settle(&mut self) {
        let start = Instant::now();
        while start.elapsed() < Duration::from_millis(400) {
            self.tick();
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Ticks until something is the case.
    pub fn wait(&mut self, what: &str, is_so: impl Fn(&Application) -> bool) {
        let start = Instant::now();
        loop {
            self.tick();
            if is_so(&self.app) {
                return;
            }
            assert!(
                start.elapsed() < PATIENCE,
                "waited in vain for {what}: {:?}",
                self.app.shown().link
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Ticks until these words are on the screen.
    pub fn wait_to_see(&mut self, words: &str) {
        let start = Instant::now();
        while !self.is_seen(words) {
            assert!(
                start.elapsed() < PATIENCE,
                "waited in vain to see '{words}'"
            );
            self.tick();
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Ticks until samples arrive and are measured.
    pub fn wait_for_samples(&mut self) {
        self.wait("samples", |app| {
            app.shown().link.state == LinkState::Streaming && app.shown().snapshot.is_some()
        });
    }

    /// Seconds of samples measured.
    pub fn seconds(&self) -> f64 {
        let snapshot = self.app.shown().snapshot.as_ref();
        snapshot.map_or(0.0, |s| s.elapsed.0)
    }

    /// Reads the folder of recordings as the toolkit would on a thread of its own.
    pub fn read_files(&mut self) {
        let jobs = self.app.pages().files.wanted_jobs();
        let shelf = shelf::read_with(&self.folder, &jobs, &Progress::default());
        let read = recordings::Message::Read(shelf.map(Arc::new));
        self.send(Message::Recordings(read));
    }

    /// Presses what bears these words.
    pub fn click(&mut self, words: &str) {
        self.hand(|ui| {
            let _found = ui
                .click(words)
                .unwrap_or_else(|e| panic!("'{words}' cannot be pressed: {e:?}"));
        });
    }

    /// Types into a field.
    pub fn type_into(&mut self, field: &'static str, words: &str) {
        // A simulated window lasts for one message, so every letter has one of its own.
        for end in 1..=words.len() {
            self.hand(|ui| {
                let _field = ui
                    .click(iced_test::selector::id(field))
                    .unwrap_or_else(|e| panic!("no field '{field}': {e:?}"));
                let _status = ui.tap_key(Named::End);
                let _status = ui.typewrite(&words[end - 1..end]);
            });
        }
    }

    /// Takes so many letters from the end of a field.
    pub fn hand_clears(&mut self, field: &'static str, letters: usize) {
        for _ in 0..letters {
            self.hand(|ui| {
                let _field = ui
                    .click(iced_test::selector::id(field))
                    .unwrap_or_else(|e| panic!("no field '{field}': {e:?}"));
                let _status = ui.tap_key(Named::End);
                let _status = ui.tap_key(Named::Backspace);
            });
        }
    }

    /// These words are somewhere on the screen.
    pub fn sees(&self, words: &str) {
        assert!(self.is_seen(words), "'{words}' is not on the screen");
    }

    /// These words are nowhere on the screen.
    pub fn sees_not(&self, words: &str) {
        assert!(!self.is_seen(words), "'{words}' is on the screen");
    }

    /// Whether the window looks as it did at the first call with this name.
    pub fn looks_as_before(&self, name: &str) -> bool {
        let snapshot = self.window().snapshot(&self.app.theme()).unwrap();
        snapshot.matches_hash(self.folder.join(name)).unwrap()
    }

    /// Presses a key that writes.
    pub fn key(&mut self, letter: &str) {
        self.press(Key::Character(letter.into()));
    }

    /// Presses a key that has a name.
    pub fn named_key(&mut self, named: Named) {
        self.press(Key::Named(named));
    }

    fn press(&mut self, key: Key) {
        self.send(Message::Key(Event::KeyPressed {
            modified_key: key.clone(),
            key,
            physical_key: Physical::Code(Code::KeyA),
            location: Location::Standard,
            modifiers: Modifiers::empty(),
            text: None,
            repeat: false,
        }));
    }

    fn is_seen(&self, words: &str) -> bool {
        self.window().find(words).is_ok()
    }

    fn window(&self) -> Simulator<'_, Message> {
        Simulator::with_size(font::settings(), Size::new(1280.0, 800.0), self.app.view())
    }

    /// What a hand does in one window.
    pub fn hand(&mut self, does: impl FnOnce(&mut Simulator<'_, Message>)) {
        let messages: Vec<Message> = {
            let mut ui = self.window();
            does(&mut ui);
            ui.into_messages().collect()
        };
        for message in messages {
            self.send(message);
        }
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        // A recording that still runs keeps its file open until the session ends; the folder goes
        // all the same where the system lets it.
        let _gone = std::fs::remove_dir_all(&self.folder);
    }
}

/// A virtual scope of another program, as far as the dashboard can tell.
#[cfg(unix)]
pub struct Scope {
    /// The path to type.
    pub path: String,
    _runtime: tokio::runtime::Runtime,
}

#[cfg(unix)]
impl Scope {
    /// Serves until it is dropped.
    pub fn start() -> Self {
        use keyway_acquisition::simulator::device::Profile;
        use keyway_acquisition::simulator::engine::Engine;
        use keyway_acquisition::simulator::pty::PtyScope;
        use keyway_acquisition::simulator::sampler::Pacing;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .unwrap();
        let scenario = keyway::session::choice::scenario("healthy").unwrap();
        let engine = Engine::from_scenario(&scenario, 7);
        let path = runtime.block_on(async {
            let scope =
                PtyScope::open(Box::new(engine), &Profile::default(), Pacing::RealTime).unwrap();
            let path = scope.path().to_owned();
            let _task = tokio::spawn(scope.serve());
            path
        });
        Self {
            path,
            _runtime: runtime,
        }
    }
}
