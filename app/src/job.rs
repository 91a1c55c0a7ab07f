//! A job: the card of a vehicle and its complaint, with all that was recorded and found, in a folder of
//! plain files that a person can read and copy.

pub mod cabinet;
pub mod card;
pub mod contents;
pub mod edition;
pub mod finding;
pub mod folder;
pub mod listing;
pub mod moving;
pub mod name;
pub mod open;
pub mod search;
#[cfg(test)]
mod workbench;
