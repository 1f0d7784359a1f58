//! Where to hold next: the position that most shrinks the doubt about the edge, less what it costs.

use crate::idle::fit::stall_chance;
use crate::idle::posterior::{Cell, Posterior};
use crate::idle::question::Question;
use crate::quantity::GRID_TURNS;

/// What has been done so far, as far as the next position is concerned.
pub(super) struct SoFar {
    /// Richness of the first hold, and whether it has been returned to.
    pub(super) first: f64,
    pub(super) first_repeated: bool,
    /// Richness of the last hold.
    pub(super) last: f64,
    /// Leanest and richest position at which the engine ran.
    pub(super) leanest: f64,
    pub(super) richest: f64,
    /// Whether the engine already ran clearly slower at its richest than elsewhere: beyond it lies
    /// only more of the droop, which tells nothing of the lean edge.
    pub(super) drooped: bool,
    /// The richest place where it died of leanness, and the leanest where it died of richness.
    pub(super) died: (f64, f64),
    /// The richest place on the lean side where it ran too roughly to go there again.
    pub(super) too_rough: f64,
    /// Holds at which the engine ran.
    pub(super) ran: usize,
    /// Half the width of the edge's interval, turns.
    pub(super) half_width_turns: f64,
}

/// The advice.
pub(super) enum Plan {
    /// Nothing more is worth a hold.
    Enough,
    /// Hold here, richness.
    Next(f64),
}

/// The interval is narrow enough at plus or minus one step of the grid.
const NARROW_TURNS: f64 = GRID_TURNS;
/// Fewest holds before a sweep may call itself enough.
const FEWEST: usize = 4;
/// A hold must promise to take this much off the edge's standard deviation, turns.
const WORTH_TURNS: f64 = 0.010;
/// What a move costs, in turns of standard deviation per turn moved, and what a stall costs.
const MOVE_COST: f64 = 0.006;
const STALL_COST: f64 = 0.6;
/// Positions likelier than this to stall or to fall below the floor speed are not advised.
const RISK: f64 = 0.05;
/// Farthest step beyond what has been tried: lean in small steps, because the fall is steep there.
const LEANER_STEP: f64 = 2.0;
const RICHER_STEP: f64 = 1.0;
const HALF_TURN: f64 = 0.5;
/// How near to a place where it died nobody is sent again, turns: a little more than the grid's step.
const KEEP_OFF: f64 = 1.01 * GRID_TURNS;
/// Machines imagined, and outcomes imagined at each position.
const MACHINES: usize = 240;
const OUTCOMES: usize = 24;
/// A first position is returned to once this many holds have run: it shows the drift.
const RETURN_AFTER: usize = 5;
/// Floor speed where none is given, as a share of the plateau.
const FLOOR_SHARE: f64 = 0.82;

