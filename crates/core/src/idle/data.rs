//! The holds as the fit takes them: in richness, times in minutes from their mean.

use crate::idle::linear::MOST_OFFSETS;
use crate::idle::question::Question;
use crate::idle::{Hold, Outcome, StallCause};

/// A held speed, ready for the fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    pub(super) richness: f64,
    pub(super) rpm: f64,
    pub(super) se_rpm: Option<f64>,
    /// Minutes from the mean time of all readings.
    pub(super) at_min: Option<f64>,
    /// 0: the block whose curve is asked for; others have an offset each.
    pub(super) offset: usize,
    /// How far the screw had been turned since the first hold, turns: the hand's errors add up over it.
    pub(super) travel: f64,
    /// Spread of the speed held, as a share of it.
    pub(super) roughness: Option<f64>,
}

/// What the fit is given.
#[derive(Clone, Debug)]
pub(super) struct Data {
    pub(super) readings: Vec<Reading>,
    /// Positions where the engine died of leanness, and of richness.
    pub(super) lean_stalls: Vec<f64>,
    pub(super) rich_stalls: Vec<f64>,
    /// Blocks with an offset.
    pub(super) offsets: usize,
    /// A first guess of the plateau, rpm.
    pub(super) level_rpm: f64,
}

/// Readings and stalls in richness, and the block behind each offset (0: the block asked about).
pub(super) fn gather(holds: &[&Hold], question: &Question) -> (Data, Vec<u32>) {
    let ran = || holds.iter().filter(|hold| matches!(hold.outcome, Outcome::Ran { .. }));
    let mut blocks: Vec<u32> = Vec::new();
    for hold in ran().rev() {
        if !blocks.contains(&hold.block) && blocks.len() <= MOST_OFFSETS {
            blocks.push(hold.block);
        }
    }
    let timed: Vec<f64> = ran().filter_map(|hold| hold.at_s).collect();
    let mean_s = timed.iter().sum::<f64>() / timed.len().max(1) as f64;
    let mut data = Data {
        readings: Vec::new(),
        lean_stalls: Vec::new(),
        rich_stalls: Vec::new(),
        offsets: 0,
        level_rpm: 0.0,
    };
    for (hold, travel) in holds.iter().zip(travels(holds)) {
        let richness = question.richness(hold.turns.0);
        match hold.outcome {
            Outcome::Ran { rpm, se_rpm } => {
                let Some(offset) = blocks.iter().position(|&block| block == hold.block) else { continue };
                let at_min = hold.at_s.map(|at| (at - mean_s) / 60.0);
                let roughness = hold.spread_rpm.map(|spread_rpm| spread_rpm / rpm);
                data.readings.push(Reading { richness, rpm, se_rpm, at_min, offset, travel, roughness });
            }
            Outcome::Stalled(StallCause::Lean) => data.lean_stalls.push(richness),
            Outcome::Stalled(StallCause::Rich) => data.rich_stalls.push(richness),
            Outcome::Stalled(StallCause::OutOfFuel | StallCause::Unknown) => {}
        }
    }
    data.offsets = blocks.len().saturating_sub(1);
    // The plateau is guessed from the fastest readings, one of which may be an outlier.
    let mut speeds: Vec<f64> = data.readings.iter().map(|reading| reading.rpm).collect();
    speeds.sort_by(|a, b| b.total_cmp(a));
    data.level_rpm = match speeds.len() {
        0 => 0.0,
        1..=3 => speeds[0],
        _ => speeds[1],
    };
    (data, blocks)
}

/// How far the screw had been turned before each hold, in the order of time where it is known.
fn travels(holds: &[&Hold]) -> Vec<f64> {
    // A place where the engine died says nothing by itself of how often the hand was at it.
    let ran = |index: &usize| matches!(holds[*index].outcome, Outcome::Ran { .. });
    let mut order: Vec<usize> = (0..holds.len()).filter(ran).collect();
    if holds.iter().all(|hold| hold.at_s.is_some()) {
        let at = |index: usize| holds[index].at_s.unwrap_or(0.0);
        order.sort_by(|&a, &b| at(a).total_cmp(&at(b)));
    }
    let mut travels = vec![0.0; holds.len()];
    let mut travel = 0.0;
    for pair in order.windows(2) {
        travel += (holds[pair[1]].turns.0 - holds[pair[0]].turns.0).abs();
        travels[pair[1]] = travel;
    }
    travels
}
