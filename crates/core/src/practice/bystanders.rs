//! Sounds of a workshop that are no engine: what a listener must not mistake for one.
//!
//! | kind | where |
//! |------|-------|
//! | fans, pumps and hand tools, which turn or strike | `machines` |
//! | drums, basses, chords and strings, played in time | `music` |
//! | rain, dripping and wheels on a road | `weather` |
//!
//! Every take is drawn from a seed, as loud as any other, and half of them are dulled the way a silencer
//! dulls an engine: neither level nor spectrum gives them away. Rates, levels and pitches are typical
//! magnitudes, from memory. A lorry is missing on purpose: it is an engine. So is speech, which needs a
//! synthesiser of its own.

mod machines;
mod music;
mod weather;

use super::Dice;
use super::voice::filter::Section;
use super::voice::surroundings::Pink;
use super::voice::{SAMPLE_RATE_HZ, heard_rms};
use crate::error::{Result, require};

/// A sound that is no engine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bystander {
    /// A small fan on a bench.
    DeskFan,
    /// A large, slow fan, whose blades can be heard one by one.
    LargeFan,
    /// An extractor: many blades, fast.
    Extractor,
    /// The compressor of a refrigerator: hum and a little rattle.
    Refrigerator,
    /// A compressor of air, driven by a belt: one or two pistons.
    AirCompressor,
    /// An electric drill, now free, now loaded.
    Drill,
    /// An angle grinder on metal.
    Grinder,
    /// An impact wrench.
    ImpactWrench,
    /// A ratchet turned by hand.
    Ratchet,
    /// Hammering.
    Hammering,
    /// Drums played by a machine, every bar alike.
    DrumMachine,
    /// One percussion in even sixteenths.
    Sixteenths,
    /// Drums, bass and chords, played by hand.
    Band,
    /// A bass line in eighths.
    Bass,
    /// Chords held, with or without tremolo.
    Chords,
    /// Broken chords in sixteenths.
    Arpeggio,
    /// Low bowed strings: pulses as regular as an engine's.
    Strings,
    /// Rain on a roof.
    Rain,
    /// A gutter that drips into a bucket.
    Dripping,
    /// Wheels on a road, near and far.
    Tyres,
}

impl Bystander {
    /// Every kind.
    pub const ALL: [Bystander; 20] = [
        Bystander::DeskFan,
        Bystander::LargeFan,
        Bystander::Extractor,
        Bystander::Refrigerator,
        Bystander::AirCompressor,
        Bystander::Drill,
        Bystander::Grinder,
        Bystander::ImpactWrench,
        Bystander::Ratchet,
        Bystander::Hammering,
        Bystander::DrumMachine,
        Bystander::Sixteenths,
        Bystander::Band,
        Bystander::Bass,
        Bystander::Chords,
        Bystander::Arpeggio,
        Bystander::Strings,
        Bystander::Rain,
        Bystander::Dripping,
        Bystander::Tyres,
    ];

    /// What a table calls it, in kebab case.
    pub fn name(self) -> &'static str {
        match self {
            Bystander::DeskFan => "desk-fan",
            Bystander::LargeFan => "large-fan",
            Bystander::Extractor => "extractor",
            Bystander::Refrigerator => "refrigerator",
            Bystander::AirCompressor => "air-compressor",
            Bystander::Drill => "drill",
            Bystander::Grinder => "grinder",
            Bystander::ImpactWrench => "impact-wrench",
            Bystander::Ratchet => "ratchet",
            Bystander::Hammering => "hammering",
            Bystander::DrumMachine => "drum-machine",
            Bystander::Sixteenths => "sixteenths",
            Bystander::Band => "band",
            Bystander::Bass => "bass",
            Bystander::Chords => "chords",
            Bystander::Arpeggio => "arpeggio",
            Bystander::Strings => "strings",
            Bystander::Rain => "rain",
            Bystander::Dripping => "dripping",
            Bystander::Tyres => "tyres",
        }
    }

    /// Its sound, [`SAMPLE_RATE_HZ`] samples a second, from a seed; RMS 1 in 100 Hz to 8 kHz
    /// ([`heard_rms`]).
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::practice::bystanders::Bystander;
    /// let sound = Bystander::Grinder.sound(0.5, 7)?;
    /// assert_eq!(sound.len(), 24_000);
    /// assert_eq!(sound, Bystander::Grinder.sound(0.5, 7)?);
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless it is 0.1 s to an hour long.
    pub fn sound(self, seconds: f64, seed: u64) -> Result<Vec<f64>> {
        require((0.1..=3_600.0).contains(&seconds), "length", seconds, "0.1 s to an hour")?;
        let kind = self.name().bytes().fold(seed, |hash, byte| hash.wrapping_mul(31) ^ u64::from(byte));
        let mut dice = Dice::new(kind);
        let dice = &mut dice;
        let mut tape = Tape { sound: vec![0.0; (seconds * SAMPLE_RATE_HZ).round() as usize] };
        match self {
            Bystander::DeskFan => machines::desk_fan(&mut tape, dice),
            Bystander::LargeFan => machines::large_fan(&mut tape, dice),
            Bystander::Extractor => machines::extractor(&mut tape, dice),
            Bystander::Refrigerator => machines::refrigerator(&mut tape, dice),
            Bystander::AirCompressor => machines::air_compressor(&mut tape, dice),
            Bystander::Drill => machines::drill(&mut tape, dice),
            Bystander::Grinder => machines::grinder(&mut tape, dice),
            Bystander::ImpactWrench => machines::impact_wrench(&mut tape, dice),
            Bystander::Ratchet => machines::ratchet(&mut tape, dice),
            Bystander::Hammering => machines::hammering(&mut tape, dice),
            Bystander::DrumMachine => music::drum_machine(&mut tape, dice),
            Bystander::Sixteenths => music::sixteenths(&mut tape, dice),
            Bystander::Band => music::band(&mut tape, dice),
            Bystander::Bass => music::bass(&mut tape, dice),
            Bystander::Chords => music::chords(&mut tape, dice),
            Bystander::Arpeggio => music::arpeggio(&mut tape, dice),
            Bystander::Strings => music::strings(&mut tape, dice),
            Bystander::Rain => weather::rain(&mut tape, dice),
            Bystander::Dripping => weather::dripping(&mut tape, dice),
            Bystander::Tyres => weather::tyres(&mut tape, dice),
        }
        Ok(finished(tape.sound, dice))
    }
}

