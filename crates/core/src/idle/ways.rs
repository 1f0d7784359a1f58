//! Whether the screw works the way it was said to work.
//!
//! Speed alone cannot tell: going in, either screw comes to a fall sooner than going out, and a plateau looks
//! alike from both sides. What the person says an engine died of can.

use crate::idle::data::Data;

/// Places nearer to the fastest reading than this do not count as beside it, turns.
const BESIDE_TURNS: f64 = 0.2;

/// Stalls that speak against the screw's stated way and for it: of richness on what should be its lean
/// side, or of leanness on its rich side; and the other way round.
pub(super) fn stalls_against_and_for(data: &Data) -> (usize, usize) {
    let Some(fastest) = data.readings.iter().max_by(|a, b| a.rpm.total_cmp(&b.rpm)) else {
        return (0, 0);
    };
    let leaner = |place: &f64| *place < fastest.richness - BESIDE_TURNS;
    let richer = |place: &f64| fastest.richness + BESIDE_TURNS < *place;
    let count = |places: &[f64], of: &dyn Fn(&f64) -> bool| places.iter().filter(|place| of(place)).count();
    (
        count(&data.rich_stalls, &leaner) + count(&data.lean_stalls, &richer),
        count(&data.lean_stalls, &leaner) + count(&data.rich_stalls, &richer),
    )
}
