//! A port that does not trust its wake-ups.
//!
//! On a pseudo-terminal at tens of megabytes a second the event that there is something to read, or
//! room to write, now and then does not come although it is so: seen on Linux 6.18 with both cores
//! busy, where a stream once stood still for two seconds until the link took the device for gone.
//! Whose race it is was not found. So whatever waits is also tried again by time.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep};

use crate::port::Port;

/// How long to wait before trying without having been woken: far below what a screen shows, and
/// 200 calls a second while nothing comes.
const RETRY: Duration = Duration::from_millis(5);

/// A port, or the device's end of a pseudo-terminal.
pub struct Line {
    port: Port,
    reading: Patience,
    writing: Patience,
}

impl Line {
    /// Needs a tokio runtime.
    #[must_use]
    pub fn new(port: Port) -> Self {
        Self {
            port,
            reading: Patience::new(),
            writing: Patience::new(),
        }
    }
}

/// When to try again what waits.
struct Patience {
    sleep: Pin<Box<Sleep>>,
    waiting: bool,
}

impl Patience {
    fn new() -> Self {
        Self {
            sleep: Box::pin(tokio::time::sleep(RETRY)),
            waiting: false,
        }
    }

    fn begin(&mut self) {
        if !self.waiting {
            self.again();
        }
    }

    fn again(&mut self) {
        self.waiting = true;
        self.sleep.as_mut().reset(Instant::now() + RETRY);
    }

    /// Ready each time another try is due.
    fn poll(&mut self, cx: &mut Context<'_>) -> Poll<()> {
        self.sleep.as_mut().poll(cx)
    }
}

impl AsyncRead for Line {
    fn poll_read(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let line = self.get_mut();
        if let read @ Poll::Ready(_) = Pin::new(&mut line.port).poll_read(cx, buffer) {
            line.reading.waiting = false;
            return read;
        }
        line.reading.begin();
        loop {
            ready!(line.reading.poll(cx));
            match line.port.try_read(buffer.initialize_unfilled()) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => line.reading.again(),
                read => {
                    line.reading.waiting = false;
                    return Poll::Ready(read.map(|count| buffer.advance(count)));
                }
            }
        }
    }
}

impl AsyncWrite for Line {
    fn poll_write(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let line = self.get_mut();
        if let written @ Poll::Ready(_) = Pin::new(&mut line.port).poll_write(cx, bytes) {
            line.writing.waiting = false;
            return written;
        }
        line.writing.begin();
        loop {
            ready!(line.writing.poll(cx));
            match line.port.try_write(bytes) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => line.writing.again(),
                written => {
                    line.writing.waiting = false;
                    return Poll::Ready(written);
                }
            }
        }
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().port).poll_flush(cx)
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().port).poll_shutdown(cx)
    }
}
