//! The tone wheel that tells the crank's angle, as data: where its teeth are, and its sensor.

use super::bounds;
use serde::Deserialize;

/// Tone wheel and sensor of the crank. Teeth are numbered from 1 around the circumference; the mark of a
/// tooth is its centre (VR) or the falling edge (Hall). All angles are crank degrees.
///
/// ```toml
/// teeth = 60                        # 60 equal pitches,
/// missing = 2                       # the last two teeth taken out
/// teeth = 36                        # several gaps: these teeth are taken out
/// without = [14, 15, 32, 33, 35, 36]
/// teeth = 12                        # one tooth more, half a pitch before the first
/// added = true
/// marks = [0, 70, 180, 250]         # uneven: every tooth by its angle after the first,
/// reach = 14                        # each felt over this many crank degrees
/// teeth = 24                        # all pitches equal; the widths carry the code
/// coded = "nnnnnwnnwnnwwnwnnwwwwnww"
/// on_cam = true                     # with any of these: the wheel turns once in two crank turns
/// ```
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CrankWheel {
    /// Equal pitches on the circumference; 0 where `marks` say it all.
    #[serde(default)]
    pub teeth: u16,
    /// Teeth taken out, the last ones.
    #[serde(default)]
    pub missing: u16,
    /// Teeth taken out, by number. Tooth 1 must stay.
    #[serde(default)]
    pub without: Vec<u16>,
    /// Whether one tooth more stands half a pitch before the first.
    #[serde(default)]
    pub added: bool,
    /// Teeth of an uneven wheel: degrees after the first, rising from 0.
    #[serde(default)]
    pub marks: Vec<f64>,
    /// Width of each tooth, `n` for narrow or `w` for wide, of a wheel that is read by a Hall sensor: a
    /// narrow one pulls the output low for the sensor's `tooth_width`, a wide one for the rest of the pitch.
    #[serde(default)]
    pub coded: String,
    /// Whether it turns with the cam drive, before any phaser.
    #[serde(default)]
    pub on_cam: bool,
    /// Crank degrees over which a VR sensor feels a tooth that stands alone; a pitch unless said.
    #[serde(default)]
    pub reach: Option<f64>,
    /// Crank degrees from the mark of tooth 1 to the next TDC of cylinder 1, the firing one on a cam.
    #[serde(deserialize_with = "bounds::not_negative")]
    pub gap_to_tdc: f64,
    /// Largest error of a mark's angle from a wheel that sits out of true, crank degrees. It goes as a sine
    /// over the wheel's turn, being zero at tooth 1.
    #[serde(default, deserialize_with = "bounds::not_negative")]
    pub wobble: f64,
    /// The sensor.
    pub sensor: CrankSensor,
}

/// The crank sensor.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
pub enum CrankSensor {
    /// Coil and magnet; the voltage is the rate of change of the flux.
    Vr {
        /// Peak volts per rpm.
        #[serde(deserialize_with = "bounds::positive")]
        volts_per_rpm: f64,
        /// Change of amplitude over a revolution from an eccentric wheel, fraction of the mean.
        #[serde(deserialize_with = "bounds::fraction")]
        runout: f64,
        /// Whether the two pins are exchanged.
        #[serde(default)]
        inverted: bool,
    },
    /// Open-collector switch, low while a tooth stands before it.
    Hall {
        /// Volts when conducting.
        low: f64,
        /// Volts when open.
        high: f64,
        /// Crank degrees for which one tooth holds it low.
        #[serde(deserialize_with = "bounds::positive")]
        tooth_width: f64,
    },
}

impl CrankWheel {
    /// A plain wheel: equal pitches, the last `missing` teeth taken out.
    pub fn plain(teeth: u16, missing: u16, gap_to_tdc: f64, sensor: CrankSensor) -> Self {
        Self {
            teeth,
            missing,
            without: Vec::new(),
            added: false,
            marks: Vec::new(),
            coded: String::new(),
            on_cam: false,
            reach: None,
            gap_to_tdc,
            wobble: 0.0,
            sensor,
        }
    }

    /// Crank degrees after which the pattern begins again.
    pub fn period(&self) -> f64 {
        if self.on_cam { 720.0 } else { 360.0 }
    }

