//! Where the logbook lies when nobody said otherwise.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use crate::refusal::Refusal;

/// The logbook in this user's data folder: `$XDG_DATA_HOME`, or `.local/share` in the home folder, then
/// `bellmouth/logbook.sqlite`. It need not exist.
///
/// # Errors
///
/// A refusal when the environment names neither folder.
pub fn default_logbook() -> Result<PathBuf, Refusal> {
    below(std::env::var_os("XDG_DATA_HOME"), std::env::var_os("HOME"))
}

/// A data folder that is not absolute is passed over, as its specification demands.
fn below(data_home: Option<OsString>, home: Option<OsString>) -> Result<PathBuf, Refusal> {
    let absolute = |folder: Option<OsString>| folder.map(PathBuf::from).filter(|path| path.is_absolute());
    absolute(data_home)
        .or_else(|| absolute(home).map(|home| home.join(".local/share")))
        .map(|data| data.join(Path::new("bellmouth/logbook.sqlite")))
        .ok_or_else(|| {
            Refusal::misused("no folder for the logbook is known: HOME is not set", "give --logbook FILE")
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_folder_comes_before_the_home_folder() {
        let found = |data: &str, home: &str| {
            let given = |text: &str| (!text.is_empty()).then(|| text.into());
            below(given(data), given(home)).map(|path| path.display().to_string())
        };
        assert_eq!(found("/data", "/home/a"), Ok("/data/bellmouth/logbook.sqlite".into()));
        assert_eq!(found("", "/home/a"), Ok("/home/a/.local/share/bellmouth/logbook.sqlite".into()));
        assert_eq!(found("data", "/home/a"), Ok("/home/a/.local/share/bellmouth/logbook.sqlite".into()));
        assert!(found("", "").is_err());
        assert!(found("data", "home").is_err());
    }
}
