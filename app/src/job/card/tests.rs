//! Cards on the disk: what is kept, what is told, what is left alone.

use super::*;
use crate::job::workbench::Bench;
use std::fs;

/// A job whose card says this.
fn with_card(name: &str, text: &str) -> (Bench, JobFolder, CardFile) {
    let bench = Bench::new(name);
    let folder = JobFolder::new(bench.root().join("job"));
    fs::create_dir_all(folder.path()).unwrap();
    fs::write(folder.card(), text).unwrap();
    let file = CardFile::read(&folder).unwrap();
    (bench, folder, file)
}

fn whole() -> Card {
    Card {
        title: "Carter, hesitates".to_owned(),
        plate: "KW-P 14".to_owned(),
        vin: "0KEYWAY0000000014".to_owned(),
        make: "Larkfield".to_owned(),
        model: "Carter \"long\"".to_owned(),
        year: Some(2019),
        engine: "2.0 four".to_owned(),
        engine_sheet: "Light van 2.0, two phasers".to_owned(),
        mileage: Some(Mileage {
            value: 114_200.5,
            unit: MileageUnit::Miles,
        }),
        complaint: "Hesitates pulling away,\nworse when hot. C:\\ and ''' too".to_owned(),
        codes: vec![
            StoredCode {
                code: "P0014".to_owned(),
                read_by: "Ada".to_owned(),
            },
            StoredCode {
                code: "P0341".to_owned(),
                read_by: String::new(),
            },
        ],
        oil: "5W-30".to_owned(),
        oil_celsius: Some(-5.0),
        replaced: vec!["exhaust valve".to_owned(), "oil, filter".to_owned()],
        technician: "Ada".to_owned(),
        order: "00123".to_owned(),
        opened: Some(Stamp("2026-11-25T16:03:00+01:00".parse().unwrap())),
        closed: Some(Stamp("2026-11-30".parse().unwrap())),
    }
}

#[test]
fn a_card_is_read_as_it_was_written() {
    let bench = Bench::new("card");
    let (folder, _) = crate::job::name::make(bench.root(), &whole()).unwrap();
    let mut file = CardFile::read(&folder).unwrap();
    assert_eq!((file.slips(), file.refusal()), (&[][..], None));
    assert_eq!(file.card(), &whole());
    // Everything is taken away again but the title.
    let bare = Card {
        title: "Carter".to_owned(),
        ..Card::default()
    };
    assert_eq!(file.write(&bare).unwrap(), Written::Yes);
    assert_eq!(CardFile::read(&folder).unwrap().card(), &bare);
    // The toml library as a second reader of what is written.
    let table: toml::Table = fs::read_to_string(folder.card()).unwrap().parse().unwrap();
    assert_eq!(table.keys().collect::<Vec<_>>(), ["form", "title"]);
}

#[test]
fn what_this_version_does_not_know_is_kept() {
    let text = "\
# by hand
form = 1
plate = \"KW-P 14\"   # front
turbo_pressure = 1.2 # of a later version
year = 2019

[[codes]]
code = \"p0014\"
frozen = { rpm = 1900 }

[[codes]]
code = \"P0341\"

[invoice]
sum = 120
";
    let (_bench, folder, mut file) = with_card("unknown", text);
    assert_eq!(file.refusal(), None);
    let mut card = file.card().clone();
    assert_eq!(card.code_names(), ["P0014", "P0341"]);
    card.plate = "KW-P 15".to_owned();
    card.year = None;
    card.technician = "Ada".to_owned();
    let _taken = card.codes.remove(1);
    card.codes[0].read_by = "Ada".to_owned();
    assert_eq!(file.write(&card).unwrap(), Written::Yes);
    let written = fs::read_to_string(folder.card()).unwrap();
    let wanted = "\
# by hand
form = 1
plate = \"KW-P 15\"   # front
turbo_pressure = 1.2 # of a later version
technician = \"Ada\"

[[codes]]
code = \"p0014\"
frozen = { rpm = 1900 }
read_by = \"Ada\"

[invoice]
sum = 120
";
    assert_eq!(written, wanted);
    assert_eq!(CardFile::read(&folder).unwrap().card(), &card);
}

#[test]
fn a_mistake_is_told_with_its_line_and_the_file_is_left_as_it_is() {
    for (text, line, word) in [
        ("plate = \"A 1\"\nyear = \"old\"\n", 2, "year is a number"),
        (
            "plate = \"A 1\"\n\nopened = 17:00:00\n",
            3,
            "opened is a date",
        ),
        ("plate = [1]\ntitle = \"x\"\n", 1, "quotation marks"),
        ("plate = \"A 1\"\ncodes = 3\n", 2, "[[codes]]"),
        (
            "plate = \"A 1\"\nmileage = 1\nmileage_unit = \"furlong\"\n",
            3,
            "\"km\" or \"mi\"",
        ),
        ("plate = \"A 1\"\nplate = \"A 2\"\n", 2, "duplicate"),
        ("plate = \"A 1\"\nyear 2019\n", 2, ""),
    ] {
        let (_bench, folder, mut file) = with_card("mistake", text);
        let slip = file.slips().first().unwrap().clone();
        assert_eq!(slip.line, line, "{text}: {slip}");
        assert!(slip.what.contains(word), "{text}: {slip}");
        assert!(file.refusal().unwrap().contains(&format!("line {line}")));
        let mut card = file.card().clone();
        card.plate = "B 2".to_owned();
        assert!(file.write(&card).is_err());
        assert_eq!(fs::read_to_string(folder.card()).unwrap(), text);
    }
}

#[test]
fn what_can_be_understood_is_read_beside_a_mistake() {
    let (_bench, _folder, file) = with_card("partly", "plate = 1234\nyear = \"old\"\nvin = \"V\"");
    assert_eq!(file.card().plate, "1234");
    assert_eq!(file.card().vin, "V");
}

#[test]
fn a_later_form_is_shown_and_left_alone() {
    let (_bench, _folder, mut file) = with_card("later", "form = 2\nplate = \"A 1\"\n");
    assert_eq!(file.card().plate, "A 1");
    assert!(file.refusal().unwrap().contains("newer"));
    assert!(file.write(&whole()).is_err());
}

#[test]
fn codes_may_be_written_as_a_list() {
    let text = "plate = \"A 1\"\ncodes = [\"P0014\", { code = \"P0011\", read_by = \"Bo\" }]\n";
    let (_bench, folder, mut file) = with_card("list", text);
    let mut card = file.card().clone();
    assert_eq!(card.codes[1].read_by, "Bo");
    card.codes.push(StoredCode {
        code: "P0341".to_owned(),
        read_by: String::new(),
    });
    card.codes[0].read_by = "Ada".to_owned();
    assert_eq!(file.write(&card).unwrap(), Written::Yes);
    assert_eq!(CardFile::read(&folder).unwrap().card(), &card);
}

#[test]
fn two_programs_on_one_card_lose_nothing() {
    let (_bench, folder, mut mine) = with_card("both", "plate = \"A 1\"\n");
    fs::write(folder.card(), "plate = \"A 1\"\nmake = \"Larkfield\"\n").unwrap();
    let mut card = mine.card().clone();
    card.year = Some(2019);
    assert_eq!(mine.write(&card).unwrap(), Written::ChangedElsewhere);
    assert!(
        fs::read_to_string(folder.card())
            .unwrap()
            .contains("Larkfield")
    );
    let copy = mine.write_copy(&card).unwrap();
    assert!(fs::read_to_string(copy).unwrap().contains("2019"));
}
