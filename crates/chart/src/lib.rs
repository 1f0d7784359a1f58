//! Plain numbers to SVG text. Knows nothing of engines.
//!
//! [`Svg`] is the one writer: it rounds every number to two decimals, escapes every word, and
//! cannot leave an element open. [`Plot`] draws a line with its band, points with their error
//! bars and ranges on the horizontal axis. Colours are left to the page: elements carry classes.

mod plot;
mod scale;
mod svg;

pub use plot::{Mark, Plot, Range};
pub use scale::{Scale, nice_ticks};
pub use svg::{Svg, escaped, rounded};
