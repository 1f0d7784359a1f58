//! Sounds that are no engine: what must not be heard as one.

use std::process::Command;

use crate::engine_sound::{Biquad, Pink, Random, SAMPLE_RATE_HZ, garage};

/// A quiet room: barely any noise at all. Brought to full level like the others, so that only its
/// kind tells it from an engine.
pub(crate) fn silence(seconds: f64, seed: u64) -> Vec<f64> {
    let mut random = Random::new(seed);
    (0..(seconds * SAMPLE_RATE_HZ) as usize).map(|_| 1e-4 * random.normal()).collect()
}

/// A fan on a humming supply.
pub(crate) fn fan(seconds: f64, seed: u64) -> Vec<f64> {
    garage((seconds * SAMPLE_RATE_HZ) as usize, &mut Random::new(seed))
}

/// Drops on a roof: impulses at random instants over noise.
pub(crate) fn rain(seconds: f64, seed: u64) -> Vec<f64> {
    let mut random = Random::new(seed);
    let mut pink = Pink::default();
    let count = (seconds * SAMPLE_RATE_HZ) as usize;
    let mut drops = vec![0.0; count];
    let rate = random.between(8.0, 60.0);
    let mut t = 0.0;
    loop {
        t -= (1.0 - random.uniform()).ln() / rate;
        let at = (t * SAMPLE_RATE_HZ) as usize;
        if at >= count {
            break;
        }
        let (size, pitch) = (random.between(0.3, 3.0), random.between(600.0, 5_000.0));
        for i in 0..(0.02 * SAMPLE_RATE_HZ) as usize {
            if at + i < count {
                let t = i as f64 / SAMPLE_RATE_HZ;
                drops[at + i] += size * (-t / 0.003).exp() * (std::f64::consts::TAU * pitch * t).sin();
            }
        }
    }
    drops.iter().map(|drop| drop + 0.1 * pink.next(&mut random)).collect()
}

/// Music with a beat: drum, snare, hi-hat in eighths or sixteenths, a bass line and chords.
pub(crate) fn music(seconds: f64, seed: u64) -> Vec<f64> {
    let mut random = Random::new(seed);
    let count = (seconds * SAMPLE_RATE_HZ) as usize;
    let beat = 60.0 / random.between(85.0, 150.0);
    let steps = if random.uniform() < 0.5 { 2 } else { 4 };
    let mut out = vec![0.0; count];
    let mut high = Biquad::high(6_000.0);
    let roots = [110.0, 82.41, 98.0, 73.42];
    let tau = std::f64::consts::TAU;
    let mut add = |at: f64, seconds: f64, f: &mut dyn FnMut(f64) -> f64| {
        let from = (at * SAMPLE_RATE_HZ) as usize;
        for i in 0..(seconds * SAMPLE_RATE_HZ) as usize {
            if from + i < count {
                out[from + i] += f(i as f64 / SAMPLE_RATE_HZ);
            }
        }
    };
    for number in 0..(seconds / beat) as usize {
        let at = number as f64 * beat;
        let root = roots[number / 4 % 4];
        if number % 2 == 0 {
            add(at, 0.25, &mut |t| {
                (-t / 0.08).exp() * (tau * (50.0 * t + 3.0 * (1.0 - (-t / 0.02).exp()))).sin()
            });
        } else {
            add(at, 0.2, &mut |t| 0.5 * (-t / 0.05).exp() * random.normal());
        }
        for step in 0..steps {
            let loud = if step == 0 { 0.5 } else { 0.3 };
            add(at + beat * step as f64 / steps as f64, 0.06, &mut |t| {
                loud * (-t / 0.015).exp() * high.step(random.normal())
            });
        }
        for half in 0..2 {
            add(at + beat * 0.5 * f64::from(half), beat * 0.45, &mut |t| {
                let fade = (1.0 - (-t / 0.005).exp()) * (-t / 0.4).exp();
                0.5 * fade
                    * (1..6).map(|h| (tau * root / 2.0 * f64::from(h) * t).sin() / f64::from(h)).sum::<f64>()
            });
        }
        if number % 4 == 0 {
            for third in [2.0, 2.52, 3.0] {
                add(at, 4.0 * beat, &mut |t| {
                    let fade = (1.0 - (-t / 0.02).exp()) * (-t / 1.5).exp();
                    0.2 * fade
                        * (1..8)
                            .map(|h| (tau * root * third * f64::from(h) * t).sin() / f64::from(h))
                            .sum::<f64>()
                });
            }
        }
    }
    out
}

/// A voice reading sentences, made by the speech synthesiser `espeak-ng`.
pub(crate) fn speech(seconds: f64, seed: u64) -> Vec<f64> {
    let text = "Turn the screw in until the engine falters, then out again by three quarters of a turn. \
                Wait a while, and listen. The old workshop stood at the end of the lane, and in winter the \
                door would not shut. She had nine machines to finish before the week was over, and none ran well.";
    let voice = ["en", "en+f3", "de", "en-us+m7"][seed as usize % 4];
    let speed = (120 + 20 * (seed % 4)).to_string();
    let said = Command::new("espeak-ng")
        .args(["-v", voice, "-s", &speed, "--stdout", text])
        .output()
        .unwrap_or_else(|error| panic!("espeak-ng: {error}; install it, scripts/test does"));
    assert!(said.status.success(), "espeak-ng failed: {}", String::from_utf8_lossy(&said.stderr));
    let rate = f64::from(u32::from_le_bytes(said.stdout[24..28].try_into().expect("four bytes")));
    let voice: Vec<f64> = said.stdout[44..]
        .chunks_exact(2)
        .map(|pair| f64::from(i16::from_le_bytes([pair[0], pair[1]])))
        .collect();
    assert!(voice.len() > rate as usize, "espeak-ng said nothing");
    (0..(seconds * SAMPLE_RATE_HZ) as usize)
        .map(|i| {
            let at = i as f64 / SAMPLE_RATE_HZ * rate;
            let (whole, share) = (at as usize % (voice.len() - 1), at.fract());
            voice[whole] * (1.0 - share) + voice[whole + 1] * share
        })
        .collect()
}
