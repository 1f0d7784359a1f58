//! The evidence of one frame: windows of loudness around it, their spectra, the comb laid on them.

use std::collections::VecDeque;
use std::ops::Range;

use super::FRAME_S;
use super::comb::Comb;
use super::company::Company;
use super::constants::{CHIRP_COST, CHIRPS_PER_S, SPEEDS_RPM, STEP, TEMPER, WINDOWS};
use super::ears::{Ears, LANES, Lanes};
use super::refine::Sound;
use super::spectra::{Lines, Spectra};
use crate::engine::layout::Firing;

/// Looks at the last seconds of sound.
pub(crate) struct Scan {
    ears: Ears,
    /// Loudness of the last seconds; the first has the index `dropped`.
    loudness: VecDeque<Lanes>,
    dropped: i64,
    /// For each window length, its spectra and its comb.
    windows: Vec<(Spectra, Comb)>,
    company: Company,
    lines: [Lines; LANES],
    sound: Vec<Lanes>,
}

/// Evidence for speeds that change.
#[derive(Clone, Debug)]
pub(crate) struct Changing {
    /// Evidence of the likeliest rate of change of each speed; much below zero where none was tried.
    pub(crate) evidence: Vec<f32>,
    /// Where it takes that speed, cells a frame.
    pub(crate) drift: Vec<i8>,
}

impl Scan {
    pub(crate) fn new(sample_rate_hz: f64, firing: &Firing, speeds: usize) -> Scan {
        let lowest_rpm = SPEEDS_RPM.0;
        let first_hz = firing.cycles_per_second(lowest_rpm);
        let ears = Ears::new(sample_rate_hz);
        let cells_to = |highest_hz: f64| ((highest_hz / first_hz).ln() / STEP) as usize;
        let windows = WINDOWS
            .iter()
            .enumerate()
            .map(|(window, &(seconds, highest_hz))| {
                let cells = cells_to(highest_hz);
                let spectra = Spectra::new(seconds, ears.loudness_hz(), ears.bands(), first_hz, cells);
                // Short windows tell too little for a choice among unevennesses to be more than chance.
                (spectra, Comb::new(firing, lowest_rpm, speeds, cells, window == 0))
            })
            .collect();
        Scan {
            ears,
            loudness: VecDeque::new(),
            dropped: 0,
            windows,
            company: Company::new(firing, speeds, cells_to(WINDOWS[0].1)),
            lines: Default::default(),
            sound: Vec::new(),
        }
    }

    /// Takes samples.
    pub(crate) fn hear(&mut self, samples: &[f32]) {
        let loudness = &mut self.loudness;
        self.ears.hear(samples, |value| loudness.push_back(value));
    }

    /// Whether loudness is known up to an instant.
    pub(crate) fn covers(&self, t_s: f64) -> bool {
        self.ears.index_at(t_s) < self.dropped + self.loudness.len() as i64
    }

    /// Forgets what lies before an instant.
    pub(crate) fn forget_before(&mut self, t_s: f64) {
        let keep = self.ears.index_at(t_s);
        while self.dropped < keep && self.loudness.pop_front().is_some() {
            self.dropped += 1;
        }
    }

