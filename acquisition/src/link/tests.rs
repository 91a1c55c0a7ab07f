//! The link against scripted devices on an in-memory pipe.

use std::time::{Duration, Instant};

use keyway_protocol::{
    Configure, Decoder, Encoder, Identity, MAX_FRAME, Message, Reason, Refusal, SampleFormat, kind,
};
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::sync::watch;

use super::report::LinkReport;
use super::run::{Course, run};
use super::{LinkState, Settings};
use crate::block::{ChannelInfo, SampleBlock};
use crate::error::LinkError;
use crate::fanout::{Fanout, Feed, RecorderSlot};
use crate::health::Health;
use crate::simulator::device::Profile;
use crate::simulator::embedded::in_memory;
use crate::simulator::sampler::Pacing;
use crate::simulator::source::SampleSource;
use crate::stop::Stop;

/// Channel c at index i reads i + 100 c, wrapped to 12 bits; a new rate begins again at 0.
struct Ramp {
    index: u64,
    channels: usize,
}

impl SampleSource for Ramp {
    fn channels(&self) -> Vec<ChannelInfo> {
        (0..self.channels)
            .map(|n| ChannelInfo {
                name: format!("IN {}", n + 1),
                unit: "V".to_owned(),
                scale: 0.01,
                offset: 0.0,
                bits: 12,
                low: -20.48,
                high: 20.47,
            })
            .collect()
    }

    fn set_rate(&mut self, _rate_hz: f64) {
        self.index = 0;
    }

    fn fill(&mut self, count: usize, out: &mut [Vec<i16>]) {
        for (n, plane) in (0u64..).zip(out) {
            plane.extend((self.index..self.index + count as u64).map(|i| ramp(i, n)));
        }
        self.index += count as u64;
    }
}

fn ramp(index: u64, channel: u64) -> i16 {
    i16::try_from((index + 100 * channel) % 4096).unwrap() - 2048
}

struct Bench {
    course: Course,
    /// The lossless lane.
    recorder: crossbeam_channel::Receiver<Feed>,
    analysis: crossbeam_channel::Receiver<Feed>,
    stop: watch::Sender<bool>,
}

fn bench(settings: Settings) -> Bench {
    let slot = RecorderSlot::default();
    let recorder = slot.attach();
    let (fanout, analysis) = Fanout::new(slot);
    let (stop, stopped) = Stop::new();
    let course = Course {
        settings,
        fanout,
        report: watch::channel(LinkReport::new("test".to_owned())).0,
        stop: stopped,
        before: Health::default(),
        next_generation: 0,
        has_streamed: false,
    };
    Bench {
        course,
        recorder,
        analysis,
        stop,
    }
}

fn frame(message: &Message<'_>) -> Vec<u8> {
    let mut out = vec![0; MAX_FRAME];
    let length = Encoder::<MAX_FRAME>::new()
        .encode(message, &mut out)
        .unwrap();
    out.truncate(length);
    out
}

/// What the link says of a device that answers every read with `answer`.
async fn verdict(answer: Vec<u8>) -> LinkError {
    let (host, mut device) = duplex(4096);
    let _device = tokio::spawn(async move {
        let mut buffer = [0; 256];
        while device.read(&mut buffer).await.is_ok_and(|n| n > 0) {
            if device.write_all(&answer).await.is_err() {
                break;
            }
        }
    });
    run(host, &mut bench(Settings::default()).course)
        .await
        .unwrap_err()
}

fn identity(version: (u8, u8), channels: u8) -> Vec<u8> {
    frame(&Message::Identity(Identity {
        version,
        channels,
        max_rate_hz: 1e6,
        maker: "Anyone",
        model: "Scope",
        serial: "",
        firmware: "1",
    }))
}

#[tokio::test(start_paused = true)]
async fn strangers_are_told_apart() {
    assert_eq!(verdict(Vec::new()).await, LinkError::Silent);
    let garbage = verdict(b"\r\nlogin: \0\xFF\x03".to_vec()).await;
    assert!(
        matches!(garbage, LinkError::Foreign { bytes } if bytes > 12),
        "{garbage:?}"
    );
    assert!(
        garbage
            .to_string()
            .starts_with("This device does not speak the Keyway stream")
    );
    assert_eq!(
        verdict(identity((2, 3), 1)).await,
        LinkError::WrongVersion { device: (2, 3) }
    );
    assert_eq!(
        verdict(identity((1, 9), 3)).await,
        LinkError::Incomplete {
            announced: 3,
            described: 0
        }
    );
    let refusal = frame(&Message::Refusal(Refusal {
        request: kind::HELLO,
        tag: 0,
        reason: Reason::Fault,
        text: "self-test failed",
    }));
    let refused = LinkError::Refused {
        reason: Reason::Fault,
        text: "self-test failed".to_owned(),
    };
    assert_eq!(verdict(refusal).await, refused);
}

