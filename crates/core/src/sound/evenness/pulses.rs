//! What each firing adds to the waveform: shapes of pulses learned from the stretch itself, and the size and
//! instant of every firing that explain it best.
//!
//! The waveform is taken for a sum of pulses, *x(t) = Σ aᵢ h(t − tᵢ) + noise*. Shapes *h* reach as far as a room
//! rings, so a firing is not blamed for what the ones before it left behind. Sizes, instants and shapes are
//! improved in turn, each by least squares with the others held; a penalty that grows with distance keeps a
//! shape near its own firing as long as nothing speaks for more.

use super::phase::narrowest;
use crate::sound::constants::{
    HURRIES, LEARNING_ROUNDS, LEARNING_STEPS, OWN_SHAPES, PULSE_AFTER_S, PULSE_BEFORE_S, PUNCTUAL_DEG,
    RETIMED_ROUNDS, RETIMED_S, SHAPE_PENALTY, SIZE_PENALTY, TIMING_SHARE,
};

/// Shapes of pulses: one for each position of the pattern, or one for all. Two values of silence stand before and one
/// after each, for interpolation.
#[derive(Clone, Debug)]
pub(super) struct Shapes {
    /// Values before a firing's instant, and in all.
    before: usize,
    length: usize,
    each: Vec<Vec<f32>>,
}

/// One firing in a stretch.
#[derive(Clone, Debug)]
pub(super) struct Firing {
    /// Cycle and position in the pattern, from 0.
    pub(super) cycle: usize,
    pub(super) position: usize,
    /// When its pulse begins, in values of the waveform.
    pub(super) at: f64,
    /// When it was expected.
    expected: f64,
    /// Its size in multiples of its shape.
    pub(super) size: f32,
}

/// A stretch of waveform taken apart.
#[derive(Clone)]
pub(super) struct Pulses {
    rate_hz: f64,
    before: usize,
    length: usize,
    shapes: Vec<Vec<f32>>,
    firings: Vec<Firing>,
    /// What no pulse explains.
    rest: Vec<f32>,
    /// Distance of firings on average, and a degree of the crank, both in values.
    interval: f64,
    degree: f64,
}

impl Pulses {
    /// Takes a waveform apart whose cycles begin at `begins` (the last is the end of the last cycle), its shapes
    /// not `known` or as an earlier stretch had them.
    pub(super) fn learn(
        wave: &[f32],
        rate_hz: f64,
        begins: &[f64],
        shares: &[f64],
        cycle_deg: f64,
        known: Option<&Shapes>,
    ) -> Pulses {
        let cycles = begins.len() - 1;
        let mut firings = Vec::with_capacity(cycles * shares.len());
        for cycle in 0..cycles {
            for (position, share) in shares.iter().enumerate() {
                let at = begins[cycle] + share * (begins[cycle + 1] - begins[cycle]);
                firings.push(Firing { cycle, position, at, expected: at, size: 1.0 });
            }
        }
        let period = (begins[cycles] - begins[0]) / cycles as f64;
        let shapes = known.cloned().unwrap_or_else(|| Shapes::silent(shares, period, rate_hz));
        let mut pulses = Pulses {
            rate_hz,
            before: shapes.before,
            length: shapes.length,
            shapes: shapes.each,
            firings,
            rest: wave.to_vec(),
            interval: period / shares.len() as f64,
            degree: period / cycle_deg,
        };
        if known.is_some() {
            pulses.renew(wave);
            pulses.improve(wave, 1..3);
        } else {
            pulses.improve(wave, 0..LEARNING_ROUNDS);
            let together = pulses.together(wave);
            // Shapes of their own explain more in any case: noise, if nothing else.
            let more = (pulses.shapes.len() - 1) * pulses.length;
            let by_chance = together.left() * more as f64 / wave.len().max(1) as f64;
            if together.left() - pulses.left() <= OWN_SHAPES * by_chance {
                pulses = together;
            }
        }
        pulses.fit(false);
        pulses.fit(false);
        pulses
    }

    /// The shapes learned, for the next stretch.
    pub(super) fn shapes(&self) -> Shapes {
        Shapes { before: self.before, length: self.length, each: self.shapes.clone() }
    }

    /// The same with one shape for all positions.
    fn together(&self, wave: &[f32]) -> Pulses {
        let mut together = self.clone();
        if self.shapes.len() == 1 {
            return together;
        }
        let count = self.shapes.len() as f32;
        let mean =
            (0..self.length + 3).map(|i| self.shapes.iter().map(|shape| shape[i]).sum::<f32>() / count);
        together.shapes = vec![mean.collect()];
        together.renew(wave);
        together.fit(false);
        together.improve(wave, 2..5);
        together
    }

