//! Little-endian fields one after another: the reader and the writer of payloads.

use crate::error::EncodeError;

/// Reads fields; `None` when the payload is too short or a field makes no sense.
pub(crate) struct Fields<'a> {
    rest: &'a [u8],
}

impl<'a> Fields<'a> {
    pub(crate) fn new(rest: &'a [u8]) -> Self {
        Self { rest }
    }

    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, rest) = self.rest.split_first_chunk::<N>()?;
        self.rest = rest;
        Some(*head)
    }

    pub(crate) fn u8(&mut self) -> Option<u8> {
        self.take::<1>().map(|[b]| b)
    }

    pub(crate) fn u16(&mut self) -> Option<u16> {
        self.take().map(u16::from_le_bytes)
    }

    pub(crate) fn u32(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }

    pub(crate) fn u64(&mut self) -> Option<u64> {
        self.take().map(u64::from_le_bytes)
    }

    /// A finite number: an infinite or undefined scale would poison every value behind it.
    pub(crate) fn finite(&mut self) -> Option<f64> {
        self.take()
            .map(f64::from_le_bytes)
            .filter(|v| v.is_finite())
    }

    /// One length byte, then so many bytes of UTF-8.
    pub(crate) fn text(&mut self) -> Option<&'a str> {
        let len = usize::from(self.u8()?);
        let (head, rest) = self.rest.split_at_checked(len)?;
        self.rest = rest;
        core::str::from_utf8(head).ok()
    }

    pub(crate) fn rest(self) -> &'a [u8] {
        self.rest
    }
}

/// Writes fields into a fixed buffer.
pub(crate) struct Writer<'a> {
    out: &'a mut [u8],
    len: usize,
}

impl<'a> Writer<'a> {
    pub(crate) fn new(out: &'a mut [u8]) -> Self {
        Self { out, len: 0 }
    }

    pub(crate) fn len(&self) -> usize {
        self.len
    }

    pub(crate) fn written(&self) -> &[u8] {
        &self.out[..self.len]
    }

    /// The next `n` bytes, to be filled by the caller.
    pub(crate) fn reserve(&mut self, n: usize) -> Result<&mut [u8], EncodeError> {
        let end = self.len.checked_add(n).ok_or(EncodeError::NoRoom)?;
        let room = self.out.get_mut(self.len..end).ok_or(EncodeError::NoRoom)?;
        self.len = end;
        Ok(room)
    }

    pub(crate) fn bytes(&mut self, bytes: &[u8]) -> Result<(), EncodeError> {
        self.reserve(bytes.len())?.copy_from_slice(bytes);
        Ok(())
    }

    pub(crate) fn text(&mut self, text: &str) -> Result<(), EncodeError> {
        let len = u8::try_from(text.len()).map_err(|_| EncodeError::TextTooLong)?;
        self.bytes(&[len])?;
        self.bytes(text.as_bytes())
    }
}
