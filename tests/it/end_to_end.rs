//! From the virtual scope through a pseudo-terminal, the link and the fan-out to recorder and analysis.
#![cfg(unix)]

use crate::engines;
use crate::workbench::Folder;
use keyway_acquisition::fanout::Feed;
use keyway_acquisition::link::{Link, Settings, Source};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::reader::{Completeness, Recording};
use keyway_acquisition::recording::writer::Recorder;
use keyway_acquisition::simulator::device::Profile;
use keyway_acquisition::simulator::engine::Engine;
use keyway_acquisition::simulator::pty::PtyScope;
use keyway_acquisition::simulator::sampler::Pacing;
use keyway_acquisition::simulator::scenario::Scenario;
use keyway_acquisition::simulator::source::SampleSource;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::units::Hertz;
use std::time::Duration;

const SEED: u64 = 77;
const SECONDS: f64 = 4.0;
const PATIENCE: Duration = Duration::from_secs(20);

#[test]
fn nothing_is_lost_between_the_scope_and_the_file() {
    let folder = Folder::new("end-to-end");
    let path = folder.file("session.mcap");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .expect("a runtime");
    let scenario = Scenario::named("healthy").expect("an embedded scenario");
    let engine = Engine::from_scenario(&scenario, SEED);
    let port = {
        let _inside = runtime.enter();
        let scope = PtyScope::open(Box::new(engine), &Profile::default(), Pacing::Unpaced)
            .expect("a pseudo-terminal");
        let port = scope.path().to_owned();
        let _served = runtime.spawn(scope.serve());
        port
    };
    let link = Link::spawn(runtime.handle(), Source::Port(port), Settings::default());

    let lane = link.attach_recorder();
    let file = path.clone();
    let recorder = std::thread::spawn(move || {
        let mut recorder =
            Recorder::create(&file, &RecordingHeader::default()).expect("a new file");
        while let Ok(feed) = lane.recv_timeout(PATIENCE) {
            match feed {
                Feed::Stream(stream) => recorder.stream(&stream).expect("written"),
                Feed::Block(block) => recorder.block(&block).expect("written"),
                Feed::Ended => break,
            }
        }
        recorder.finish().expect("finished")
    });

    let analysis = link.analysis();
    let mut pipeline = None;
    let mut seen = 0.0;
    while seen < SECONDS {
        match analysis.recv_timeout(PATIENCE).expect("samples") {
            Feed::Stream(stream) => {
                let made = Pipeline::new(
                    &engines::sheet(&scenario.engine),
                    &engines::plan(),
                    &engines::inputs(&stream.device.channels),
                    Hertz(stream.rate_hz),
                );
                pipeline = Some(made.expect("sheet and plan fit"));
            }
            Feed::Block(block) => {
                let pipeline: &mut Pipeline = pipeline.as_mut().expect("a stream comes first");
                let planes: Vec<&[i16]> = block.channels.iter().map(Vec::as_slice).collect();
                pipeline.push(block.first_index, &planes);
                seen = block.end_index() as f64 / 200_000.0;
            }
            Feed::Ended => panic!("the scope went away"),
        }
    }
    let health = link.report().borrow().health;
    runtime.block_on(link.close());
    let bytes = recorder.join().expect("the recorder ends");

    let snapshot = pipeline.expect("a stream").snapshot();
    // A busy machine may make the analysis drop whole blocks; then it says so, and the file has them all the same.
    let frame = u64::from(Settings::default().samples_per_frame);
    assert!(snapshot.counts.lost <= health.analysis_drops * frame);
    let rpm = snapshot.speed.valid().expect("it runs").0;
    assert!((500.0..6500.0).contains(&rpm), "{rpm}");
    assert_eq!((health.lost_samples, health.checksum_failures), (0, 0));

    // What the file holds is what the same engine makes again.
    let recording = Recording::open(&path).expect("a recording");
    assert_eq!(recording.completeness(), Completeness::Complete);
    assert_eq!(recording.size(), bytes);
    let mut twin = Engine::from_scenario(&scenario, SEED);
    twin.set_rate(200_000.0);
    let mut index = 0;
    for block in recording.blocks().expect("opened") {
        let block = block.expect("sound");
        assert_eq!(block.first_index, index);
        let mut planes = vec![Vec::new(); block.channels.len()];
        twin.fill(block.len(), &mut planes);
        assert!(
            planes == block.channels,
            "samples differ from index {index} on"
        );
        index = block.end_index();
    }
    assert!(index as f64 >= SECONDS * 200_000.0, "{index} samples");
    let seconds = recording.duration().as_secs_f64();
    eprintln!(
        "{seconds:.2} s, 8 channels: {bytes} bytes, {:.2} of the raw size",
        bytes as f64 / (index * 16) as f64
    );
}
