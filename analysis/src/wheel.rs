//! The tone wheel: where its teeth are.

use crate::units::CrankDegrees;

/// A wheel description that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WheelError {
    /// Not of the form teeth minus missing.
    #[error(
        "crank wheel \"{0}\": write the tooth positions minus the missing teeth, such as \"60-2\" or \"36-1\""
    )]
    Form(String),
    /// Outside what can be decoded.
    #[error(
        "crank wheel {teeth}-{missing}: between 8 and 255 tooth positions and 1 to 3 missing teeth can be read"
    )]
    Range {
        /// Tooth positions.
        teeth: u16,
        /// Missing ones.
        missing: u16,
    },
}

/// Tooth angles of a wheel with one gap. Tooth 0 is the first after the gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Wheel {
    angles: Vec<f64>,
    narrowest: f64,
}

impl Wheel {
    /// Reads "60-2": equally spaced positions, of which the last ones are missing
    /// (the conventional wheel of Freescale AN2897 section 2.3). At most 255 positions and
    /// 1 to 3 missing, the limits of a production timing unit (Freescale AN3769 section 2).
    pub fn parse(text: &str) -> Result<Self, WheelError> {
        let form = || WheelError::Form(text.to_owned());
        let (teeth, missing) = text.trim().split_once('-').ok_or_else(form)?;
        let teeth: u16 = teeth.trim().parse().map_err(|_| form())?;
        let missing: u16 = missing.trim().parse().map_err(|_| form())?;
        if !(8..=255).contains(&teeth) || !(1..=3).contains(&missing) {
            return Err(WheelError::Range { teeth, missing });
        }
        let pitch = 360.0 / f64::from(teeth);
        Ok(Self {
            angles: (0..teeth - missing).map(|i| f64::from(i) * pitch).collect(),
            narrowest: pitch,
        })
    }

    /// Number of teeth present.
    pub fn teeth(&self) -> usize {
        self.angles.len()
    }

    /// Angle of a tooth after tooth 0, in [0, 360).
    pub fn angle(&self, tooth: usize) -> CrankDegrees {
        CrankDegrees(self.angles[tooth])
    }

    /// Angle from a tooth to the one after it; the last tooth is followed by the gap.
    pub fn pitch(&self, tooth: usize) -> CrankDegrees {
        let next = self.angles.get(tooth + 1).copied().unwrap_or(360.0);
        CrankDegrees(next - self.angles[tooth])
    }

    /// Whether the gap follows this tooth.
    pub fn precedes_gap(&self, tooth: usize) -> bool {
        tooth + 1 == self.angles.len()
    }

    /// Width of the gap.
    pub fn gap(&self) -> CrankDegrees {
        self.pitch(self.teeth() - 1)
    }

    /// Smallest distance between two teeth.
    pub fn narrowest(&self) -> CrankDegrees {
        CrankDegrees(self.narrowest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conventional_wheels() {
        let w = Wheel::parse("60-2").expect("a wheel");
        assert_eq!(w.teeth(), 58);
        assert!((w.pitch(0).0 - 6.0).abs() < 1e-12 && (w.gap().0 - 18.0).abs() < 1e-9);
        let w = Wheel::parse("36-1").expect("a wheel");
        assert_eq!(w.teeth(), 35);
        assert!((w.gap().0 - 20.0).abs() < 1e-9);
        assert!(w.precedes_gap(34) && !w.precedes_gap(0));
    }

    #[test]
    fn mistakes_are_named() {
        for text in ["", "60", "60/2", "a-b", "60-2-2"] {
            assert!(
                matches!(Wheel::parse(text), Err(WheelError::Form(_))),
                "{text}"
            );
        }
        for text in ["6-1", "60-0", "60-4", "300-2"] {
            assert!(
                matches!(Wheel::parse(text), Err(WheelError::Range { .. })),
                "{text}"
            );
        }
    }
}
