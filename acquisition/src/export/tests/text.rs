//! CSV, read by our own import.

use super::{Folder, Form, RATE, Wish, count, export, record, stream, wish};
use crate::import::plan::Plan;
use crate::import::{self, Card};
use crate::recording::reader::Recording;

#[test]
fn the_text_is_plain() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 2]);
    let recording = record(&folder.file("a.mcap"), &[(info, &[(0, 2), (5, 6)])]);
    let out = folder.file("out.csv");
    let summary = export(&recording, &wish(Form::Csv), &out).unwrap();
    assert_eq!((summary.samples, summary.gaps, summary.missing), (3, 1, 3));
    let text = std::fs::read_to_string(&out).unwrap();
    assert_eq!(text.len() as u64, summary.bytes);
    // 7919 × 5 and 7919 × 3 × 5, less 2¹⁶ as often as 16 bits ask for.
    let scale = 200.0 / 65_535.0;
    let cam = |count: f64| format!("{:.5}", count * scale + 1.0);
    let expected = format!(
        "time_s,crank_v,cam_intake_v\n0.0000,-0.500,{}\n0.0001,7.419,{}\n\n0.0005,-26.441,{}\n",
        cam(0.0),
        cam(23_757.0),
        cam(-12_287.0)
    );
    assert_eq!(text, expected);
}

#[test]
fn an_import_gives_the_same_recording_again() {
    let folder = Folder::new();
    let info = stream(1, RATE, &[0, 1, 2]);
    let stretches = [(0, 5_000), (5_100, 12_000)];
    let recording = record(&folder.file("a.mcap"), &[(info, &stretches)]);
    let mut csv = wish(Form::Csv);
    csv.leads = vec![
        super::lead(2, "supply", 1.0),
        super::lead(3, "cam intake", 10.0),
    ];
    let (out, again) = (folder.file("out.csv"), folder.file("again.mcap"));
    let summary = export(&recording, &csv, &out).unwrap();
    let imported = import::run_quietly(&out, &Plan::default(), &again, &Card::default()).unwrap();
    assert!((imported.rate_hz - RATE).abs() < 1e-9);
    assert_eq!(imported.missing, summary.missing);
    let roles: Vec<&str> = imported.columns.iter().map(|c| c.role.as_str()).collect();
    assert_eq!(roles, ["supply", "cam intake"]);
    let again = Recording::open(&again).unwrap();
    let channels = &again.streams().next().unwrap().device.channels;
    let mut indices = stretches.iter().flat_map(|&(from, to)| from..to);
    for block in again.blocks().unwrap() {
        let block = block.unwrap();
        for i in 0..block.len() {
            let index = indices.next().unwrap();
            assert_eq!(block.first_index + i as u64, index);
            let value =
                |c: usize| f64::from(block.channels[c][i]) * channels[c].scale + channels[c].offset;
            // Every decimal of the supply fits, and the whole range of 16 bits once more.
            let supply = f64::from(count(1, index)) * 0.0005;
            assert!((value(0) - supply).abs() <= 0.52 * channels[0].scale);
            let scale = 200.0 / 65_535.0;
            let cam = f64::from(count(2, index)) * scale + 1.0;
            assert!((value(1) - cam).abs() <= 0.52 * channels[1].scale);
            assert!(channels[1].scale < 1.15 * scale);
        }
    }
    assert_eq!(indices.next(), None);
}

#[test]
fn counts_of_fewer_bits_come_back_exactly() {
    let folder = Folder::new();
    // A converter of 12 bits: its counts are among those that an import has for the range.
    let info = stream(1, RATE, &[0]);
    let path = folder.file("a.mcap");
    let mut recorder =
        crate::recording::writer::Recorder::create(&path, &Default::default()).unwrap();
    recorder.stream(&info).unwrap();
    let counts: Vec<i16> = (0..6_000u64).map(|i| count(0, i) >> 4).collect();
    let block = crate::block::SampleBlock {
        generation: 1,
        first_index: 0,
        channels: vec![counts.clone()],
    };
    recorder.block(&block).unwrap();
    let _bytes = recorder.finish().unwrap();
    let mut csv = wish(Form::Csv);
    csv.leads.truncate(1);
    let (out, again) = (folder.file("out.csv"), folder.file("again.mcap"));
    let _summary = export(&Recording::open(&path).unwrap(), &csv, &out).unwrap();
    let _summary = import::run_quietly(&out, &Plan::default(), &again, &Card::default()).unwrap();
    let again = Recording::open(&again).unwrap();
    let channel = again.streams().next().unwrap().device.channels[0].clone();
    let mut seen = Vec::new();
    for block in again.blocks().unwrap() {
        for count in &block.unwrap().channels[0] {
            let value = f64::from(*count) * channel.scale + channel.offset;
            seen.push((value + 0.5) / 0.001);
        }
    }
    assert_eq!(seen.len(), counts.len());
    for (seen, count) in seen.iter().zip(&counts) {
        assert!((seen - f64::from(*count)).abs() < 1e-6, "{seen} {count}");
    }
}

#[test]
fn a_stream_is_chosen() {
    let folder = Folder::new();
    let streams = [stream(1, RATE, &[0, 2]), stream(2, RATE, &[0, 2])];
    let recording = record(
        &folder.file("a.mcap"),
        &[
            (streams[0].clone(), &[(0, 1_000)]),
            (streams[1].clone(), &[(0, 500)]),
        ],
    );
    let out = folder.file("out.csv");
    let error = export(&recording, &wish(Form::Csv), &out).unwrap_err();
    assert!(error.to_string().contains("--stream 2"), "{error}");
    let second = Wish {
        stream: Some(2),
        ..wish(Form::Csv)
    };
    assert_eq!(export(&recording, &second, &out).unwrap().samples, 500);
}
