//! Prints what the link carries from a pseudo-terminal to decoded blocks, and its cost.
//!
//! `cargo run --release -p keyway-acquisition --example throughput [SECONDS [CHANNELS [RATE]]]`;
//! a rate of 0 sends as fast as the host reads. Nothing is asserted: figures depend on the machine.
#![allow(
    clippy::print_stdout,
    reason = "printing figures is all this program does"
)]

use std::time::{Duration, Instant};

use keyway_acquisition::block::ChannelInfo;
use keyway_acquisition::fanout::Feed;
use keyway_acquisition::link::{Link, Settings, Source};
use keyway_acquisition::simulator::device::Profile;
use keyway_acquisition::simulator::sampler::Pacing;
use keyway_acquisition::simulator::source::SampleSource;

/// A sawtooth in every channel: almost free to make, so that the line is what is measured.
struct Sawtooth {
    channels: usize,
    index: u16,
}

impl SampleSource for Sawtooth {
    fn channels(&self) -> Vec<ChannelInfo> {
        let channel = |n: usize| ChannelInfo {
            name: format!("IN {}", n + 1),
            unit: "V".to_owned(),
            scale: 0.001,
            offset: 0.0,
            bits: 16,
            low: -32.768,
            high: 32.767,
        };
        (0..self.channels).map(channel).collect()
    }

    fn set_rate(&mut self, _rate_hz: f64) {}

    fn fill(&mut self, count: usize, out: &mut [Vec<i16>]) {
        let first = self.index;
        for plane in out {
            plane.extend((0..count).scan(first, |index, _| {
                *index = index.wrapping_add(1);
                Some(index.cast_signed())
            }));
        }
        for _ in 0..count {
            self.index = self.index.wrapping_add(1);
        }
    }
}

#[cfg(unix)]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    use keyway_acquisition::simulator::pty::PtyScope;

    let mut arguments = std::env::args().skip(1);
    let mut argument = |default: f64| -> Result<f64, std::num::ParseFloatError> {
        arguments.next().map_or(Ok(default), |text| text.parse())
    };
    let (seconds, channels, rate_hz) = (argument(5.0)?, argument(8.0)?, argument(1e6)?);
    let planes: usize = format!("{channels}").parse()?;
    let pacing = if rate_hz > 0.0 {
        Pacing::RealTime
    } else {
        Pacing::Unpaced
    };

    decoder_alone(planes.clamp(1, 16))?;
    // Each part on threads of its own name, so that its CPU time can be told apart.
    let device = runtime("scope-line")?;
    let runtime = runtime("host-link")?;
    let source = Box::new(Sawtooth {
        channels: planes,
        index: 0,
    });
    let path = device.block_on(async {
        let scope = PtyScope::open(source, &Profile::default(), pacing)?;
        let path = scope.path().to_owned();
        let _served = tokio::spawn(scope.serve());
        Ok::<_, keyway_acquisition::error::LinkError>(path)
    })?;
    let settings = Settings {
        rate_hz: if rate_hz > 0.0 { rate_hz } else { 1e6 },
        ..Settings::default()
    };
    let link = Link::spawn(runtime.handle(), Source::Port(path), settings);
    let lane = link.analysis();
    let (mut blocks, mut samples, mut longest) = (0u64, 0u64, Duration::ZERO);
    let (mut begun, mut cpu, mut last) = (Instant::now(), cpu_seconds(), Instant::now());
    while let Ok(feed) = lane.recv_timeout(Duration::from_secs(5)) {
        match feed {
            Feed::Stream(_) => {
                (begun, cpu, last) = (Instant::now(), cpu_seconds(), Instant::now());
            }
            Feed::Block(block) => {
                blocks += 1;
                samples += block.len() as u64;
                longest = longest.max(last.elapsed());
                last = Instant::now();
            }
            Feed::Ended => break,
        }
        if begun.elapsed().as_secs_f64() >= seconds {
            break;
        }
    }
    let elapsed = begun.elapsed().as_secs_f64();
    let spent = cpu_seconds();
    let report = link.report().borrow().clone();
    runtime.block_on(link.close());
    println!(
        "{planes} channels, {rate_hz} samples/s asked, {elapsed:.2} s, {:?}",
        report.state
    );
    println!(
        "decoded: {blocks} blocks, {:.3} MS/s a channel, {:.1} MB/s of samples",
        samples as f64 / elapsed / 1e6,
        samples as f64 * channels * 2.0 / elapsed / 1e6
    );
    println!(
        "longest wait between two blocks: {:.1} ms",
        longest.as_secs_f64() * 1e3
    );
    println!(
        "lost samples: {}, of them device overruns: {}",
        report.health.lost_samples, report.health.device_overruns
    );
    for ((name, before), (_, after)) in cpu.iter().zip(&spent) {
        println!(
            "CPU of {name}: {:.1} % of a core",
            (after - before) / elapsed * 100.0
        );
    }
    println!("{:?}", report.health);
    runtime.shutdown_background();
    device.shutdown_background();
    Ok(())
}

