//! Checks on numbers as they are read, so that a wrong value is reported with its line.

use serde::de::Error;
use serde::{Deserialize, Deserializer};

fn checked<'de, D: Deserializer<'de>>(
    deserializer: D,
    good: impl Fn(f64) -> bool,
    expected: &str,
) -> Result<f64, D::Error> {
    let value = f64::deserialize(deserializer)?;
    // A NaN fails every comparison and infinity is no figure of an engine.
    if value.is_finite() && good(value) {
        Ok(value)
    } else {
        Err(D::Error::custom(format!(
            "{value} is out of range, expected {expected}"
        )))
    }
}

pub(super) fn positive<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(d, |v| v > 0.0, "a number above 0")
}

pub(super) fn not_negative<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(d, |v| v >= 0.0, "a number not below 0")
}

pub(super) fn fraction<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(d, |v| (0.0..=1.0).contains(&v), "a number from 0 to 1")
}

pub(super) fn percent<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(
        d,
        |v| (0.0..=100.0).contains(&v),
        "a percentage from 0 to 100",
    )
}

pub(super) fn celsius<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(
        d,
        |v| (-60.0..=250.0).contains(&v),
        "a temperature from -60 to 250 degrees Celsius",
    )
}

pub(super) fn engine_speed<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(
        d,
        |v| (20.0..=9000.0).contains(&v),
        "a speed from 20 to 9000 rpm",
    )
}

pub(super) fn authority<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(
        d,
        |v| v > 0.0 && v <= 140.0,
        "crank degrees above 0 and up to 140",
    )
}

pub(super) fn signed_speed<'de, D: Deserializer<'de>>(d: D) -> Result<f64, D::Error> {
    checked(
        d,
        |v| (-1000.0..=9000.0).contains(&v),
        "a speed from -1000 to 9000 rpm",
    )
}

pub(super) fn ripple<'de, D: Deserializer<'de>>(d: D) -> Result<Vec<[f64; 2]>, D::Error> {
    let list = Vec::<[f64; 2]>::deserialize(d)?;
    let good =
        |[order, depth]: &[f64; 2]| order.is_finite() && *order > 0.0 && (0.0..2.0).contains(depth);
    // Deeper together than twice the mean, the crank would turn back.
    if list.iter().all(good) && list.iter().map(|r| r[1]).sum::<f64>() < 2.0 {
        Ok(list)
    } else {
        Err(D::Error::custom(
            "each ripple is [order above 0, depth from 0], all depths together below 2",
        ))
    }
}
