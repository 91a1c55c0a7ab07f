//! Points of a curve in a document: an array of arrays, with null for what is not a number, which JSON
//! has no word for.

use serde::de::Error;
use serde::ser::SerializeSeq;
use serde::{Deserialize, Deserializer, Serializer};

/// Writes points.
pub fn serialize<const N: usize, S: Serializer>(
    points: &[[f64; N]],
    to: S,
) -> Result<S::Ok, S::Error> {
    let mut list = to.serialize_seq(Some(points.len()))?;
    for point in points {
        let figures: Vec<Option<f64>> = point.iter().map(|v| v.is_finite().then_some(*v)).collect();
        list.serialize_element(&figures)?;
    }
    list.end()
}

/// Reads points.
pub fn deserialize<'de, const N: usize, D: Deserializer<'de>>(
    from: D,
) -> Result<Vec<[f64; N]>, D::Error> {
    let points = Vec::<Vec<Option<f64>>>::deserialize(from)?;
    points
        .into_iter()
        .map(|point| {
            <[Option<f64>; N]>::try_from(point)
                .map(|figures| figures.map(|v| v.unwrap_or(f64::NAN)))
                .map_err(|point| {
                    D::Error::custom(format!("a point of {} figures, not {N}", point.len()))
                })
        })
        .collect()
}
