//! Pictures of the Job screen.

use super::Picture;

/// All of them.
pub fn all() -> Vec<Picture> {
    Vec::new()
}
