//! A job: the card of a vehicle and its complaint, with all that was recorded and found, in a folder of
//! plain files that a person can read and copy.

pub mod folder;
