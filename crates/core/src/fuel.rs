//! What fuel is this?
