//! `bellmouth logbook …`, as typed.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A folder that is removed at the end of its test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("bellmouth-cli-{name}-{}", std::process::id()));
        fs::create_dir(&path).unwrap();
        Folder(path)
    }

    /// Runs the command with this folder as the data folder.
    fn type_in(&self, words: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_bellmouth"))
            .args(words)
            .env("XDG_DATA_HOME", &self.0)
            .current_dir(&self.0)
            .output()
            .unwrap()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// An export with one machine, written by hand.
fn write_export(folder: &Path) {
    fs::create_dir(folder).unwrap();
    fs::write(folder.join("about.json"), r#"{"format":"bellmouth-logbook","version":1}"#).unwrap();
    for name in ["jobs", "facts", "readings", "strikes", "corrections"] {
        fs::write(folder.join(format!("{name}.jsonl")), "").unwrap();
    }
    let machine = r#"{"id":"018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d01","name":"the 750 twin","layout":"twin-360","cooling":"air","carburettors":2,"cylinders":2,"created_ms":1000,"demo":false,"deleted_ms":null,"revision":1}"#;
    let build = r#"{"id":"018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d02","machine":"018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d01","at_ms":1000,"note":"as bought","screw":"fuel","base_turns":1.5}"#;
    fs::write(folder.join("machines.jsonl"), format!("{machine}\n")).unwrap();
    fs::write(folder.join("builds.jsonl"), format!("{build}\n")).unwrap();
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn a_logbook_is_imported_checked_backed_up_and_exported() {
    let folder = Folder::new("round");
    write_export(&folder.0.join("text"));
    let imported = folder.type_in(&["logbook", "import", "text", "--json"]);
    assert_eq!(imported.status.code(), Some(0), "{imported:?}");
    assert_eq!((json(&imported)["new"].as_u64(), json(&imported)["already"].as_u64()), (Some(2), Some(0)));
    assert!(folder.0.join("bellmouth/logbook.sqlite").is_file());

    let checked = folder.type_in(&["logbook", "check"]);
    let words = String::from_utf8(checked.stdout).unwrap();
    assert!(words.ends_with("logbook.sqlite is whole: 1 machines, 0 jobs, 0 readings\n"), "{words}");

    let backed_up = folder.type_in(&["logbook", "backup", "copy.sqlite", "--json"]);
    assert_eq!(backed_up.status.code(), Some(0), "{backed_up:?}");
    let checked = folder.type_in(&["logbook", "check", "--logbook", "copy.sqlite", "--json"]);
    assert_eq!(json(&checked)["machines"], 1);

    let exported = folder.type_in(&["logbook", "export", "again", "--json"]);
    assert_eq!(json(&exported)["rows"], 2);
    for name in ["machines.jsonl", "builds.jsonl"] {
        let text = |place: &str| fs::read_to_string(folder.0.join(place).join(name)).unwrap();
        assert_eq!(text("text"), text("again"));
    }
}

#[test]
fn a_refusal_has_its_exit_status_and_its_remedy() {
    let folder = Folder::new("refusal");
    fs::write(
        folder.0.join("list.txt"),
        "a shopping list, long enough to be mistaken for nothing else at all",
    )
    .unwrap();
    let cases: [(&[&str], i32, &str); 5] = [
        (&["logbook", "check", "--json"], 3, "there is no logbook"),
        (&["logbook", "check", "--logbook", "list.txt", "--json"], 3, "not an SQLite file"),
        (&["logbook", "import", "nowhere", "--json"], 3, "about.json"),
        (&["logbook", "backup", "--json"], 2, "lacks <FILE>"),
        (&["logbook", "tidy", "--json"], 2, "tidy"),
    ];
    for (words, status, named) in cases {
        let output = folder.type_in(words);
        assert_eq!(output.status.code(), Some(status), "{words:?}: {output:?}");
        let error = &json(&output)["error"];
        assert!(error["message"].as_str().unwrap().contains(named), "{words:?}: {error}");
        assert!(!error["remedy"].as_str().unwrap().is_empty());
    }
    assert!(!folder.0.join("bellmouth").exists(), "nothing is made by a command that only reads");
}

#[test]
fn a_backup_that_exists_is_not_overwritten() {
    let folder = Folder::new("exists");
    write_export(&folder.0.join("text"));
    folder.type_in(&["logbook", "import", "text"]);
    fs::write(folder.0.join("copy.sqlite"), "precious").unwrap();
    let output = folder.type_in(&["logbook", "backup", "copy.sqlite"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        String::from_utf8(output.stderr).unwrap().contains("copy.sqlite exists already; choose another name")
    );
    assert_eq!(fs::read(folder.0.join("copy.sqlite")).unwrap(), b"precious");
}
