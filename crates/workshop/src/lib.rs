//! The use cases of the workshop, the file formats, and the only JSON types.
//!
//! Core computes, logbook keeps; this crate joins them: listen to a file, feed a stream, take a
//! hold, fit and store. What a command prints with `--json` and what the API sends are the same types, all
//! of them here.

pub mod bench;
mod demo;
pub mod exchange;
pub mod firings;
pub mod garage;
pub mod idle_answer;
pub mod keeping;
pub mod listen;
pub mod machine_file;
pub mod place;
pub mod population;
pub mod recording;
pub mod refusal;
pub mod sweep;
mod workshop;

pub use bellmouth_logbook as logbook;
pub use refusal::Refusal;
pub use workshop::Workshop;
