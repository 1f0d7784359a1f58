//! Sound made for the tests: bare bursts, enough to see what a command says. Hearing itself is tested with
//! recorded sound elsewhere.

/// A single's bursts, `rpm` by a working cycle of two turns, for `seconds`; cycles differ by a fraction of a
/// percent, as they do.
pub(crate) fn bursts(rate_hz: u32, rpm: f64, seconds: u32) -> Vec<i16> {
    let mut noise = noise();
    let (mut next, mut since) = (0.0, 1.0);
    let sample = |i: u32| {
        let t = f64::from(i) / f64::from(rate_hz);
        if t >= next {
            (next, since) = (next + 120.0 / rpm * (1.0 + 0.004 * noise()), t);
        }
        let sample = 0.02 * noise() + 0.8 * noise() * (-(t - since) / 0.01).exp();
        (sample * 20_000.0) as i16
    };
    (0..rate_hz * seconds).map(sample).collect()
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
