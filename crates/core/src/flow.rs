//! What passes an orifice, a jet, a screw, a butterfly?
