//! Pictures of the Compare page.

use super::Picture;

/// All of them.
pub fn all() -> Vec<Picture> {
    Vec::new()
}