    fn improve(&mut self, wave: &[f32], rounds: std::ops::Range<usize>) {
        for round in rounds {
            if round > 0 {
                if round <= RETIMED_ROUNDS {
                    self.retime();
                }
                self.fit(true);
                self.rescale();
            }
            self.shape(wave, round);
        }
    }

    /// Power that no pulse explains, a value.
    fn left(&self) -> f64 {
        f64::from(self.rest.iter().map(|x| x * x).sum::<f32>()) / self.rest.len().max(1) as f64
    }

    pub(super) fn firings(&self) -> &[Firing] {
        &self.firings
    }

    fn shape_of(&self, position: usize) -> usize {
        if self.shapes.len() == 1 { 0 } else { position }
    }

    /// Energy of the shape at a position.
    pub(super) fn energy(&self, position: usize) -> f64 {
        f64::from(self.shapes[self.shape_of(position)].iter().map(|x| x * x).sum::<f32>())
    }

    /// Standard deviation by which noise changes the strength of a firing, in units of the root of its energy:
    /// what shapes find, between firings, of what no pulse explains.
    pub(super) fn noise(&self) -> f64 {
        let (mut sum, mut count) = (0.0, 0.0_f64);
        let mut values = Vec::new();
        for firing in &self.firings {
            for part in [0.25, 0.5, 0.75] {
                let shape = &self.shapes[self.shape_of(firing.position)];
                let (from, weights, _) = self.placed(firing.at + part * self.interval);
                let (skip, take) = overlap(from, self.length, self.rest.len());
                if take < self.length {
                    continue;
                }
                let rest = &self.rest[(from + skip as i64) as usize..][..take];
                between(shape, weights, skip, take, &mut values);
                let (along, own) = (dot(rest, &values), dot(&values, &values));
                if own > 0.0 {
                    sum += f64::from(along * along / own);
                    count += 1.0;
                }
            }
        }
        (sum / count.max(1.0)).sqrt()
    }

    /// Where a firing's shape begins in the waveform, and the weights that put it between values.
    fn placed(&self, at: f64) -> (i64, [f32; 4], [f32; 4]) {
        let whole = at.floor();
        let part = (at - whole) as f32;
        (whole as i64 - self.before as i64, weights(part), slopes(part))
    }

    /// Adds a number of times a firing's shape to the rest.
    fn add(&mut self, shape: usize, at: f64, times: f32) {
        let (from, weights, _) = self.placed(at);
        add_between(&self.shapes[shape], weights.map(|weight| weight * times), from, &mut self.rest);
    }

