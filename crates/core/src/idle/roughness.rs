//! The second response: an engine runs the rougher, the leaner it is beyond where its first cycles fail to burn.
//!
//! ```text
//! ln rᵢ = a + b·s(c − xᵢ) + d·s(xᵢ − c − R) + eᵢ       s(u) = w·ln(1 + exp(u/w))
//! ```
//!
//! | symbol | meaning | unit |
//! |:---:|---|:---:|
//! | *rᵢ* | spread of the speed held, as a share of it | – |
//! | *xᵢ* | richness position of the hold | turns |
//! | *c* | where it begins to roughen | turns |
//! | *a*, *b*, *d* | roughness when calm; its rise per turn leaner, and per turn far richer | – |
//! | *eᵢ* | what a hold of some ten seconds errs in a spread, and the day | – |
//!
//! *a*, *b* and *d* enter linearly and are integrated in closed form; *c* lies near the edge of the speed curve, how
//! near depends on whether cylinders share an intake. Spreads of the priors are magnitudes from memory.
//! Four tenths of the belief do not heed roughness at all, so that it never outweighs the speeds.

use crate::idle::data::Data;
use crate::idle::linear::{cholesky, solve};

/// Prior means and standard deviations of *a*, *b*, *d*.
const CALM: (f64, f64) = (-4.4, 0.8);
const LEANER_PER_TURN: (f64, f64) = (1.6, 1.0);
const RICHER_PER_TURN: (f64, f64) = (0.2, 0.3);
/// *R*: so far beyond *c* an engine may roughen from richness, turns.
const RICH_AFTER_TURNS: f64 = 1.5;
/// *w*, turns, and the standard deviation of *e*.
const SOFT_TURNS: f64 = 0.1;
const ERROR_SD: f64 = 0.25;
/// Share of the belief that does not heed roughness.
const UNHEEDED: f64 = 0.4;
/// Fewest holds with a spread that say anything.
const FEWEST: usize = 3;
/// Spacing of the table, turns.
const STEP_TURNS: f64 = 1.0 / 16.0;

/// How the place where an engine roughens lies to the edge of its speed curve, turns richer: mean and standard
/// deviation. One cylinder a carburettor first burns worse, then fails; where cylinders share an intake, the
/// leanest of them may fail while the others still gain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Coupling {
    pub(super) mean_turns: f64,
    pub(super) sd_turns: f64,
}

/// One cylinder a carburettor.
pub(super) const ALONE: Coupling = Coupling { mean_turns: -0.6, sd_turns: 0.5 };
/// Cylinders that share an intake.
pub(super) const SHARED: Coupling = Coupling { mean_turns: -0.1, sd_turns: 0.6 };

/// What the roughness of the holds says.
pub(super) struct Roughness {
    first: f64,
    /// Logarithm of the evidence for each place of *c*.
    places: Vec<f64>,
    /// The same for each place of the edge, heeded as far as it is.
    edges: Vec<f64>,
    flat: f64,
    coupling: Coupling,
}

impl Roughness {
    /// What the holds say of edges between two places; `None` where too few tell their spread.
    pub(super) fn new(data: &Data, lean: f64, rich: f64, coupling: Coupling) -> Option<Roughness> {
        let heard: Vec<(f64, f64)> =
            data.readings.iter().filter_map(|r| Some((r.richness, r.roughness?.max(1e-4).ln()))).collect();
        if heard.len() < FEWEST {
            return None;
        }
        let first = lean - 1.0;
        let count = ((rich + 1.0 - first) / STEP_TURNS).ceil() as usize + 1;
        let at = |index: usize| first + index as f64 * STEP_TURNS;
        let places: Vec<f64> = (0..count).map(|index| evidence(&heard, Some(at(index)))).collect();
        // A place beyond all holds cannot be told from one where nothing roughens.
        let flat = evidence(&heard, None);
        let highest = places.iter().copied().fold(flat, f64::max);
        let heed = |share: f64| ((1.0 - UNHEEDED) * share + UNHEEDED).ln();
        let edges = (0..count)
            .map(|edge| {
                let (mut sum, mut weight) = (0.0, 1e-300);
                for (index, ln) in places.iter().enumerate() {
                    let near = coupling.density(at(index) - at(edge));
                    sum += near * (ln - highest).exp();
                    weight += near;
                }
                heed(sum / weight)
            })
            .collect();
        Some(Roughness { first, places, edges, flat: heed((flat - highest).exp()), coupling })
    }

