//! The link and the virtual scope through real pseudo-terminals, opened by their paths.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test ends where it fails")]

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;
use keyway_acquisition::block::{ChannelInfo, SampleBlock};
use keyway_acquisition::error::LinkError;
use keyway_acquisition::fanout::Feed;
use keyway_acquisition::link::{Link, LinkHandle, LinkState, Settings, Source};
use keyway_acquisition::port;
use keyway_acquisition::simulator::device::Profile;
use keyway_acquisition::simulator::pty::PtyScope;
use keyway_acquisition::simulator::sampler::Pacing;
use keyway_acquisition::simulator::source::SampleSource;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::runtime::{Handle, Runtime};

/// Channel c at index i reads i + 1000 c, wrapped to 16 bits; a new rate begins again at 0.
struct Ramp(u64);

const CHANNELS: u64 = 4;

impl SampleSource for Ramp {
    fn channels(&self) -> Vec<ChannelInfo> {
        (0..CHANNELS)
            .map(|n| ChannelInfo {
                name: format!("IN {}", n + 1),
                unit: "V".to_owned(),
                scale: 0.001,
                offset: 0.0,
                bits: 16,
                low: -32.768,
                high: 32.767,
            })
            .collect()
    }

    fn set_rate(&mut self, _rate_hz: f64) {
        self.0 = 0;
    }

    fn fill(&mut self, count: usize, out: &mut [Vec<i16>]) {
        for (n, plane) in (0u64..).zip(out) {
            plane.extend((self.0..self.0 + count as u64).map(|i| ramp(i, n)));
        }
        self.0 += count as u64;
    }
}

fn ramp(index: u64, channel: u64) -> i16 {
    let [low, high, ..] = (index + 1000 * channel).to_le_bytes();
    i16::from_le_bytes([low, high])
}

fn runtime() -> Runtime {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap()
}

fn scope(pacing: Pacing) -> (String, tokio::task::JoinHandle<()>) {
    let scope = PtyScope::open(Box::new(Ramp(0)), &Profile::default(), pacing).unwrap();
    (scope.path().to_owned(), tokio::spawn(scope.serve()))
}

fn next(lane: &Receiver<Feed>) -> Feed {
    lane.recv_timeout(Duration::from_secs(10)).unwrap()
}

fn next_block(lane: &Receiver<Feed>) -> std::sync::Arc<SampleBlock> {
    match next(lane) {
        Feed::Block(block) => block,
        other => panic!("{other:?}"),
    }
}

fn next_stream(lane: &Receiver<Feed>) -> u64 {
    loop {
        if let Feed::Stream(stream) = next(lane) {
            return stream.generation;
        }
    }
}

/// Reads up to index `end` without a gap, checking every sample.
fn check_exact(lane: &Receiver<Feed>, mut index: u64, end: u64) {
    while index < end {
        let block = next_block(lane);
        assert_eq!(block.first_index, index);
        for (channel, plane) in (0u64..).zip(&block.channels) {
            for (i, sample) in (index..).zip(plane) {
                assert_eq!(*sample, ramp(i, channel));
            }
        }
        index = block.end_index();
    }
}

