//! The thin shell: moves bytes between a connection and its session.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::sync::watch;
use tokio::time::Instant;

use super::Settings;
use super::dialogue::Event;
use super::report::{LinkReport, LinkState};
use super::session::Session;
use crate::error::LinkError;
use crate::fanout::{Fanout, Feed};
use crate::health::Health;
use crate::stop::Stop;

/// One read takes at most this much; smaller reads cost more calls a second.
const READ: usize = 64 * 1024;
/// A device that takes no request for this long is not there.
const WRITE_PATIENCE: Duration = Duration::from_secs(1);
/// The report is renewed this often while samples flow; no screen shows more.
const REPORT_EVERY: Duration = Duration::from_millis(100);

/// What a link keeps over its connections.
pub(crate) struct Course {
    pub(crate) settings: Settings,
    pub(crate) fanout: Fanout,
    pub(crate) report: watch::Sender<LinkReport>,
    pub(crate) stop: Stop,
    /// Counts of the connections that ended.
    pub(crate) before: Health,
    pub(crate) next_generation: u64,
    /// Whether any stream has begun yet.
    pub(crate) has_streamed: bool,
}

/// Speaks with the device at the other end of `io` until it fails (`Err`) or the link is told to
/// stop (`Ok`).
///
/// # Errors
/// Why there are no more samples from this connection.
pub(crate) async fn run<Io>(io: Io, course: &mut Course) -> Result<(), LinkError>
where
    Io: AsyncRead + AsyncWrite + Unpin,
{
    let mut session = Session::new(course.settings.clone(), course.next_generation, now());
    let outcome = converse(io, &mut session, course).await;
    course.next_generation = session.next_generation();
    course.before = session.health(course.before);
    course.fanout.send(Feed::Ended, &mut course.stop).await;
    outcome
}

async fn converse<Io>(io: Io, session: &mut Session, course: &mut Course) -> Result<(), LinkError>
where
    Io: AsyncRead + AsyncWrite + Unpin,
{
    let (mut reader, mut writer) = tokio::io::split(io);
    let mut buffer = vec![0; READ];
    let mut events = Vec::new();
    let mut reported = Instant::now();
    let mut stop = course.stop.clone();
    loop {
        session.tick(now())?;
        send(&mut writer, &session.take_outgoing()).await?;
        let deadline = session.deadline(now());
        tokio::select! {
            biased;
            () = stop.wished() => {
                session.stop();
                // The device also notices that the port closes: failing to tell it is no loss.
                let _told = send(&mut writer, &session.take_outgoing()).await;
                return Ok(());
            }
            read = reader.read(&mut buffer) => {
                let length = read.map_err(|error| lost(&error))?;
                // A serial port never ends by itself: this is what a far end that closed looks like,
                // and it would go on for ever.
                if length == 0 {
                    return Err(LinkError::Closed);
                }
                let received = session.receive(&buffer[..length], now(), &mut events);
                for event in events.drain(..) {
                    deliver(event, session, course).await;
                }
                received?;
            }
            () = tokio::time::sleep_until(deadline.into()) => {}
        }
        if reported.elapsed() >= REPORT_EVERY {
            reported = Instant::now();
            let health = health(session, course);
            course.report.send_modify(|report| report.health = health);
        }
    }
}

async fn deliver(event: Event, session: &Session, course: &mut Course) {
    match event {
        Event::Device(device) => course
            .report
            .send_modify(|report| report.device = Some(device)),
        Event::Stream(stream) => {
            course.before.reconnections += u64::from(course.has_streamed);
            course.has_streamed = true;
            let health = health(session, course);
            course.report.send_modify(|report| {
                report.state = LinkState::Streaming;
                report.stream = Some(stream.clone());
                report.health = health;
            });
            course
                .fanout
                .send(Feed::Stream(stream), &mut course.stop)
                .await;
        }
        Event::Block(block) => {
            course
                .fanout
                .send(Feed::Block(block), &mut course.stop)
                .await
        }
    }
}

fn health(session: &Session, course: &Course) -> Health {
    let mut health = session.health(course.before);
    health.analysis_drops = course.fanout.analysis_drops;
    health.recorder_waits = course.fanout.recorder_waits;
    health
}

/// The runtime's clock, which tests can turn.
fn now() -> std::time::Instant {
    Instant::now().into_std()
}

async fn send(writer: &mut (impl AsyncWrite + Unpin), bytes: &[u8]) -> Result<(), LinkError> {
    if bytes.is_empty() {
        return Ok(());
    }
    match tokio::time::timeout(WRITE_PATIENCE, writer.write_all(bytes)).await {
        Ok(written) => written.map_err(|error| lost(&error)),
        Err(_elapsed) => Err(LinkError::NoAnswer { request: "listen" }),
    }
}

fn lost(error: &std::io::Error) -> LinkError {
    // EIO is how a pseudo-terminal or a pulled USB adapter reports that the far end is gone.
    match error.kind() {
        std::io::ErrorKind::BrokenPipe
        | std::io::ErrorKind::UnexpectedEof
        | std::io::ErrorKind::NotConnected => LinkError::Closed,
        _ if error.raw_os_error() == Some(5) => LinkError::Closed,
        _ => LinkError::Io(error.to_string()),
    }
}
