//! How far noise is from the sizes of firings.

use std::f64::consts::PI;

use super::Pulses;
use super::between::{between, dot, overlap};
use crate::sound::constants::SIZE_PENALTY;

/// Frequencies at which a train of pulses is looked at.
const FREQUENCIES: usize = 64;

impl Pulses {
    /// Standard deviation by which noise changes the strength of a firing, in units of the root of its energy.
    pub(in super::super) fn noise(&self) -> f64 {
        self.found_between() * self.spread_by_overlap().sqrt()
    }

    /// What shapes find, between firings, of what no pulse explains: a standard deviation, in the same units.
    fn found_between(&self) -> f64 {
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

    /// How many times more noise power gets into the sizes of pulses that run into one another than into those of
    /// pulses that stand alone.
    ///
    /// By least squares sizes have the covariance of the noise times *G⁻¹*, *G* what pulses have in common. In a
    /// steady train *G* hangs on the distance of two firings alone, and the diagonal of its inverse is the mean of
    /// 1/*S* over frequency, *S*(*ω*) = 1 + 2 Σ *ρₖ* cos *kω*.
    fn spread_by_overlap(&self) -> f64 {
        let common = self.common();
        let power = |step: usize| {
            let frequency = PI * (step as f64 + 0.5) / FREQUENCIES as f64;
            let others =
                (1..).zip(&common).map(|(k, common)| 2.0 * common * (f64::from(k) * frequency).cos());
            // The penalty of sizes keeps what cannot be told apart at all from growing without bound.
            (1.0 + others.sum::<f64>()).max(0.0) + f64::from(SIZE_PENALTY)
        };
        (0..FREQUENCIES).map(|step| 1.0 / power(step)).sum::<f64>() / FREQUENCIES as f64
    }

    /// What a pulse has in common with the next, the next but one and so on, as long as they overlap: a correlation,
    /// on average over the cycle in the middle of the stretch.
    fn common(&self) -> Vec<f64> {
        let reach = (self.length as f64 / self.interval).ceil() as usize;
        let positions = self.firings.iter().map(|firing| firing.position + 1).max().unwrap_or(0);
        let from = (self.firings.len() / 2).saturating_sub(positions);
        let (mut one, mut other) = (Vec::new(), Vec::new());
        let mut sums = vec![(0.0, 0.0_f64); reach];
        for index in from..(from + positions).min(self.firings.len()) {
            let firing = &self.firings[index];
            let (begins, weights, _) = self.placed(firing.at);
            between(&self.shapes[self.shape_of(firing.position)], weights, 0, self.length, &mut one);
            for (sum, next) in sums.iter_mut().zip(&self.firings[index + 1..]) {
                let (next_begins, weights, _) = self.placed(next.at);
                between(&self.shapes[self.shape_of(next.position)], weights, 0, self.length, &mut other);
                let away = usize::try_from(next_begins - begins).unwrap_or(0).min(self.length);
                let together = dot(&one[away..], &other[..self.length - away]);
                let own = (dot(&one, &one) * dot(&other, &other)).sqrt();
                sum.0 += f64::from(together / own.max(1e-20));
                sum.1 += 1.0;
            }
        }
        sums.into_iter().map(|(sum, count)| sum / count.max(1.0)).collect()
    }
}
