//! Where the bytes of a recording go: a file, or in tests something that fails on purpose.

use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// A growing sequence of bytes that can be made durable and shortened.
pub trait Store: Write + Send {
    /// Returns when everything written is on the medium.
    fn sync(&mut self) -> io::Result<()>;
    /// Keeps the first `length` bytes; the next write continues there.
    fn cut(&mut self, length: u64) -> io::Result<()>;
}

impl Store for File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }
    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.set_len(length)?;
        self.seek(SeekFrom::Start(length)).map(|_| ())
    }
}

/// A store that counts, shared by the MCAP writer (which keeps what it writes to) and the recorder
/// (which syncs it by time and cuts it after a fault). Both are on one thread: the lock never waits.
pub(crate) struct Shared<S>(Arc<Mutex<Counted<S>>>);

pub(crate) struct Counted<S> {
    store: S,
    written: u64,
}

impl<S: Store> Shared<S> {
    pub fn new(store: S) -> Self {
        Self(Arc::new(Mutex::new(Counted { store, written: 0 })))
    }

    pub fn handle(&self) -> Self {
        Self(Arc::clone(&self.0))
    }

    /// Bytes written so far.
    pub fn written(&self) -> u64 {
        self.lock().written
    }

    pub fn sync(&self) -> io::Result<()> {
        self.lock().store.sync()
    }

    pub fn cut(&self, length: u64) -> io::Result<()> {
        let mut inner = self.lock();
        inner.store.cut(length)?;
        inner.written = length;
        Ok(())
    }

    // A panic elsewhere cannot leave the count half changed.
    fn lock(&self) -> MutexGuard<'_, Counted<S>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<S: Store> Write for Shared<S> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut inner = self.lock();
        let n = inner.store.write(bytes)?;
        inner.written += n as u64;
        Ok(n)
    }
    fn flush(&mut self) -> io::Result<()> {
        self.lock().store.flush()
    }
}
