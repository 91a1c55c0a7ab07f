//! A checksum over what a recording says of itself: MCAP gives none to its metadata, and a digit that
//! was changed by damage must not pass for the rate of the samples.

use keyway_protocol::checksum;
use mcap::records::Metadata;

/// The entry that holds the checksum of all others.
const SEAL: &str = "crc32c";

/// The same with its checksum.
pub(crate) fn sealed(mut metadata: Metadata) -> Metadata {
    let sum = sum(&metadata);
    let _ = metadata.metadata.insert(SEAL.to_owned(), sum);
    metadata
}

/// Whether it is as it was written, as far as its checksum tells; without one it is taken as it is,
/// as the first recordings had none.
pub(crate) fn is_whole(metadata: &Metadata) -> bool {
    (metadata.metadata.get(SEAL)).is_none_or(|stated| *stated == sum(metadata))
}

/// CRC-32C in hexadecimal of the name, then each key and value but the checksum in the order of
/// keys, every one followed by a zero byte.
fn sum(metadata: &Metadata) -> String {
    let mut bytes = Vec::new();
    let mut put = |text: &str| {
        bytes.extend_from_slice(text.as_bytes());
        bytes.push(0);
    };
    put(&metadata.name);
    for (key, value) in metadata.metadata.iter().filter(|(key, _)| *key != SEAL) {
        put(key);
        put(value);
    }
    format!("{:08x}", checksum::crc32c(&bytes))
}
