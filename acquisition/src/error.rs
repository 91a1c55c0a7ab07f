//! What can go wrong between the port and the samples: each displays as one sentence that says
//! what to do.

use std::fmt;

use keyway_protocol::Reason;

/// Why there are no samples. Travels in status messages, hence `Clone`.
#[derive(Debug, Clone, PartialEq)]
pub enum LinkError {
    /// The path does not exist.
    NoSuchPort {
        /// What was asked for.
        path: String,
        /// The ports that do exist.
        present: Vec<String>,
    },
    /// The path exists, but not for this user.
    NoPermission {
        /// What was asked for.
        path: String,
        /// Group that owns it, where known.
        group: Option<String>,
    },
    /// Another program holds the port.
    Busy {
        /// What was asked for.
        path: String,
    },
    /// The path is a file or folder.
    NotAPort {
        /// What was asked for.
        path: String,
    },
    /// The system would not open it for another reason.
    Open {
        /// What was asked for.
        path: String,
        /// The system's words.
        reason: String,
    },
    /// Nothing came back at all.
    Silent,
    /// Bytes came back, but no sound frame among them.
    Foreign {
        /// How many.
        bytes: u64,
    },
    /// Another major version of the stream.
    WrongVersion {
        /// Theirs.
        device: (u8, u8),
    },
    /// The device names itself, but not all of its channels.
    Incomplete {
        /// Channels it says it has.
        announced: usize,
        /// Channels it described.
        described: usize,
    },
    /// A channel was asked for that the device does not have.
    NoSuchChannel {
        /// Its number, from 0.
        channel: usize,
        /// Number of channels there are.
        present: usize,
    },
    /// The device refused.
    Refused {
        /// Why.
        reason: Reason,
        /// Its words.
        text: String,
    },
    /// The device stopped answering in the handshake.
    NoAnswer {
        /// What was asked of it.
        request: &'static str,
    },
    /// No byte for this long while streaming.
    Quiet {
        /// Seconds.
        seconds: u64,
    },
    /// The far end is gone.
    Closed,
    /// Reading or writing failed.
    Io(String),
}

impl LinkError {
    /// Whether plugging, waiting or retrying can cure it, without other settings or another device.
    #[must_use]
    pub fn may_pass(&self) -> bool {
        match self {
            Self::NoSuchPort { .. }
            | Self::Busy { .. }
            | Self::Open { .. }
            | Self::NoPermission { .. }
            | Self::Silent
            | Self::Foreign { .. }
            | Self::Incomplete { .. }
            | Self::NoAnswer { .. }
            | Self::Quiet { .. }
            | Self::Closed
            | Self::Io(_) => true,
            Self::NotAPort { .. }
            | Self::WrongVersion { .. }
            | Self::NoSuchChannel { .. }
            | Self::Refused { .. } => false,
        }
    }
}

impl fmt::Display for LinkError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchPort { path, present } if present.is_empty() => write!(
                f,
                "There is no port {path}, and no other either: plug the scope in, or choose the virtual scope."
            ),
            Self::NoSuchPort { path, present } => {
                write!(
                    f,
                    "There is no port {path}: choose one of {}.",
                    present.join(", ")
                )
            }
            Self::NoPermission {
                path,
                group: Some(group),
            } => write!(
                f,
                "You may not open {path}: add yourself to the group {group} (sudo usermod -aG {group} $USER), then log out and in again."
            ),
            Self::NoPermission { path, group: None } => write!(
                f,
                "You may not open {path}: add yourself to the group that owns it, often dialout, then log out and in again."
            ),
            Self::Busy { path } => {
                write!(
                    f,
                    "{path} is in use by another program: close that program, then connect again."
                )
            }
            Self::NotAPort { path } => {
                write!(
                    f,
                    "{path} is not a serial port: to look at a recording, open it under Recordings."
                )
            }
            Self::Open { path, reason } => {
                write!(
                    f,
                    "{path} does not open ({reason}): unplug the scope, plug it in again and reconnect."
                )
            }
            Self::Silent => write!(
                f,
                "This device does not speak the Keyway stream, it does not answer at all: check that it is the right port and that the scope is switched on."
            ),
            Self::Foreign { bytes } => write!(
                f,
                "This device does not speak the Keyway stream ({bytes} bytes came, none of them understood): check the port and the baud rate."
            ),
            Self::WrongVersion {
                device: (major, minor),
            } => write!(
                f,
                "The scope speaks version {major}.{minor} of the Keyway stream, this program version {}.{}: update the older of the two.",
                keyway_protocol::VERSION.0,
                keyway_protocol::VERSION.1
            ),
            Self::Incomplete {
                announced,
                described,
            } => write!(
                f,
                "The scope says it has {announced} channels but describes only {described}: update its firmware."
            ),
            Self::NoSuchChannel { channel, present } => write!(
                f,
                "Input {} was asked for, but the scope has {present}: correct the lead plan.",
                channel + 1
            ),
            Self::Refused { reason, text } => {
                let remedy = match reason {
                    Reason::Rate => "choose a lower sample rate",
                    Reason::Channels => "choose other inputs",
                    Reason::FrameSize => "choose fewer samples in a frame",
                    Reason::Format => "choose 16-bit samples",
                    Reason::Version => "update the older of scope and program",
                    Reason::NotConfigured | Reason::Unsupported => "update the scope's firmware",
                    Reason::Fault | Reason::Other(_) => "see the scope's manual",
                };
                write!(f, "The scope refuses ({text}): {remedy}.")
            }
            Self::NoAnswer { request } => write!(
                f,
                "The scope does not answer when asked to {request}: unplug it, plug it in again and reconnect."
            ),
            Self::Quiet { seconds } => write!(
                f,
                "The scope has sent nothing for {seconds} s: check its cable and its supply."
            ),
            Self::Closed => write!(f, "The scope is gone: check its cable and its supply."),
            Self::Io(reason) => {
                write!(
                    f,
                    "The connection to the scope broke ({reason}): check its cable."
                )
            }
        }
    }
}

impl std::error::Error for LinkError {}
