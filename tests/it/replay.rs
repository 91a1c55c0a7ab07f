//! The same numbers live and over a recording.

use crate::engines;
use crate::rig::{BLOCK, Rig};
use crate::workbench::Folder;
use keyway_acquisition::block::{DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::reader::Recording;
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::Hertz;

const RATE: f64 = 200_000.0;

#[test]
fn a_recording_gives_the_numbers_that_were_live() {
    let scenario = Scenario::named("default").expect("an embedded scenario");
    let folder = Folder::new("replay");
    let path = folder.file("replay.mcap");
    let mut rig = Rig::new(&scenario, 4, RATE, 1.0);
    let channels = rig.engine.channels();
    let stream = StreamInfo {
        device: DeviceInfo {
            maker: "test".into(),
            model: "rig".into(),
            serial: String::new(),
            firmware: String::new(),
            channels: channels.clone(),
            max_rate_hz: RATE,
        },
        generation: 1,
        rate_hz: RATE,
        enabled: (0..channels.len()).collect(),
    };
    let header = RecordingHeader {
        started_ns: 1_790_000_000_000_000_000,
        ..RecordingHeader::default()
    };
    let mut recorder = Recorder::create(&path, &header).expect("a new file");
    recorder.stream(&stream).expect("written");

    // The same seed gives the same samples: one engine for the live pipeline, its twin for the recorder.
    let mut twin = Engine::from_scenario(&scenario, 4);
    twin.set_rate(RATE);
    rig.pipeline.collect_series();
    let mut live = Vec::new();
    let mut index = 0;
    rig.run(20.0, |pipeline, _| {
        live.push(format!("{:?}", pipeline.snapshot().cams));
        let mut planes = vec![Vec::new(); channels.len()];
        twin.fill(BLOCK, &mut planes);
        let block = SampleBlock {
            generation: 1,
            first_index: index,
            channels: planes,
        };
        index = block.end_index();
        recorder.block(&block).expect("written");
    });
    let _bytes = recorder.finish().expect("finished");

    let recording = Recording::open(&path).expect("a recording");
    let stream = recording.stream(1).expect("the stream").clone();
    let mut pipeline = Pipeline::new(
        &engines::sheet(&scenario.engine),
        &engines::plan(),
        &engines::inputs(&stream.device.channels),
        Hertz(stream.rate_hz),
    )
    .expect("sheet and plan fit");
    pipeline.collect_series();
    let mut blocks = 0;
    for (block, expected) in recording.blocks().expect("opened").zip(&live) {
        let block = block.expect("sound");
        let planes: Vec<&[i16]> = block.channels.iter().map(Vec::as_slice).collect();
        pipeline.push(block.first_index, &planes);
        assert_eq!(&format!("{:?}", pipeline.snapshot().cams), expected);
        blocks += 1;
    }
    assert_eq!(blocks, live.len());
    let (live, again) = (rig.pipeline.drain_series(), pipeline.drain_series());
    assert!(live.phases.len() > 500 && live.periods.len() > 5000);
    assert_eq!(format!("{again:?}"), format!("{live:?}"));
    let (live, again) = (rig.pipeline.snapshot(), pipeline.snapshot());
    assert_eq!(format!("{again:?}"), format!("{live:?}"));
    assert!(live.events.len() > 3);
}
