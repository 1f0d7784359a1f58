//! The use cases of the workshop, the file formats, and the only JSON types.
//!
//! Core computes, logbook keeps; this crate joins them: listen to a file, feed a stream, take a
//! hold, fit and store. What a command prints with `--json` and what the API sends are the same types, all
//! of them here.

pub mod listen;
pub mod recording;
pub mod refusal;

pub use refusal::Refusal;
