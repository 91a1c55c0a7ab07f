//! Pictures of the References page.

use super::Picture;

/// All of them.
pub fn all() -> Vec<Picture> {
    Vec::new()
}
