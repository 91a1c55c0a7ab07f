//! What the user chose once: look, the folder of recordings, the last port. Kept as TOML in the
//! configuration folder of the system.

use crate::fault::Fault;
use crate::theme::Look;
use directories::{ProjectDirs, UserDirs};
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The user's choices.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Look.
    pub look: Look,
    /// Folder of recordings; none means the default one.
    pub recordings: Option<PathBuf>,
    /// Folder of the job that was open last, offered again.
    pub job: Option<PathBuf>,
    /// Port used last, offered again.
    pub port: Option<String>,
    /// Folder of references; none means the default one.
    pub references: Option<PathBuf>,
}

impl Settings {
    /// Where the settings are kept, if the system has a place for them.
    pub fn place() -> Option<PathBuf> {
        Some(
            ProjectDirs::from("", "", "keyway")?
                .config_dir()
                .join("settings.toml"),
        )
    }

    /// Reads settings; without a file they are the defaults.
    pub fn load(path: &Path) -> Result<Self, Fault> {
        match fs::read_to_string(path) {
            Ok(text) => toml::from_str(&text)
                .map_err(|e| Fault::mistake(&path.display().to_string(), &text, &e)),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(e) => Err(Fault::unreadable(path, &e)),
        }
    }

    /// Writes settings beside the old ones and then in their place, so that a power cut never
    /// leaves half a file.
    pub fn save(&self, path: &Path) -> Result<(), Fault> {
        let text = toml::to_string_pretty(self).map_err(|e| Fault::Unwritable {
            path: path.to_owned(),
            why: Arc::from(e.to_string()),
        })?;
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(|e| Fault::unwritable(folder, &e))?;
        }
        let beside = path.with_extension("new");
        fs::write(&beside, text).map_err(|e| Fault::unwritable(&beside, &e))?;
        fs::rename(&beside, path).map_err(|e| Fault::unwritable(path, &e))
    }

    /// Folder of recordings: the chosen one, else "Keyway" in the user's documents, else the data
    /// folder of the system, else the current folder.
    pub fn recordings_folder(&self) -> PathBuf {
        if let Some(folder) = &self.recordings {
            return folder.clone();
        }
        if let Some(documents) = UserDirs::new().and_then(|u| u.document_dir().map(Path::to_owned))
        {
            return documents.join("Keyway");
        }
        ProjectDirs::from("", "", "keyway").map_or_else(
            || PathBuf::from("recordings"),
            |dirs| dirs.data_dir().join("recordings"),
        )
    }

    /// Folder of references: the chosen one, else "references" in the data folder of the system, else beside the
    /// recordings.
    pub fn references_folder(&self) -> PathBuf {
        if let Some(folder) = &self.references {
            return folder.clone();
        }
        ProjectDirs::from("", "", "keyway").map_or_else(
            || self.recordings_folder().join("references"),
            |dirs| dirs.data_dir().join("references"),
        )
    }

    /// Folder in which sheets are saved: "sheets" in the data folder of the system, else beside the
    /// recordings.
    pub fn sheets_folder(&self) -> PathBuf {
        ProjectDirs::from("", "", "keyway").map_or_else(
            || self.recordings_folder().join("sheets"),
            |dirs| dirs.data_dir().join("sheets"),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_survive_the_file() {
        let folder = std::env::temp_dir().join(format!("keyway-settings-{}", std::process::id()));
        let path = folder.join("settings.toml");
        let settings = Settings {
            look: Look::Daylight,
            recordings: Some(PathBuf::from("/somewhere/else")),
            job: Some(PathBuf::from("/somewhere/else/a job")),
            port: Some("/dev/ttyACM0".to_owned()),
            references: Some(PathBuf::from("/on/a/share")),
        };
        assert_eq!(Settings::load(&path).unwrap(), Settings::default());
        settings.save(&path).unwrap();
        assert_eq!(Settings::load(&path).unwrap(), settings);
        fs::write(&path, "look = \"workshop\"\ncolour = 3\n").unwrap();
        let fault = Settings::load(&path).unwrap_err();
        assert!(matches!(fault, Fault::Mistake { line: 2, .. }), "{fault}");
        fs::remove_dir_all(folder).unwrap();
    }
}