/// A link to a virtual scope over a pipe, told to stop once `enough` says so of a block.
async fn stream(
    bench: &mut Bench,
    source: Ramp,
    pacing: Pacing,
    enough: impl Fn(&SampleBlock) -> bool + Send + 'static,
) -> (Result<(), LinkError>, Vec<Feed>) {
    let (_, mut opener, task) =
        in_memory::spawn(Box::new(source), &Profile::default(), pacing).unwrap();
    let line = in_memory::open(&mut opener, 0).unwrap();
    // Unpaced, the analysis lane may drop blocks; this one makes the link wait.
    let (recorder, stop) = (bench.recorder.clone(), bench.stop.clone());
    let reader = tokio::task::spawn_blocking(move || {
        let mut feeds = Vec::new();
        while let Ok(feed) = recorder.recv_timeout(Duration::from_secs(5)) {
            let last = matches!(feed, Feed::Ended);
            if matches!(&feed, Feed::Block(block) if enough(block)) {
                let _before = stop.send_replace(true);
            }
            feeds.push(feed);
            if last {
                break;
            }
        }
        feeds
    });
    let outcome = run(line, &mut bench.course).await;
    let feeds = reader.await.unwrap();
    task.abort();
    (outcome, feeds)
}

fn check_exact(feeds: &[Feed], channels: &[u64]) -> u64 {
    let mut next = 0;
    for feed in feeds {
        let Feed::Block(block) = feed else { continue };
        assert_eq!(block.first_index, next);
        assert_eq!(block.channels.len(), channels.len());
        for (plane, channel) in block.channels.iter().zip(channels) {
            for (index, sample) in (next..).zip(plane) {
                assert_eq!(*sample, ramp(index, *channel));
            }
        }
        next = block.end_index();
    }
    next
}