    /// Size and, if asked, instant of every firing, one after the other, the others held.
    fn fit(&mut self, instants: bool) {
        let noise = self.left() as f32;
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
            let penalty = SIZE_PENALTY * own;
            let size = ((along + firing.size * own + penalty) / (own + penalty)).clamp(-0.5, 3.0);
            let mut at = firing.at;
            if instants && size > 0.2 {
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
    fn retime(&mut self) {
        let noise = self.left() as f32;
        let reach = (RETIMED_S * self.rate_hz).round() as i64;
        let states = 2 * reach as usize + 1;
        let step = (HURRIES * self.interval).powi(2) + 2.0 * (PUNCTUAL_DEG * self.degree).powi(2);
        let cost: Vec<f32> = (0..states).map(|i| huber(i as f32 / step.sqrt() as f32)).collect();
        let mut best = vec![0.0_f32; states];
        let mut came = Vec::with_capacity(self.firings.len());
        let mut placed = Vec::new();
        for index in 0..self.firings.len() {
            let Firing { position, at, size, .. } = self.firings[index];
            let shape = self.shape_of(position);
            self.add(shape, at, size);
            let (from, weights, _) = self.placed(at);
            between(&self.shapes[shape], weights, 0, self.length, &mut placed);
            let own = dot(&placed, &placed).max(1e-20);
            let mut now = vec![0.0_f32; states];
            let mut back = vec![0_u8; states];
            for state in 0..states {
                let from = from + state as i64 - reach;
                let (skip, take) = overlap(from, self.length, self.rest.len());
                let rest = &self.rest[(from + skip as i64) as usize..][..take];
                let along = dot(rest, &placed[skip..skip + take]);
                let likely = along.max(0.0).powi(2) / (2.0 * own * noise.max(1e-20)) * TIMING_SHARE;
                let (mut most, mut whence) = (f32::MIN, 0);
                for (before, value) in best.iter().enumerate() {
                    let value = value - cost[before.abs_diff(state)];
                    if value > most {
                        (most, whence) = (value, before);
                    }
                }
                now[state] = most + likely;
                back[state] = whence as u8;
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
            state = usize::from(came[index][state]);
        }
    }

    /// Makes the usual size 1, at each position that has a shape of its own.
    fn rescale(&mut self) {
        for shape in 0..self.shapes.len() {
            let alone = self.shapes.len() == 1;
            let own = |firing: &&mut Firing| alone || firing.position == shape;
            let (mut sum, mut count) = (0.0, 0.0_f32);
            for firing in self.firings.iter_mut().filter(own) {
                sum += firing.size;
                count += 1.0;
            }
            let mean = sum / count.max(1.0);
            if mean > 0.05 {
                self.firings.iter_mut().filter(own).for_each(|firing| firing.size /= mean);
                self.shapes[shape].iter_mut().for_each(|x| *x *= mean);
            }
        }
    }

    /// Makes the rest anew, so that what single steps lose by rounding does not add up.
    fn renew(&mut self, wave: &[f32]) {
        self.rest.copy_from_slice(wave);
        for index in 0..self.firings.len() {
            let Firing { position, at, size, .. } = self.firings[index];
            self.add(self.shape_of(position), at, -size);
        }
    }

    /// Improves the shapes by conjugate gradients; later rounds allow them to reach further.
    fn shape(&mut self, wave: &[f32], round: usize) {
        self.renew(wave);
        let (near, far) = SHAPE_PENALTY;
        let far = if round == 0 { 1.0 } else { far };
        let shapes = self.shapes.len();
        let width = self.length + 3;
        let counts: Vec<f32> = (0..shapes)
            .map(|shape| {
                let own = self.firings.iter().filter(|firing| self.shape_of(firing.position) == shape);
                own.map(|firing| firing.size * firing.size).sum()
            })
            .collect();
        let penalty: Vec<f32> = (0..shapes * width)
            .map(|i| {
                let away = ((i % width) as f64 - 2.0 - self.before as f64).abs() / self.interval;
                counts[i / width] * (near + far * (away * away) as f32)
            })
            .collect();
        let rest = std::mem::take(&mut self.rest);
        let mut slope = self.gather(&rest);
        for (i, slope) in slope.iter_mut().enumerate() {
            *slope -= penalty[i] * self.shapes[i / width][i % width];
        }
        let mut step = vec![0.0_f32; slope.len()];
        let scaled = |i: usize, x: f32| x / (counts[i / width] + penalty[i]).max(1e-20);
        let mut eased: Vec<f32> = slope.iter().enumerate().map(|(i, &x)| scaled(i, x)).collect();
        let mut way = eased.clone();
        let mut size: f32 = slope.iter().zip(&eased).map(|(a, b)| a * b).sum();
        let mut sound = vec![0.0_f32; rest.len()];
        for _ in 0..LEARNING_STEPS {
            self.scatter(&way, &mut sound);
            let mut bent = self.gather(&sound);
            bent.iter_mut().zip(&penalty).zip(&way).for_each(|((bent, penalty), way)| *bent += penalty * way);
            let curve: f32 = way.iter().zip(&bent).map(|(a, b)| a * b).sum();
            if curve <= 0.0 {
                break;
            }
            let far = size / curve;
            for i in 0..step.len() {
                step[i] += far * way[i];
                slope[i] -= far * bent[i];
                eased[i] = scaled(i, slope[i]);
            }
            let now: f32 = slope.iter().zip(&eased).map(|(a, b)| a * b).sum();
            let keep = now / size.max(1e-30);
            size = now;
            way.iter_mut().zip(&eased).for_each(|(way, eased)| *way = eased + keep * *way);
        }
        self.scatter(&step, &mut sound);
        self.rest = rest;
        self.rest.iter_mut().zip(&sound).for_each(|(rest, sound)| *rest -= sound);
        for (i, step) in step.iter().enumerate() {
            self.shapes[i / width][i % width] += step;
        }
    }

    /// What firings would sound like with these shapes.
    fn scatter(&self, shapes: &[f32], sound: &mut [f32]) {
        sound.fill(0.0);
        let width = self.length + 3;
        for firing in &self.firings {
            let (from, weights, _) = self.placed(firing.at);
            let weights = weights.map(|weight| weight * firing.size);
            let shape = &shapes[self.shape_of(firing.position) * width..][..width];
            add_between(shape, weights, from, sound);
        }
    }

    /// The transpose of [`Self::scatter`].
    fn gather(&self, sound: &[f32]) -> Vec<f32> {
        let width = self.length + 3;
        let mut shapes = vec![0.0_f32; self.shapes.len() * width];
        for firing in &self.firings {
            let (from, weights, _) = self.placed(firing.at);
            let shape = &mut shapes[self.shape_of(firing.position) * width..][..width];
            let (skip, take) = overlap(from, self.length, sound.len());
            let sound = &sound[(from + skip as i64) as usize..][..take];
            for (tap, weight) in weights.iter().enumerate() {
                let weight = weight * firing.size;
                for (into, x) in shape[skip + tap..].iter_mut().zip(sound) {
                    *into += weight * x;
                }
            }
        }
        // The silence at each end stays silent.
        for shape in shapes.chunks_mut(width) {
            shape[..2].fill(0.0);
            shape[width - 1..].fill(0.0);
        }
        shapes
    }
}

/// What so many deviations cost: small ones by their square, large ones in proportion.
fn huber(deviations: f32) -> f32 {
    if deviations < 2.0 { 0.5 * deviations * deviations } else { 2.0 * deviations - 2.0 }
}

impl Shapes {
    fn silent(shares: &[f64], period: f64, rate_hz: f64) -> Shapes {
        let before = (PULSE_BEFORE_S * rate_hz).min(0.4 * narrowest(shares) * period).round() as usize;
        let length = before + (PULSE_AFTER_S * rate_hz).round() as usize;
        Shapes { before, length, each: vec![vec![0.0; length + 3]; shares.len()] }
    }
}

/// The sum of products, in eight sums side by side.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    let (first, second) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = first.remainder().iter().zip(second.remainder()).map(|(a, b)| a * b).sum();
    for (a, b) in first.zip(second) {
        for i in 0..8 {
            sums[i] += a[i] * b[i];
        }
    }
    rest + sums.iter().sum::<f32>()
}

/// A shape between values, some of them skipped.
fn between(shape: &[f32], weights: [f32; 4], skip: usize, take: usize, values: &mut Vec<f32>) {
    values.clear();
    values.resize(take, 0.0);
    let [a, b, c, d] = [0, 1, 2, 3].map(|tap| &shape[skip + tap..][..take]);
    for i in 0..take {
        values[i] = weights[0] * a[i] + weights[1] * b[i] + weights[2] * c[i] + weights[3] * d[i];
    }
}

/// Adds a shape between values where it lies in a sound.
fn add_between(shape: &[f32], weights: [f32; 4], from: i64, sound: &mut [f32]) {
    let (skip, take) = overlap(from, shape.len() - 3, sound.len());
    let into = &mut sound[(from + skip as i64) as usize..][..take];
    let [a, b, c, d] = [0, 1, 2, 3].map(|tap| &shape[skip + tap..][..take]);
    for i in 0..take {
        into[i] += weights[0] * a[i] + weights[1] * b[i] + weights[2] * c[i] + weights[3] * d[i];
    }
}

/// How many values of `length` from `from` on lie before the sound, and how many within it.
fn overlap(from: i64, length: usize, sound: usize) -> (usize, usize) {
    let skip = (-from).clamp(0, length as i64) as usize;
    let end = (sound as i64 - from).clamp(skip as i64, length as i64) as usize;
    (skip, end - skip)
}

/// Cubic interpolation a part of a value before the third of four.
fn weights(part: f32) -> [f32; 4] {
    let p = 1.0 - part;
    [
        -p * (p - 1.0) * (p - 2.0) / 6.0,
        (p + 1.0) * (p - 1.0) * (p - 2.0) / 2.0,
        -(p + 1.0) * p * (p - 2.0) / 2.0,
        (p + 1.0) * p * (p - 1.0) / 6.0,
    ]
}

/// How those weights change with the part.
fn slopes(part: f32) -> [f32; 4] {
    let p = 1.0 - part;
    [
        (3.0 * p * p - 6.0 * p + 2.0) / 6.0,
        -(3.0 * p * p - 4.0 * p - 1.0) / 2.0,
        (3.0 * p * p - 2.0 * p - 2.0) / 2.0,
        -(3.0 * p * p - 1.0) / 6.0,
    ]
}
