//! How evenly does it fire?

mod phase;
mod pulses;
mod wave;

use super::constants::{EVEN_SPEED_RPM, RUN_SHARE, STRETCH_CYCLES, STRETCH_S};
use super::{Frame, Heard};
use crate::engine::layout::Firing;
use crate::error::{Result, require};

use pulses::Pulses;
use wave::Waveform;

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    pub t_s: f64,
    pub position: usize,
    pub strength: f64,
    pub noise: f64,
    pub explained: f64,
    pub energy: f64,
}

pub struct Follower {
    shares: Vec<f64>,
    cycle_deg: f64,
    cycles_per_rpm_s: f64,
    wave: Waveform,
    frames: Vec<Frame>,
    known_s: Option<f64>,
    pub shared: bool,
}

impl Follower {
    pub fn new(sample_rate_hz: f64, firing: &Firing) -> Result<Follower> {
        require((8_000.0..=192_000.0).contains(&sample_rate_hz), "sample rate", sample_rate_hz, "8000 to 192000 Hz")?;
        Ok(Follower {
            shares: firing.angles_deg().iter().map(|angle| angle / firing.cycle_deg()).collect(),
            cycle_deg: firing.cycle_deg(),
            cycles_per_rpm_s: firing.cycles_per_second(1.0),
            wave: Waveform::new(sample_rate_hz),
            frames: Vec::new(),
            known_s: None,
            shared: false,
        })
    }

    pub fn feed(&mut self, samples: &[f32]) {
        self.wave.hear(samples);
    }

    pub fn follow(&mut self, frames: &[Frame]) -> Vec<Pulse> {
        let mut out = Vec::new();
        for frame in frames {
            let mean = self.frames.iter().map(|f| f.rpm).sum::<f64>() / self.frames.len().max(1) as f64;
            let fits = frame.heard != Heard::No && frame.rpm < EVEN_SPEED_RPM
                && (self.frames.is_empty() || (frame.rpm / mean).ln().abs() < RUN_SHARE);
            if !fits {
                self.close(&mut out);
                if frame.heard == Heard::No || frame.rpm >= EVEN_SPEED_RPM { continue; }
            }
            self.frames.push(*frame);
            if self.frames.len() as f64 * 0.05 > STRETCH_S + 4.0 {
                let to = self.frames[0].t_s + STRETCH_S;
                self.stretch(to, &mut out);
            }
        }
        out
    }

    pub fn finish(&mut self) -> Vec<Pulse> {
        let mut out = Vec::new();
        self.close(&mut out);
        out
    }

    fn close(&mut self, out: &mut Vec<Pulse>) {
        if let Some(last) = self.frames.last() {
            let to = last.t_s;
            self.stretch(to, out);
        }
        self.frames.clear();
        self.known_s = None;
    }

    fn stretch(&mut self, to_s: f64, out: &mut Vec<Pulse>) {
        let from_s = self.known_s.unwrap_or(self.frames[0].t_s);
        let begins = phase::by_trace(&self.frames, from_s, to_s, self.cycles_per_rpm_s);
        if begins.len() < STRETCH_CYCLES { return; }
        let rate = self.wave.rate_hz();
        let first = self.wave.index_at(begins[0] - 0.05).floor() as i64;
        let last = self.wave.index_at(begins[begins.len() - 1] + 0.25).ceil() as i64;
        let wave = self.wave.stretch(first, last);
        let begins: Vec<f64> = begins.iter().map(|t| self.wave.index_at(*t) - first as f64).collect();
        let swell = phase::swell(&wave, rate);
        let begins = phase::by_sound(&begins, &self.shares, &swell, self.known_s.is_some());
        let pulses = Pulses::learn(&wave, rate, &begins, &self.shares, self.cycle_deg, self.shared);
        let skip = usize::from(self.known_s.is_some());
        let noise = pulses.noise();
        for firing in pulses.firings().iter().filter(|f| f.cycle >= skip) {
            out.push(Pulse {
                t_s: self.wave.time_at(firing.at + first as f64),
                position: firing.position,
                strength: f64::from(firing.size),
                noise,
                explained: pulses.explained(),
                energy: pulses.energy(firing.position),
            });
        }
        let next = self.wave.time_at(begins[begins.len() - 2] + first as f64);
        self.known_s = Some(next);
        self.frames.retain(|frame| frame.t_s >= next - 0.1);
        self.wave.forget(next - 0.5);
    }
}
