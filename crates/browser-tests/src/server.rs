//! The built program, serving a logbook of its own.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use crate::http::{self, Answer};

/// `bellmouth serve`, running; it ends when this is dropped.
pub struct Server {
    child: Child,
    host: String,
    logbook: PathBuf,
    /// Gone when this is dropped.
    _folder: Option<tempfile::TempDir>,
}

/// The built program: named by `BELLMOUTH_BIN`, or where `cargo build` leaves it.
pub fn program() -> PathBuf {
    let named = std::env::var_os("BELLMOUTH_BIN").map(PathBuf::from);
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let target = std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from);
    let path = named.unwrap_or_else(|| target.join("debug/bellmouth"));
    assert!(
        path.is_file(),
        "there is no program at {}: run scripts/test, or `cargo build -p bellmouth` first",
        path.display()
    );
    path
}

impl Server {
    /// Serves a new logbook.
    pub fn new() -> Server {
        Server::start(&[])
    }

    /// Serves a new logbook with the demonstration in it.
    pub fn demo() -> Server {
        Server::start(&["--demo"])
    }

    fn start(more: &[&str]) -> Server {
        let folder = tempfile::tempdir().expect("a folder can be made");
        let logbook = folder.path().join("bench.db");
        let mut child = Command::new(program())
            .args(["serve", "--address", "127.0.0.1:0", "--logbook"])
            .arg(&logbook)
            .args(more)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let mut lines = BufReader::new(child.stdout.take().expect("stdout is piped")).lines();
        let address = lines.by_ref().map_while(Result::ok).find_map(|line| {
            line.strip_prefix("bench ").map(|rest| rest.trim().trim_end_matches('/').to_string())
        });
        // Whatever else it prints is read, so that it never waits for a reader.
        std::thread::spawn(move || lines.map_while(Result::ok).for_each(drop));
        let Some(address) = address else {
            let _ = child.kill();
            panic!("`bellmouth serve` ended without printing its address");
        };
        let host = address.trim_start_matches("http://").to_string();
        Server { child, host, logbook, _folder: Some(folder) }
    }

    /// The address of a page.
    pub fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.host)
    }

    /// Address and port.
    pub fn host(&self) -> &str {
        &self.host
    }

    /// Its file of data.
    pub fn logbook(&self) -> &Path {
        &self.logbook
    }

    /// Kills it as a power cut would: no handler of its own runs.
    pub fn kill(&mut self) {
        // SIGKILL on unix.
        self.child.kill().expect("a running program can be killed");
        self.child.wait().expect("a killed program ends");
    }

    /// Starts it again on its old address and logbook after [`Server::kill`].
    pub fn restart(&mut self) {
        let logbook = self.logbook.clone();
        let mut next = Server::on_address(&self.host, &logbook);
        std::mem::swap(&mut self.child, &mut next.child);
    }

    fn on_address(host: &str, logbook: &Path) -> Server {
        let mut child = Command::new(program())
            .args(["serve", "--address", host, "--logbook"])
            .arg(logbook)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let begun = std::time::Instant::now();
        while http::request(host, "GET", "/", "", "").is_err() {
            let ended = child.try_wait().expect("a child can be asked");
            assert!(ended.is_none(), "`bellmouth serve` ended at once: {ended:?}");
            assert!(begun.elapsed().as_secs() < 20, "`bellmouth serve` does not answer at {host}");
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
        Server { child, host: host.into(), logbook: logbook.into(), _folder: None }
    }

    /// Asks for a page.
    pub fn get(&self, path: &str) -> Answer {
        http::request(&self.host, "GET", path, "", "").expect("the server answers")
    }

    /// Sends a form as a page of ours would.
    pub fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let more = format!(
            "Origin: http://{}\r\nContent-Type: application/x-www-form-urlencoded\r\nAccept: application/json\r\n",
            self.host
        );
        http::request(&self.host, "POST", path, &more, &http::form(fields)).expect("the server answers")
    }
}

impl Default for Server {
    fn default() -> Server {
        Server::new()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
