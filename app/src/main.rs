//! Keyway: the binary.
fn main() {}
