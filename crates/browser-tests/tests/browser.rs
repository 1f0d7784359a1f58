//! The bench in Chromium, as a person meets it. Every test has a server, a browser and a profile of its own.

#[path = "browser/closed.rs"]
mod closed;
#[path = "browser/hands_free.rs"]
mod hands_free;
#[path = "browser/keeping.rs"]
mod keeping;
#[path = "browser/keys.rs"]
mod keys;
#[path = "browser/microphone.rs"]
mod microphone;
#[path = "browser/recording.rs"]
mod recording;
#[path = "browser/tachometer.rs"]
mod tachometer;
#[path = "browser/whole_job.rs"]
mod whole_job;
