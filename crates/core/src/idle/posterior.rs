//! What is believed after the holds, and what can be asked of it.

use std::sync::Arc;

use crate::idle::question::Question;
use crate::idle::roughness::Roughness;
use crate::idle::shape::Shape;

/// Findings about the machine, in the order of [`Posterior::findings`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Finding {
    Normal,
    OutsideWindow,
    Starved,
    Flooded,
    NoEffect,
    Unsteady,
}

pub(super) const FINDINGS: [Finding; 6] = [
    Finding::Normal,
    Finding::OutsideWindow,
    Finding::Starved,
    Finding::Flooded,
    Finding::NoEffect,
    Finding::Unsteady,
];

/// Belief in each finding before the first hold (common practice, no source).
pub(super) const PRIOR: [f64; 6] = [0.52, 0.21, 0.10, 0.08, 0.05, 0.04];

/// What an edge and a shape mean for this machine.
pub(super) fn finding(question: &Question, anchor: f64, shape: &Shape) -> Finding {
    let (advise_lean, advise_rich) = question.advisable();
    let (window_lean, window_rich) = question.window();
    let best = anchor + shape.best;
    // Where no edge is, the screw is left where it is fastest.
    let setting = if shape.has_edge { anchor + question.cooling.margin_turns() } else { best };
    let moves = |place: f64| shape.at(place - anchor).0 < 1.0 - shape.edge_fall;
    if !moves(advise_lean) && !moves(advise_rich) {
        Finding::NoEffect
    } else if advise_rich < best {
        Finding::Starved
    } else if best < advise_lean + 0.25 {
        Finding::Flooded
    } else if window_lean <= setting && setting <= window_rich {
        Finding::Normal
    } else {
        Finding::OutsideWindow
    }
}

/// One cell of the grid that is still believed in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell {
    pub(super) shape: usize,
    /// Richness at which the shape is anchored.
    pub(super) anchor: f64,
    /// Richness of the lean edge, within what an edge may be reported of: a plateau that reaches past the
    /// lean end of the screw has its edge there.
    pub(super) edge: f64,
    /// Share of belief among the cells.
    pub(super) weight: f64,
    pub(super) level_rpm: f64,
    pub(super) level_sd_rpm: f64,
    pub(super) drift_rpm_per_min: f64,
    pub(super) finding: usize,
    pub(super) largest_offset: (usize, f64),
}

/// Edges that are drawn to find where the first cylinder weakens.
const WEAKENED: usize = 60;

/// What is believed after the holds.
pub(super) struct Posterior {
    pub(super) shapes: Arc<[Shape]>,
    /// Sorted by edge; weights sum to 1.
    pub(super) cells: Vec<Cell>,
    /// Width of a cell, turns.
    pub(super) cell_turns: f64,
    pub(super) is_fine: bool,
    /// Where an edge may be reported: leanest and richest.
    pub(super) domain: (f64, f64),
    /// Probability of each finding.
    pub(super) findings: [f64; 6],
    pub(super) noise_rpm: f64,
    /// What the roughness of the holds says, where they tell it.
    pub(super) roughness: Option<Roughness>,
}

impl Posterior {
    /// The mean of something over the cells.
    pub(super) fn mean(&self, of: impl Fn(&Cell) -> f64) -> f64 {
        self.cells.iter().map(|cell| cell.weight * of(cell)).sum()
    }

    /// Mean and standard deviation of something over the cells.
    pub(super) fn mean_and_sd(&self, of: impl Fn(&Cell) -> f64) -> (f64, f64) {
        let mean = self.mean(&of);
        let variance = self.mean(|cell| (of(cell) - mean).powi(2));
        (mean, variance.max(0.0).sqrt())
    }

    /// Richness below which the edge lies with the given probabilities, in rising order.
    pub(super) fn edge_quantiles(&self, wanted: [f64; 3]) -> [f64; 3] {
        let (lean, rich) = self.domain;
        let width = self.cell_turns;
        // Cells of the fine grid stand between the places of the coarse one.
        let beside = if self.is_fine { 0.5 } else { 0.0 };
        let bins = ((rich - lean) / width).round() as usize + 1;
        let mut mass = vec![0.0; bins + 2];
        for cell in &self.cells {
            // What lies at an end stands for all beyond it, and has no width.
            let bin = if cell.edge <= lean {
                0
            } else if rich <= cell.edge {
                bins + 1
            } else {
                1 + (((cell.edge - lean) / width - beside).round().max(0.0) as usize).min(bins - 1)
            };
            mass[bin] += cell.weight;
        }
        wanted.map(|share| {
            let mut below = 0.0;
            for (bin, &here) in mass.iter().enumerate() {
                if share <= below + here && 0.0 < here {
                    let start = lean + (bin as f64 - 1.5 + beside) * width;
                    let place = start + (share - below) / here * width;
                    return if bin == 0 {
                        lean
                    } else if bin == bins + 1 {
                        rich
                    } else {
                        place.clamp(lean, rich)
                    };
                }
                below += here;
            }
            rich
        })
    }

    /// Probability that the plateau reaches to the lean end of the screw or beyond.
    pub(super) fn no_edge(&self) -> f64 {
        self.cells.iter().filter(|cell| cell.edge <= self.domain.0).map(|cell| cell.weight).sum()
    }

    /// Whether that is likelier than not.
    pub(super) fn lacks_edge(&self) -> bool {
        0.5 < self.no_edge()
    }

    /// Where the plateau ends on its rich side, richness.
    pub(super) fn rich_end(&self) -> f64 {
        self.mean(|cell| cell.anchor + self.shapes[cell.shape].rich_end)
    }

    /// The leanest place that is neither leaner than the edge nor than where the first cylinder weakens, richness: the
    /// median of what is believed of it. `None` where no roughness was read.
    pub(super) fn first_to_weaken(&self) -> Option<f64> {
        let roughness = self.roughness.as_ref()?;
        let mut places: Vec<(f64, f64)> = Vec::new();
        for cell in self.sample(WEAKENED) {
            let given: Vec<(f64, f64)> = roughness.given_edge(cell.edge).collect();
            let total: f64 = given.iter().map(|place| place.1).sum();
            if 0.0 < total {
                places.extend(given.iter().map(|(place, weight)| (place.max(cell.edge), weight / total)));
            }
        }
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        let half = 0.5 * places.iter().map(|place| place.1).sum::<f64>();
        let mut below = 0.0;
        places
            .iter()
            .find(|place| {
                below += place.1;
                half <= below
            })
            .map(|place| place.0)
    }

    /// The block whose offset is largest, and that offset, rpm.
    pub(super) fn largest_offset(&self) -> Option<(usize, f64)> {
        let heaviest = self.cells.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?;
        (0 < heaviest.largest_offset.0).then_some(heaviest.largest_offset)
    }

    /// Cells drawn in proportion to their weight, evenly spaced through the sorted edges.
    pub(super) fn sample(&self, count: usize) -> Vec<Cell> {
        let mut drawn = Vec::with_capacity(count);
        let mut below = 0.0;
        let mut next = 0.5 / count as f64;
        for cell in &self.cells {
            below += cell.weight;
            while next < below && drawn.len() < count {
                drawn.push(*cell);
                next += 1.0 / count as f64;
            }
        }
        drawn
    }
}
