//! Is there a second engine? What the first one leaves of the longest window's lines is combed for another.

use super::comb::Comb;
use super::constants::{COMPANY_RPM, SPEEDS_RPM, STEP, WINDOWS};
use super::ears::LANES;
use super::spectra::Lines;
use crate::engine::layout::Firing;

/// Half-width of a line in the longest window, hertz: that of a raised cosine's main lobe.
const LINE_HZ: f64 = 2.0 / WINDOWS[0].0;

/// Looks for another engine beside one whose speed is known.
pub(crate) struct Company {
    /// Of an engine every order of which counts: the other one's firing pattern is not known.
    comb: Comb,
    /// Frequency of the first cell, hertz.
    first_hz: f64,
    speeds: usize,
    left: [Lines; LANES],
    evidence: Vec<f32>,
}

impl Company {
    /// Beside an engine of this firing pattern, on its logarithmic axis of `cells`.
    pub(crate) fn new(firing: &Firing, speeds: usize, cells: usize) -> Company {
        let every_order =
            Firing::new(&[0.0], firing.cycle_deg()).expect("one firing at the start of a cycle is a pattern");
        Company {
            comb: Comb::new(&every_order, SPEEDS_RPM.0, speeds, cells, true),
            first_hz: firing.cycles_per_second(SPEEDS_RPM.0),
            speeds,
            left: Default::default(),
            evidence: vec![0.0; speeds],
        }
    }

    /// Evidence of the likeliest other engine in these lines, the engine heard turning at the speed of a cell.
    pub(crate) fn beside(&mut self, bands: &[Lines], cell: usize) -> f32 {
        for (left, lines) in self.left.iter_mut().zip(bands) {
            left.clone_from(lines);
            self_explained(left, cell, self.first_hz);
        }
        let place = |rpm: f64| (((rpm / SPEEDS_RPM.0).ln() / STEP) as usize).min(self.speeds);
        let range = place(COMPANY_RPM.0)..place(COMPANY_RPM.1);
        self.evidence[range.clone()].fill(0.0);
        self.comb.weigh(&self.left[..bands.len()], 1.0, range.clone(), &mut self.evidence);
        self.evidence[range].iter().copied().fold(0.0, f32::max)
    }
}

/// Blanks the lines that the engine heard explains: they say nothing either way.
fn self_explained(lines: &mut Lines, cell: usize, first_hz: f64) {
    let cells = lines.power.len();
    for k in 1.. {
        let middle = cell as f64 + f64::from(k).ln() / STEP;
        let half = LINE_HZ / (first_hz * (STEP * middle).exp() * STEP);
        let from = ((middle - half).floor().max(0.0) as usize).min(cells);
        let to = ((middle + half).ceil() as usize + 1).min(cells);
        if from == cells {
            return;
        }
        for values in [&mut lines.power, &mut lines.noise, &mut lines.stray] {
            values[from..to].fill(0.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::layout::layout;
    use crate::sound::spectra::{stray, unlikely};

    /// Lines of engines at some speeds.
    fn lines(speeds_rpm: &[f64], cells: usize) -> Vec<Lines> {
        let mut power = vec![1.0_f32; cells];
        for rpm in speeds_rpm {
            for k in 1..100 {
                let cell = ((rpm / SPEEDS_RPM.0).ln() / STEP + f64::from(k).ln() / STEP).round() as usize;
                if cell < cells {
                    power[cell.saturating_sub(1)..(cell + 2).min(cells)].fill(40.0);
                }
            }
        }
        let density = |f: fn(f64) -> f64| power.iter().map(|&power| f(f64::from(power)) as f32).collect();
        vec![Lines { noise: density(unlikely), stray: density(stray), power }]
    }

    #[test]
    fn another_engine_is_found_beside_one_and_none_beside_itself() {
        let firing = Firing::from(layout("v-twin-45").expect("a row of the table"));
        let (speeds, cells) = (600, 950);
        let mut company = Company::new(&firing, speeds, cells);
        let cell = ((950.0_f64 / SPEEDS_RPM.0).ln() / STEP).round() as usize;
        let alone = company.beside(&lines(&[950.0], cells), cell);
        let two = company.beside(&lines(&[950.0, 1130.0], cells), cell);
        assert!(alone < 5.0 && 40.0 < two, "alone {alone}, two {two}");
    }
}
