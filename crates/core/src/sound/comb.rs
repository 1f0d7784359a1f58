//! Evidence for every speed: do the lines stand where this firing pattern would put them?
//!
//! ```text
//! order there   p(P) = (1−μ) exp[−P/(1+s)]/(1+s) + μ/(1+P)²
//! noise         p(P) = (1−ε) exp(−P) + ε/(1+P)²
//! evidence      Σ over orders of ln p(order there) − ln p(noise)
//! strength      s(k) = A { S(k) e^(−φ²) + [1 + σ² − e^(−φ²)] / N } / (1 + f²/f₀²),   φ = 2π f τ
//! ```
//!
//! *P* is a line's power over its floor, *s* how far an order stands above it. A share *ε* of lines in
//! noise are strays (hum, whistles) of any power: so a strong line counts no more than its match with
//! what the firing pattern expects, and *how* strong lines are beside one another tells a speed from its
//! quarter. A share *μ* of orders is as it pleases: pipes swallow some and lift others.
//!
//! The *N* cylinders' pulses differ in strength by a share *σ* and arrive early or late by a time *τ*
//! (unequal headers, burning that begins late): so orders which the firing angles cancel (*S(k)* = 0,
//! [`Firing::order_strength`]) are there all the same, the stronger the higher their frequency *f*. Of a few
//! pairs of *σ* and *τ* and a few strengths *A* the likeliest is taken, band by band.
//!
//! Loudness is no train of needles: its orders fall off with their frequency, from *f₀* on
//! ([`FALLS_HZ`]). That tells a speed from its multiples and its parts: a cycle of several pulses has weak orders
//! below the strong one of its firings, a single pulse has none, and a speed much too high has its firings where
//! little is left. For the same reason the strength *A* is limited the more, the faster the firings follow
//! one another ([`STRONGEST`]).
//!
//! Unevenness is not one number. In an even-firing engine of *N* cylinders, orders that leave the same
//! remainder by *N* rise and fall together (the remainders *q* and *N − q* too): cylinders alike in
//! pairs raise one such family and leave the others silent. Each family has its own unevenness.

use std::f64::consts::TAU;
use std::ops::Range;

use pulp::{Simd, WithSimd};

use super::constants::{
    ABOUT_FACTOR, ABOUT_MOST, BELIEVED_MOST, BELIEVED_SLOPE, FALLS_HZ, FAR_BEHIND, IDLE_MOST, IDLE_RPM,
    IDLE_SLOPE, SLOW, STEP, STRENGTHS, STRONGEST, UNEVENNESS,
};
use super::spectra::Lines;
use crate::engine::layout::Firing;

const STRONG: usize = STRENGTHS.len();
const UNEVEN: usize = UNEVENNESS.len();
/// Speeds computed side by side.
const SIDE: usize = 8;

/// One order of the cycle for the speeds of one group.
struct Tooth {
    /// Where its line stands for the first of these speeds, cells.
    place: usize,
    /// *−1/(1+s)* for each unevenness and strength.
    gain: [[f32; STRONG]; UNEVEN],
    /// *−ln(1+s)*.
    cost: [[f32; STRONG]; UNEVEN],
}

/// Orders whose unevenness rises and falls together, lowest first.
struct Family {
    teeth: Vec<Tooth>,
    /// Whether the firing angles alone imply all of them, so that unevenness hardly matters.
    implied: bool,
}

/// The comb of one firing pattern on one grid of speeds.
pub(crate) struct Comb {
    /// For each group of speeds, its families of orders.
    groups: Vec<Vec<Family>>,
    /// Whether more unevennesses than the first are tried.
    thorough: bool,
    /// The widest instructions that this processor has.
    arch: pulp::Arch,
}

