//! Pictures of the Cycles page.

use super::Picture;

/// All of them.
pub fn all() -> Vec<Picture> {
    Vec::new()
}
