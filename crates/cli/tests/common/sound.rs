//! Sound made for the tests: an engine of the practice room, enough to see what a command says. Hearing itself is
//! tested where the listener is.

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{Noise, Running, SAMPLE_RATE_HZ, Surroundings, Voice, resampled};

/// A single idling at `rpm` for `seconds`, in a garage.
pub(crate) fn idling(rate_hz: u32, rpm: f64, seconds: u32) -> Vec<i16> {
    let mut dice = Dice::new(5);
    let voice = Voice::drawn(&Firing::from(layout("single").unwrap()), &mut dice);
    let take = voice.take(&Running::idle(rpm), f64::from(seconds), 5).unwrap();
    let around = Surroundings { noise: Some((Noise::Garage, 12.0)), ..Surroundings::default() };
    let heard: Vec<f64> =
        around.hear(&take.samples, SAMPLE_RATE_HZ, &mut dice).iter().map(|x| f64::from(*x)).collect();
    let there = resampled(&heard, SAMPLE_RATE_HZ, f64::from(rate_hz));
    there.iter().map(|x| (x.clamp(-1.0, 1.0) * 32_000.0) as i16).collect()
}

/// Noise without an engine in it.
pub(crate) fn hiss(rate_hz: u32, seconds: u32) -> Vec<i16> {
    let mut noise = noise();
    (0..rate_hz * seconds).map(|_| (noise() * 2_000.0) as i16).collect()
}

/// A wav file of one channel, 16 bits.
pub(crate) fn wav(rate_hz: u32, samples: &[i16]) -> Vec<u8> {
    let bytes = 2 * samples.len() as u32;
    let mut wav = b"RIFF".to_vec();
    wav.extend((36 + bytes).to_le_bytes());
    wav.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    wav.extend(rate_hz.to_le_bytes());
    wav.extend(rate_hz.saturating_mul(2).to_le_bytes());
    wav.extend(b"\x02\0\x10\0data");
    wav.extend(bytes.to_le_bytes());
    wav.extend(samples.iter().flat_map(|sample| sample.to_le_bytes()));
    wav
}

fn noise() -> impl FnMut() -> f64 {
    let mut state = 1_u32;
    move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1 << 23) - 1.0
    }
}
