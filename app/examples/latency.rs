//! Prints how old the newest sample is when the screen fetches it, and what was lost meanwhile:
//! `cargo run --release -p keyway --example latency -- [SECONDS]`
//!
//! The virtual scope notes when it makes each sample; the screen's tick of 33 ms is imitated. The
//! time to draw comes on top: see the example `frame_cost`.

#![allow(clippy::print_stdout, reason = "a command that says what it measured")]

use keyway::session::choice;
use keyway::session::live::LiveSession;
use keyway::setup::Setup;
use keyway_acquisition::block::ChannelInfo;
use keyway_acquisition::link::{Settings, Source};
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::source::SampleSource;
use std::collections::VecDeque;
use std::error::Error;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// When which sample was made: index after the last, and the instant.
type Made = Arc<Mutex<VecDeque<(f64, Instant)>>>;

/// An engine that notes when it makes its samples.
struct Noted {
    engine: Engine,
    end: f64,
    made: Made,
}

impl SampleSource for Noted {
    fn channels(&self) -> Vec<ChannelInfo> {
        self.engine.channels()
    }

    fn set_rate(&mut self, rate_hz: f64) {
        self.end = 0.0;
        self.engine.set_rate(rate_hz);
    }

    fn fill(&mut self, count: usize, out: &mut [Vec<i16>]) {
        self.engine.fill(count, out);
        self.end += count as f64;
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        made.push_back((self.end, Instant::now()));
        // Ten seconds of the smallest blocks are more than ever lie between making and showing.
        if made.len() > 40_000 {
            let _oldest = made.pop_front();
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let seconds: f64 = match std::env::args().nth(1) {
        Some(words) => words.parse()?,
        None => 20.0,
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    let made = Made::default();
    let source = Noted {
        engine: Engine::from_scenario(&choice::scenario(choice::DEFAULT_SCENARIO)?, 1),
        end: 0.0,
        made: Arc::clone(&made),
    };
    let session = LiveSession::start(
        runtime.handle(),
        Source::Virtual(Box::new(source)),
        "Virtual scope".to_owned(),
        Settings::default(),
        Setup::built_in()?,
    )?;
    let mut ages = Vec::new();
    let start = Instant::now();
    while start.elapsed().as_secs_f64() < seconds {
        std::thread::sleep(Duration::from_millis(33));
        let Some(snapshot) = session.stage().snapshot() else {
            continue;
        };
        let now = Instant::now();
        let made = made.lock().unwrap_or_else(PoisonError::into_inner);
        let newest = made.iter().find(|(end, _)| *end >= snapshot.at.0);
        if let Some((_, at)) = newest
            && start.elapsed().as_secs_f64() > 1.0
        {
            ages.push(now.duration_since(*at).as_secs_f64() * 1000.0);
        }
    }
    ages.sort_by(f64::total_cmp);
    let share = |hundredths: usize| {
        let place = (ages.len() * hundredths / 100).min(ages.len().saturating_sub(1));
        ages.get(place).copied().unwrap_or(f64::NAN)
    };
    println!(
        "sample to fetched: median {:.1} ms, 95th percentile {:.1} ms, most {:.1} ms, over {} fetches",
        share(50),
        share(95),
        share(100),
        ages.len()
    );
    let link = session.link();
    println!(
        "{} channels at {:.0} samples a second: {} samples lost, {} overruns",
        link.channels, link.rate_hz, link.lost, link.overruns
    );
    Ok(())
}
