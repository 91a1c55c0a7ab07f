//! Rows of the matrix that do not hold yet, by name: in each an angle more than a tooth wrong was claimed. They are
//! run and printed like all others; one that holds is taken from the list.

/// Their names, as [`crate::matrix::Row::words`] makes them.
pub const OPEN: &[&str] = &[
    "12+1, strong VR, pins exchanged, missing tooth, stalls and starts again, losses 0, seed 1",
    "12-1, strong VR, pins exchanged, drift, stalls and starts again, losses 0, seed 1",
    "2 uneven, Hall, extra tooth, starter of one cylinder, losses 1, seed 1",
    "2 uneven, Hall, loose contact, stalls and starts again, losses 1, seed 1",
    "2 uneven, strong VR, pins exchanged, missing tooth, fast, losses 0, seed 1",
    "2 uneven, weak VR, extra tooth, slow, losses 0, seed 1",
    "4 uneven, weak VR, extra tooth, stalls and starts again, losses 0, seed 1",
    "cam 12+1, Hall, extra tooth, slow, losses 1, seed 1",
    "cam 24+1, weak VR, extra tooth, starter of one cylinder, losses 1, seed 1",
    "12+1, strong VR, pins exchanged, ringing, stalls and starts again, losses 0, seed 2",
    "12-1, strong VR, pins exchanged, nothing, stalls and starts again, losses 0, seed 2",
    "2 uneven, strong VR, pins exchanged, damaged tooth, stalls and starts again, losses 0, seed 2",
    "2 uneven, weak VR, ringing, stalls and starts again, losses 0, seed 2",
    "24+1, Hall, doubled edges, fast, losses 0, seed 2",
    "36-2, Hall, extra tooth, starter of one cylinder, losses 1, seed 2",
    "36-2-1, Hall, extra tooth, stalls and starts again, losses 1, seed 2",
    "36-2-1, strong VR, pins exchanged, extra tooth, starter of one cylinder, losses 1, seed 2",
    "4 uneven, Hall, extra tooth, starter of one cylinder, losses 2, seed 2",
];
