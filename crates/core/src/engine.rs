//! The engine: for now, which cylinder fires when.

pub mod layout;
