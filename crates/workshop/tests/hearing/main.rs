//! What is heard: engines of every layout at known speeds, and sounds that are none.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]

mod engine_sound;
mod formats;
mod other_sound;

use bellmouth_core::engine::layout::{Firing, LAYOUTS, Layout, layout};
use bellmouth_core::sound::{FRAME_S, Frame, Heard, Listener};
use engine_sound::{Clip, Noise, Random, Recipe, SAMPLE_RATE_HZ, pulses, render, to_level};

/// Seeds of these tests; constants were set on other ones.
const SEED: u64 = 770_000;

/// RMS of every clip, engines and others alike, so that level tells nothing.
const RMS: f64 = 0.1;

fn frames_of(samples: &[f32], firing: &Firing) -> Vec<Frame> {
    let mut listener = Listener::new(SAMPLE_RATE_HZ, firing, None).unwrap();
    let mut frames = listener.feed(samples);
    frames.extend(listener.finish());
    frames
}

/// An idle of this layout: wander 1 %, cycles that differ by 0.6 %, unequal cylinders, 10 dB.
fn idle(layout: &Layout, rpm: f64, any_pulse: bool, noise: Noise, seed: u64, pulses: &[Vec<f64>]) -> Clip {
    rising(layout, rpm, 0.0, any_pulse, noise, seed, pulses)
}

/// The same, that rises from its second second on to four times its speed.
fn rising(
    layout: &Layout,
    rpm: f64,
    rising_rpm_per_s: f64,
    any_pulse: bool,
    noise: Noise,
    seed: u64,
    pulses: &[Vec<f64>],
) -> Clip {
    let mut random = Random::new(seed ^ 0xC0FFEE);
    let recipe = Recipe {
        layout,
        rpm,
        seconds: 8.0,
        rising_rpm_per_s,
        wander: 0.01,
        jitter: 0.006,
        cylinders: layout.firing_deg.iter().map(|_| random.between(0.65, 1.0)).collect(),
        any_pulse,
        noise,
        ratio_db: 10.0,
        seed,
    };
    render(&recipe, pulses)
}

#[derive(Default)]
struct Score {
    frames: usize,
    right: usize,
    doubtful: usize,
    not_heard: usize,
    /// Heard, but off by more than 10 %.
    gross: usize,
}

impl Score {
    fn add(&mut self, frame: &Frame, truth: f64) {
        self.frames += 1;
        let off = (frame.rpm / truth - 1.0).abs();
        match frame.heard {
            Heard::Yes if off <= 0.02 => self.right += 1,
            Heard::Yes if off > 0.10 => self.gross += 1,
            Heard::Yes => {}
            Heard::Doubtful => self.doubtful += 1,
            Heard::No => self.not_heard += 1,
        }
    }

    fn share(&self, count: usize) -> f64 {
        count as f64 / self.frames as f64
    }
}

#[test]
fn recovers_the_speed_of_an_engine_that_is_revved() {
    let pulses = pulses();
    // A four that is revved faster is still lost in one or two takes of three: no claim is made for it.
    let claims: [(&str, &[f64]); 3] = [
        ("single", &[500.0, 2_000.0, 5_000.0]),
        ("v-twin-45", &[500.0, 2_000.0, 5_000.0]),
        ("inline-4", &[500.0]),
    ];
    for (name, rates) in claims {
        let layout = layout(name).unwrap();
        let mut score = Score::default();
        for (place, &rate) in rates.iter().enumerate() {
            let clip = rising(layout, 900.0, rate, false, Noise::White, SEED + 9_000 + place as u64, &pulses);
            for frame in frames_of(&clip.samples, &Firing::from(layout)) {
                if let Some(truth) = clip.rpm(frame.t_s) {
                    score.add(&frame, truth);
                }
            }
        }
        let (right, gross) = (score.share(score.right), score.share(score.gross));
        assert!(0.9 <= right && gross <= 0.01, "{name}: {right:.3} within 2 %, {gross:.3} off by > 10 %");
    }
}

