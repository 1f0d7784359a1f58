//! Sizes and instants of firings, the shapes held.

use super::between::{between, dot, overlap};
use super::{Firing, Pulses};
use crate::sound::constants::{
    HURRIES, LEARNING_SIZE_PENALTY, PUNCTUAL_DEG, RETIMED_S, SIZE_PENALTY, TIMED_S, TIMING_SHARE,
};

impl Pulses {
    /// Size of every firing and, while shapes are learned, its instant: one after the other, the others held.
    pub(super) fn fit(&mut self, learning: bool) {
        let noise = self.left() as f32;
        let penalty = if learning { LEARNING_SIZE_PENALTY } else { SIZE_PENALTY };
        let punctual = (PUNCTUAL_DEG * self.degree) as f32;
        let (mut values, mut steeps) = (Vec::new(), Vec::new());
        for index in 0..self.firings.len() {
            let firing = self.firings[index].clone();
            let shape = self.shape_of(firing.position);
            let (from, weights, slopes) = self.placed(firing.at);
            let (skip, take) = overlap(from, self.length, self.rest.len());
            if take == 0 {
                continue;
            }
            let rest = &self.rest[(from + skip as i64) as usize..][..take];
            between(&self.shapes[shape], weights, skip, take, &mut values);
            let (along, own) = (dot(rest, &values), dot(&values, &values));
            if own <= 0.0 {
                continue;
            }
            // A firing of which little is seen says little: it is drawn to the usual size.
            let penalty = penalty * own;
            let size = ((along + firing.size * own + penalty) / (own + penalty)).clamp(-0.5, 3.0);
            let mut at = firing.at;
            if learning && size > 0.2 {
                between(&self.shapes[shape], slopes, skip, take, &mut steeps);
                let (late, steep, mixed) = (dot(rest, &steeps), dot(&steeps, &steeps), dot(&values, &steeps));
                // What the change of size leaves of the slope.
                let late = size * (late - (size - firing.size) * mixed);
                let away = (firing.at - firing.expected) as f32;
                let tether = noise / (punctual * punctual);
                let step = (late - tether * away) / (1.3 * size * size * steep + tether);
                at += f64::from(step.clamp(-0.8, 0.8));
            }
            if at == firing.at {
                self.add(shape, at, firing.size - size);
            } else {
                self.add(shape, firing.at, firing.size);
                self.add(shape, at, -size);
            }
            self.firings[index].at = at;
            self.firings[index].size = size;
        }
    }

    /// Finds the likeliest instants of all firings together: each where the waveform is like its shape, none far
    /// from where its neighbours hurry or tarry to.
    pub(super) fn retime(&mut self) {
        let noise = self.left() as f32;
        let reach = (RETIMED_S * self.rate_hz).round() as i64;
        let timed = self.length.min(self.before + (TIMED_S * self.rate_hz).round() as usize);
        let states = 2 * reach as usize + 1;
        let step = (HURRIES * self.interval).powi(2) + 2.0 * (PUNCTUAL_DEG * self.degree).powi(2);
        // What it costs to come to a state from another, by how far apart they are, either way.
        let apart = |i: usize| i.abs_diff(states - 1) as f32;
        let cost: Vec<f32> = (0..2 * states - 1).map(|i| huber(apart(i) / step.sqrt() as f32)).collect();
        let mut best = vec![0.0_f32; states];
        let mut came = Vec::with_capacity(self.firings.len());
        let mut placed = Vec::new();
        for index in 0..self.firings.len() {
            let Firing { position, at, size, .. } = self.firings[index];
            let shape = self.shape_of(position);
            self.add(shape, at, size);
            let (from, weights, _) = self.placed(at);
            between(&self.shapes[shape], weights, 0, timed, &mut placed);
            let own = dot(&placed, &placed).max(1e-20);
            let mut now = vec![f32::MIN; states];
            let mut back = vec![0_i32; states];
            for (before, value) in best.iter().enumerate() {
                // All states from one before, then from the next: the processor takes several at once.
                let costs = &cost[states - 1 - before..][..states];
                for ((now, back), cost) in now.iter_mut().zip(&mut back).zip(costs) {
                    let value = value - cost;
                    *back = if value > *now { before as i32 } else { *back };
                    *now = if value > *now { value } else { *now };
                }
            }
            for (state, now) in now.iter_mut().enumerate() {
                let from = from + state as i64 - reach;
                let (skip, take) = overlap(from, timed, self.rest.len());
                let rest = &self.rest[(from + skip as i64) as usize..][..take];
                let along = dot(rest, &placed[skip..skip + take]);
                *now += along.max(0.0).powi(2) / (2.0 * own * noise.max(1e-20)) * TIMING_SHARE;
            }
            self.add(shape, at, -size);
            best = now;
            came.push(back);
        }
        let mut state = (0..states).max_by(|&a, &b| best[a].total_cmp(&best[b])).unwrap_or(0);
        for index in (0..self.firings.len()).rev() {
            let Firing { position, at, size, .. } = self.firings[index];
            let moved = at + (state as i64 - reach) as f64;
            if moved != at {
                let shape = self.shape_of(position);
                self.add(shape, at, size);
                self.add(shape, moved, -size);
            }
            self.firings[index].at = moved;
            self.firings[index].expected = moved;
            state = came[index][state] as usize;
        }
    }
}

/// What so many deviations cost: small ones by their square, large ones in proportion.
fn huber(deviations: f32) -> f32 {
    if deviations < 2.0 { 0.5 * deviations * deviations } else { 2.0 * deviations - 2.0 }
}
