//! Values made by other people's libraries; `tests/reference/make.py` makes them and names the sources.

use keyway_analysis::duty::DutyMeter;
use keyway_analysis::edge::{Edge, Thresholds, TwoState};
use keyway_analysis::engine::EdgeKind;
use keyway_analysis::ring::SampleRing;
use keyway_analysis::units::{Hertz, SampleTime, Seconds};
use keyway_protocol::checksum::crc32c;
use keyway_protocol::{Decoder, Encoder, MAX_FRAME, Message, SampleFormat};
use serde::Deserialize;

#[derive(Deserialize)]
struct Frames {
    checksums: Vec<Checksum>,
    frames: Vec<Frame>,
}

#[derive(Deserialize)]
struct Checksum {
    data: String,
    crc32c: u32,
}

#[derive(Deserialize)]
struct Frame {
    stream: u8,
    first_index: String,
    planes: Vec<Vec<i16>>,
    frame: String,
}

#[derive(Deserialize)]
struct Pulses {
    rate: f64,
    trains: Vec<Train>,
}

#[derive(Deserialize)]
struct Train {
    offset: usize,
    count: usize,
    level: f32,
    edges: Vec<Crossing>,
    duty: f64,
    frequency: f64,
}

#[derive(Deserialize)]
struct Crossing {
    at: f64,
    kind: EdgeKind,
}

fn hex(text: &str) -> Vec<u8> {
    (0..text.len() / 2)
        .map(|i| u8::from_str_radix(&text[2 * i..2 * i + 2], 16).expect("hex digits"))
        .collect()
}

fn frames() -> Frames {
    serde_json::from_str(include_str!("../reference/frames.json")).expect("frames.json")
}

#[test]
fn checksums_are_those_of_two_other_packages() {
    let cases = frames().checksums;
    assert!(cases.len() > 10);
    for case in cases {
        assert_eq!(crc32c(&hex(&case.data)), case.crc32c, "{}", case.data);
    }
}

#[test]
fn frames_are_those_of_another_language_byte_for_byte() {
    let cases = frames().frames;
    assert!(cases.len() > 8);
    for case in cases {
        let expected = hex(&case.frame);
        let first_index: u64 = case.first_index.parse().expect("a number");
        let mut out = vec![0; MAX_FRAME];
        let planes = case.planes.iter().map(Vec::as_slice);
        let length = Encoder::<{ keyway_protocol::MAX_CONTENT }>::new()
            .encode_samples(
                case.stream,
                first_index,
                SampleFormat::I16,
                planes,
                &mut out,
            )
            .expect("a sound frame");
        assert_eq!(out[..length], expected, "{} bytes", expected.len());

        let mut decoder: Box<Decoder> = Box::default();
        let mut input = &[&[0], &expected[..]].concat()[..];
        let samples = match decoder.next(&mut input) {
            Some(Ok(Message::Samples(samples))) => samples,
            other => panic!("{other:?}"),
        };
        assert_eq!(
            (samples.stream, samples.first_index),
            (case.stream, first_index)
        );
        let planes: Vec<Vec<i16>> = samples
            .planes(SampleFormat::I16, case.planes.len())
            .expect("planes")
            .map(|plane| SampleFormat::I16.unpack(plane).collect())
            .collect();
        assert_eq!(planes, case.planes);
    }
}

#[test]
fn edges_duty_and_frequency_are_those_of_scipy_and_numpy() {
    let table: Pulses =
        serde_json::from_str(include_str!("../reference/pulses.json")).expect("pulses.json");
    let bytes = include_bytes!("../reference/pulses.bin");
    assert_eq!(table.trains.len(), 6);
    for train in table.trains {
        let samples: Vec<i16> = bytes[train.offset..train.offset + 2 * train.count]
            .chunks_exact(2)
            .map(|b| i16::from_le_bytes([b[0], b[1]]))
            .collect();
        let thresholds = Thresholds {
            low: 3000,
            mid: train.level,
            high: 6000,
        };
        let mut edges: Vec<Edge> = Vec::new();
        let mut finder = TwoState::default();
        // In uneven pieces: the cut must not matter.
        let mut first = 0;
        for piece in samples.chunks(97) {
            finder.push(first, piece, thresholds, &mut edges);
            first += piece.len() as u64;
        }
        assert_eq!(edges.len(), train.edges.len());
        for (edge, expected) in edges.iter().zip(&train.edges) {
            assert_eq!(edge.kind, expected.kind);
            let error = (edge.at.0 - expected.at).abs();
            assert!(
                error < 1e-6,
                "edge at {}: off by {error:e} samples",
                expected.at
            );
        }
        let rate = Hertz(table.rate);
        let mut ring = SampleRing::new(samples.len());
        ring.push(0, &samples);
        let mut meter = DutyMeter::new(rate, 100.0);
        for &edge in &edges {
            let _ = meter.push(edge, &ring);
        }
        let whole = Seconds(samples.len() as f64 / table.rate);
        let measured = meter
            .duty(SampleTime(samples.len() as f64), whole)
            .expect("several periods");
        let (duty, frequency) = (measured.duty.0, measured.frequency.0);
        assert!(
            (duty - train.duty).abs() < 1e-6,
            "{duty} against {}",
            train.duty
        );
        assert!(
            (frequency / train.frequency - 1.0).abs() < 1e-6,
            "{frequency}"
        );
    }
}