impl Comb {
    /// The comb over `speeds` speeds whose first is `lowest_rpm`, on a logarithmic axis of `cells`; it tries the
    /// first unevenness alone unless it is `thorough`.
    pub(crate) fn new(firing: &Firing, lowest_rpm: f64, speeds: usize, cells: usize, thorough: bool) -> Comb {
        let period = period(firing);
        let orders: Vec<(usize, usize, f64)> = (1..=(STEP * cells as f64).exp() as usize)
            .map(|k| (k, ((k as f64).ln() / STEP).round() as usize, firing.order_strength(k)))
            .collect();
        let first_hz = firing.cycles_per_second(lowest_rpm);
        let hz_at = |cell: usize| first_hz * (STEP * cell as f64).exp();
        let cylinders = firing.angles_deg().len() as f64;
        let groups = (0..speeds.div_ceil(SIDE))
            .map(|group| {
                let mut families: Vec<Family> =
                    (0..=period / 2).map(|_| Family { teeth: Vec::new(), implied: true }).collect();
                let strengths = strengths(cylinders * hz_at(group * SIDE));
                // Up to the same frequency for every speed: a limit in orders would favour fast ones.
                for &(k, shift, strength) in
                    orders.iter().filter(|(_, shift, _)| (group + 1) * SIDE + shift <= cells)
                {
                    let place = group * SIDE + shift;
                    let family = &mut families[(k % period).min(period - k % period)];
                    family.implied &= strength > 0.9;
                    family.teeth.push(Tooth::new(cylinders, place, strength, hz_at(place), &strengths));
                }
                families.retain(|family| !family.teeth.is_empty());
                families
            })
            .collect();
        Comb { groups, thorough, arch: pulp::Arch::new() }
    }

    /// Adds the evidence of a window's lines, so many times, for every speed of a range.
    ///
    /// A thorough comb first tries one unevenness. Speeds that it leaves far behind the best keep what it found,
    /// which is at most the evidence and too little to matter; the rest are weighed in full.
    pub(crate) fn weigh(&self, bands: &[Lines], times: f32, range: Range<usize>, evidence: &mut [f32]) {
        self.arch.dispatch(Weighing { comb: self, bands, times, range, evidence });
    }
}

/// What [`Comb::weigh`] is asked, for whatever instructions there are.
struct Weighing<'a> {
    comb: &'a Comb,
    bands: &'a [Lines],
    times: f32,
    range: Range<usize>,
    evidence: &'a mut [f32],
}

impl WithSimd for Weighing<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let groups = &self.comb.groups;
        let asked = self.range.start / SIDE..self.range.end.div_ceil(SIDE);
        let mut quick = Vec::with_capacity(asked.len());
        let mut best = 0.0;
        for group in asked.clone() {
            let found = weigh_group::<S, true>(simd, &groups[group], self.bands);
            best = highest(&found).max(best);
            quick.push(found);
        }
        for (group, mut found) in asked.zip(quick) {
            if self.comb.thorough && best - FAR_BEHIND < highest(&found) {
                found = weigh_group::<S, false>(simd, &groups[group], self.bands);
            }
            for (evidence, found) in self.evidence[group * SIDE..].iter_mut().zip(found) {
                *evidence += self.times * found;
            }
        }
    }
}

impl Tooth {
    /// An order of this frequency, implied by so much, of so many cylinders.
    fn new(cylinders: f64, place: usize, implied: f64, hz: f64, strengths: &[f64; STRONG]) -> Tooth {
        let left = 1.0 / (1.0 + (hz / FALLS_HZ).powi(2));
        let s = UNEVENNESS.map(|(share, late_s, _)| {
            let together = (-(TAU * hz * late_s).powi(2)).exp();
            let expected = implied * together + (1.0 + share * share - together) / cylinders;
            strengths.map(|strength| strength * left * expected)
        });
        Tooth {
            place,
            gain: s.map(|s| s.map(|s| (-1.0 / (1.0 + s)) as f32)),
            cost: s.map(|s| s.map(|s| -s.ln_1p() as f32)),
        }
    }
}

/// The strengths to try where so many firings come in a second.
fn strengths(firings_per_s: f64) -> [f64; STRONG] {
    let (at_60, power, least) = STRONGEST;
    let strongest = (at_60 * (60.0 / firings_per_s).powf(power)).max(least);
    STRENGTHS.map(|strength| strength.min(strongest))
}

