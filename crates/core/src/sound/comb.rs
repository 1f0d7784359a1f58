//! Evidence for every speed: do the lines stand where this firing pattern would put them?
//!
//! In noise alone a line's power over its floor, *P*, is exponentially distributed with mean 1; where
//! an order stands *s* above the floor its mean is *1 + s*. The logarithm of the likelihood ratio is
//! then *P·s/(1+s) − ln(1+s)*, summed over the orders of a speed. *s* follows the firing angles
//! ([`Firing::order_strength`]) plus an unknown unevenness of the cylinders, times an unknown
//! strength; the best of a few of each is taken, band by band.

use super::constants::{LINES_HZ, STEP, STRENGTHS, UNEVENNESS};
use crate::engine::layout::Firing;

/// Number of combinations of strength and unevenness.
const GUESSES: usize = STRENGTHS.len() * UNEVENNESS.len();
/// Speeds computed side by side.
const SIDE: usize = 8;

struct Order {
    /// Distance from the first order on the logarithmic axis, cells.
    shift: usize,
    gain: [f32; GUESSES],
}

/// The comb of one firing pattern on one grid of speeds.
pub(crate) struct Comb {
    orders: Vec<Order>,
    /// For each group of speeds and guess: what the orders cost, line or no line, and the guess's
    /// own weight.
    cost: Vec<[[f32; SIDE]; GUESSES]>,
    /// For each group: how many orders all its speeds can use.
    usable: Vec<usize>,
    speeds: usize,
}

impl Comb {
    /// The comb over `speeds` speeds whose first has the cycle rate `first_hz`; `cells` is the
    /// length of the logarithmic axis.
    pub(crate) fn new(firing: &Firing, first_hz: f64, speeds: usize, cells: usize) -> Comb {
        let most = (16 * firing.angles_deg().len()).max(32);
        let most = most.min((LINES_HZ.1 / first_hz) as usize);
        let mut orders = Vec::new();
        let mut costs = Vec::new();
        for k in 1..=most {
            let shift = ((k as f64).ln() / STEP).round() as usize;
            let (mut gain, mut cost) = ([0.0_f32; GUESSES], [0.0_f64; GUESSES]);
            for (i, strength) in STRENGTHS.iter().enumerate() {
                for (j, (unevenness, _)) in UNEVENNESS.iter().enumerate() {
                    let s = strength * (firing.order_strength(k) + unevenness);
                    gain[i * UNEVENNESS.len() + j] = (s / (1.0 + s)) as f32;
                    cost[i * UNEVENNESS.len() + j] = s.ln_1p();
                }
            }
            orders.push(Order { shift, gain });
            costs.push(cost);
        }
        let groups = speeds.div_ceil(SIDE);
        let usable =
            |group: usize| orders.iter().take_while(|o| group * SIDE + SIDE + o.shift <= cells).count();
        let usable: Vec<usize> = (0..groups).map(usable).collect();
        let cost = usable
            .iter()
            .map(|&usable| {
                let mut cost = [[0.0_f32; SIDE]; GUESSES];
                for (guess, cost) in cost.iter_mut().enumerate() {
                    let weight = UNEVENNESS[guess % UNEVENNESS.len()].1 / STRENGTHS.len() as f64;
                    let sum: f64 = costs[..usable].iter().map(|cost| cost[guess]).sum();
                    *cost = [(weight.ln() - sum) as f32; SIDE];
                }
                cost
            })
            .collect();
        Comb { orders, cost, usable, speeds }
    }

    /// Adds the evidence of one band's lines for every speed, times `weight`.
    pub(crate) fn weigh(&self, lines: &[f32], weight: f32, evidence: &mut [f32]) {
        for (group, (cost, &usable)) in self.cost.iter().zip(&self.usable).enumerate() {
            let first = group * SIDE;
            let mut sums = *cost;
            for order in &self.orders[..usable] {
                let lines = &lines[first + order.shift..first + order.shift + SIDE];
                for (sums, gain) in sums.iter_mut().zip(order.gain) {
                    for (sum, line) in sums.iter_mut().zip(lines) {
                        *sum += gain * line;
                    }
                }
            }
            let last = (first + SIDE).min(self.speeds);
            for (i, evidence) in evidence[first..last].iter_mut().enumerate() {
                let best = sums.iter().map(|sums| sums[i]).fold(0.0, f32::max);
                *evidence += weight * best;
            }
        }
    }
}
