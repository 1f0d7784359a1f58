//! Where cycles begin: the speed trace summed up, and put right by the sound itself.
//!
//! A trace that errs by 2 rpm errs by a cycle within half a minute, so phase must be followed. The loudness of the
//! low waveform, read at the firing angles, says how well a cycle begins here or there; the likeliest way
//! through a stretch is found by dynamic programming.

use crate::sound::Frame;
use crate::sound::constants::{PHASE_BINS, PHASE_STEP_COST, PHASE_STEPS, SWELL_S};

/// Where cycles would begin by the trace alone, seconds: from an instant on, as long as whole cycles fit.
pub(super) fn by_trace(frames: &[Frame], from_s: f64, to_s: f64, cycles_per_rpm_s: f64) -> Vec<f64> {
    let mut begins = vec![from_s];
    let mut at_s = from_s;
    let mut turned = 0.0;
    let mut next = 0;
    // A millisecond at a time, speed between frames on a straight line.
    const STEP_S: f64 = 1e-3;
    while at_s < to_s {
        while next < frames.len() && frames[next].t_s <= at_s {
            next += 1;
        }
        let (Some(before), Some(after)) =
            (frames.get(next.saturating_sub(1)), frames.get(next.min(frames.len().saturating_sub(1))))
        else {
            return begins;
        };
        let part = if after.t_s > before.t_s { (at_s - before.t_s) / (after.t_s - before.t_s) } else { 0.0 };
        let rpm = before.rpm + part.clamp(0.0, 1.0) * (after.rpm - before.rpm);
        let rate = rpm * cycles_per_rpm_s;
        if turned + rate * STEP_S >= 1.0 {
            begins.push(at_s + (1.0 - turned) / rate);
            turned -= 1.0;
        }
        turned += rate * STEP_S;
        at_s += STEP_S;
    }
    begins
}

/// The shortest way from one firing to the next, as a share of a cycle.
pub(super) fn narrowest(shares: &[f64]) -> f64 {
    (0..shares.len())
        .map(|i| shares.get(i + 1).copied().unwrap_or(1.0 + shares[0]) - shares[i])
        .fold(1.0, f64::min)
}

/// How loud the waveform is around each value, as multiples of the stretch's usual deviation.
pub(super) fn swell(wave: &[f32], rate_hz: f64) -> Vec<f32> {
    let reach = (SWELL_S * rate_hz / 2.0).round() as usize;
    let mut sums = Vec::with_capacity(wave.len() + 1);
    let mut sum = 0.0_f64;
    sums.push(0.0);
    for &x in wave {
        sum += f64::from(x * x);
        sums.push(sum);
    }
    let mut loud: Vec<f32> = (0..wave.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(wave.len()));
            ((sums[to] - sums[from]) / (to - from) as f64).max(0.0).sqrt() as f32
        })
        .collect();
    let count = loud.len().max(1) as f32;
    let mean = loud.iter().sum::<f32>() / count;
    let spread = (loud.iter().map(|x| (x - mean).powi(2)).sum::<f32>() / count).sqrt().max(1e-12);
    loud.iter_mut().for_each(|x| *x = (*x - mean) / spread);
    loud
}

/// Begins of cycles put right by the sound: `begins` and the result count values of `swell`; `shares` are
/// the firing angles as shares of a cycle. Where a `known` begin goes on, the first cycle stays near it.
pub(super) fn by_sound(begins: &[f64], shares: &[f64], swell: &[f32], known: bool) -> Vec<f64> {
    let cycles = begins.len().saturating_sub(1);
    if cycles == 0 {
        return begins.to_vec();
    }
    let length = |cycle: usize| begins[cycle + 1] - begins[cycle];
    let at = |place: f64| -> f32 {
        // A stretch begins before its first cycle, so no place lies before the stretch.
        let whole = place as usize;
        let read = |i: usize| swell.get(i).copied().unwrap_or(0.0);
        read(whole) + (place - whole as f64) as f32 * (read(whole + 1) - read(whole))
    };
    let score = |cycle: usize, bin: usize| -> f32 {
        let late = bin as f64 / PHASE_BINS as f64;
        shares.iter().map(|share| at(begins[cycle] + (late + share) * length(cycle))).sum()
    };
    let mut best: Vec<f32> = (0..PHASE_BINS)
        .map(|bin| {
            let away = bin.min(PHASE_BINS - bin) as f32;
            score(0, bin) - if known { 4.0 * step_cost(away) } else { 0.0 }
        })
        .collect();
    // From a bin at the end of the circle steps lead on into its begin: so many bins stand there twice.
    const REACH: usize = PHASE_STEPS as usize;
    let costs: Vec<f32> = (-PHASE_STEPS..=PHASE_STEPS).map(|step| step_cost(f32::from(step))).collect();
    let mut wound = [0.0_f32; PHASE_BINS + 2 * REACH];
    let mut steps: Vec<Vec<i32>> = Vec::with_capacity(cycles);
    for cycle in 1..cycles {
        wound[..REACH].copy_from_slice(&best[PHASE_BINS - REACH..]);
        wound[REACH..REACH + PHASE_BINS].copy_from_slice(&best);
        wound[REACH + PHASE_BINS..].copy_from_slice(&best[..REACH]);
        let mut came = vec![0_i32; PHASE_BINS];
        best.fill(f32::MIN);
        // All bins for one step, then the next: the processor takes several at once.
        for (step, cost) in (-i32::from(PHASE_STEPS)..).zip(&costs) {
            let from = &wound[(REACH as i32 - step) as usize..][..PHASE_BINS];
            for ((best, came), from) in best.iter_mut().zip(&mut came).zip(from) {
                let value = from - cost;
                *came = if value > *best { step } else { *came };
                *best = if value > *best { value } else { *best };
            }
        }
        best.iter_mut().enumerate().for_each(|(bin, best)| *best += score(cycle, bin));
        steps.push(came);
    }
    let mut bin = (0..PHASE_BINS).max_by(|&a, &b| best[a].total_cmp(&best[b])).unwrap_or(0) as i32;
    // Back through the steps; bins count on beyond the circle, so that no cycle is lost where it closes.
    let mut bins = vec![bin];
    for came in steps.iter().rev() {
        bin -= came[bin.rem_euclid(PHASE_BINS as i32) as usize];
        bins.push(bin);
    }
    bins.reverse();
    // The circle is cut so that the first cycle begins within one of where it was thought to, or next to it.
    let first = f64::from(bins[0]) / PHASE_BINS as f64;
    let turns = if known { first.round() } else { first.floor() };
    let late = |i: usize| f64::from(bins[i]) / PHASE_BINS as f64 - turns;
    let mut found: Vec<f64> = (0..cycles).map(|cycle| begins[cycle] + late(cycle) * length(cycle)).collect();
    found.push(begins[cycles] + late(cycles - 1) * length(cycles - 1));
    found
}

/// What a shift from cycle to cycle costs: small ones go with their square; after a missed firing the crank falls
/// behind at once, so large ones cost no more than in proportion.
fn step_cost(bins: f32) -> f32 {
    let (square, knee) = PHASE_STEP_COST;
    let bins = bins.abs();
    if bins < knee { square * bins * bins } else { square * knee * (2.0 * bins - knee) }
}
