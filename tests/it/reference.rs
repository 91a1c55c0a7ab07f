//! Values made by other people's libraries; `tests/reference/make.py` makes them and names the sources.

use keyway_analysis::duty::DutyMeter;
use keyway_analysis::edge::{Edge, Thresholds, TwoState};
use keyway_analysis::engine::{EdgeKind, EngineSheet};
use keyway_analysis::ring::SampleRing;
use keyway_analysis::rotation::Rotation;
use keyway_analysis::units::{Hertz, SampleTime, Seconds};
use keyway_analysis::zero_crossing::ZeroCrossing;
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

#[derive(Deserialize)]
struct Coils {
    rate: f64,
    coils: Vec<Coil>,
}

#[derive(Deserialize)]
struct Coil {
    /// Samples from tooth to tooth.
    tooth: f64,
    offset: usize,
    count: usize,
    /// All falling crossings, those of the noise in the gap included.
    falls: usize,
    /// Those that the rule keeps, where a straight line between two samples puts them.
    at: Vec<f64>,
    /// Root mean square by which that line is off the teeth, samples.
    plain: f64,
    made_of: Made,
}

#[derive(Deserialize)]
struct Made {
    peak: f64,
}

#[derive(Deserialize)]
struct Circular {
    cases: Vec<Circle>,
}

#[derive(Deserialize)]
struct Circle {
    phases: Vec<f64>,
    mean: f64,
    spread: f64,
    circstd: f64,
}

fn hex(text: &str) -> Vec<u8> {
    (0..text.len() / 2)
        .map(|i| u8::from_str_radix(&text[2 * i..2 * i + 2], 16).expect("hex digits"))
        .collect()
}

fn samples(bytes: &[u8], count: usize) -> Vec<i16> {
    let words = bytes.chunks_exact(2).take(count);
    words.map(|b| i16::from_le_bytes([b[0], b[1]])).collect()
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
        let samples = samples(&bytes[train.offset..], train.count);
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

#[test]
fn zero_crossings_are_those_of_scipy_under_the_rule_of_the_data_sheet() {
    let table: Coils =
        serde_json::from_str(include_str!("../reference/coils.json")).expect("coils.json");
    let bytes = include_bytes!("../reference/coils.bin");
    assert_eq!(table.coils.len(), 3);
    for coil in table.coils {
        let samples = samples(&bytes[coil.offset..], coil.count);
        let mut found = Vec::new();
        let mut finder = ZeroCrossing::new(EdgeKind::Falling, 12.0, Hertz(table.rate));
        let mut first = 0;
        for piece in samples.chunks(211) {
            finder.push(first, piece, &mut found);
            first += piece.len() as u64;
        }
        // The zero level has to settle; what the last samples hold is not complete yet.
        let settled = |at: &f64| (0.25 * table.rate..table.rate - 300.0).contains(at);
        let found: Vec<f64> = found.iter().map(|e| e.at.0).filter(settled).collect();
        let expected: Vec<f64> = coil.at.iter().copied().filter(settled).collect();
        assert_eq!(found.len(), expected.len(), "{} a tooth", coil.tooth);
        assert!(coil.falls > expected.len() && expected.len() > 100);
        // Noise of 3 counts and half a count of rounding over the slope, at either method; and a tenth of a sample
        // for the curve, of which each takes another part for straight.
        let slope = std::f64::consts::TAU * coil.made_of.peak / coil.tooth;
        let limit = 2.0 * 3.6 / slope + 0.1;
        let mut square = 0.0;
        for (found, expected) in found.iter().zip(expected) {
            let error = (found - expected).abs();
            assert!(error < limit, "at {expected}: off by {error} samples");
            let tooth = found / coil.tooth + 0.3;
            square += ((tooth - tooth.round()) * coil.tooth).powi(2);
        }
        let ours = (square / found.len() as f64).sqrt();
        // Where noise is what counts no worse than plain interpolation, where the curve is no worse than 0.05 degrees.
        let fine = 0.05 * coil.tooth / 6.0;
        assert!(ours < coil.plain.max(fine), "{ours} against {}", coil.plain);
    }
}

#[test]
fn mean_and_spread_of_a_cam_are_those_of_scipy_on_the_circle() {
    const RATE: f64 = 200_000.0;
    // A sample is a hundredth of a degree.
    let at = |angle: f64| SampleTime(1e5 + 100.0 * angle);
    let sheet = EngineSheet::from_toml(include_str!("../../app/assets/sheets/light-van.toml"))
        .expect("the sheet in the assets");
    let table: Circular =
        serde_json::from_str(include_str!("../reference/circular.json")).expect("circular.json");
    assert_eq!(table.cases.len(), 4);
    for case in table.cases {
        let mut edges: Vec<(f64, Option<EdgeKind>)> = Vec::new();
        for turn in 0..10_u32 {
            let begin = 360.0 * f64::from(turn) - sheet.crank.gap_to_tdc.0;
            edges.extend((0..58).map(|tooth| (begin + 6.0 * f64::from(tooth), None)));
        }
        for cycle in 0..4_u32 {
            let windows = sheet.cams[0].windows.iter().flatten();
            for (i, (place, phase)) in windows.zip(&case.phases).enumerate() {
                let kind = if i % 2 == 0 {
                    EdgeKind::Rising
                } else {
                    EdgeKind::Falling
                };
                edges.push((720.0 * f64::from(cycle) + place - phase, Some(kind)));
            }
        }
        edges.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut rotation = Rotation::new(&sheet, Hertz(RATE)).expect("a rotation");
        for (angle, kind) in edges {
            let at = at(angle);
            match kind {
                Some(kind) => rotation.push_cam(0, Edge { at, kind }),
                None => rotation.push_crank(Edge {
                    at,
                    kind: EdgeKind::Falling,
                }),
            }
            rotation.settle(at);
        }
        let mean = rotation.phase(0).valid().expect("a phase").0;
        let spread = rotation.spread(0).expect("a spread").0;
        assert!((mean - case.mean).abs() < 1e-6, "{mean}: {}", case.mean);
        assert!(
            (spread - case.spread).abs() < 1e-6,
            "{spread}: {}",
            case.spread
        );
        // The circle's own measure rests on n, not n - 1, and differs in the square of the angle only.
        let circular = case.circstd * (8.0_f64 / 7.0).sqrt();
        assert!((spread - circular).abs() < 0.002 * circular + 1e-6);
    }
}
