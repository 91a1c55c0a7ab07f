//! Little-endian fields one after another.

/// Bytes that are taken from the front.
pub(crate) struct Fields<'a> {
    rest: &'a [u8],
}

impl<'a> Fields<'a> {
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    pub fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (field, rest) = self.rest.split_first_chunk::<N>()?;
        self.rest = rest;
        Some(*field)
    }

    pub fn u32(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }

    pub fn u64(&mut self) -> Option<u64> {
        self.take().map(u64::from_le_bytes)
    }

    pub fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }
}