    /// Loudness between two instants, as far as it is known; times in it count from the first.
    pub(crate) fn sound_between(&mut self, from_s: f64, to_s: f64) -> Sound<'_> {
        let place = |t_s: f64| (self.ears.index_at(t_s) - self.dropped).clamp(0, self.loudness.len() as i64);
        // Not further, however much is there: what comes of it must not hang on the size of blocks.
        let (from, to) = (place(from_s), place(to_s));
        Sound {
            first_s: self.ears.instant(self.dropped + from) - from_s,
            step_s: 1.0 / self.ears.loudness_hz(),
            loudness: &self.loudness.make_contiguous()[from as usize..to.max(from) as usize],
        }
    }

    /// The loudness that belongs to a frame.
    pub(crate) fn slice(&self, frame: usize) -> Vec<Lanes> {
        let edge = |places: f64| self.ears.index_at((frame as f64 + places) * FRAME_S) - self.dropped;
        (edge(-0.5)..edge(0.5)).map(|at| self.loudness_at(at)).collect()
    }

    /// Loudness at a place among those kept; silence outside.
    fn loudness_at(&self, at: i64) -> Lanes {
        let at = usize::try_from(at).ok();
        at.and_then(|at| self.loudness.get(at)).copied().unwrap_or_default()
    }

    /// Rate of loudness values, hertz, and how many bands it has.
    pub(crate) fn loudness_kind(&self) -> (f64, usize) {
        (self.ears.loudness_hz(), self.ears.bands())
    }

    /// Puts the evidence of the short windows about a frame in its place, for every speed of a range.
    pub(crate) fn short(&mut self, frame: usize, range: Range<usize>, evidence: &mut [f32]) {
        evidence[range.clone()].fill(0.0);
        for window in 1..WINDOWS.len() {
            self.steady(window, frame, range.clone(), evidence);
        }
    }

    /// Puts the evidence of the longest window about a frame in its place, for every speed of a range.
    pub(crate) fn long(&mut self, frame: usize, range: Range<usize>, evidence: &mut [f32]) {
        evidence[range.clone()].fill(0.0);
        self.steady(0, frame, range, evidence);
    }

    /// Evidence of a second engine in the longest window about a frame, beside one at the speed of a cell.
    pub(crate) fn beside(&mut self, frame: usize, cell: usize) -> f32 {
        self.hear_window(0, frame, None);
        self.company.beside(&self.lines[..self.ears.bands()], cell)
    }

    /// Evidence for speeds of a range that change while the short windows last.
    pub(crate) fn changing(&mut self, frame: usize, range: Range<usize>, speeds: usize) -> Changing {
        let mut likeliest = Changing { evidence: vec![f32::MIN; speeds], drift: vec![0; speeds] };
        let mut at_rate = vec![0.0; speeds];
        for (chirp, rate) in CHIRPS_PER_S.iter().enumerate() {
            at_rate[range.clone()].fill(0.0);
            // What a window cannot follow is left to the next shorter one to say; the longest never can.
            let follows = self.windows[1].0.follows(chirp);
            let says = if follows { [1.0, 2.0] } else { [0.0, 3.0] };
            for (window, says) in (1..WINDOWS.len()).zip(says) {
                if 0.0 < says {
                    self.hear_window(window, frame, Some(chirp));
                    let bands = &self.lines[..self.ears.bands()];
                    self.windows[window].1.weigh(bands, says, range.clone(), &mut at_rate);
                }
            }
            let cost = CHIRP_COST * rate.abs().sqrt() as f32 / TEMPER;
            let cells = (rate * FRAME_S / STEP).round() as i8;
            for i in range.clone() {
                if likeliest.evidence[i] < at_rate[i] - cost {
                    likeliest.evidence[i] = at_rate[i] - cost;
                    likeliest.drift[i] = cells;
                }
            }
        }
        likeliest
    }

    /// Adds the evidence of one window about one frame for a steady speed.
    fn steady(&mut self, window: usize, frame: usize, range: Range<usize>, evidence: &mut [f32]) {
        self.hear_window(window, frame, None);
        self.windows[window].1.weigh(&self.lines[..self.ears.bands()], 1.0, range, evidence);
    }

    /// The lines of one window about one frame.
    fn hear_window(&mut self, window: usize, frame: usize, chirp: Option<usize>) {
        let length = self.windows[window].0.length;
        let from = self.ears.index_at(frame as f64 * FRAME_S) - (length / 2) as i64 - self.dropped;
        // Silence stands before the beginning and beyond the end.
        let kept = |at: i64| at.clamp(0, self.loudness.len() as i64) as usize;
        self.sound.clear();
        self.sound.resize((-from).clamp(0, length as i64) as usize, Lanes::default());
        self.sound.extend(self.loudness.range(kept(from)..kept(from + length as i64)));
        self.sound.resize(length, Lanes::default());
        self.windows[window].0.lines(&self.sound, chirp, &mut self.lines);
    }
}
