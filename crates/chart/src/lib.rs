//! Plain numbers to SVG text. Knows nothing of engines.
