//! What is listened to, and how.

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::bystanders::Bystander;
use bellmouth_core::practice::voice;
use bellmouth_core::sound::witness::Testimony;
use bellmouth_core::sound::{Frame, Listener};

use crate::engine_sound::{self, to_level};
use crate::other_sound;

/// RMS of everything that is no engine: that of the engines.
pub const RMS: f64 = 0.1;

/// Length of one take of other sound, seconds.
const TAKE_S: f64 = 12.0;

/// One take of a sound that is no engine.
#[derive(Clone, Copy)]
pub struct Other {
    kind: Kind,
    pub seed: u64,
}

#[derive(Clone, Copy)]
enum Kind {
    Made(Bystander),
    /// At 44.1 kHz.
    Told(&'static str, fn(f64, u64) -> Vec<f64>),
}

impl Other {
    /// Takes of every kind for so many minutes each.
    pub fn takes(minutes: f64, first_seed: u64, only: &[String]) -> Vec<Other> {
        let told: [(&'static str, fn(f64, u64) -> Vec<f64>); 3] =
            [("speech", speech), ("music", other_sound::music), ("silence", other_sound::silence)];
        let kinds: Vec<Kind> = Bystander::ALL
            .into_iter()
            .map(Kind::Made)
            .chain(told.into_iter().map(|(name, make)| Kind::Told(name, make)))
            .collect();
        let count = (minutes * 60.0 / TAKE_S).ceil() as u64;
        kinds
            .iter()
            .flat_map(|&kind| (0..count).map(move |i| Other { kind, seed: first_seed + 100_000 * i }))
            .filter(|other| only.is_empty() || only.iter().any(|word| other.name().contains(word.as_str())))
            .collect()
    }

    pub fn name(&self) -> &'static str {
        match self.kind {
            Kind::Made(kind) => kind.name(),
            Kind::Told(name, _) => name,
        }
    }

    pub fn rate_hz(&self) -> f64 {
        match self.kind {
            Kind::Made(_) => voice::SAMPLE_RATE_HZ,
            Kind::Told(..) => engine_sound::SAMPLE_RATE_HZ,
        }
    }

    pub fn samples(&self) -> Vec<f32> {
        let sound = match self.kind {
            Kind::Made(kind) => kind.sound(TAKE_S, self.seed).expect("a length in range"),
            Kind::Told(_, make) => make(TAKE_S, self.seed),
        };
        to_level(&sound, RMS)
    }
}

/// Speech from somewhere within what is read: a take is shorter than that.
fn speech(seconds: f64, seed: u64) -> Vec<f64> {
    let begin_s = (seed / 100_000 * 7 % 23) as f64;
    // The voice, its speed and where it begins differ from take to take.
    let said = other_sound::speech(seconds + begin_s, seed / 100_000 + seed);
    said[(begin_s * engine_sound::SAMPLE_RATE_HZ) as usize..].to_vec()
}

/// All that came of listening.
pub struct Said {
    pub frames: Vec<Frame>,
    pub said: Vec<Testimony>,
    /// Every provisional frame, and what bore witness about it.
    pub live: Vec<(Frame, Option<Testimony>)>,
    /// When the sound had come to each of them, seconds.
    pub live_at_s: Vec<f64>,
}

/// Listens in blocks as short as a frame, so that no provisional frame is missed.
pub fn hear_as(samples: &[f32], rate_hz: f64, firing: &Firing) -> Said {
    let mut listener = Listener::new(rate_hz, firing, None).expect("a sample rate in range");
    let mut all = Said { frames: vec![], said: vec![], live: vec![], live_at_s: vec![] };
    let mut fed = 0;
    for block in samples.chunks((0.05 * rate_hz) as usize) {
        let frames = listener.feed(block);
        fed += block.len();
        all.frames.extend(frames);
        all.said.extend(listener.testimonies().iter().cloned());
        if let Some(live) = listener.live()
            && all.live.last().is_none_or(|(last, _)| last.t_s < live.t_s)
        {
            all.live.push((live, listener.live_testimony().cloned()));
            all.live_at_s.push(fed as f64 / rate_hz);
        }
    }
    all.frames.extend(listener.finish());
    all.said.extend(listener.testimonies().iter().cloned());
    all
}

/// The same as a row of the table of layouts.
pub fn hear(samples: &[f32], rate_hz: f64, name: &str) -> Said {
    hear_as(samples, rate_hz, &Firing::from(layout(name).expect("a row of the table")))
}
