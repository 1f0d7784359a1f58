//! Evidence for every speed: do the lines stand where this firing pattern would put them?
//!
//! ```text
//! order there   p(P) = exp[−P/(1+s)]/(1+s)
//! noise         p(P) = (1−ε) exp(−P) + ε/(1+P)²
//! evidence      Σ over orders of ln p(order there) − ln p(noise)
//! ```
//!
//! *P* is a line's power over its floor, *s* how far an order stands above it. A share *ε* of lines in
//! noise are strays (hum, whistles) of any power: so a strong line counts no more than its match with
//! what the firing pattern expects, and *how* strong lines are beside one another tells a speed from its
//! quarter. *s* follows the firing angles ([`Firing::order_strength`]) plus an unknown unevenness of the
//! cylinders, times an unknown strength; the likeliest of a few of each is taken, band by band.
//!
//! Unevenness is not one number. In an even-firing engine of *N* cylinders, orders that leave the same
//! remainder by *N* rise and fall together (the remainders *q* and *N − q* too): cylinders alike in
//! pairs raise one such family and leave the others silent. Each family has its own unevenness.

use std::ops::Range;

use super::constants::{FAR_ABOVE, FAR_BEHIND, IDLE_MOST, IDLE_RPM, IDLE_SLOPE, STEP, STRENGTHS, UNEVENNESS};
use super::spectra::Lines;
use crate::engine::layout::Firing;

const STRONG: usize = STRENGTHS.len();
const UNEVEN: usize = UNEVENNESS.len();
/// Speeds computed side by side.
const SIDE: usize = 8;

struct Order {
    /// Distance from the first order on the logarithmic axis, cells.
    shift: usize,
    gain: [[f32; UNEVEN]; STRONG],
    cost: [[f32; UNEVEN]; STRONG],
}

/// Orders whose unevenness rises and falls together, lowest first.
struct Family {
    orders: Vec<Order>,
    /// Whether the firing angles alone imply all of them, so that unevenness hardly matters.
    implied: bool,
    /// For each group of speeds: how many orders it can use, and what they cost, line or no line.
    groups: Vec<(usize, [[f32; UNEVEN]; STRONG])>,
}

/// The comb of one firing pattern on one grid of speeds.
pub(crate) struct Comb {
    families: Vec<Family>,
}

impl Comb {
    /// The comb over `speeds` speeds whose first is `lowest_rpm`, on a logarithmic axis of `cells`.
    pub(crate) fn new(firing: &Firing, speeds: usize, cells: usize) -> Comb {
        let share = (2.0 / firing.angles_deg().len() as f64).sqrt();
        // Up to the same frequency for every speed: a limit in orders would favour fast ones.
        let most = (STEP * cells as f64).exp() as usize;
        let period = period(firing);
        let mut families: Vec<Family> = (0..=period / 2)
            .map(|_| Family { orders: Vec::new(), implied: true, groups: Vec::new() })
            .collect();
        for k in 1..=most {
            let s = STRENGTHS.map(|strength| {
                UNEVENNESS.map(|(unevenness, _)| strength * (firing.order_strength(k) + unevenness * share))
            });
            let order = Order {
                shift: ((k as f64).ln() / STEP).round() as usize,
                gain: s.map(|s| s.map(|s| (-1.0 / (1.0 + s)) as f32)),
                cost: s.map(|s| s.map(|s| s.ln_1p() as f32)),
            };
            let remainder = k % period;
            let family = &mut families[remainder.min(period - remainder)];
            family.implied &= firing.order_strength(k) > 0.9;
            family.orders.push(order);
        }
        families.retain(|family| !family.orders.is_empty());
        for family in &mut families {
            for group in 0..speeds.div_ceil(SIDE) {
                let fits = |order: &&Order| (group + 1) * SIDE + order.shift <= cells;
                let usable = family.orders.iter().take_while(fits).count();
                let mut cost = [[0.0; UNEVEN]; STRONG];
                for (strong, cost) in cost.iter_mut().enumerate() {
                    for (uneven, cost) in cost.iter_mut().enumerate() {
                        let sum: f32 = family.orders[..usable].iter().map(|o| o.cost[strong][uneven]).sum();
                        *cost = UNEVENNESS[uneven].1.ln() as f32 - sum;
                    }
                }
                family.groups.push((usable, cost));
            }
        }
        Comb { families }
    }