/// Half are dulled as a silencer dulls; all get some noise of a room, and the same level.
fn finished(mut sound: Vec<f64>, dice: &mut Dice) -> Vec<f64> {
    if dice.chance(0.5) {
        let dull = Section::low(dice.between_in_ratio(400.0, 2_500.0), SAMPLE_RATE_HZ);
        let mut dulled = sound.clone();
        dull.run(&mut dulled);
        let kept = dice.between(0.03, 0.3);
        sound.iter_mut().zip(&dulled).for_each(|(x, dulled)| *x = kept * *x + dulled);
    }
    to_level(&mut sound);
    let noise_level = 10f64.powf(-dice.between(8.0, 35.0) / 20.0);
    let mut pink = Pink::default();
    sound.iter_mut().for_each(|x| *x += noise_level * pink.next(dice));
    to_level(&mut sound);
    sound
}

fn to_level(sound: &mut [f64]) {
    let scale = 1.0 / heard_rms(sound, SAMPLE_RATE_HZ).max(1e-12);
    sound.iter_mut().for_each(|x| *x *= scale);
}

/// A sound in the making.
struct Tape {
    sound: Vec<f64>,
}

impl Tape {
    fn seconds(&self) -> f64 {
        self.sound.len() as f64 / SAMPLE_RATE_HZ
    }

    /// Adds something that begins at an instant; `f` maps seconds since then to a sample.
    fn add(&mut self, at_s: f64, seconds: f64, mut f: impl FnMut(f64) -> f64) {
        let from = (at_s.max(0.0) * SAMPLE_RATE_HZ) as usize;
        let to = (from + (seconds * SAMPLE_RATE_HZ) as usize).min(self.sound.len());
        for i in from..to {
            self.sound[i] += f((i - from) as f64 / SAMPLE_RATE_HZ);
        }
    }

    /// Adds to every sample what `f` makes of its instant, seconds.
    fn throughout(&mut self, mut f: impl FnMut(f64) -> f64) {
        for (i, x) in self.sound.iter_mut().enumerate() {
            *x += f(i as f64 / SAMPLE_RATE_HZ);
        }
    }
}

/// A struck body: some modes, each a pitch \[Hz\], a level and a time constant \[s\].
struct Struck(Vec<(f64, f64, f64)>);

impl Struck {
    fn drawn(pitches_hz: (f64, f64), fades_s: (f64, f64), dice: &mut Dice) -> Struck {
        let modes = 3 + (dice.unit() * 4.0) as usize;
        Struck(
            (0..modes)
                .map(|_| {
                    let pitch = dice.between_in_ratio(pitches_hz.0, pitches_hz.1);
                    (pitch, dice.between(0.3, 1.0), dice.between_in_ratio(fades_s.0, fades_s.1))
                })
                .collect(),
        )
    }

    /// One blow: the body rings, and the blow itself is a short noise.
    fn blow(&self, tape: &mut Tape, at_s: f64, size: f64, noise: f64, dice: &mut Dice) {
        let longest = self.0.iter().map(|mode| mode.2).fold(0.004, f64::max);
        tape.add(at_s, 5.0 * longest, |t| {
            let rings: f64 = self
                .0
                .iter()
                .map(|(pitch, level, fade)| {
                    level * (-t / fade).exp() * (std::f64::consts::TAU * pitch * t).sin()
                })
                .sum();
            size * (rings + noise * (-t / 0.004).exp() * dice.between(-1.7, 1.7))
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_as_loud_as_any_other_and_follows_from_its_seed() {
        for kind in Bystander::ALL {
            let sound = kind.sound(3.0, 1).unwrap();
            assert!((heard_rms(&sound, SAMPLE_RATE_HZ) - 1.0).abs() < 1e-6, "{}", kind.name());
            assert!(sound.iter().all(|x| x.is_finite()), "{}", kind.name());
            assert_eq!(sound, kind.sound(3.0, 1).unwrap(), "{}", kind.name());
            assert_ne!(sound, kind.sound(3.0, 2).unwrap(), "{}", kind.name());
        }
    }

    #[test]
    fn every_kind_has_a_name_of_its_own() {
        let mut names = Bystander::ALL.map(Bystander::name).to_vec();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), Bystander::ALL.len());
    }

    #[test]
    fn impossible_lengths_are_refused() {
        for seconds in [f64::NAN, 0.0, 3_601.0] {
            assert!(Bystander::Rain.sound(seconds, 1).is_err(), "{seconds}");
        }
    }
}
