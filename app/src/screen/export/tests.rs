//! The Export panel without the window.

use super::*;

fn offered() -> Export {
    let mut panel = Export::new(Path::new("/nowhere/idle.mcap"));
    let offer = Offer {
        file: PathBuf::from("/nowhere/idle.mcap"),
        length: 20.0,
        leads: ["crank", "cam-intake"].map(str::to_owned).to_vec(),
        streams: 1,
    };
    let _none = panel.update(Message::Looked(Ok(offer)));
    panel
}

#[test]
fn a_request_is_what_was_chosen() {
    let mut panel = offered();
    for message in [
        Message::From("2,5".to_owned()),
        Message::Lead(0),
        Message::Form(Form::Wav),
    ] {
        assert_eq!(panel.update(message), Action::None);
    }
    let request = panel.request().unwrap();
    assert_eq!(request.place, Path::new("/nowhere/idle.wav"));
    let What::Samples(order) = request.what else {
        panic!("no samples");
    };
    assert_eq!(
        (order.leads, order.span),
        (vec!["cam-intake".to_owned()], 2.5..f64::INFINITY)
    );
    // A WAV holds no results.
    let _none = panel.update(Message::Results(true));
    let request = panel.request().unwrap();
    assert_eq!(request.place, Path::new("/nowhere/idle-cycles.parquet"));
    assert!(matches!(request.what, What::Results(_)));
    for (by, form) in [(1, Form::Csv), (1, Form::Parquet), (-1, Form::Csv)] {
        let _none = panel.update(Message::Turn(by));
        assert_eq!(panel.form, form);
    }
    // A place that was typed stays.
    let _none = panel.update(Message::Place("/else/a.csv".to_owned()));
    let _none = panel.update(Message::Form(Form::Csv));
    assert_eq!(panel.request().unwrap().place, Path::new("/else/a.csv"));
}

#[test]
fn what_is_in_the_way_is_told() {
    let panel = Export::new(Path::new("a.mcap"));
    assert!(panel.request().unwrap_err().contains("Looking"));
    for (message, words) in [
        (Message::From("x".to_owned()), "seconds"),
        (Message::From("20".to_owned()), "within the recording"),
        (Message::To("0".to_owned()), "Nothing lies"),
        (Message::Place(" ".to_owned()), "Name the file"),
    ] {
        let mut panel = offered();
        let _none = panel.update(message);
        let why = panel.request().unwrap_err();
        assert!(why.contains(words), "{why}");
        assert_eq!(panel.update(Message::Begin), Action::None);
    }
    let mut panel = offered();
    for i in 0..2 {
        let _none = panel.update(Message::Lead(i));
    }
    assert!(panel.request().unwrap_err().contains("one lead"));
}

#[test]
fn while_it_runs_only_cancel_is_taken() {
    let mut panel = offered();
    assert!(matches!(panel.update(Message::Begin), Action::Begin(_)));
    assert_eq!(panel.update(Message::Form(Form::Csv)), Action::None);
    assert_eq!(panel.update(Message::Close), Action::Stop);
    panel.failed(Arc::from("the disk is full"));
    assert_eq!(panel.update(Message::Close), Action::Close);
}