#[cfg(unix)]
fn runtime(name: &str) -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(1)
        .thread_name(name)
        .enable_all()
        .build()
}

/// Prints how fast frames are decoded and unpacked with no line before them.
fn decoder_alone(planes: usize) -> Result<(), keyway_protocol::EncodeError> {
    use keyway_protocol::{Decoder, Encoder, MAX_CONTENT, MAX_FRAME, Message, SampleFormat};

    let plane: Vec<i16> = (0..512).map(|n: i16| n.wrapping_mul(127)).collect();
    let mut frame = vec![0; MAX_FRAME];
    let slices = std::iter::repeat_n(&plane[..], planes);
    let length = Encoder::<MAX_CONTENT>::new().encode_samples(
        1,
        0,
        SampleFormat::I16,
        slices,
        &mut frame,
    )?;
    let wire = frame[..length].repeat(64);
    let mut decoder = Box::new(Decoder::<MAX_FRAME>::new());
    let (begun, mut sum, mut bytes) = (Instant::now(), 0i64, 0);
    while begun.elapsed() < Duration::from_millis(500) {
        let mut rest = &wire[..];
        bytes += rest.len();
        while let Some(outcome) = decoder.next(&mut rest) {
            let Ok(Message::Samples(samples)) = outcome else {
                continue;
            };
            for plane in samples
                .planes(SampleFormat::I16, planes)
                .into_iter()
                .flatten()
            {
                let unpacked: Vec<i16> = SampleFormat::I16.unpack(plane).collect();
                sum += i64::from(unpacked[1]);
            }
        }
    }
    let rate = bytes as f64 / begun.elapsed().as_secs_f64() / 1e6;
    println!(
        "decoder alone: {rate:.0} MB/s ({} frames, {sum})",
        decoder.counts().frames
    );
    Ok(())
}

/// CPU seconds so far of the named threads and of the whole process, from /proc; 0 without one.
#[cfg(unix)]
fn cpu_seconds() -> Vec<(&'static str, f64)> {
    // Fields 14 and 15 of a stat, counted here from after the name in brackets; a tick is a
    // hundredth of a second on every Linux.
    let ticks = |stat: String| -> Option<f64> {
        let fields: Vec<&str> = stat.rsplit(") ").next()?.split(' ').collect();
        Some(fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?)
    };
    let read = |path: std::path::PathBuf| std::fs::read_to_string(path).ok();
    let mut spent = vec![
        ("virtual-scope", 0.0),
        ("scope-line", 0.0),
        ("host-link", 0.0),
    ];
    for thread in std::fs::read_dir("/proc/self/task")
        .into_iter()
        .flatten()
        .flatten()
    {
        let Some(name) = read(thread.path().join("comm")) else {
            continue;
        };
        if let Some((_, sum)) = spent.iter_mut().find(|(n, _)| *n == name.trim()) {
            *sum += read(thread.path().join("stat"))
                .and_then(ticks)
                .unwrap_or(0.0)
                / 100.0;
        }
    }
    let all = read("/proc/self/stat".into())
        .and_then(ticks)
        .unwrap_or(0.0)
        / 100.0;
    spent.push(("everything, this program too", all));
    spent
}

#[cfg(not(unix))]
fn main() {
    println!("there are no pseudo-terminals here");
}