/// The evidence of all bands for one group of speeds; `quick` tries the first unevenness alone.
#[inline(always)]
fn weigh_group<S: Simd, const QUICK: bool>(simd: S, families: &[Family], bands: &[Lines]) -> [f32; SIDE] {
    let mut found = [0.0; SIDE];
    // As many speeds at a time as one register holds.
    for (part, found) in S::as_mut_simd_f32s(&mut found).0.iter_mut().enumerate() {
        let offset = part * S::F32_LANES;
        for lines in bands {
            let mut totals = [simd.splat_f32s(0.0); STRONG];
            for family in families {
                if family.implied || QUICK {
                    weigh_alike(simd, &family.teeth, lines, offset, &mut totals);
                } else {
                    weigh_uneven(simd, &family.teeth, lines, offset, &mut totals);
                }
            }
            let mut likeliest = simd.splat_f32s(0.0);
            for total in totals {
                likeliest = simd.max_f32s(likeliest, total);
            }
            *found = simd.add_f32s(*found, likeliest);
        }
    }
    found
}

/// Adds to each strength's total what the first unevenness makes of a family: all strengths at once, so that
/// their sums stay in registers.
#[inline(always)]
#[expect(clippy::needless_range_loop, reason = "several tables share the place")]
fn weigh_alike<S: Simd>(
    simd: S,
    teeth: &[Tooth],
    lines: &Lines,
    offset: usize,
    totals: &mut [S::f32s; STRONG],
) {
    let mut sums = [simd.splat_f32s(0.0); STRONG];
    let mut common = simd.splat_f32s(0.0);
    for tooth in teeth {
        let place = tooth.place + offset;
        let (power, stray) = (side::<S>(&lines.power, place), side::<S>(&lines.stray, place));
        common = simd.add_f32s(common, side::<S>(&lines.noise, place));
        for strong in 0..STRONG {
            let fits = fits(simd, power, stray, tooth.gain[0][strong], tooth.cost[0][strong]);
            sums[strong] = simd.add_f32s(sums[strong], fits);
        }
    }
    for strong in 0..STRONG {
        totals[strong] = simd.add_f32s(totals[strong], simd.add_f32s(common, sums[strong]));
    }
}

/// Adds to each strength's total the likeliest unevenness.
#[inline(always)]
#[expect(clippy::needless_range_loop, reason = "several tables share the place")]
fn weigh_uneven<S: Simd>(
    simd: S,
    teeth: &[Tooth],
    lines: &Lines,
    offset: usize,
    totals: &mut [S::f32s; STRONG],
) {
    let mut common = simd.splat_f32s(0.0);
    for tooth in teeth {
        common = simd.add_f32s(common, side::<S>(&lines.noise, tooth.place + offset));
    }
    // A strength at a time, so that all its sums stay in registers.
    for strong in 0..STRONG {
        let mut sums = [simd.splat_f32s(0.0); UNEVEN];
        for tooth in teeth {
            let place = tooth.place + offset;
            let (power, stray) = (side::<S>(&lines.power, place), side::<S>(&lines.stray, place));
            for uneven in 0..UNEVEN {
                let fits = fits(simd, power, stray, tooth.gain[uneven][strong], tooth.cost[uneven][strong]);
                sums[uneven] = simd.add_f32s(sums[uneven], fits);
            }
        }
        let mut likeliest = simd.splat_f32s(f32::MIN);
        for (sum, (_, _, believable)) in sums.into_iter().zip(UNEVENNESS) {
            likeliest = simd.max_f32s(likeliest, simd.add_f32s(sum, simd.splat_f32s(believable)));
        }
        totals[strong] = simd.add_f32s(totals[strong], simd.add_f32s(common, likeliest));
    }
}

/// The logarithm of the density of a line where an order of some strength should be, or is as it pleases.
/// A product and a sum, not both in one: they round alike on every machine.
#[inline(always)]
fn fits<S: Simd>(simd: S, power: S::f32s, stray: S::f32s, gain: f32, cost: f32) -> S::f32s {
    let product = simd.mul_f32s(simd.splat_f32s(gain), power);
    simd.max_f32s(simd.add_f32s(product, simd.splat_f32s(cost)), stray)
}

/// As many cells as one register holds, from one on.
#[inline(always)]
fn side<S: Simd>(values: &[f32], from: usize) -> S::f32s {
    S::as_simd_f32s(&values[from..from + S::F32_LANES]).0[0]
}

