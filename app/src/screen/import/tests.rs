//! The Import panel on real files, without a display.

use super::*;
use keyway_acquisition::import::inspect;
use std::fs;

/// A panel on a capture with a time, a crank, and a column without a role.
fn panel(name: &str) -> (Import, PathBuf) {
    let path = std::env::temp_dir().join(format!("keyway-{}-{name}.csv", std::process::id()));
    let rows: String = (0..50_u32)
        .map(|k| format!("{:.3},{}.5,{}.25\n", f64::from(k) * 0.005, k % 7, k % 5))
        .collect();
    fs::write(&path, format!("Time (ms),crank (V),probe (V)\n{rows}")).unwrap();
    let roles = ["crank", "cam intake", SPARE].map(str::to_owned);
    let folder = PathBuf::from("/nowhere");
    let mut panel = Import::new(folder, vec![Sheet::BuiltIn("light-van")], &roles);
    let action = panel.name(&path);
    answer(&mut panel, action);
    (panel, path)
}

/// Does what the application does when a capture is to be looked at.
fn answer(panel: &mut Import, action: Action) {
    let Action::Look(path, plan) = action else {
        panic!("{action:?}");
    };
    let found = inspect(&path, &plan).map(Arc::new);
    let _ = panel.update(Message::Looked(found.map_err(|e| Arc::from(e.to_string()))));
}

fn roles(panel: &Import) -> Vec<(usize, &str)> {
    let found = panel.found.as_ref().unwrap();
    let columns = found.columns.iter();
    columns.map(|c| (c.number, c.role.as_str())).collect()
}

#[test]
fn what_was_proposed_is_asked_for() {
    let (mut panel, path) = panel("proposed");
    assert_eq!(roles(&panel), [(2, "crank"), (3, SPARE)]);
    let Action::Begin(request) = panel.update(Message::Begin) else {
        panic!("ready to begin");
    };
    assert_eq!(request.capture, path);
    assert_eq!(request.recording.parent(), Some(Path::new("/nowhere")));
    // While it runs nothing else begins, and closing stops it.
    assert_eq!(panel.update(Message::Begin), Action::None);
    assert_eq!(panel.update(Message::Close), Action::Stop);
    panel.failed(Arc::from("the disk is full"));
    assert_eq!(panel.update(Message::Close), Action::Close);
    fs::remove_file(path).unwrap();
}

#[test]
fn a_role_is_one_columns_only() {
    let (mut panel, path) = panel("roles");
    let crank = || Role::As("crank".to_owned());
    let action = panel.update(Message::Role(3, crank()));
    answer(&mut panel, action);
    assert_eq!(roles(&panel), [(2, SPARE), (3, "crank")]);
    let action = panel.update(Message::Role(2, Role::LeftOut));
    answer(&mut panel, action);
    assert_eq!(roles(&panel), [(3, "crank")]);
    // And back: it stands where it stood.
    let action = panel.update(Message::Role(2, crank()));
    answer(&mut panel, action);
    assert_eq!(roles(&panel), [(2, "crank"), (3, SPARE)]);
    fs::remove_file(path).unwrap();
}

#[test]
fn another_unit_of_time_is_another_rate() {
    let (mut panel, path) = panel("clock");
    let rate = |panel: &Import| panel.found.as_ref().unwrap().time.rate_hz.unwrap();
    assert!((rate(&panel) - 200_000.0).abs() < 1.0, "{}", rate(&panel));
    let action = panel.update(Message::Clock(Clock(TimeUnit::S)));
    answer(&mut panel, action);
    assert!((rate(&panel) - 200.0).abs() < 0.1, "{}", rate(&panel));
    fs::remove_file(path).unwrap();
}

#[test]
fn what_is_no_capture_is_told() {
    let (mut panel, path) = panel("none");
    fs::remove_file(&path).unwrap();
    let action = panel.name(Path::new("/keyway-not-there.csv"));
    answer(&mut panel, action);
    assert!(panel.wrong.is_some() && panel.request().is_none());
}
