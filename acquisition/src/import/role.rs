//! Roles proposed from the names of columns. A proposal, never a finding: the plan decides.

/// Words of a name: divided at case changes, digits and signs, lower case, brackets left out.
fn words(name: &str) -> Vec<String> {
    let mut words: Vec<String> = vec![String::new()];
    let mut before = ' ';
    for c in name.chars() {
        let parts = (c.is_uppercase() && before.is_lowercase())
            || (c.is_ascii_digit() && before.is_alphabetic());
        if parts || !c.is_alphanumeric() {
            words.push(String::new());
        }
        if let (true, Some(last)) = (c.is_alphanumeric(), words.last_mut()) {
            last.extend(c.to_lowercase());
        }
        before = c;
    }
    words.retain(|w| !w.is_empty());
    words
}

/// Words that name the time column.
pub(crate) fn is_time(name: &str) -> bool {
    let first = words(name).into_iter().next().unwrap_or_default();
    matches!(
        first.as_str(),
        "time" | "timestamp" | "t" | "seconds" | "sec" | "zeit" | "temps" | "tiempo" | "tempo"
    )
}

/// Words that name a column that counts rows.
pub(crate) fn is_count(name: &str) -> bool {
    let first = words(name).into_iter().next().unwrap_or_default();
    matches!(
        first.as_str(),
        "sample" | "samples" | "index" | "point" | "row" | "n" | "no" | "nr"
    ) || name.trim() == "#"
}

/// The role a name speaks of, as in a lead plan; `None` when it speaks of none, or not clearly.
pub(crate) fn proposed(name: &str) -> Option<String> {
    let words = words(name);
    let has = |known: &[&str]| words.iter().any(|w| known.contains(&w.as_str()));
    let intake = has(&["intake", "inlet", "int", "in"]);
    let exhaust = has(&["exhaust", "exh", "ex", "outlet"]);
    let cam = match (intake, exhaust) {
        (true, false) => Some("intake"),
        (false, true) => Some("exhaust"),
        _ => None,
    };
    // The bank is the number after the cam: "cam intake 2", "b2", "bank 2".
    let bank = if has(&["2"]) { "-2" } else { "" };
    let of_cam = |what: &str| cam.map(|cam| format!("{what} {cam}{bank}"));
    if has(&["current", "amps", "clamp"]) {
        return if has(&["starter"]) {
            Some("current starter".to_owned())
        } else {
            of_cam("current")
        };
    }
    if has(&[
        "command", "cmd", "duty", "pwm", "solenoid", "valve", "actuator", "phaser", "driver",
    ]) {
        return of_cam("command");
    }
    if has(&["supply", "battery", "batt", "vbatt", "vbat"]) {
        return Some("supply".to_owned());
    }
    if has(&["crank", "crankshaft", "ckp"]) {
        return Some("crank".to_owned());
    }
    if has(&["cam", "camshaft", "cmp"]) {
        // A name of a cam without its kind is most often on an engine that has one sensor on the intake cam;
        // a number in it could be the cam or the bank, so then nothing is proposed.
        let numbered = words.iter().any(|w| w.chars().all(|c| c.is_ascii_digit()));
        return of_cam("cam")
            .or_else(|| (cam.is_none() && !numbered && !exhaust).then(|| "cam intake".to_owned()));
    }
    // The kind alone, as a heading over sensors only.
    if words.iter().all(|w| {
        matches!(
            w.as_str(),
            "intake" | "inlet" | "exhaust" | "outlet" | "bank" | "1" | "2"
        )
    }) && let Some(role) = of_cam("cam")
    {
        return Some(role);
    }
    has(&["pressure", "cylinder"]).then(|| "pressure".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_speak_of_roles() {
        for (name, role) in [
            ("crank", Some("crank")),
            ("Crankshaft sensor [V]", Some("crank")),
            ("cam_intake", Some("cam intake")),
            ("Cam Exhaust B2 (V)", Some("cam exhaust-2")),
            ("CamIn", Some("cam intake")),
            ("cam", Some("cam intake")),
            ("cam 1", None),
            ("inlet", Some("cam intake")),
            ("Outlet 2", Some("cam exhaust-2")),
            ("intake air", None),
            ("intake valve", Some("command intake")),
            ("exhaust duty", Some("command exhaust")),
            ("current intake", Some("current intake")),
            ("starter current", Some("current starter")),
            ("Supply", Some("supply")),
            ("cylinder pressure", Some("pressure")),
            ("camera", None),
            ("", None),
        ] {
            assert_eq!(proposed(name).as_deref(), role, "{name}");
        }
        assert!(is_time("Time (ms)") && is_time("t") && !is_time("timing light"));
        assert!(is_count("#") && is_count("Sample") && !is_count("north"));
    }
}