#[inline(always)]
fn highest(values: &[f32; SIDE]) -> f32 {
    let mut highest = f32::MIN;
    for value in values {
        highest = highest.max(*value);
    }
    highest
}

/// What is believed of each speed where an engine is first met: the logarithm of its share, to be scaled.
pub(crate) fn first_met(lowest_rpm: f64, speeds: usize) -> Vec<f32> {
    by_speed(lowest_rpm, speeds, |log| {
        let (below, above) = (IDLE_RPM.0.ln() - log, log - IDLE_RPM.1.ln());
        -(IDLE_SLOPE * below.max(above) as f32).clamp(0.0, IDLE_MOST)
    })
}

/// What is taken off the evidence of each speed in every frame; `around` is the speed of an engine that is revved,
/// and the factor within which it is looked for.
pub(crate) fn believed(lowest_rpm: f64, speeds: usize, around: Option<(f64, f64)>) -> Vec<f32> {
    let (from, to) = match around {
        None => IDLE_RPM,
        Some((rpm, factor)) => (rpm / factor, rpm * factor),
    };
    let below = if around.is_none() { SLOW } else { (BELIEVED_SLOPE, BELIEVED_MOST) };
    outside(lowest_rpm, speeds, (from, to), (below, BELIEVED_MOST))
}

/// What is believed of each speed where a tachometer was read: as [`believed`], but more firmly.
pub(crate) fn believed_about(lowest_rpm: f64, speeds: usize, about_rpm: f64) -> Vec<f32> {
    let range = (about_rpm / ABOUT_FACTOR, about_rpm * ABOUT_FACTOR);
    outside(lowest_rpm, speeds, range, ((BELIEVED_SLOPE, ABOUT_MOST), ABOUT_MOST))
}

/// What is taken off outside a range of speeds: slope and most below it, and the most above it.
fn outside(
    lowest_rpm: f64,
    speeds: usize,
    (from, to): (f64, f64),
    (below, most_above): ((f32, f32), f32),
) -> Vec<f32> {
    by_speed(lowest_rpm, speeds, |log| {
        let (under, over) = ((from.ln() - log) as f32, (log - to.ln()) as f32);
        -(below.0 * under).clamp(0.0, below.1) - (BELIEVED_SLOPE * over).clamp(0.0, most_above)
    })
}

fn by_speed(lowest_rpm: f64, speeds: usize, value: impl Fn(f64) -> f32) -> Vec<f32> {
    (0..speeds).map(|i| value(lowest_rpm.ln() + STEP * i as f64)).collect()
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
    use crate::sound::spectra::{stray, unlikely};

    /// Lines of one band in which every order of a pattern at a speed stands this far above the floor.
    fn lines(firing: &Firing, rpm: f64, cells: usize, strength: f64) -> Lines {
        let mut lines =
            Lines { power: vec![1.0; cells], noise: vec![1.0; cells], stray: vec![stray(1.0) as f32; cells] };
        for k in 1..200 {
            let cell = ((rpm / SPEEDS_RPM.0).ln() / STEP + (k as f64).ln() / STEP).round() as usize;
            if cell < cells {
                let power = (1.0 + strength * firing.order_strength(k)) as f32;
                lines.power[cell] = power;
                lines.noise[cell] = unlikely(f64::from(power)) as f32;
                lines.stray[cell] = stray(f64::from(power)) as f32;
            }
        }
        lines
    }

    #[test]
    fn a_first_pass_leaves_the_best_speeds_as_the_full_weighing_finds_them() {
        for name in ["single", "v-twin-45", "inline-4", "crossplane-4"] {
            let firing = Firing::from(layout(name).expect("a row of the table"));
            let (speeds, cells) = (400, 900);
            let comb = Comb::new(&firing, SPEEDS_RPM.0, speeds, cells, true);
            for strength in [5.0, 60.0, 500.0] {
                let bands = [lines(&firing, 1000.0, cells, strength)];
                let mut pruned = vec![0.0; speeds];
                comb.weigh(&bands, 1.0, 0..speeds, &mut pruned);
                let full: Vec<f32> = comb
                    .groups
                    .iter()
                    .flat_map(|group| weigh_group::<_, false>(pulp::Scalar::new(), group, &bands))
                    .collect();
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
