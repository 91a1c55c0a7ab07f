//! The open framed sample stream: see `protocol/README.md` for the wire format.
#![no_std]
