//! The logbook: one SQLite file, and the only place where SQL is written.