    /// Every mark in crank degrees after that of tooth 1, in rising order from 0.
    pub fn all_marks(&self) -> Vec<f64> {
        if !self.marks.is_empty() {
            return self.marks.clone();
        }
        let pitch = self.pitch();
        let mut marks: Vec<f64> = (1..=self.teeth)
            .filter(|n| *n <= self.teeth - self.missing && !self.without.contains(n))
            .map(|n| f64::from(n - 1) * pitch)
            .collect();
        if self.added {
            marks.push(self.period() - pitch / 2.0);
        }
        marks
    }

    /// Least distance of two marks, crank degrees.
    pub fn narrowest(&self) -> f64 {
        let marks = self.all_marks();
        let first = marks.first().map(|m| m + self.period());
        let after = marks.iter().skip(1).copied().chain(first);
        let distances = marks.iter().zip(after).map(|(a, b)| b - a);
        distances.fold(f64::INFINITY, f64::min)
    }

    /// Crank degrees over which a tooth that stands alone is felt.
    pub(super) fn felt(&self) -> f64 {
        self.reach.unwrap_or_else(|| {
            if self.teeth > 0 {
                self.pitch()
            } else {
                self.narrowest()
            }
        })
    }

    fn pitch(&self) -> f64 {
        self.period() / f64::from(self.teeth.max(1))
    }

    /// Crank degrees for which each mark holds a Hall output low.
    pub(super) fn widths(&self, tooth_width: f64) -> Vec<f64> {
        if self.coded.is_empty() {
            return vec![tooth_width; self.all_marks().len()];
        }
        let wide = self.pitch() - tooth_width;
        let width = |c| if c == 'n' { tooth_width } else { wide };
        self.coded.chars().map(width).collect()
    }

    /// Checks what one figure alone cannot show. The error is one sentence.
    pub(super) fn check(&self) -> Result<(), String> {
        if self.marks.is_empty() {
            self.check_row()?;
        } else {
            self.check_marks()?;
        }
        if self.gap_to_tdc >= self.period() {
            return Err(format!("gap_to_tdc must be below {}", self.period()));
        }
        if self.reach.is_some_and(|r| !(r > 0.0 && r <= 360.0)) {
            return Err("reach must be above 0 and no more than 360 crank degrees".into());
        }
        if self.wobble >= self.narrowest() / 2.0 {
            return Err("wobble must be below half the least distance of two teeth".into());
        }
        let CrankSensor::Hall { tooth_width, .. } = self.sensor else {
            return if self.coded.is_empty() {
                Ok(())
            } else {
                Err("coded teeth need a Hall sensor".into())
            };
        };
        let most = if self.coded.is_empty() { 1.0 } else { 0.5 };
        if tooth_width >= self.narrowest() * most {
            return Err(
                "tooth_width must be below the pitch of the wheel, of a coded one half".into(),
            );
        }
        Ok(())
    }

    fn check_row(&self) -> Result<(), String> {
        if !(2..=255).contains(&self.teeth) || self.missing > self.teeth / 2 {
            return Err(format!(
                "a wheel of {} teeth with {} missing cannot be built: 2 to 255 teeth, no more than half missing",
                self.teeth, self.missing
            ));
        }
        if self.without.iter().any(|n| !(2..=self.teeth).contains(n)) {
            return Err(format!(
                "without must name teeth from 2 to {}; tooth 1 stays",
                self.teeth
            ));
        }
        let coded = self.coded.chars();
        if !self.coded.is_empty()
            && (coded.clone().count() != usize::from(self.teeth)
                || coded.clone().any(|c| c != 'n' && c != 'w')
                || self.all_marks().len() != usize::from(self.teeth))
        {
            return Err(format!(
                "coded must hold {} letters, n or w, of a wheel from which no tooth is taken",
                self.teeth
            ));
        }
        Ok(())
    }

    fn check_marks(&self) -> Result<(), String> {
        if self.teeth > 0 || self.added || !self.coded.is_empty() {
            return Err("marks say it all; leave teeth, added and coded away".into());
        }
        let rising = self.marks.windows(2).all(|w| w[1] > w[0] + 1.0);
        let last = self.marks[self.marks.len() - 1];
        if self.marks[0] != 0.0 || !rising || last.is_nan() || last > self.period() - 1.0 {
            return Err(format!(
                "marks must rise from 0 to below {}, each more than 1 degree after the one before",
                self.period()
            ));
        }
        Ok(())
    }
}
