//! `README.md` says what the code does: its worked bytes and its overhead table.
#![allow(clippy::unwrap_used, reason = "a test ends where it fails")]

use keyway_protocol::frame::{DELIMITER, encoded_len};
use keyway_protocol::{
    Acknowledgement, Channel, Configure, Decoder, Encoder, Hello, Identity, MAX_CONTENT, MAX_FRAME,
    Message, Overrun, Reason, Refusal, SampleFormat, StreamHeader, kind,
};

const DOCUMENT: &str = include_str!("../README.md");

fn frame(message: &Message<'_>) -> Vec<u8> {
    let mut out = vec![0; MAX_FRAME];
    let length = Encoder::<MAX_CONTENT>::new()
        .encode(message, &mut out)
        .unwrap();
    out.truncate(length);
    out
}

fn samples(format: SampleFormat, planes: &[&[i16]]) -> Vec<u8> {
    let mut out = vec![0; MAX_FRAME];
    let length = Encoder::<MAX_CONTENT>::new()
        .encode_samples(3, 1024, format, planes.iter().copied(), &mut out)
        .unwrap();
    out.truncate(length);
    out
}

/// The document's worked frames: a line `name: hex` each, inside the block marked `worked`.
fn worked() -> Vec<(String, Vec<u8>)> {
    let block = DOCUMENT
        .split("```worked\n")
        .nth(1)
        .and_then(|rest| rest.split("```").next());
    block
        .expect("a block of worked frames")
        .lines()
        .map(|line| {
            let (name, hex) = line.split_once(':').expect("name: bytes");
            let bytes = hex
                .split_whitespace()
                .map(|h| u8::from_str_radix(h, 16).unwrap())
                .collect();
            (name.trim().to_owned(), bytes)
        })
        .collect()
}

#[test]
fn worked_bytes_are_what_the_code_writes() {
    let wanted = [
        ("hello", frame(&Message::Hello(Hello { version: (1, 0) }))),
        (
            "configure",
            frame(&Message::Configure(Configure {
                tag: 1,
                rate_hz: 200_000.0,
                mask: 0b1011,
                samples_per_frame: 512,
                format: SampleFormat::I16,
            })),
        ),
        ("start", frame(&Message::Start { tag: 2 })),
        ("stop", frame(&Message::Stop { tag: 3 })),
        (
            "identity",
            frame(&Message::Identity(Identity {
                version: (1, 0),
                channels: 2,
                max_rate_hz: 1e6,
                maker: "Me",
                model: "Bench 2",
                serial: "",
                firmware: "0.1",
            })),
        ),
        (
            "channel",
            frame(&Message::Channel(Channel {
                index: 0,
                bits: 12,
                scale: 0.0125,
                offset: 0.0,
                low: -25.6,
                high: 25.5875,
                name: "IN 1",
                unit: "V",
            })),
        ),
        (
            "acknowledgement",
            frame(&Message::Acknowledgement(Acknowledgement {
                request: kind::START,
                tag: 2,
            })),
        ),
        (
            "refusal",
            frame(&Message::Refusal(Refusal {
                request: kind::CONFIGURE,
                tag: 1,
                reason: Reason::Rate,
                text: "at most 1000000",
            })),
        ),
        (
            "stream header",
            frame(&Message::StreamHeader(StreamHeader {
                stream: 3,
                format: SampleFormat::I16,
                samples_per_frame: 512,
                mask: 0b1011,
                rate_hz: 200_000.0,
                total: 1024,
            })),
        ),
        (
            "samples, 16 bit",
            samples(SampleFormat::I16, &[&[1, -2], &[256, 0]]),
        ),
        (
            "samples, 12 bit",
            samples(SampleFormat::Packed12, &[&[0x123, 0x456, -1]]),
        ),
        (
            "overrun",
            frame(&Message::Overrun(Overrun {
                stream: 3,
                first_index: 1536,
                count: 512,
            })),
        ),
    ];
    let written = worked();
    for (name, bytes) in &wanted {
        let hex: Vec<String> = bytes.iter().map(|b| format!("{b:02x}")).collect();
        let said = written.iter().find(|(n, _)| n == name).map(|(_, b)| b);
        assert_eq!(
            said,
            Some(bytes),
            "the document should say\n{name}: {}",
            hex.join(" ")
        );
    }
    assert_eq!(written.len(), wanted.len());
    // And read back, one after another, each is one message.
    let mut decoder = Box::new(Decoder::<MAX_FRAME>::new());
    let wire: Vec<u8> = written
        .iter()
        .flat_map(|(_, bytes)| bytes.clone())
        .collect();
    let mut rest = &wire[..];
    while let Some(outcome) = decoder.next(&mut rest) {
        assert!(outcome.is_ok(), "{outcome:?}");
    }
    assert_eq!(decoder.counts().frames, wanted.len() as u64);
}

/// Largest share of a sample frame that is not samples, at 512 samples a channel.
fn overhead(format: SampleFormat, channels: usize) -> f64 {
    let data = format.plane_len(512) * channels;
    let worst = encoded_len(1 + 1 + 8 + data + 4) + 1;
    // The formula is held against a frame without a zero to save a byte.
    let plane = [0x0101i16; 512];
    let planes = vec![&plane[..]; channels];
    let frame = samples(format, &planes);
    assert_eq!(frame.last(), Some(&DELIMITER));
    assert!(
        frame.len() <= worst && frame.len() + 3 >= worst,
        "{} {worst}",
        frame.len()
    );
    (worst - data) as f64 / data as f64 * 100.0
}

#[test]
fn overhead_is_as_the_document_says() {
    for channels in [1, 2, 4, 8] {
        let (wide, packed) = (
            overhead(SampleFormat::I16, channels),
            overhead(SampleFormat::Packed12, channels),
        );
        let row = format!("| {channels} | {wide:.2} % | {packed:.2} % |");
        assert!(DOCUMENT.contains(&row), "the document should say {row}");
        assert!(wide <= 2.0);
        assert!(packed <= 2.0 || channels == 1, "{packed}");
    }
}
