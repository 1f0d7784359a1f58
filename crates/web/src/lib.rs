//! Pages and live streams. Computes nothing.
