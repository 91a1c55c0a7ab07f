//! Tone wheels in common use, to recognise an unknown one by.

/// A wheel of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Published {
    /// What an engine sheet calls it.
    pub name: &'static str,
    /// Its notation, as [`crate::wheel::Wheel::parse`] reads it.
    pub notation: &'static str,
    /// Where it is known from.
    pub source: &'static str,
}

const fn published(name: &'static str, notation: &'static str, source: &'static str) -> Published {
    Published {
        name,
        notation,
        source,
    }
}

const AN2897: &str = "equal teeth, 1 to 3 missing: Freescale AN2897 section 2.3";
const ADDED: &str = "added tooth: comment in NXP etpu_crank.h version 1.2, 2015; its place half a pitch before the first is from memory";
const MEMORY: &str = "from memory";

/// The table. Where several places of the gaps are in use, each has its own row.
pub const PUBLISHED: &[Published] = &[
    published("60-2", "60-2", AN2897),
    published("60-1", "60-1", AN2897),
    published("58-2", "58-2", AN2897),
    published("58-1", "58-1", AN2897),
    published("48-2", "48-2", AN2897),
    published("36-1", "36-1", AN2897),
    published("36-2", "36-2", AN2897),
    published("32-2", "32-2", AN2897),
    published("30-2", "30-2", AN2897),
    published("30-1", "30-1", AN2897),
    published("24-1", "24-1", AN2897),
    published("24-2", "24-2", AN2897),
    published("20-1", "20-1", AN2897),
    published("18-1", "18-1", AN2897),
    published("16-1", "16-1", AN2897),
    published("12-1", "12-1", AN2897),
    published("12-2", "12-2", AN2897),
    published("8-1", "8-1", AN2897),
    published("36-2-2-2", "36 without 14 15 32 33 35 36", MEMORY),
    published("36-2-1", "36 without 18 35 36", MEMORY),
    published("60-2-2", "60 without 29 30 59 60", MEMORY),
    published("24+1", "24+1", ADDED),
    published("12+1", "12+1", ADDED),
    published("8+1", "8+1", ADDED),
    published("6+1", "6+1", ADDED),
    published("4+1", "4+1", ADDED),
    published("4 uneven", "at 0 70 180 250", MEMORY),
    published("2 uneven", "at 0 150", MEMORY),
    published(
        "24 narrow/wide",
        "24 coded nnnnnwnnwnwwnwnnwwwwnwww",
        "arrangement is ours; the kind is from memory",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wheel::Wheel;

    #[test]
    fn every_row_is_a_wheel_of_its_own() {
        let wheels: Vec<Wheel> = PUBLISHED
            .iter()
            .map(|p| Wheel::parse(p.name).unwrap_or_else(|e| panic!("{}: {e}", p.name)))
            .collect();
        for (i, (w, p)) in wheels.iter().zip(PUBLISHED).enumerate() {
            assert!(w.teeth() >= 2 && w.symmetry() >= 1, "{}", p.name);
            assert_eq!(w, &Wheel::parse(p.name).expect("the same"), "{}", p.name);
            for other in &wheels[..i] {
                let same = w.teeth() == other.teeth()
                    && (0..w.teeth()).all(|t| {
                        (w.angle(t).0 - other.angle(t).0).abs() < 1e-6
                            && w.width(t) == other.width(t)
                    });
                assert!(!same, "{w} is {other}");
            }
        }
    }
}
