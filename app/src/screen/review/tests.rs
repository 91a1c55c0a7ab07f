//! The Review page on a real recording, without a display: windows, cursors, jumps, search.

use super::*;
use crate::review::course::{Absent, CamCourse, Event};
use keyway_acquisition::block::{ChannelInfo, DeviceInfo, SampleBlock, StreamInfo};
use keyway_acquisition::recording::header::RecordingHeader;
use keyway_acquisition::recording::writer::Recorder;
use keyway_analysis::lead::{CamId, Role};
use keyway_analysis::snapshot::AgreementState;
use std::path::PathBuf;

const RATE: f64 = 10_000.0;

struct Bench {
    page: Review,
    path: PathBuf,
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.page.set_recording(None, None);
        drop(std::fs::remove_file(&self.path));
    }
}

/// Ten seconds of a ramp on the supply's input: 1 mV a sample at the input, times 10 at the tip.
fn bench(name: &str) -> Bench {
    let path =
        std::env::temp_dir().join(format!("keyway-review-{name}-{}.mcap", std::process::id()));
    let sheet = Setup::built_in().unwrap();
    let plan = "name = \"x\"\n[[leads]]\ninput = 1\nrole = \"supply\"\nfactor = 10\n";
    let setup = Setup::read("sheet", &sheet.sheet_text, "plan", plan).unwrap();
    let header = RecordingHeader {
        engine_sheet: setup.sheet_text.to_string(),
        lead_plan: setup.plan_text.to_string(),
        ..RecordingHeader::default()
    };
    let mut recorder = Recorder::create(&path, &header).unwrap();
    recorder.stream(&stream()).unwrap();
    for block in 0..100_u64 {
        let first = block * 1000;
        let ramp = |i: u64| i16::try_from((first + i) % 10_000).unwrap();
        recorder
            .block(&SampleBlock {
                generation: 0,
                first_index: first,
                channels: vec![(0..1000).map(ramp).collect()],
            })
            .unwrap();
    }
    let _bytes = recorder.finish().unwrap();
    let recording = Recording::open(&path).unwrap();
    let mut page = Review::default();
    page.set_recording(Some(&recording), Some(&setup));
    Bench { page, path }
}

fn stream() -> StreamInfo {
    StreamInfo {
        device: DeviceInfo {
            maker: "Invented".to_owned(),
            model: "Bench One".to_owned(),
            serial: String::new(),
            firmware: "1".to_owned(),
            channels: vec![ChannelInfo {
                name: "1".to_owned(),
                unit: "V".to_owned(),
                scale: 0.001,
                offset: 0.0,
                bits: 16,
                low: -32.0,
                high: 32.0,
            }],
            max_rate_hz: RATE,
        },
        generation: 0,
        rate_hz: RATE,
        enabled: vec![0],
    }
}

/// A course whose exhaust duty is 80 % from 4 s to 6 s, with an event and a loss.
fn course() -> Arc<Course> {
    let mut course = Course::new([CamId::INTAKE, CamId::EXHAUST].into_iter());
    for i in 0..200_u32 {
        let at = f64::from(i) * 0.05 + 0.025;
        course.at.push(at);
        course.speed.push(Some(800.0));
        course.supply.push(Some(13.0));
        let push = |cam: &mut CamCourse, duty| {
            cam.duty.push(Some(duty));
            cam.phase.push(Some(1.0));
            cam.due.push(None);
            cam.state.push(AgreementState::Following);
        };
        push(&mut course.cams[0], 10.0);
        let is_high = (4.0..6.0).contains(&at);
        push(&mut course.cams[1], if is_high { 80.0 } else { 10.0 });
    }
    course.events.push(Event {
        at: 4.2,
        cam: Some(CamId::EXHAUST),
        is_disagreement: true,
        text: "Exhaust cam does not follow".to_owned(),
    });
    course.absent.push(Absent {
        from: 8.0,
        to: 8.1,
        why: Why::NoStream,
    });
    course.measured = 10.0;
    course.is_complete = true;
    Arc::new(course)
}

