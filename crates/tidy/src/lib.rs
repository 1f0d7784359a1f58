//! Tests about the source itself; see `tests/`.
