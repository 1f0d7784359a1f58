//! Evidence for every speed: do the lines stand where this firing pattern would put them?
//!
//! In noise alone a line's power over its floor, *P*, is exponentially distributed with mean 1; where
//! an order stands *s* above the floor its mean is *1 + s*. The logarithm of the likelihood ratio is
//! then *P·s/(1+s) − ln(1+s)*, summed over the orders of a speed. *s* follows the firing angles
//! ([`Firing::order_strength`]) plus an unknown unevenness of the cylinders, times an unknown
//! strength; the likeliest of a few of each is taken, band by band.
//!
//! Unevenness is not one number. In an even-firing engine of *N* cylinders, orders that leave the same
//! remainder by *N* rise and fall together (the remainders *q* and *N − q* too): cylinders alike in
//! pairs raise one such family and leave the others silent. Each family has its own unevenness.

use super::constants::{
    FAR_ABOVE, FAST_FACTOR, IDLE_MOST, IDLE_RPM, IDLE_SLOPE, STEP, STRENGTHS, UNEVENNESS,
};
use crate::engine::layout::Firing;

const STRONG: usize = STRENGTHS.len();
const UNEVEN: usize = UNEVENNESS.len();
/// Speeds computed side by side.
const SIDE: usize = 4;

struct Order {
    /// Distance from the first order on the logarithmic axis, cells.
    shift: usize,
    /// Each gain once for every speed computed side by side: read, not spread out, in the inner loop.
    gain: [[[f32; SIDE]; UNEVEN]; STRONG],
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
                gain: s.map(|s| s.map(|s| [(s / (1.0 + s)) as f32; SIDE])),
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

    /// Adds the evidence of one band's lines for every speed.
    pub(crate) fn weigh(&self, lines: &[f32], evidence: &mut [f32]) {
        for (group, evidence) in evidence.chunks_mut(SIDE).enumerate() {
            let first = group * SIDE;
            let mut totals = [[0.0_f32; SIDE]; STRONG];
            for family in &self.families {
                if family.implied {
                    family.weigh::<1>(lines, first, group, &mut totals);
                } else {
                    family.weigh::<UNEVEN>(lines, first, group, &mut totals);
                }
            }
            for (i, evidence) in evidence.iter_mut().enumerate() {
                *evidence += totals.iter().map(|totals| totals[i]).fold(0.0, f32::max);
            }
        }
    }
}

impl Family {
    /// Adds to each strength's total the likeliest of the first `GUESSES` unevennesses.
    #[inline(always)]
    fn weigh<const GUESSES: usize>(
        &self,
        lines: &[f32],
        first: usize,
        group: usize,
        totals: &mut [[f32; SIDE]; STRONG],
    ) {
        let (usable, cost) = &self.groups[group];
        let mut sums: [[[f32; SIDE]; GUESSES]; STRONG] =
            std::array::from_fn(|strong| std::array::from_fn(|uneven| [cost[strong][uneven]; SIDE]));
        for order in &self.orders[..*usable] {
            let from = first + order.shift;
            let lines: &[f32; SIDE] =
                lines[from..from + SIDE].try_into().expect("a slice of SIDE because it was cut so");
            for (sums, gains) in sums.iter_mut().zip(&order.gain) {
                for (sums, gain) in sums.iter_mut().zip(gains) {
                    for i in 0..SIDE {
                        sums[i] += gain[i] * lines[i];
                    }
                }
            }
        }
        for (totals, sums) in totals.iter_mut().zip(&sums) {
            for i in 0..SIDE {
                totals[i] += sums.iter().map(|sums| sums[i]).fold(f32::MIN, f32::max);
            }
        }
    }
}

/// What is believed of each speed before listening, in units of evidence; `fast_rpm` is the speed of an
/// engine already heard to be revved.
pub(crate) fn prior(lowest_rpm: f64, speeds: usize, fast_rpm: Option<f64>) -> Vec<f32> {
    let (from, to) = match fast_rpm {
        None => IDLE_RPM,
        Some(rpm) => (rpm / FAST_FACTOR, rpm * FAST_FACTOR),
    };
    let most_below = if fast_rpm.is_some() { IDLE_MOST.1 } else { IDLE_MOST.0 };
    (0..speeds)
        .map(|i| {
            let log = lowest_rpm.ln() + STEP * i as f64;
            let (below, above) = ((from.ln() - log) as f32, (log - to.ln()) as f32);
            let far = if fast_rpm.is_none() { (log - FAR_ABOVE.0.ln()) as f32 } else { 0.0 };
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
