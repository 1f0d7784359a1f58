//! The bench in a real browser: what the tests and the screenshots stand on.
//!
//! A [`Server`] is the built program over a logbook of its own; a [`Browser`] is Chromium with a
//! profile of its own, and with a WAV file for a microphone. Both end when they are dropped.

pub mod browser;
pub mod engine_sound;
pub mod garage;
pub mod http;
pub mod server;

pub use browser::{Browser, Setup};
pub use server::Server;

/// A folder of its own under the build folder, for files that a test makes.
pub fn folder(name: &str) -> std::path::PathBuf {
    use std::sync::atomic::{AtomicU32, Ordering};
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let path = std::env::temp_dir().join(format!("bellmouth-{}-{count}-{name}", std::process::id()));
    std::fs::create_dir_all(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    path
}

/// Writes a measured figure where it is seen although the test passes.
pub fn figure(words: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "    measured: {words}");
}