    /// Logarithm of the probability of what was heard, for an edge.
    pub(super) fn of_edge(&self, edge: f64) -> f64 {
        let place = ((edge - self.first) / STEP_TURNS).clamp(0.0, (self.edges.len() - 2) as f64);
        let index = place as usize;
        self.edges[index] + (place - index as f64) * (self.edges[index + 1] - self.edges[index])
    }

    /// The same where nothing ever roughens.
    pub(super) fn of_none(&self) -> f64 {
        self.flat
    }

    /// Where it begins to roughen, richness: belief over the places, given an edge.
    pub(super) fn given_edge(&self, edge: f64) -> impl Iterator<Item = (f64, f64)> + '_ {
        let highest = self.places.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        self.places.iter().enumerate().map(move |(index, ln)| {
            let place = self.first + index as f64 * STEP_TURNS;
            (place, self.coupling.density(place - edge) * (ln - highest).exp())
        })
    }
}

impl Coupling {
    fn density(&self, richer_turns: f64) -> f64 {
        (-0.5 * ((richer_turns - self.mean_turns) / self.sd_turns).powi(2)).exp()
    }
}

/// Logarithm of the probability of the holds' roughness if it begins at a place, or nowhere; *a*, *b*, *d* integrated.
fn evidence(heard: &[(f64, f64)], begins: Option<f64>) -> f64 {
    let soft = |u: f64| {
        let z = u / SOFT_TURNS;
        SOFT_TURNS * if z > 30.0 { z } else { z.exp().ln_1p() }
    };
    let prior = [CALM, LEANER_PER_TURN, RICHER_PER_TURN];
    let mut m = [[0.0; 3]; 3];
    let mut b = [0.0; 3];
    let mut chi = 0.0;
    for &(x, y) in heard {
        let row = begins.map_or([1.0, 0.0, 0.0], |c| [1.0, soft(c - x), soft(x - c - RICH_AFTER_TURNS)]);
        // About the prior's mean, so that the integral is over deviations from it.
        let left = y - row.iter().zip(prior).map(|(part, (mean, _))| part * mean).sum::<f64>();
        let weight = ERROR_SD.powi(-2);
        chi += weight * left * left;
        for i in 0..3 {
            b[i] += weight * row[i] * left;
            for j in 0..=i {
                m[i][j] += weight * row[i] * row[j];
            }
        }
    }
    let mut ln_prior = 0.0;
    for (i, (_, sd)) in prior.into_iter().enumerate() {
        m[i][i] += sd.powi(-2);
        ln_prior -= sd.ln();
    }
    let (factor, determinant) = cholesky(&m);
    let mean = solve(&factor, &b);
    let explained: f64 = b.iter().zip(mean).map(|(b, mean)| b * mean).sum();
    ln_prior - 0.5 * (chi - explained + determinant.ln())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::idle::data::Reading;

    fn data(roughness: impl Fn(f64) -> f64) -> Data {
        let reading = |richness: f64| Reading {
            richness,
            rpm: 1000.0,
            se_rpm: Some(5.0),
            at_min: None,
            offset: 0,
            travel: 0.0,
            roughness: Some(roughness(richness)),
        };
        let readings = [1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0].map(reading).to_vec();
        Data { readings, lean_stalls: vec![], rich_stalls: vec![], offsets: 0, level_rpm: 1000.0 }
    }

    #[test]
    fn an_engine_that_roughens_leaner_than_a_place_has_its_edge_near_it() {
        let rough = Roughness::new(&data(|x| 0.01 * (2.0 * (1.75 - x).max(0.0)).exp()), 0.0, 6.0, ALONE)
            .expect("seven holds tell their spread");
        let edges = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0].map(|edge| rough.of_edge(edge));
        let best = edges.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        assert!(edges[2] == best || edges[3] == best, "{edges:?}");
        assert!(0.2 < best - edges[0] && 0.2 < best - edges[5], "{edges:?}");
        assert!(rough.of_none() < best - 0.2);
    }

    #[test]
    fn an_engine_that_is_calm_everywhere_says_only_that_no_edge_lies_far_within_what_was_held() {
        let rough = Roughness::new(&data(|_| 0.01), 0.0, 6.0, ALONE).expect("seven holds tell their spread");
        assert!(rough.of_edge(3.5) < rough.of_edge(1.0) - 0.2);
        assert!(rough.of_edge(3.5) < rough.of_none() - 0.2);
    }
}
