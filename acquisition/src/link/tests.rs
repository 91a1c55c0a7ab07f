//! The link against scripted devices on an in-memory pipe.

use std::time::Duration;

use keyway_protocol::{
    Decoder, Encoder, Identity, MAX_FRAME, Message, Reason, Refusal, SampleFormat, kind,
};
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream, duplex};
use tokio::sync::watch;

use super::report::LinkReport;
use super::run::{Course, run};
use super::{LinkState, Settings};
use crate::block::ChannelInfo;
use crate::error::LinkError;
use crate::fanout::{Fanout, Feed, RecorderSlot};
use crate::health::Health;
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
