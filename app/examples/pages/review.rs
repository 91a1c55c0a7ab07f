//! Pictures of the Review page.

use super::Picture;

/// All of them.
pub fn all() -> Vec<Picture> {
    Vec::new()
}
