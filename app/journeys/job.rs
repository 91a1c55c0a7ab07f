//! A job from its beginning to the day it is looked for again.

use super::contents;
use super::desk::Desk;
use keyway::application::Message;
use keyway::job::card::CardFile;
use keyway::screen::job::{self, Field};
use keyway::status::RecordingStatus;
use keyway_acquisition::recording::reader::Recording;
use std::fs;

/// Fills in fields of the open card.
fn fill(desk: &mut Desk, fields: &[(Field, &str)]) {
    for (field, words) in fields {
        desk.send(Message::Job(job::Message::Fill(
            *field,
            (*words).to_owned(),
        )));
    }
}

#[test]
fn a_job_is_made_filled_in_recorded_into_closed_and_found_again() {
    let mut desk = Desk::open("job");
    desk.wait_for_samples();
    desk.key("1");
    desk.sees("No job is open");
    desk.key("n");
    desk.type_into(Field::Plate.id(), "KW-P 14");
    desk.click("Make the job");
    desk.wait("the job", |app| app.job_folder().is_some());
    let job = desk.app.job_folder().unwrap().clone();
    assert!(job.path().starts_with(&desk.folder));

    fill(
        &mut desk,
        &[
            (Field::Make, "Larkfield"),
            (Field::Engine, "2.0 four"),
            (Field::Technician, "Ada"),
        ],
    );
    desk.type_into(job::CODE_FIELD, "p0014");
    desk.click("Add code");
    desk.wait("the code at the analysis", |app| {
        let snapshot = app.shown().snapshot.as_ref();
        snapshot.is_some_and(|s| s.findings.codes.iter().any(|c| c.code == "P0014"))
    });
    desk.wait("the card on the disk", |_| {
        let file = CardFile::read(&job).unwrap();
        file.card().technician == "Ada" && file.card().code_names() == ["P0014"]
    });

    // The plate stands at the top of every screen, and the recording goes into the job.
    desk.key("3");
    desk.sees("KW-P 14 · Light van 2.0, two phasers");
    desk.key("r");
    desk.wait(
        "a recording",
        |app| matches!(app.shown().recording, RecordingStatus::On { seconds, .. } if seconds > 0.5),
    );
    desk.key("1");
    desk.click("Put away");
    desk.sees("A recording runs: stop it first, so that it stays with its own job");
    desk.key("r");
    let [file] = fs::read_dir(job.recordings())
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "mcap"))
        .collect::<Vec<_>>()
        .try_into()
        .unwrap();
    assert!(contents(&file).0 > 0.4);
    let recording = Recording::open(&file).unwrap();
    assert_eq!(recording.header().operator, "Ada");
    assert!(
        recording.header().note.contains("KW-P 14"),
        "{}",
        recording.header().note
    );

    // What was found is kept with it.
    desk.wait("the list of files", |app| app.job().recordings() == Some(1));
    desk.click("1 recording");
    desk.click("Keep present findings");
    let [found] = fs::read_dir(job.findings())
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect::<Vec<_>>()
        .try_into()
        .unwrap();
    let found: serde_json::Value = serde_json::from_slice(&fs::read(found).unwrap()).unwrap();
    assert_eq!(found["findings"]["codes"][0]["code"], "P0014");
    assert_eq!(found["source"]["scope"], "Virtual scope");

    desk.click("Close job");
    desk.wait("no job", |app| app.job_folder().is_none());
    assert!(CardFile::read(&job).unwrap().card().closed.is_some());
    desk.key("3");
    desk.sees("Light van 2.0, two phasers");

    // Found again by its plate and by its code.
    desk.key("1");
    desk.wait("the list", |app| app.job().found() == 1);
    for (words, found) in [("kwp14", 1), ("P0014 larkfield", 1), ("kwp15", 0)] {
        desk.send(Message::Job(job::Message::Search(words.to_owned())));
        assert_eq!(desk.app.job().found(), found, "{words}");
    }
    desk.send(Message::Job(job::Message::Search("kwp14".to_owned())));
    desk.sees("plate KW-P 14");
    desk.send(Message::Job(job::Message::Take));
    desk.wait("the job again", |app| app.job_folder() == Some(&job));
    desk.sees("Open again");
}

#[test]
fn the_last_job_is_offered_and_notes_are_kept() {
    let mut desk = Desk::open("job-notes");
    desk.key("1");
    desk.key("n");
    desk.type_into(Field::Plate.id(), "AB 1");
    desk.click("Make the job");
    desk.wait("the job", |app| app.job_folder().is_some());
    let job = desk.app.job_folder().unwrap().clone();
    desk.click("Notes");
    desk.type_into(job::NOTES_FIELD, "rattles");
    desk.click("Put away");
    desk.wait("no job", |app| app.job_folder().is_none());
    assert_eq!(fs::read_to_string(job.notes()).unwrap(), "rattles");
    let kept = fs::read_to_string(desk.settings_file()).unwrap();
    assert!(kept.contains("AB-1"), "{kept}");
    desk.click("Open AB 1 again");
    desk.wait("the job again", |app| app.job_folder() == Some(&job));
}

#[test]
fn a_card_that_another_program_changed_is_not_written_over() {
    let mut desk = Desk::open("job-conflict");
    desk.key("1");
    desk.key("n");
    desk.type_into(Field::Plate.id(), "AB 2");
    desk.click("Make the job");
    desk.wait("the job", |app| app.job_folder().is_some());
    let job = desk.app.job_folder().unwrap().clone();
    let theirs = "plate = \"AB 2\"\ntechnician = \"Bo\"\n";
    fs::write(job.card(), theirs).unwrap();
    fill(&mut desk, &[(Field::Make, "Larkfield")]);
    desk.wait("the conflict", |app| app.job().is_in_conflict());
    desk.click("Put away");
    assert!(desk.app.job_folder().is_some());
    desk.click("Save mine as a copy");
    assert_eq!(fs::read_to_string(job.card()).unwrap(), theirs);
    let copy = fs::read_to_string(job.path().join("job-copy.toml")).unwrap();
    assert!(copy.contains("Larkfield"), "{copy}");
    assert_eq!(desk.app.job().card().unwrap().technician, "Bo");
}

#[test]
fn a_loose_recording_is_moved_into_the_open_job() {
    let mut desk = Desk::open("job-move");
    let made = super::workpiece::recorded(&super::workpiece::Workpiece::of("healthy", 0.5));
    let loose = desk.folder.join("earlier.mcap");
    assert!(fs::copy(made.path(), &loose).unwrap() > 0);
    fs::write(desk.folder.join("earlier.overview"), "made from it").unwrap();
    desk.key("1");
    desk.key("n");
    desk.type_into(Field::Plate.id(), "AB 3");
    desk.click("Make the job");
    desk.wait("the job", |app| app.job_folder().is_some());
    let job = desk.app.job_folder().unwrap().clone();
    desk.key("4");
    desk.read_files();
    desk.sees("Without a job");
    desk.click("Into job");
    desk.wait("the move", |_| {
        job.recordings().join("earlier.overview").exists()
    });
    assert!(!loose.exists() && !desk.folder.join("earlier.overview").exists());
    let moved = job.recordings().join("earlier.mcap");
    assert_eq!(fs::read(moved).unwrap(), fs::read(made.path()).unwrap());
    desk.read_files();
    desk.sees_not("Into job");
    desk.sees("AB 3");
}
