//! Stored codes: what they mean, and whether what was measured agrees with them.
//!
//! The meaning is in our own words after the widely published wording of the families P000A-D, P0010-P0019,
//! P0020-P0025 and P0335-P0349. The standard (SAE J2012DA) and the maker's book decide. By convention, from memory,
//! "A" is the intake and "B" the exhaust cam.

use crate::findings::picture::Picture;
use crate::findings::{Bearing, Cause, CodeView};
use crate::lead::{CamId, CamKind};

mod family;
mod measured;

use family::{Family, family};

/// Said of each code that is not in the families explained.
const OUTSIDE: &str = "not one of the camshaft and crankshaft position codes that are explained here; the maker's book says what it means";
/// Said of each meaning.
const DECIDES: &str = "the standard (SAE J2012DA) and the maker's book decide";

/// The single codes in what was typed: in any case, with blanks, commas, several in one line, with or without what
/// stands behind a hyphen. Each is named once.
pub(crate) fn split(typed: &[String]) -> Vec<String> {
    let mut codes: Vec<String> = Vec::new();
    for line in typed {
        let mut prefix = String::new();
        for word in line.split(|c: char| c.is_whitespace() || ",;/|".contains(c)) {
            let word = word.split(['-', ':']).next().unwrap_or(word);
            let word: String = word.chars().filter(char::is_ascii_alphanumeric).collect();
            let word = format!("{prefix}{}", word.to_ascii_uppercase());
            prefix.clear();
            if word.len() == 1 && "PBCU".contains(&word) {
                // "P 0014".
                prefix = word;
                continue;
            }
            if !word.is_empty() && !codes.contains(&word) {
                codes.push(word);
            }
        }
    }
    codes
}

/// Whether a code concerns this cam: its own, or the crank on which all rest.
pub(crate) fn concerns(code: &str, cam: CamId) -> bool {
    match family(code) {
        Some((_, Some(own))) => own == cam,
        Some((_, None)) => true,
        None => false,
    }
}

/// The rows of the table that a code points to, if what was measured agrees with it.
pub(crate) fn causes(code: &str) -> &'static [Cause] {
    match family(code) {
        Some((Family::Correlation, _)) => &[Cause::BaseTiming, Cause::WheelOrSensor],
        Some((Family::Crank(_) | Family::Cam(_), _)) => &[Cause::WheelOrSensor],
        Some((Family::SlowResponse, _)) => &[Cause::OilOrSluggish],
        // The circuit's own checks say which part of it; the others can come from anything.
        Some((Family::Circuit | Family::OverAdvanced | Family::OverRetarded, _)) | None => &[],
    }
}

/// All codes, explained and checked.
pub(crate) fn explain(codes: &[String], cams: &[Picture<'_>]) -> Vec<CodeView> {
    codes.iter().map(|code| view(code, cams)).collect()
}

fn view(code: &str, cams: &[Picture<'_>]) -> CodeView {
    let Some((family, cam)) = family(code) else {
        return CodeView {
            code: code.to_owned(),
            meaning: OUTSIDE.to_owned(),
            measured: "not checked".to_owned(),
            bearing: Bearing::NotShown,
        };
    };
    let meaning = format!("{}; {DECIDES}", family.meaning(cam));
    let (bearing, measured) = match cam {
        Some(cam) => match cams.iter().find(|p| p.cam() == cam) {
            Some(&p) => measured::cam(family, p),
            None => (
                Bearing::NotShown,
                format!("the engine sheet has no {} cam with a sensor", name(cam)),
            ),
        },
        None => match cams.first() {
            Some(&p) => measured::crank(p),
            None => (Bearing::NotShown, "no cam in the engine sheet".to_owned()),
        },
    };
    CodeView {
        code: code.to_owned(),
        meaning,
        measured,
        bearing,
    }
}

/// "intake", "exhaust of bank 2".
fn name(cam: CamId) -> String {
    let kind = match cam.kind {
        CamKind::Intake => "intake",
        CamKind::Exhaust => "exhaust",
    };
    if cam.bank > 1 {
        format!("{kind} of bank {}", cam.bank)
    } else {
        kind.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_read_as_they_are_typed() {
        let typed = |text: &str| split(&[text.to_owned()]);
        assert_eq!(typed("p0014"), ["P0014"]);
        assert_eq!(typed(" P0014, p0011;P0014 "), ["P0014", "P0011"]);
        assert_eq!(typed("P 0014 p 000a"), ["P0014", "P000A"]);
        assert_eq!(typed("P0014-00 / P0335:12"), ["P0014", "P0335"]);
        assert_eq!(typed(""), Vec::<String>::new());
    }

    #[test]
    fn a_code_names_its_cam() {
        let exhaust_2 = CamId {
            kind: CamKind::Exhaust,
            bank: 2,
        };
        for (code, cam) in [
            ("P0011", Some(CamId::INTAKE)),
            ("P0014", Some(CamId::EXHAUST)),
            ("P0024", Some(exhaust_2)),
            ("P000B", Some(CamId::EXHAUST)),
            ("P000D", Some(exhaust_2)),
            ("P0017", Some(CamId::EXHAUST)),
            ("P0019", Some(exhaust_2)),
            ("P0336", None),
            ("P0340", Some(CamId::INTAKE)),
            ("P0420", None),
        ] {
            assert_eq!(family(code).and_then(|f| f.1), cam, "{code}");
        }
        assert!(concerns("P0335", CamId::EXHAUST));
        assert!(!concerns("P0420", CamId::EXHAUST));
    }
}
