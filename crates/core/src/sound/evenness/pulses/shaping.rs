//! Shapes of pulses, the sizes and instants of firings held.

use super::Pulses;
use super::between::{add_between, gather_between, overlap};
use crate::sound::constants::{LEARNING_STEPS, SHAPE_PENALTY};

impl Pulses {
    /// Improves the shapes by conjugate gradients; later rounds allow them to reach further.
    pub(super) fn shape(&mut self, wave: &[f32], round: usize) {
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
            gather_between(sound, weights.map(|weight| weight * firing.size), &mut shape[skip..]);
        }
        // The silence at each end stays silent.
        for shape in shapes.chunks_mut(width) {
            shape[..2].fill(0.0);
            shape[width - 1..].fill(0.0);
        }
        shapes
    }
}