    /// Adds the evidence of a window's lines, so many times, for every speed of some ranges.
    ///
    /// A first pass tries one unevenness. Speeds that it leaves far behind the best keep what it found,
    /// which is at most the evidence and too little to matter; the rest are weighed in full.
    pub(crate) fn weigh(&self, bands: &[Lines], times: f32, ranges: &[Range<usize>], evidence: &mut [f32]) {
        let groups = evidence.len().div_ceil(SIDE);
        let asked = |group: &usize| {
            let first = group * SIDE;
            ranges.iter().any(|range| range.start < first + SIDE && first < range.end)
        };
        let quick: Vec<(usize, [f32; SIDE])> =
            (0..groups).filter(asked).map(|group| (group, self.group::<1>(bands, group))).collect();
        let best = quick.iter().flat_map(|(_, found)| found).copied().fold(0.0, f32::max);
        for (group, mut found) in quick {
            if best - FAR_BEHIND < found.iter().copied().fold(0.0, f32::max) {
                found = self.group::<UNEVEN>(bands, group);
            }
            for (evidence, found) in evidence[group * SIDE..].iter_mut().zip(found) {
                *evidence += times * found;
            }
        }
    }

    /// The evidence of all bands for one group of speeds, the first `GUESSES` unevennesses tried.
    fn group<const GUESSES: usize>(&self, bands: &[Lines], group: usize) -> [f32; SIDE] {
        let mut found = [0.0; SIDE];
        for lines in bands {
            let mut totals = [[0.0_f32; SIDE]; STRONG];
            for family in &self.families {
                if family.implied {
                    family.weigh::<1>(lines, group, &mut totals);
                } else {
                    family.weigh::<GUESSES>(lines, group, &mut totals);
                }
            }
            for (i, found) in found.iter_mut().enumerate() {
                *found += totals.iter().map(|totals| totals[i]).fold(0.0, f32::max);
            }
        }
        found
    }
}

impl Family {
    /// Adds to each strength's total the likeliest of the first `GUESSES` unevennesses.
    #[inline(always)]
    fn weigh<const GUESSES: usize>(&self, lines: &Lines, group: usize, totals: &mut [[f32; SIDE]; STRONG]) {
        let first = group * SIDE;
        let (usable, cost) = &self.groups[group];
        let orders = &self.orders[..*usable];
        let mut common = [0.0_f32; SIDE];
        if GUESSES == 1 {
            // All strengths at once: one unevenness of each stays in registers.
            let mut sums: [[f32; SIDE]; STRONG] = std::array::from_fn(|strong| [cost[strong][0]; SIDE]);
            for order in orders {
                let power = side(&lines.power, first + order.shift);
                let noise = side(&lines.noise, first + order.shift);
                for (sums, gains) in sums.iter_mut().zip(&order.gain) {
                    for i in 0..SIDE {
                        sums[i] += gains[0] * power[i];
                    }
                }
                for i in 0..SIDE {
                    common[i] += noise[i];
                }
            }
            for (totals, sums) in totals.iter_mut().zip(&sums) {
                for i in 0..SIDE {
                    totals[i] += common[i] + sums[i];
                }
            }
            return;
        }
        for order in orders {
            let noise = side(&lines.noise, first + order.shift);
            for i in 0..SIDE {
                common[i] += noise[i];
            }
        }
        // A strength at a time, so that all its sums stay in registers.
        for (strong, totals) in totals.iter_mut().enumerate() {
            let mut sums: [[f32; SIDE]; GUESSES] = std::array::from_fn(|uneven| [cost[strong][uneven]; SIDE]);
            for order in orders {
                let power = side(&lines.power, first + order.shift);
                for (sums, gain) in sums.iter_mut().zip(&order.gain[strong]) {
                    for i in 0..SIDE {
                        sums[i] += gain * power[i];
                    }
                }
            }
            for i in 0..SIDE {
                totals[i] += common[i] + sums.iter().map(|sums| sums[i]).fold(f32::MIN, f32::max);
            }
        }
    }
}