#[test]
fn recovers_the_speed_of_every_layout_at_idle() {
    let pulses = pulses();
    let mut misses = Vec::new();
    for (row, layout) in LAYOUTS.iter().enumerate() {
        for noise in [Noise::White, Noise::Garage] {
            let mut score = Score::default();
            for (place, rpm) in [700.0, 900.0, 1100.0, 1300.0].into_iter().enumerate() {
                // Half of the engines change the timbre of every firing, half keep one per cylinder.
                let any_pulse = (place + row) % 2 == 0;
                let seed = SEED + (row * 100 + place * 10) as u64 + u64::from(noise == Noise::White);
                let clip = idle(layout, rpm, any_pulse, noise, seed, &pulses);
                for frame in frames_of(&clip.samples, &Firing::from(layout)) {
                    if let Some(truth) = clip.rpm(frame.t_s) {
                        score.add(&frame, truth);
                    }
                }
            }
            let right = score.share(score.right);
            println!(
                "{:<18} {noise:?}: within 2 % {right:.3}, off by > 10 % {:.3}, doubtful {:.3}, not heard {:.3}",
                layout.name,
                score.share(score.gross),
                score.share(score.doubtful),
                score.share(score.not_heard)
            );
            if right < 0.95 || score.gross > 0 {
                misses.push(format!("{} {noise:?}: {right:.3}, {} gross", layout.name, score.gross));
            }
        }
    }
    assert!(misses.is_empty(), "short of 95 % within 2 %, or an octave off: {misses:#?}");
}

#[test]
fn no_other_sound_is_heard_as_an_engine() {
    type Make = fn(f64, u64) -> Vec<f64>;
    let others: [(&str, Make); 5] = [
        ("silence", other_sound::silence),
        ("fan", other_sound::fan),
        ("rain", other_sound::rain),
        ("music", other_sound::music),
        ("speech", other_sound::speech),
    ];
    for (name, make) in others {
        for seed in 0..3 {
            let samples = to_level(&make(12.0, SEED + seed), RMS);
            for layout in ["single", "v-twin-45", "twin-360", "inline-4", "inline-6", "two-stroke-single"] {
                let firing = Firing::from(bellmouth_core::engine::layout::layout(layout).unwrap());
                let heard: Vec<Frame> = frames_of(&samples, &firing)
                    .into_iter()
                    .filter(|frame| frame.heard == Heard::Yes)
                    .collect();
                assert!(
                    heard.is_empty(),
                    "{name} {seed} heard as a {layout} in {} frames: {:?}",
                    heard.len(),
                    heard[0]
                );
            }
        }
    }
}

#[test]
fn block_sizes_change_nothing() {
    let twin = layout("v-twin-45").unwrap();
    let clip = idle(twin, 950.0, false, Noise::White, SEED + 5, &pulses());
    let whole = frames_of(&clip.samples, &Firing::from(twin));
    assert_eq!(whole.len(), 160);
    for seed in 0..4 {
        let mut random = Random::new(seed);
        let mut listener = Listener::new(SAMPLE_RATE_HZ, &Firing::from(twin), None).unwrap();
        let mut frames = Vec::new();
        let mut rest = &clip.samples[..];
        while !rest.is_empty() {
            let size = (10f64.powf(random.between(0.0, 5.0)) as usize).min(rest.len());
            frames.extend(listener.feed(&rest[..size]));
            rest = &rest[size..];
        }
        frames.extend(listener.finish());
        assert_eq!(frames, whole, "seed {seed}");
    }
}