fn wait_for(link: &LinkHandle, wanted: impl Fn(&LinkState) -> bool) {
    let until = Instant::now() + Duration::from_secs(10);
    let report = link.report();
    while !wanted(&report.borrow().state) {
        assert!(Instant::now() < until, "{:?}", report.borrow());
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn the_embedded_scope_streams_every_sample() {
    let runtime = runtime();
    let link = Link::spawn(
        runtime.handle(),
        Source::Virtual(Box::new(Ramp(0))),
        Settings::default(),
    );
    let analysis = link.analysis();
    assert_eq!(next_stream(&analysis), 0);
    check_exact(&analysis, 0, 40_000);
    // A recorder that joins is told of the stream first and then misses nothing.
    let recorder = link.attach_recorder();
    assert_eq!(next_stream(&recorder), 0);
    let begun = next_block(&recorder).end_index();
    check_exact(&recorder, begun, begun + 20_000);
    link.detach_recorder();
    let report = link.report().borrow().clone();
    assert!(
        report.source.starts_with("virtual scope at /dev/"),
        "{}",
        report.source
    );
    assert_eq!(report.state, LinkState::Streaming);
    assert_eq!(report.device.map(|d| d.channels.len()), Some(4));
    assert_eq!(
        (report.health.lost_samples, report.health.checksum_failures),
        (0, 0)
    );
    let watched = link.report();
    runtime.block_on(link.close());
    assert_eq!(watched.borrow().state, LinkState::Stopped);
    let _rest = recorder.iter().count();
    assert!(recorder.recv().is_err());
}

#[test]
fn programs_connect_by_path_one_after_another() {
    let runtime = runtime();
    let (path, _scope) = runtime.block_on(async { scope(Pacing::RealTime) });
    for _ in 0..2 {
        let link = Link::spawn(
            runtime.handle(),
            Source::Port(path.clone()),
            Settings::default(),
        );
        let analysis = link.analysis();
        assert_eq!(next_stream(&analysis), 0);
        check_exact(&analysis, 0, 10_000);
        runtime.block_on(link.close());
    }
}

#[test]
fn a_port_in_use_is_said_to_be_busy() {
    let runtime = runtime();
    let (path, _scope) = runtime.block_on(async { scope(Pacing::RealTime) });
    let first = Link::spawn(
        runtime.handle(),
        Source::Port(path.clone()),
        Settings::default(),
    );
    let _stream = next_stream(&first.analysis());
    let second = Link::spawn(
        runtime.handle(),
        Source::Port(path.clone()),
        Settings::default(),
    );
    wait_for(&second, |state| {
        *state == LinkState::Failed(LinkError::Busy { path: path.clone() })
    });
    check_exact(&first.analysis(), 0, 1000);
}

/// A path that can be pointed at one pseudo-terminal after another, as a cable is replugged.
struct Socket(PathBuf);

impl Socket {
    fn plug(&self, target: &str) {
        std::os::unix::fs::symlink(Path::new(target), &self.0).unwrap();
    }

    /// To be done before the scope is dropped: its path may be given to somebody else at once.
    fn unplug(&self) {
        std::fs::remove_file(&self.0).unwrap();
    }
}

impl Drop for Socket {
    fn drop(&mut self) {
        let _was_there = std::fs::remove_file(&self.0);
    }
}

#[test]
fn a_device_that_goes_and_comes_back_is_found_again() {
    let runtime = runtime();
    let socket = Socket(std::env::temp_dir().join(format!("keyway-replug-{}", std::process::id())));
    let (path, first) = runtime.block_on(async { scope(Pacing::RealTime) });
    socket.plug(&path);
    let source = Source::Port(socket.0.to_string_lossy().into_owned());
    let link = Link::spawn(runtime.handle(), source, Settings::default());
    let analysis = link.analysis();
    assert_eq!(next_stream(&analysis), 0);
    check_exact(&analysis, 0, 5000);
    socket.unplug();
    first.abort();
    wait_for(&link, |state| matches!(state, LinkState::Lost(_)));
    let (path, _second) = runtime.block_on(async { scope(Pacing::RealTime) });
    socket.plug(&path);
    assert_eq!(next_stream(&analysis), 1);
    check_exact(&analysis, 0, 5000);
    wait_for(&link, |state| *state == LinkState::Streaming);
    assert_eq!(link.report().borrow().health.reconnections, 1);
    runtime.block_on(link.close());
}

#[test]
fn garbage_before_during_and_after_does_not_stop_the_stream() {
    // A line that adds noise between the frames of a scope: the scope's end and the host's end of
    // two pseudo-terminals, joined by a task that throws in bytes.
    let runtime = runtime();
    let (path, _scope) = runtime.block_on(async { scope(Pacing::Unpaced) });
    let noisy = runtime.block_on(async {
        let near = port::PseudoTerminal::open().unwrap();
        let noisy = near.path().to_owned();
        let far = port::open(&path, 115_200).unwrap();
        let _line: tokio::task::JoinHandle<()> = Handle::current().spawn(noise(near, far));
        noisy
    });
    let link = Link::spawn(runtime.handle(), Source::Port(noisy), Settings::default());
    let analysis = link.analysis();
    let _generation = next_stream(&analysis);
    let mut blocks = 0;
    while blocks < 200 {
        let Feed::Block(block) = next(&analysis) else {
            std::thread::sleep(Duration::from_millis(50));
            panic!("{:?}", link.report().borrow())
        };
        for (i, sample) in (block.first_index..).zip(&block.channels[3]) {
            assert_eq!(*sample, ramp(i, 3));
        }
        blocks += 1;
    }
    std::thread::sleep(Duration::from_millis(150));
    let health = link.report().borrow().health;
    assert!(health.checksum_failures + health.discards > 0, "{health:?}");
    assert!(health.gaps > 0 && health.lost_samples > 0, "{health:?}");
    runtime.block_on(link.close());
}

async fn noise(near: port::PseudoTerminal, mut far: port::Port) {
    // Until the host has opened its end, every read of this one fails.
    let (mut requests, mut answers) = ([0; 4096], [0; 4096]);
    let mut near = loop {
        let count = near.device_end().unwrap().try_read(&mut requests);
        if let Ok(count) = count {
            far.write_all(&requests[..count]).await.unwrap();
            break near.device_end().unwrap();
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    };
    let mut passed = 0usize;
    loop {
        tokio::select! {
            read = near.read(&mut requests) => match read {
                Ok(count) => far.write_all(&requests[..count]).await.unwrap(),
                Err(_) => return,
            },
            read = far.read(&mut answers) => {
                let count = read.unwrap();
                passed += 1;
                if passed.is_multiple_of(7) {
                    answers[count / 2] ^= 0x55;
                }
                if passed.is_multiple_of(11) && near.write_all(b"noise\0\0\x05").await.is_err() {
                    return;
                }
                if near.write_all(&answers[..count]).await.is_err() {
                    return;
                }
            }
        }
    }
}
