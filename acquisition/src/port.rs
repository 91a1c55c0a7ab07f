//! Serial ports: the only file that names tokio-serial, and serialport beneath it.

use std::path::Path;

use tokio_serial::{ErrorKind, SerialPortBuilderExt, SerialPortType};

use crate::error::LinkError;

/// An open port.
pub type Port = tokio_serial::SerialStream;

/// A port that exists.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortInfo {
    /// What to open.
    pub path: String,
    /// What is plugged in there, as far as the system knows.
    pub description: String,
}

/// The serial ports of this machine, sorted. Pseudo-terminals are not listed, though they open.
#[must_use]
pub fn list() -> Vec<PortInfo> {
    let ports = tokio_serial::available_ports().unwrap_or_default();
    let mut ports: Vec<_> = ports
        .into_iter()
        .map(|port| PortInfo {
            description: describe(&port.port_type),
            path: port.port_name,
        })
        .collect();
    ports.sort_by(|a, b| a.path.cmp(&b.path));
    ports
}

fn describe(kind: &SerialPortType) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let words: Vec<&str> = [&usb.manufacturer, &usb.product]
                .into_iter()
                .flatten()
                .map(String::as_str)
                .collect();
            if words.is_empty() {
                format!("USB {:04x}:{:04x}", usb.vid, usb.pid)
            } else {
                words.join(" ")
            }
        }
        SerialPortType::PciPort => "built-in serial port".to_owned(),
        SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
        SerialPortType::Unknown => "serial port".to_owned(),
    }
}

/// Opens a port raw, for this program alone. A USB port takes any `baud` and ignores it.
/// Must be called inside a tokio runtime.
///
/// # Errors
/// `NoSuchPort`, `NoPermission`, `Busy`, `NotAPort`, or `Open` with the system's words.
pub fn open(path: &str, baud: u32) -> Result<Port, LinkError> {
    if is_something_else(Path::new(path)) {
        return Err(LinkError::NotAPort {
            path: path.to_owned(),
        });
    }
    tokio_serial::new(path, baud)
        .open_native_async()
        .map_err(|error| refusal(path, &error))
}

fn refusal(path: &str, error: &tokio_serial::Error) -> LinkError {
    let path = path.to_owned();
    match error.kind {
        ErrorKind::Io(std::io::ErrorKind::NotFound) => LinkError::NoSuchPort {
            path,
            present: list().into_iter().map(|port| port.path).collect(),
        },
        ErrorKind::Io(std::io::ErrorKind::PermissionDenied) => {
            let group = owning_group(Path::new(&path));
            LinkError::NoPermission { path, group }
        }
        // The crate reports a lock held by another program as an absent device.
        ErrorKind::NoDevice => LinkError::Busy { path },
        ErrorKind::InvalidInput | ErrorKind::Unknown | ErrorKind::Io(_) => LinkError::Open {
            path,
            reason: error.description.clone(),
        },
    }
}

#[cfg(unix)]
fn is_something_else(path: &Path) -> bool {
    use std::os::unix::fs::FileTypeExt;
    std::fs::metadata(path).is_ok_and(|m| !m.file_type().is_char_device())
}

#[cfg(not(unix))]
fn is_something_else(_path: &Path) -> bool {
    false
}

#[cfg(unix)]
fn owning_group(path: &Path) -> Option<String> {
    use std::os::unix::fs::MetadataExt;
    let gid = std::fs::metadata(path).ok()?.gid();
    group_named(&std::fs::read_to_string("/etc/group").ok()?, gid)
}

#[cfg(not(unix))]
fn owning_group(_path: &Path) -> Option<String> {
    None
}

/// Name of group `gid` in the text of a group file; root is not a group to join.
#[cfg(unix)]
fn group_named(groups: &str, gid: u32) -> Option<String> {
    groups
        .lines()
        .map(|line| line.split(':').collect::<Vec<_>>())
        .find(|fields| fields.get(2).and_then(|id| id.parse().ok()) == Some(gid))
        .and_then(|fields| fields.first().map(|name| (*name).to_owned()))
        .filter(|name| name != "root")
}

/// A pseudo-terminal, seen from the device's end. The host's end is left closed, so that the
/// device's end reports when nobody is there.
#[cfg(unix)]
pub struct PseudoTerminal {
    device: serialport::TTYPort,
    path: String,
}

#[cfg(unix)]
impl PseudoTerminal {
    /// A new one.
    ///
    /// # Errors
    /// `Open` if the system has none to give.
    pub fn open() -> Result<Self, LinkError> {
        use serialport::SerialPort;
        let refused = |reason: String| LinkError::Open {
            path: "a pseudo-terminal".to_owned(),
            reason,
        };
        let (device, host) =
            serialport::TTYPort::pair().map_err(|error| refused(error.description))?;
        let path = host
            .name()
            .ok_or_else(|| refused("it has no name".to_owned()))?;
        Ok(Self { device, path })
    }

    /// What a host opens.
    #[must_use]
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The device's end for one host. Needs a tokio runtime.
    ///
    /// Each host needs a new one: while no host has its end open the kernel reports a hang-up, and
    /// tokio keeps that for as long as a descriptor is registered. Every wait for an event would
    /// then return at once and the task would spin (measured: 90 % of a core).
    ///
    /// # Errors
    /// If the system has no descriptor to give.
    pub fn device_end(&self) -> std::io::Result<Port> {
        Ok(Port::try_from(self.device.try_clone_native()?)?)
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;

    fn open_error(path: &str) -> LinkError {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async { open(path, 115_200).map(|_| ()).unwrap_err() })
    }

    #[test]
    fn what_is_not_there_is_named() {
        let error = open_error("/dev/ttyNOT0");
        assert!(matches!(&error, LinkError::NoSuchPort { path, .. } if path == "/dev/ttyNOT0"));
        assert!(
            error
                .to_string()
                .starts_with("There is no port /dev/ttyNOT0")
        );
    }

    #[test]
    fn a_file_is_not_a_port() {
        assert!(matches!(
            open_error("/etc/hostname"),
            LinkError::NotAPort { .. }
        ));
        assert!(matches!(open_error("/tmp"), LinkError::NotAPort { .. }));
    }

    #[test]
    fn a_second_program_finds_it_busy() {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async {
            let pty = PseudoTerminal::open().unwrap();
            let path = pty.path().to_owned();
            let first = open(&path, 115_200).unwrap();
            let second = open(&path, 115_200).map(|_| ());
            assert_eq!(second, Err(LinkError::Busy { path: path.clone() }));
            drop(first);
            assert!(open(&path, 115_200).is_ok());
        });
    }

    #[test]
    fn the_group_to_join() {
        let groups = "root:x:0:\ndialout:x:20:anna\nplugdev:x:46:\n";
        assert_eq!(group_named(groups, 20).as_deref(), Some("dialout"));
        assert_eq!(group_named(groups, 0), None);
        assert_eq!(group_named(groups, 99), None);
        let error = LinkError::NoPermission {
            path: "/dev/ttyUSB0".to_owned(),
            group: Some("dialout".to_owned()),
        };
        assert!(error.to_string().contains("sudo usermod -aG dialout $USER"));
    }
}
