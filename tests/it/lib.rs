//! Whole-system tests live in the `it` test binary.
