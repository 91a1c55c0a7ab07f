//! The link against scripted devices on an in-memory pipe.

use std::time::Duration;

use keyway_protocol::{Encoder, Identity, MAX_FRAME, Message, Reason, Refusal, SampleFormat, kind};
use tokio::io::{AsyncReadExt, AsyncWriteExt, duplex};
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
    analysis: crossbeam_channel::Receiver<Feed>,
    stop: watch::Sender<bool>,
}

fn bench(settings: Settings) -> Bench {
    let (fanout, analysis) = Fanout::new(RecorderSlot::default());
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
    let (analysis, stop) = (bench.analysis.clone(), bench.stop.clone());
    let reader = tokio::task::spawn_blocking(move || {
        let mut feeds = Vec::new();
        while let Ok(feed) = analysis.recv_timeout(Duration::from_secs(5)) {
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
        let source = Ramp {
            index: 0,
            channels: 3,
        };
        stream(&mut bench(settings), source, Pacing::Unpaced, |_| true)
            .await
            .0
            .unwrap_err()
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