#[test]
fn frames_come_in_order_and_within_four_seconds() {
    let twin = layout("v-twin-45").unwrap();
    let clip = idle(twin, 950.0, false, Noise::White, SEED + 6, &pulses());
    let mut listener = Listener::new(SAMPLE_RATE_HZ, &Firing::from(twin), None).unwrap();
    let (mut fed, mut given) = (0, 0);
    for block in clip.samples.chunks(2_048) {
        fed += block.len();
        for frame in listener.feed(block) {
            assert!((frame.t_s - given as f64 * FRAME_S).abs() < 1e-9);
            given += 1;
        }
        let behind_s = fed as f64 / SAMPLE_RATE_HZ - given as f64 * FRAME_S;
        assert!(behind_s < 4.4, "{behind_s} s behind");
    }
    given += listener.finish().len();
    assert_eq!(given, 160);
    assert!(listener.finish().is_empty());
}

#[test]
fn loudness_changes_nothing_but_rounding() {
    let four = layout("inline-4").unwrap();
    let clip = idle(four, 1_050.0, false, Noise::White, SEED + 7, &pulses());
    let plain = frames_of(&clip.samples, &Firing::from(four));
    for gain in [1e-3, 5.0] {
        let louder: Vec<f32> = clip.samples.iter().map(|x| x * gain).collect();
        for (a, b) in plain.iter().zip(frames_of(&louder, &Firing::from(four))) {
            assert_eq!(a.heard, b.heard, "gain {gain}");
            assert!((a.rpm / b.rpm - 1.0).abs() < 1e-3, "gain {gain}: {a:?} {b:?}");
        }
    }
}

#[test]
fn the_live_frame_comes_soon_and_keeps_up() {
    let pulses = pulses();
    for name in ["single", "v-twin-45", "inline-4"] {
        let layout = layout(name).unwrap();
        let clip = idle(layout, 1_000.0, false, Noise::White, SEED + 8, &pulses);
        let mut listener = Listener::new(SAMPLE_RATE_HZ, &Firing::from(layout), None).unwrap();
        let (mut fed, mut first_heard, mut updates, mut near) = (0, None, 0, 0);
        let mut last = None;
        for block in clip.samples.chunks(1_024) {
            fed += block.len();
            let now_s = fed as f64 / SAMPLE_RATE_HZ;
            listener.feed(block);
            let live = listener.live();
            assert!(live.is_some() || now_s < 2.0, "{name}: nothing after {now_s} s");
            let Some(live) = live else { continue };
            if live.heard == Heard::Yes && first_heard.is_none() {
                first_heard = Some(now_s);
            }
            if Some(live.t_s) != last {
                last = Some(live.t_s);
                updates += 1;
                assert!(now_s - live.t_s < 0.4, "{name}: {} s old at {now_s}", now_s - live.t_s);
                if let Some(truth) = clip.rpm(live.t_s)
                    && now_s > 2.0
                    && (live.rpm / truth - 1.0).abs() < 0.03
                {
                    near += 1;
                }
            }
        }
        let first = first_heard.expect("an engine at 10 dB is heard live");
        assert!(first <= 2.0, "{name}: heard only after {first} s");
        assert!(updates >= 140, "{name}: {updates} updates in 8 s");
        assert!(near >= 110, "{name}: {near} of 120 live frames after 2 s are within 3 %");
    }
}

#[test]
fn nonsense_is_refused_and_broken_samples_pass() {
    let twin = Firing::from(layout("v-twin-45").unwrap());
    for rate in [f64::NAN, 0.0, 7_999.0, 200_000.0, f64::INFINITY] {
        assert!(Listener::new(rate, &twin, None).is_err(), "{rate}");
    }
    for about in [f64::NAN, 0.0, 20_000.0] {
        assert!(Listener::new(48_000.0, &twin, Some(about)).is_err(), "{about}");
    }
    let mut listener = Listener::new(8_000.0, &twin, Some(900.0)).unwrap();
    let mut frames = listener.feed(&[f32::NAN, f32::INFINITY, -1e30, 0.0].repeat(8_000));
    frames.extend(listener.finish());
    assert_eq!(frames.len(), 80);
    assert!(frames.iter().all(|frame| frame.rpm.is_finite() && frame.sd_rpm.is_finite()));
}