/// Plans the next hold.
pub(super) fn plan(posterior: &Posterior, question: &Question, so_far: &SoFar) -> Plan {
    if FEWEST <= so_far.ran && so_far.half_width_turns <= NARROW_TURNS {
        return Plan::Enough;
    }
    let mut machines = posterior.sample(MACHINES);
    // Counted from the lean end, so that equal sweeps of either screw are reckoned in equal numbers.
    let end = posterior.domain.0;
    machines.iter_mut().for_each(|cell| cell.edge -= end);
    if machines.is_empty() {
        return Plan::Enough;
    }
    let (lean, rich) = question.advisable();
    let plateau = posterior.mean(|cell| cell.level_rpm);
    let floor = question.floor_rpm.unwrap_or(FLOOR_SHARE * plateau);
    let now = spread(machines.iter().map(|cell| (1.0, cell.edge)));

    let mut best: Option<(f64, f64, f64)> = None;
    let mut safest: Option<(f64, f64)> = None;
    let steps = ((rich - lean) / GRID_TURNS).round() as i32;
    let mut speeds = Vec::with_capacity(MACHINES);
    for step in 0..=steps {
        let place = lean + f64::from(step) * GRID_TURNS;
        let richest = so_far.richest + if so_far.drooped { 0.0 } else { RICHER_STEP };
        let died = place < so_far.died.0 + KEEP_OFF || so_far.died.1 - KEEP_OFF < place;
        let rough = place < so_far.too_rough + 0.5 * GRID_TURNS;
        if place < so_far.leanest - LEANER_STEP || richest < place || died || rough {
            continue;
        }
        let mut risk = 0.0;
        let mut tilt = 0.0;
        speeds.clear();
        for (index, cell) in machines.iter().enumerate() {
            let (relative, slope) = posterior.shapes[cell.shape].at(place - cell.anchor);
            let level = cell.level_rpm + cell.level_sd_rpm * scatter(index);
            let speed = level * relative;
            risk += if speed < floor { 1.0 } else { stall_chance(relative) };
            tilt += (slope * level * question.hand_sd_turns).abs();
            speeds.push(speed);
        }
        let count = machines.len() as f64;
        let (risk, tilt) = (risk / count, tilt / count);
        // Where every place is a risk, the least of them counts; the farther from the last, the less.
        let near =
            so_far.leanest.min(rich) - HALF_TURN <= place && place <= so_far.richest.max(lean) + HALF_TURN;
        let stays = (place - so_far.last).abs() < 0.5 * GRID_TURNS;
        let fear = risk + 1e-3 * (place - so_far.last).abs();
        if near && !stays && safest.is_none_or(|(least, _)| fear < least) {
            safest = Some((fear, place));
        }
        if RISK < risk {
            continue;
        }
        let noise = (posterior.noise_rpm.powi(2) + tilt * tilt).sqrt().max(1.0);
        let promise = now - expected_spread(&machines, &speeds, noise);
        let score = promise - MOVE_COST * (place - so_far.last).abs() - STALL_COST * risk * promise.max(0.0);
        if best.is_none_or(|(highest, _, _)| highest < score) {
            best = Some((score, promise, place));
        }
    }
    match best {
        Some((_, promise, place)) if WORTH_TURNS < promise || so_far.ran < FEWEST => {
            let due = RETURN_AFTER <= so_far.ran
                && !so_far.first_repeated
                && 0.1 < (so_far.last - so_far.first).abs();
            let reachable = lean <= so_far.first && so_far.first <= rich;
            Plan::Next(if due && reachable { so_far.first } else { place })
        }
        // No place seems to stay above the floor, as on an engine that was found far too lean. A few
        // holds are not enough for all that: the least risk is taken.
        None if so_far.ran < FEWEST => safest.map_or(Plan::Enough, |(_, place)| Plan::Next(place)),
        _ => Plan::Enough,
    }
}

/// The edge's standard deviation to be expected once a speed has been read.
fn expected_spread(machines: &[Cell], speeds: &[f64], noise: f64) -> f64 {
    let every = (machines.len() / OUTCOMES).max(1);
    let mut sum = 0.0;
    let mut count = 0.0;
    for (index, &speed) in speeds.iter().enumerate().step_by(every) {
        // The noise of the imagined reading itself, evenly through its distribution.
        let read = speed + noise * scatter(index / every + 7);
        sum += spread(machines.iter().zip(speeds).map(|(cell, &expected)| {
            let z = (read - expected) / noise;
            ((-0.5 * z * z).exp(), cell.edge)
        }));
        count += 1.0;
    }
    sum / count
}

/// Standard deviation of weighted values.
fn spread(values: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (mut total, mut mean, mut square) = (1e-300, 0.0, 0.0);
    for (weight, value) in values {
        total += weight;
        mean += weight * value;
        square += weight * value * value;
    }
    let mean = mean / total;
    (square / total - mean * mean).max(0.0).sqrt()
}

/// Evenly scattered standard normal values (a logistic stand-in, scaled to unit variance).
pub(super) fn scatter(index: usize) -> f64 {
    let golden = 0.618_033_988_749_894_9 * (index as f64 + 0.5);
    let share = golden - golden.floor();
    0.551_3 * (share / (1.0 - share)).ln()
}
