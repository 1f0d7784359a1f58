//! What the tests of the commands share: a folder of their own, the binary run in it, and inputs.

// Each test binary uses its own part of this.
#![allow(dead_code)]
#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

pub(crate) mod cases;
pub(crate) mod inputs;
mod machine_cases;
pub(crate) mod page;
pub(crate) mod sound;

use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Longer than any command takes to answer; only a server that should have refused gets there.
const PATIENCE: Duration = Duration::from_secs(120);

/// A folder that is removed at the end of its test; commands run in it, with their data folder below it.
pub(crate) struct Folder(PathBuf);

/// What a command said.
#[derive(Clone, Debug)]
pub(crate) struct Said {
    /// Its exit status.
    pub(crate) status: Option<i32>,
    /// What it printed as the answer.
    pub(crate) stdout: String,
    /// What it said beside the answer.
    pub(crate) stderr: String,
}

impl Said {
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.stdout).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

impl Folder {
    pub(crate) fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("bellmouth-cli-{name}-{}", std::process::id()));
        fs::create_dir(&path).unwrap();
        Folder(path.canonicalize().unwrap())
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }

    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.0.join(name), bytes).unwrap();
    }

    pub(crate) fn read(&self, name: &str) -> Vec<u8> {
        fs::read(self.0.join(name)).unwrap()
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bellmouth"));
        command.args(words).current_dir(&self.0).env("XDG_DATA_HOME", self.0.join("data"));
        command.stdin(Stdio::null());
        command
    }

    /// Runs the command to its end.
    pub(crate) fn run(&self, words: &[&str]) -> Said {
        let files = [".stdout", ".stderr"].map(|name| self.0.join(name));
        let [out, err] = files.each_ref().map(|path| File::create(path).unwrap());
        let mut child = Ended(self.command(words).stdout(out).stderr(err).spawn().unwrap());
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = child.0.try_wait().unwrap() {
                break status;
            }
            assert!(begun.elapsed() < PATIENCE, "bellmouth {} does not end", words.join(" "));
            std::thread::sleep(Duration::from_millis(5));
        };
        let [stdout, stderr] = files.map(|path| fs::read_to_string(path).unwrap());
        Said { status: status.code(), stdout, stderr }
    }

    /// Starts a bench on the logbook `name`, and waits until it serves; it ends when dropped.
    pub(crate) fn serve(&self, name: &str) -> Started {
        let started = self.first_line(&["serve", "--address", "127.0.0.1:0", "--logbook", name]);
        assert!(started.line.contains("http://127.0.0.1:"), "the bench did not start: {}", started.line);
        started
    }

    /// Starts a command that goes on, and waits for its first line.
    pub(crate) fn first_line(&self, words: &[&str]) -> Started {
        let spawned = self.command(words).stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let mut process = Ended(spawned.unwrap());
        let mut line = String::new();
        BufReader::new(process.0.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        Started { line, process }
    }
}

/// A command that goes on until it is dropped.
pub(crate) struct Started {
    /// The first line it printed.
    pub(crate) line: String,
    process: Ended,
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// A process that is ended with its owner.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
