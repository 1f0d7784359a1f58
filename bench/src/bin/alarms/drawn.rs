//! Engines that run and are heard anyhow: every number of them drawn, so that no condition is missing by design.

use bellmouth_core::engine::layout::{Firing, LAYOUTS, Layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{
    Noise, Phone, Room, Running, SAMPLE_RATE_HZ, Speed, Surroundings, Voice, beside,
};

use crate::suite::Made;

/// Length, seconds.
const SECONDS: f64 = 8.0;

/// An engine of a layout, and what it does.
pub fn drawn(layout: &Layout, dice: &mut Dice) -> (&'static str, Made) {
    let mut voice = Voice::drawn(&Firing::from(layout), dice);
    let spread = dice.between(0.03, 0.3);
    voice.draw_strengths(spread, dice);
    voice.ringing = dice.between(0.3, 0.7);
    let (kind, speed) = speed(dice);
    let running = Running {
        speed,
        variation: dice.between(0.04, 0.25),
        misfire_share: if dice.chance(0.2) { 0.04 } else { 0.0 },
        jitter_deg: dice.between(1.0, 3.0),
    };
    let take = voice.take(&running, SECONDS, (1e9 * dice.unit()) as u64).expect("numbers in range");
    let noise = dice.one_of(&[Noise::Garage, Noise::Garage, Noise::White]);
    let around = Surroundings {
        room: dice
            .chance(0.6)
            .then(|| Room { rt60_s: dice.between(0.2, 0.9), direct_db: dice.between(-3.0, 8.0) }),
        high_pass_hz: dice.chance(0.8).then(|| dice.between(60.0, 150.0)),
        noise: dice.chance(0.9).then(|| (noise, dice.between(3.0, 30.0))),
        phone: dice.chance(0.25).then(|| Phone { gate: false, drive: dice.between(1.0, 2.5) }),
        rate_hz: dice.one_of(&[SAMPLE_RATE_HZ, SAMPLE_RATE_HZ, 44_100.0, 16_000.0]),
        ..Surroundings::default()
    };
    let mut sound = take.samples;
    let beside_idle = kind == "idle" && dice.chance(0.4);
    if beside_idle {
        let other =
            Voice::drawn(&Firing::from(&LAYOUTS[(dice.unit() * LAYOUTS.len() as f64) as usize]), dice);
        let idles = Running::idle(dice.between(700.0, 1_300.0));
        let other = other.take(&idles, SECONDS, (1e9 * dice.unit()) as u64).expect("numbers in range");
        sound = beside(&sound, &other.samples, dice.between(-6.0, 0.0), SAMPLE_RATE_HZ);
    }
    let samples = around.hear(&sound, SAMPLE_RATE_HZ, dice);
    let about_rpm = take.truth.rpm[0];
    let made = Made {
        samples,
        rate_hz: around.rate_hz,
        seconds: SECONDS,
        firing: voice.firing,
        truth: take.truth,
        other: None,
        about_rpm,
    };
    (if beside_idle { "beside" } else { kind }, made)
}

fn speed(dice: &mut Dice) -> (&'static str, Speed) {
    let idle_rpm = dice.between(650.0, 1_400.0);
    match dice.one_of(&[0, 1, 2, 3, 4, 5, 6]) {
        0 => ("fast", Speed::Steady { rpm: dice.between_in_ratio(3_000.0, 10_000.0) }),
        1 | 2 => ("steady", Speed::Steady { rpm: dice.between_in_ratio(1_400.0, 6_000.0) }),
        3 | 4 => {
            let hunting = if dice.chance(0.2) { 0.02 } else { 0.0 };
            ("idle", Speed::Idle { rpm: idle_rpm, wander: dice.between(0.005, 0.016), hunting })
        }
        5 => {
            let (to_rpm, takes_s) = (dice.between(2_500.0, 9_000.0), dice.between(3.0, 7.0));
            ("ramp", Speed::Ramp { from_rpm: idle_rpm, to_rpm, begins_s: dice.between(0.5, 2.0), takes_s })
        }
        _ => {
            let speed = Speed::Blips {
                idle_rpm,
                top_rpm: dice.between(2_500.0, 6_000.0),
                rises_rpm_per_s: dice.between(1_500.0, 5_000.0),
                falls_s: dice.between(0.4, 2.0),
                held_s: dice.between(0.1, 2.0),
                begin_s: vec![1.5, 5.0],
            };
            ("blips", speed)
        }
    }
}
