//! Every settled stretch of a whole trace, after the fact.

use super::watch::{BIN_S, FRAMES_PER_BIN, HoldWatch, bin};
use super::{HeldSpeed, HoldRules, HoldState, Unsteadiness};
use crate::sound::{Frame, Heard};

/// The settled stretches of a whole trace, in order.
///
/// A stretch goes on for as long as the speed stays settled, up to `longest_s`; what follows without
/// a step or a gap is a stretch of its own.
pub fn settled_stretches(frames: &[Frame], rules: HoldRules) -> Vec<HeldSpeed> {
    let mut watch = HoldWatch::new(HoldRules { se_target_rpm: 0.0, ..rules });
    let mut found = Vec::new();
    // The last state of a stretch that was long enough, in case it breaks.
    let mut standing: Option<HeldSpeed> = None;
    for frame in frames {
        let state = watch.push(frame);
        match state {
            HoldState::Taken(held) => {
                found.push(held);
                standing = None;
                watch.restart();
                // The speed has settled already.
                watch.begin(frame.t_s - rules.settle_s);
                watch.last_heard_s = frame.t_s;
            }
            HoldState::Measuring { for_s, .. } => {
                if rules.shortest_s <= for_s && watch.untested == 0 && watch.partial.is_empty() {
                    standing = Some(watch.held());
                }
            }
            HoldState::Unsteady { reason } => {
                // What was measured before a step stands up to the step; swings and drift void it.
                if let (Some(held), Unsteadiness::Stepped { .. }) = (standing.take(), reason)
                    && let Some(before) =
                        cut(frames, held.start_s, watch.began_s.unwrap_or(held.end_s), rules)
                {
                    found.push(before);
                }
            }
            HoldState::Waiting | HoldState::Settling { .. } => found.extend(standing.take()),
        }
    }
    found.extend(standing);
    found
}

/// A held speed from the frames between two times, if that is long enough.
fn cut(frames: &[Frame], start_s: f64, end_s: f64, rules: HoldRules) -> Option<HeldSpeed> {
    let mut watch = HoldWatch::new(HoldRules { settle_s: 0.0, ..rules });
    let inside: Vec<Frame> = frames
        .iter()
        .filter(|frame| {
            start_s <= frame.t_s && frame.t_s < end_s && frame.heard == Heard::Yes && frame.rpm.is_finite()
        })
        .copied()
        .collect();
    watch.bins = inside.chunks_exact(FRAMES_PER_BIN).map(bin).collect();
    (rules.shortest_s <= watch.bins.len() as f64 * BIN_S).then(|| watch.held())
}
