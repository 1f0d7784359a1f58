//! What air is this?