fn settle(page: &mut Review, course: &Arc<Course>) {
    let start = Instant::now();
    loop {
        page.follow(Some(course), None, Instant::now());
        if page.is_settled() {
            return;
        }
        assert!(start.elapsed() < Duration::from_secs(60), "never settled");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn near(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-6, "{a} is not {b}");
}

#[test]
fn the_stretch_that_is_meant_is_the_window_or_between_the_cursors() {
    let mut bench = bench("span");
    let page = &mut bench.page;
    assert_eq!(page.span(), Some(0.0..10.0));
    let _ = page.update(Message::Show(2.0, 4.0));
    assert_eq!(page.span(), Some(2.0..4.0));
    let _ = page.update(Message::PutCursor(3.5));
    assert_eq!(page.span(), Some(2.0..4.0), "one cursor is no stretch");
    let _ = page.update(Message::PutCursor(2.5));
    assert_eq!(page.span(), Some(2.5..3.5));
    let _ = page.update(Message::ClearCursors);
    assert_eq!(page.span(), Some(2.0..4.0));
    page.set_recording(None, None);
    assert_eq!(page.span(), None);
}

/// The ramp says which sample it is: the values are known without measuring.
#[test]
fn cursors_say_what_the_samples_are() {
    let mut bench = bench("cursors");
    let course = course();
    let page = &mut bench.page;
    let _ = page.update(Message::PutCursor(0.1));
    let _ = page.update(Message::PutCursor(0.2));
    settle(page, &course);
    let between = page.between().unwrap();
    let supply = &between.leads[0];
    assert_eq!((supply.role, supply.unit.as_str()), (Role::Supply, "V"));
    near(supply.at[0].unwrap(), 10.0);
    near(supply.at[1].unwrap(), 20.0);
    near(supply.mean.unwrap(), 15.0);
    let [low, high] = supply.ends.unwrap();
    near(low, 10.0);
    near(high, 20.0);
    assert!(
        matches!(between.turned, between::Turned::Unknown(why) if why.contains("crank angle not known")),
        "{:?}",
        between.turned
    );
    let scene = page.scene().unwrap();
    let value = |name: &str| scene.values.iter().find(|v| v.name == name).unwrap();
    assert_eq!(value("Δt").figure, "100.0 ms");
    assert_eq!(value("1/Δt").figure, "10.00 Hz");
    assert_eq!(value("supply B less A").figure, "+10.00 V");
    assert!(value("Δ crank").quality.starts_with("missing: "));
    assert_eq!(scene.cursors.len(), 2);
}

#[test]
fn keys_zoom_to_single_samples_and_nudge_by_one() {
    let mut bench = bench("keys");
    let course = course();
    let page = &mut bench.page;
    let press = |page: &mut Review, key: &str| {
        let message = page.key(&Key::Character(key.into())).unwrap();
        let _ = page.update(message);
    };
    press(page, "a");
    for _ in 0..60 {
        press(page, "+");
    }
    settle(page, &course);
    let window = page.opened.as_ref().unwrap().window;
    assert!(window.is_narrowest() && window.holds(5.0));
    let scene = page.scene().unwrap();
    let samples = match &scene.rows[0].curves[0].shape {
        crate::exhibit::scene::CurveShape::Line(points) => points.len(),
        other @ crate::exhibit::scene::CurveShape::Envelope(_) => panic!("{other:?}"),
    };
    assert!((11..=13).contains(&samples), "{samples} samples are seen");
    let before = page.opened.as_ref().unwrap().cursors[0].unwrap();
    press(page, ".");
    let after = page.opened.as_ref().unwrap().cursors[0].unwrap();
    near(after - before, 1.0 / RATE);
    press(page, "w");
    assert_eq!(page.opened.as_ref().unwrap().window.range(), 0.0..10.0);
}

#[test]
fn one_goes_from_event_to_event_and_to_what_was_found() {
    let mut bench = bench("events");
    let course = course();
    let page = &mut bench.page;
    settle(page, &course);
    let _ = page.update(Message::Show(0.0, 1.0));
    let _ = page.update(Message::Jump(true));
    near(page.opened.as_ref().unwrap().window.middle(), 4.2);
    let _ = page.update(Message::Jump(true));
    near(page.opened.as_ref().unwrap().window.middle(), 8.0);
    let _ = page.update(Message::Jump(true));
    near(page.opened.as_ref().unwrap().window.middle(), 8.0);
    let _ = page.update(Message::Jump(false));
    near(page.opened.as_ref().unwrap().window.middle(), 4.2);

    let _ = page.update(Message::Type("duty > 60 for 1 s".to_owned()));
    let _ = page.update(Message::Search);
    let [hit] = page.hits() else {
        panic!("{:?}", page.hits());
    };
    assert_eq!(hit.cams, [CamId::EXHAUST]);
    near(hit.from, 4.0);
    near(hit.to, 6.0);
    let _ = page.update(Message::GoToHit(0));
    let window = page.opened.as_ref().unwrap().window;
    near(window.from, 3.0);
    near(window.to, 7.0);
    let _ = page.update(Message::Type("duty intake-2 > 1".to_owned()));
    let _ = page.update(Message::Search);
    assert!(page.hits().is_empty());
    assert!(
        matches!(&page.opened.as_ref().unwrap().find.result, Some(Err(why)) if why.contains("intake-2"))
    );
    let Action::Live(at) = page.update(Message::LiveHere) else {
        panic!("it does not go to the Live screen");
    };
    near(at, 5.0);
}
