//! The mean cycle of an engine: loudness against crank angle, order by order.
//!
//! Odd and even cycles are summed apart. What they have in common is the engine's; by how much they
//! differ tells the noise of each order: of the sound around, of firings that differ, and of an angle
//! that is not yet known well. So the orders that prove strong speak, and no other.

use std::f32::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use super::{LANES, Lanes};
use crate::sound::constants::{FEWEST_VALUES, NEAR_ORDERS, PROVES};

/// Places of a cycle at which the template is known.
const PLACES: usize = 128;

/// Transforms of one cycle's places.
pub(super) struct Transforms {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
}

impl Transforms {
    pub(super) fn new() -> Transforms {
        let mut planner = RealFftPlanner::new();
        Transforms { forward: planner.plan_fft_forward(PLACES), inverse: planner.plan_fft_inverse(PLACES) }
    }
}

/// Sums of loudness by place, of even and of odd cycles.
pub(super) struct Sums {
    halves: [Half; 2],
}

struct Half {
    sums: [Lanes; PLACES],
    counts: [f32; PLACES],
}

impl Sums {
    pub(super) fn new() -> Sums {
        let half = || Half { sums: [[0.0; LANES]; PLACES], counts: [0.0; PLACES] };
        Sums { halves: [half(), half()] }
    }

    /// Adds a share of one value of loudness at an angle, cycles.
    pub(super) fn add(&mut self, angle: f64, loudness: &Lanes, share: f32) {
        let half = &mut self.halves[usize::from(angle.floor().rem_euclid(2.0) >= 1.0)];
        let (place, next, between) = places(angle);
        for (place, share) in [(place, share * (1.0 - between)), (next, share * between)] {
            for (sum, loudness) in half.sums[place].iter_mut().zip(loudness) {
                *sum += share * loudness;
            }
            half.counts[place] += share;
        }
    }

    /// A half's mean at a place; where it has none, the other's.
    fn mean(&self, half: usize, place: usize, lane: usize) -> f32 {
        [&self.halves[half], &self.halves[1 - half]]
            .into_iter()
            .find(|half| 0.0 < half.counts[place])
            .map_or(0.0, |half| half.sums[place][lane] / half.counts[place])
    }
}

/// The mean cycle, and what a shift of it looks like.
pub(super) struct Template {
    places: Vec<Place>,
}

#[derive(Clone, Copy, Default)]
struct Place {
    value: Lanes,
    /// Change of the value, per cycle.
    slope: Lanes,
    /// The slope, each order over its noise: what a deviation from the value says of a shift.
    score: Lanes,
}

impl Template {
    /// The template of these sums, up to an order; none from less than a few cycles.
    pub(super) fn new(sums: &Sums, highest: usize, transforms: &Transforms) -> Option<Template> {
        let counts = [0, 1].map(|half| sums.halves[half].counts.iter().sum::<f32>());
        if counts[0].min(counts[1]) < FEWEST_VALUES {
            return None;
        }
        let highest = highest.min(PLACES / 2 - 1);
        let mut places = vec![Place::default(); PLACES];
        for lane in 0..LANES {
            let halves = [0, 1].map(|half| {
                let means = (0..PLACES).map(|place| sums.mean(half, place, lane)).collect();
                orders(means, transforms)
            });
            let (mut value, mut slope, mut score) = (silence(), silence(), silence());
            for (order, mean, noise) in proven(&halves, highest) {
                value[order] = mean;
                slope[order] = mean * Complex::new(0.0, TAU * order as f32);
                score[order] = slope[order] / (noise * (counts[0] + counts[1]));
            }
            let [value, slope, score] = [value, slope, score].map(|orders| cycle(orders, transforms));
            for (at, place) in places.iter_mut().enumerate() {
                (place.value[lane], place.slope[lane], place.score[lane]) = (value[at], slope[at], score[at]);
            }
        }
        Some(Template { places })
    }

    /// What one value of loudness at an angle says of a shift: its information, and its pull; a shift is
    /// the sum of pulls over the sum of information. No deviation counts for more than `most_off`.
    pub(super) fn compare(&self, angle: f64, loudness: &Lanes, most_off: f32) -> (f32, f32) {
        let (place, next, between) = places(angle);
        let (here, there) = (&self.places[place], &self.places[next]);
        let (mut information, mut pull) = (0.0, 0.0);
        for lane in 0..LANES {
            let mix = |here: &Lanes, there: &Lanes| here[lane] + between * (there[lane] - here[lane]);
            let score = mix(&here.score, &there.score);
            information += score * mix(&here.slope, &there.slope);
            let off = loudness[lane] - mix(&here.value, &there.value);
            pull += score * off.clamp(-most_off, most_off);
        }
        (information, pull)
    }
}

/// The places on either side of an angle, and how far it lies between them.
fn places(angle: f64) -> (usize, usize, f32) {
    let at = (angle - angle.floor()) as f32 * PLACES as f32;
    let place = at as usize;
    // An angle just below a whole cycle may round up to one.
    (place % PLACES, (place + 1) % PLACES, at - place as f32)
}

/// The orders that stand above their noise, with what is left of their mean once noise is taken off, and the
/// variance of that mean.
fn proven(halves: &[Vec<Complex<f32>>; 2], highest: usize) -> Vec<(usize, Complex<f32>, f32)> {
    let differ: Vec<f32> =
        halves[0].iter().zip(&halves[1]).map(|(even, odd)| 0.25 * (even - odd).norm_sqr()).collect();
    (1..=highest)
        .filter_map(|order| {
            let near =
                &differ[order.saturating_sub(NEAR_ORDERS).max(1)..(order + NEAR_ORDERS).min(highest) + 1];
            let noise = near.iter().sum::<f32>() / near.len() as f32 + f32::MIN_POSITIVE;
            let mean = 0.5 * (halves[0][order] + halves[1][order]);
            let left = 1.0 - PROVES * noise / mean.norm_sqr();
            (0.0 < left).then(|| (order, mean * left, noise))
        })
        .collect()
}

fn silence() -> Vec<Complex<f32>> {
    vec![Complex::default(); PLACES / 2 + 1]
}

/// The orders of a cycle.
fn orders(mut means: Vec<f32>, transforms: &Transforms) -> Vec<Complex<f32>> {
    let mut orders = silence();
    // Lengths are right by construction, which is all that a transform can refuse.
    let _ = transforms.forward.process(&mut means, &mut orders);
    orders.iter_mut().for_each(|order| *order /= PLACES as f32);
    orders
}

/// The cycle that has these orders.
fn cycle(mut orders: Vec<Complex<f32>>, transforms: &Transforms) -> Vec<f32> {
    let mut cycle = vec![0.0; PLACES];
    let _ = transforms.inverse.process(&mut orders, &mut cycle);
    cycle
}