#[tokio::test(flavor = "multi_thread")]
async fn samples_arrive_exactly() {
    for format in [SampleFormat::I16, SampleFormat::Packed12] {
        let settings = Settings {
            channels: vec![0, 2],
            samples_per_frame: 333,
            format,
            rate_hz: 1e6,
            ..Settings::default()
        };
        let mut bench = bench(settings);
        let source = Ramp {
            index: 0,
            channels: 3,
        };
        let (outcome, feeds) = stream(&mut bench, source, Pacing::Unpaced, |b| {
            b.end_index() > 50_000
        })
        .await;
        assert_eq!(outcome, Ok(()));
        let Some(Feed::Stream(info)) = feeds.first() else {
            panic!("{:?}", feeds.first())
        };
        assert_eq!((info.rate_hz, &info.enabled[..]), (1e6, &[0, 2][..]));
        assert_eq!(info.device.channels.len(), 3);
        assert!(matches!(feeds.last(), Some(Feed::Ended)));
        assert!(check_exact(&feeds, &[0, 2]) > 50_000);
        let health = bench.course.before;
        assert_eq!(
            (
                health.lost_samples,
                health.checksum_failures,
                health.discards
            ),
            (0, 0, 0)
        );
        assert_eq!(bench.course.report.borrow().state, LinkState::Streaming);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn refusals_say_why() {
    let refusal = async |settings: Settings| {
        let source = Box::new(Ramp {
            index: 0,
            channels: 3,
        });
        let (_, mut opener, _task) =
            in_memory::spawn(source, &Profile::default(), Pacing::Unpaced).unwrap();
        let line = in_memory::open(&mut opener, 0).unwrap();
        run(line, &mut bench(settings).course).await.unwrap_err()
    };
    let error = refusal(Settings {
        rate_hz: 1e9,
        ..Settings::default()
    })
    .await;
    assert!(
        matches!(
            error,
            LinkError::Refused {
                reason: Reason::Rate,
                ..
            }
        ),
        "{error}"
    );
    assert!(
        error.to_string().contains("choose a lower sample rate"),
        "{error}"
    );
    let error = refusal(Settings {
        samples_per_frame: 60_000,
        ..Settings::default()
    })
    .await;
    assert!(
        matches!(
            error,
            LinkError::Refused {
                reason: Reason::FrameSize,
                ..
            }
        ),
        "{error}"
    );
    let error = refusal(Settings {
        channels: vec![1, 3],
        ..Settings::default()
    })
    .await;
    assert_eq!(
        error,
        LinkError::NoSuchChannel {
            channel: 3,
            present: 3
        }
    );
}

/// Carries bytes both ways and stops for `stall` once `after` bytes have come from the device.
async fn slow_line(host: DuplexStream, device: DuplexStream, after: usize, stall: Duration) {
    let (mut from_host, mut to_host) = tokio::io::split(host);
    let (mut from_device, mut to_device) = tokio::io::split(device);
    let forth = tokio::io::copy(&mut from_host, &mut to_device);
    let back = async {
        let (mut buffer, mut carried, mut stalled) = ([0; 4096], 0, false);
        while let Ok(count @ 1..) = from_device.read(&mut buffer).await {
            carried += count;
            if carried > after && !std::mem::replace(&mut stalled, true) {
                tokio::time::sleep(stall).await;
            }
            if to_host.write_all(&buffer[..count]).await.is_err() {
                break;
            }
        }
    };
    tokio::select! {
        _ = forth => {}
        () = back => {}
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_device_drops_is_known_exactly() {
    // The device's buffer holds 256 frames, here 131 ms.
    let mut bench = bench(Settings {
        rate_hz: 1e6,
        ..Settings::default()
    });
    let source = Box::new(Ramp {
        index: 0,
        channels: 2,
    });
    let (_, mut opener, _task) =
        in_memory::spawn(source, &Profile::default(), Pacing::RealTime).unwrap();
    let device = in_memory::open(&mut opener, 0).unwrap();
    // No recorder: it would make the link wait once it is full.
    bench.recorder = crossbeam_channel::never();
    let (host, near) = duplex(4096);
    let _line = tokio::spawn(slow_line(near, device, 200_000, Duration::from_millis(600)));
    let (analysis, stop) = (bench.analysis.clone(), bench.stop.clone());
    let reader = tokio::task::spawn_blocking(move || {
        let (mut next, mut missing, mut after_gap) = (0, 0, 0);
        while let Ok(Feed::Stream(_) | Feed::Block(_)) = analysis.recv().inspect(|feed| {
            let Feed::Block(block) = feed else { return };
            missing += block.first_index - next;
            next = block.end_index();
            for (index, sample) in (block.first_index..).zip(&block.channels[1]) {
                assert_eq!(*sample, ramp(index, 1));
            }
            after_gap += u32::from(missing > 0);
            if after_gap == 3 {
                let _before = stop.send_replace(true);
            }
        }) {}
        missing
    });
    assert_eq!(run(host, &mut bench.course).await, Ok(()));
    let missing = reader.await.unwrap();
    let health = bench.course.before;
    assert!(missing > 100_000, "{missing}");
    assert_eq!(
        (health.lost_samples, health.device_overruns),
        (missing, missing)
    );
    assert_eq!((health.checksum_failures, health.malformed), (0, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_late_listener_understands_within_a_second() {
    let source = Box::new(Ramp {
        index: 0,
        channels: 3,
    });
    let (_, mut opener, _task) =
        in_memory::spawn(source, &Profile::default(), Pacing::RealTime).unwrap();
    let mut line = in_memory::open(&mut opener, 0).unwrap();
    let configure = Message::Configure(Configure {
        tag: 1,
        rate_hz: 20_000.0,
        mask: 0b111,
        samples_per_frame: 64,
        format: SampleFormat::I16,
    });
    line.write_all(&frame(&configure)).await.unwrap();
    line.write_all(&frame(&Message::Start { tag: 2 }))
        .await
        .unwrap();
    // Misses the beginning, and joins in the middle of a frame.
    let mut buffer = [0; 4096];
    let mut missed = 0;
    while missed < 30_011 {
        let room = buffer.len().min(30_011 - missed);
        missed += line.read(&mut buffer[..room]).await.unwrap();
    }
    let joined = Instant::now();
    let mut decoder = Box::new(Decoder::<MAX_FRAME>::new());
    let (mut identity, mut channels, mut header, mut first) = (false, 0, None, None);
    while !(identity && channels == 3 && first.is_some()) {
        assert!(joined.elapsed() < Duration::from_secs(1));
        let count = line.read(&mut buffer).await.unwrap();
        let mut bytes = &buffer[..count];
        while let Some(outcome) = decoder.next(&mut bytes) {
            match outcome {
                Ok(Message::Identity(_)) => identity = true,
                Ok(Message::Channel(_)) => channels += 1,
                Ok(Message::StreamHeader(seen)) => header = Some(seen),
                Ok(Message::Samples(samples)) => {
                    let planes = header.and_then(|h| samples.planes(h.format, 3));
                    first = planes
                        .and_then(|mut planes| planes.next())
                        .and_then(|plane| SampleFormat::I16.unpack(plane).next())
                        .map(|sample| (samples.first_index, sample))
                        .or(first);
                }
                _ => {}
            }
        }
    }
    let (index, sample) = first.unwrap();
    assert_eq!(sample, ramp(index, 0));
    assert_eq!(
        (
            decoder.counts().discards,
            decoder.counts().checksum_failures
        ),
        (1, 0)
    );
}
