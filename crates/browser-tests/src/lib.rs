//! The bench in a real browser: what the tests and the screenshots stand on.
//!
//! A [`Server`] is the built program over a logbook of its own; a [`Browser`] is Chromium with a
//! profile of its own, and with a WAV file for a microphone. Both end when they are dropped.

pub mod browser;
pub mod engine_sound;
pub mod garage;
pub mod heard_engine;
pub mod http;
pub mod server;

pub use browser::{Browser, Setup};
pub use server::Server;

/// Writes a measured figure where it is seen although the test passes.
pub fn figure(words: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stderr(), "    measured: {words}");
}