fn side(values: &[f32], from: usize) -> &[f32; SIDE] {
    values[from..from + SIDE].try_into().expect("a slice of SIDE because it was cut so")
}

/// What is believed of each speed before listening, in units of evidence; `around` is the speed of an
/// engine that is revved, and the factor within which it is looked for.
pub(crate) fn prior(lowest_rpm: f64, speeds: usize, around: Option<(f64, f64)>) -> Vec<f32> {
    let (from, to) = match around {
        None => IDLE_RPM,
        Some((rpm, factor)) => (rpm / factor, rpm * factor),
    };
    let most_below = if around.is_some() { IDLE_MOST.1 } else { IDLE_MOST.0 };
    (0..speeds)
        .map(|i| {
            let log = lowest_rpm.ln() + STEP * i as f64;
            let (below, above) = ((from.ln() - log) as f32, (log - to.ln()) as f32);
            let far = if around.is_none() { (log - FAR_ABOVE.0.ln()) as f32 } else { 0.0 };
            -(IDLE_SLOPE * below).clamp(0.0, most_below)
                - (IDLE_SLOPE * above).clamp(0.0, IDLE_MOST.1)
                - (IDLE_SLOPE * far).clamp(0.0, FAR_ABOVE.1)
        })
        .collect()
}

/// The number by whose remainder orders fall into families: of cylinders when they fire evenly; 2 when
/// the second half of the cycle repeats the first; else 1.
fn period(firing: &Firing) -> usize {
    let angles = firing.angles_deg();
    let cycle = firing.cycle_deg();
    let repeats = |parts: usize| {
        let shift = cycle / parts as f64;
        angles.iter().all(|a| {
            angles.iter().any(|b| {
                let off = (a + shift - b).rem_euclid(cycle);
                off.min(cycle - off) < 1.0
            })
        })
    };
    (2..=angles.len()).rev().find(|&parts| repeats(parts)).unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::layout::layout;
    use crate::sound::constants::SPEEDS_RPM;

    /// Lines of one band in which every order of a pattern at a speed stands this far above the floor.
    fn lines(firing: &Firing, rpm: f64, cells: usize, strength: f64) -> Lines {
        let mut lines = Lines { power: vec![1.0; cells], noise: vec![1.0; cells] };
        for k in 1..200 {
            let cell = ((rpm / SPEEDS_RPM.0).ln() / STEP + (k as f64).ln() / STEP).round() as usize;
            if cell < cells {
                let power = (1.0 + strength * firing.order_strength(k)) as f32;
                lines.power[cell] = power;
                lines.noise[cell] = crate::sound::spectra::unlikely(f64::from(power)) as f32;
            }
        }
        lines
    }

    #[test]
    fn a_first_pass_leaves_the_best_speeds_as_the_full_weighing_finds_them() {
        for name in ["single", "v-twin-45", "inline-4", "crossplane-4"] {
            let firing = Firing::from(layout(name).expect("a row of the table"));
            let (speeds, cells) = (400, 900);
            let comb = Comb::new(&firing, speeds, cells);
            for strength in [5.0, 60.0, 500.0] {
                let bands = [lines(&firing, 1000.0, cells, strength)];
                let mut pruned = vec![0.0; speeds];
                comb.weigh(&bands, 1.0, std::slice::from_ref(&(0..speeds)), &mut pruned);
                let full: Vec<f32> =
                    (0..speeds / SIDE).flat_map(|group| comb.group::<UNEVEN>(&bands, group)).collect();
                let best = full.iter().copied().fold(0.0, f32::max);
                for (pruned, full) in pruned.iter().zip(&full) {
                    assert!(pruned <= full, "{name}: {pruned} of {full}");
                    assert!(*full < best - 1.0 || pruned == full, "{name}: {pruned} of {full}, best {best}");
                }
                let at = (0..speeds).max_by(|&a, &b| pruned[a].total_cmp(&pruned[b])).expect("some speed");
                let rpm = SPEEDS_RPM.0 * (STEP * at as f64).exp();
                assert!((rpm / 1000.0 - 1.0).abs() < 0.01, "{name} at {strength}: {rpm}");
            }
        }
    }
}
