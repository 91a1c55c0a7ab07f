//! The virtual scope on any line: moves bytes between the line, the device and the sampler.

use keyway_protocol::{Decoder, MAX_FRAME};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};

use super::device::{Command, Device, Profile};
use super::sampler::{Pacing, Sampler};
use super::source::SampleSource;

/// Bytes waiting for the line beyond which no more are taken from the sampler's buffer.
const LINE_BUFFER: usize = 64 * 1024;

/// A scope with a simulated front end. One host at a time; it survives hosts coming and going.
pub struct VirtualScope {
    device: Device,
    sampler: Sampler,
}

impl VirtualScope {
    /// A scope that samples `source`.
    ///
    /// # Errors
    /// If the system has no thread to give.
    pub fn new(
        source: Box<dyn SampleSource>,
        profile: &Profile,
        pacing: Pacing,
    ) -> std::io::Result<Self> {
        let device = Device::new(profile, source.channels());
        let sampler = Sampler::spawn(source, device.description.clone(), pacing)?;
        Ok(Self { device, sampler })
    }

    /// Serves one host on `line` until it goes away, then stops streaming. `greeting` is what was
    /// already read from the line.
    ///
    /// # Errors
    /// How the line ended; a host that closed it reads as an error or as an end, by kind of line.
    pub async fn serve<Io>(&mut self, greeting: &[u8], line: Io) -> std::io::Result<()>
    where
        Io: AsyncRead + AsyncWrite + Unpin,
    {
        let outcome = self.exchange(greeting, line).await;
        let command = self.device.hang_up();
        self.order(command);
        outcome
    }

    async fn exchange<Io>(&mut self, greeting: &[u8], line: Io) -> std::io::Result<()>
    where
        Io: AsyncRead + AsyncWrite + Unpin,
    {
        let (mut reader, mut writer) = tokio::io::split(line);
        let mut decoder = Box::new(Decoder::<MAX_FRAME>::new());
        let mut incoming = vec![0; 4096];
        let mut outgoing = Outgoing::default();
        self.listen(&mut decoder, greeting, &mut outgoing.bytes);
        loop {
            tokio::select! {
                read = reader.read(&mut incoming) => {
                    let length = read?;
                    if length == 0 {
                        return Ok(());
                    }
                    self.listen(&mut decoder, &incoming[..length], &mut outgoing.bytes);
                }
                written = writer.write(outgoing.rest()), if !outgoing.rest().is_empty() => {
                    outgoing.advance(written?);
                }
                chunk = self.sampler.chunks.recv(), if outgoing.rest().len() < LINE_BUFFER => {
                    let Some(chunk) = chunk else {
                        return Err(std::io::Error::other("the sampler has ended"));
                    };
                    // What a stopped stream left in the buffer is nobody's any more.
                    if self.device.wants(chunk.stream) {
                        outgoing.bytes.extend_from_slice(&chunk.bytes);
                    }
                }
            }
        }
    }

    fn listen(&mut self, decoder: &mut Decoder, mut bytes: &[u8], answers: &mut Vec<u8>) {
        while let Some(outcome) = decoder.next(&mut bytes) {
            let command = match outcome {
                Ok(request) => self.device.take(&request, answers),
                Err(fault) => {
                    self.device.take_fault(fault, answers);
                    None
                }
            };
            if let Some(command) = command {
                self.order(command);
            }
        }
    }

    fn order(&self, command: Command) {
        // The sampler is slow only while it computes a frame; a full channel means that it has
        // ended, which shows at the next chunk.
        let _taken = self
            .sampler
            .commands
            .send_timeout(command, std::time::Duration::from_millis(50));
    }
}

/// Bytes on their way to the line.
#[derive(Default)]
struct Outgoing {
    bytes: Vec<u8>,
    sent: usize,
}

impl Outgoing {
    fn rest(&self) -> &[u8] {
        &self.bytes[self.sent..]
    }

    fn advance(&mut self, count: usize) {
        self.sent += count;
        if self.sent == self.bytes.len() {
            self.bytes.clear();
            self.sent = 0;
        } else if self.sent > LINE_BUFFER {
            let _gone = self.bytes.drain(..self.sent);
            self.sent = 0;
        }
    }
}
