//! Which circuit feeds what, and what does each part change?
