//! The voice says what it claims to: its truth follows from its firings, and its levels are as stated.

use super::*;
use crate::engine::layout::{LAYOUTS, layout};

fn firing(name: &str) -> Firing {
    Firing::from(layout(name).unwrap())
}

fn voice(name: &str) -> Voice {
    Voice::drawn(&firing(name), &mut Dice::new(5))
}

/// Speeds between two firings of one cylinder, at the instant half-way, rpm.
fn speeds_of_cycles(take: &Take, cylinder: usize, cycle_deg: f64) -> Vec<(f64, f64)> {
    let own: Vec<&Fired> = take.truth.fired.iter().filter(|fired| fired.cylinder == cylinder).collect();
    own.windows(2)
        .map(|pair| {
            let cycle_s = pair[1].t_s - pair[0].t_s;
            (0.5 * (pair[0].t_s + pair[1].t_s), cycle_deg / 6.0 / cycle_s)
        })
        .collect()
}

#[test]
fn crank_angle_grows_by_a_cycle_between_firings_of_a_cylinder() {
    for row in LAYOUTS {
        let voice = Voice::drawn(&Firing::from(row), &mut Dice::new(2));
        let take = voice.take(&Running::idle(1000.0), 1.0, 3).unwrap();
        for (i, angle) in row.firing_deg.iter().enumerate() {
            let own: Vec<&Fired> = take.truth.fired.iter().filter(|fired| fired.cylinder == i).collect();
            assert!(own.len() >= 6, "{}: {} firings of cylinder {i}", row.name, own.len());
            for fired in own {
                let off = (fired.crank_deg - angle).rem_euclid(row.cycle_deg);
                assert!(off.min(row.cycle_deg - off) < 1e-6, "{}: {fired:?}", row.name);
            }
        }
    }
}

#[test]
fn the_integral_of_true_speed_is_the_angle_between_firings() {
    let take = voice("inline-4").take(&Running::idle(900.0), 4.0, 11).unwrap();
    let (first, last) = (take.truth.fired[4], take.truth.fired[take.truth.fired.len() - 5]);
    let steps = 20_000;
    let step = (last.t_s - first.t_s) / f64::from(steps);
    let turned: f64 = (0..steps)
        .map(|i| 6.0 * step * take.truth.rpm_at(first.t_s + (f64::from(i) + 0.5) * step).unwrap())
        .sum();
    // The average over a cycle moves angle about by no more than a wander within one.
    assert!((turned - (last.crank_deg - first.crank_deg)).abs() < 15.0, "{turned}");
}

#[test]
fn the_true_speed_half_way_between_two_firings_of_a_cylinder_is_what_lies_between_them() {
    for (name, speed) in [
        ("single", Speed::Idle { rpm: 450.0, wander: 0.015, hunting: 0.02 }),
        ("v-twin-45", Speed::Steady { rpm: 14_000.0 }),
        ("two-stroke-twin", Speed::Ramp { from_rpm: 1_500.0, to_rpm: 9_000.0, begins_s: 0.5, takes_s: 2.0 }),
        (
            "triple-120",
            Speed::Blips {
                idle_rpm: 1_000.0,
                top_rpm: 5_000.0,
                rises_rpm_per_s: 6_000.0,
                falls_s: 0.5,
                held_s: 0.1,
                begin_s: vec![0.5, 2.0],
            },
        ),
        ("inline-6", Speed::RollOff { from_rpm: 8_000.0, idle_rpm: 900.0, shut_s: 1.0, falls_s: 0.6 }),
    ] {
        let voice = voice(name);
        let running = Running { speed, ..Running::idle(1000.0) };
        let take = voice.take(&running, 3.0, 4).unwrap();
        let cycles = speeds_of_cycles(&take, 0, voice.firing.cycle_deg());
        assert!(cycles.len() > 8, "{name}");
        for (t_s, rpm) in cycles {
            let true_rpm = take.truth.rpm_at(t_s).unwrap_or(rpm);
            // Half-way in time is not quite half-way in angle, and 10 ms lie between two speeds.
            assert!((true_rpm / rpm - 1.0).abs() < 0.02, "{name} at {t_s} s: {true_rpm} for {rpm}");
        }
    }
}

#[test]
fn recovers_the_course_from_the_firings() {
    let voice = voice("v-twin-90");
    let speed = Speed::Blips {
        idle_rpm: 1_000.0,
        top_rpm: 4_500.0,
        rises_rpm_per_s: 4_000.0,
        falls_s: 0.5,
        held_s: 0.2,
        begin_s: vec![1.0],
    };
    let take = voice.take(&Running { speed, ..Running::idle(1000.0) }, 4.0, 9).unwrap();
    let cycles = speeds_of_cycles(&take, 1, 720.0);
    let top = cycles.iter().map(|(_, rpm)| *rpm).fold(0.0, f64::max);
    assert!((0.8 * 4_500.0..1.08 * 4_500.0).contains(&top), "{top}");
    let at = |rpm: f64| cycles.iter().find(|cycle| cycle.1 > rpm).map(|cycle| cycle.0).unwrap();
    let rise = 2_000.0 / (at(3_500.0) - at(1_500.0));
    assert!((rise / 4_000.0 - 1.0).abs() < 0.15, "{rise} rpm/s");
    let before: Vec<f64> = cycles.iter().filter(|cycle| cycle.0 < 0.9).map(|cycle| cycle.1).collect();
    let idle = before.iter().sum::<f64>() / before.len() as f64;
    assert!((idle / 1_000.0 - 1.0).abs() < 0.03, "{idle}");
}

#[test]
fn the_same_seed_gives_the_same_sound_and_another_seed_another() {
    let (voice, running) = (voice("crossplane-4"), Running::idle(1100.0));
    let take = |seed| voice.take(&running, 0.5, seed).unwrap();
    assert_eq!(take(1), take(1));
    assert_ne!(take(1).samples, take(2).samples);
}

#[test]
fn energy_follows_strength_squared() {
    let mut voice = voice("twin-360");
    voice.strengths = vec![1.0, 0.6];
    let running = Running { variation: 0.05, ..Running::idle(1000.0) };
    let take = voice.take(&running, 30.0, 2).unwrap();
    let energy = take.truth.energy_by_cylinder();
    assert_eq!(energy[0], 1.0);
    assert!((energy[1] / 0.36 - 1.0).abs() < 0.05, "{energy:?}");
    // A firing's sound within its own part of the cycle follows that energy.
    voice = Voice { intake: 0.0, ticks: 0.0, turbulence: 0.0, muffler_hz: 1_500.0, ..voice };
    let take = voice.take(&Running { jitter_deg: 0.0, variation: 0.0, ..running }, 10.0, 2).unwrap();
    let mut sums = [0.0; 2];
    for pair in take.truth.fired.windows(2) {
        // Exhaust opens 140° after firing; the window begins a little before it.
        let quarter = 0.25 * (pair[1].t_s - pair[0].t_s);
        let from = ((pair[0].t_s + quarter) * SAMPLE_RATE_HZ) as usize;
        let to = (from + ((pair[1].t_s - pair[0].t_s) * SAMPLE_RATE_HZ) as usize).min(take.samples.len());
        sums[pair[0].cylinder] += take.samples[from.min(to)..to].iter().map(|x| x * x).sum::<f64>();
    }
    let ratio = sums[1] / sums[0];
    assert!((0.28..0.5).contains(&ratio), "{ratio}");
}

#[test]
fn missed_firings_are_as_many_as_asked_and_quiet_and_slow_the_crank() {
    let voice = voice("single");
    let running = Running { misfire_share: 0.1, ..Running::idle(900.0) };
    let truth = voice.take(&running, 120.0, 8).unwrap().truth;
    assert!((0.07..0.13).contains(&truth.missed_share()), "{}", truth.missed_share());
    assert!(truth.fired.iter().all(|fired| !fired.missed || fired.energy < 0.04));
    let mean_cycle = |missed: bool| {
        let cycles: Vec<f64> = truth
            .fired
            .windows(2)
            .filter(|pair| pair[0].missed == missed)
            .map(|pair| pair[1].t_s - pair[0].t_s)
            .collect();
        cycles.iter().sum::<f64>() / cycles.len() as f64
    };
    let slower = mean_cycle(true) / mean_cycle(false);
    assert!((1.01..1.2).contains(&slower), "{slower}");
}

#[test]
fn noise_is_as_far_below_as_asked() {
    let take = voice("v-twin-45").take(&Running::idle(900.0), 3.0, 1).unwrap();
    let engine = heard_rms(&take.samples, SAMPLE_RATE_HZ);
    let other = voice("inline-4").take(&Running::idle(1200.0), 3.0, 2).unwrap();
    let both = beside(&take.samples, &other.samples, -6.0, SAMPLE_RATE_HZ);
    let added: Vec<f64> = both.iter().zip(&take.samples).map(|(both, one)| both - one).collect();
    let ratio_db = 20.0 * (heard_rms(&added, SAMPLE_RATE_HZ) / engine).log10();
    assert!((ratio_db + 6.0).abs() < 0.01, "{ratio_db}");
    for noise in [Noise::White, Noise::Garage] {
        // Loud and clean differ by a factor and by the noise: fit the factor, measure the rest.
        let clean = Surroundings::default().hear(&take.samples, SAMPLE_RATE_HZ, &mut Dice::new(1));
        let noisy = Surroundings { noise: Some((noise, 10.0)), ..Surroundings::default() };
        let noisy = noisy.hear(&take.samples, SAMPLE_RATE_HZ, &mut Dice::new(1));
        let product =
            |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum::<f64>();
        let factor = product(&noisy, &clean) / product(&clean, &clean);
        let rest: Vec<f64> =
            noisy.iter().zip(&clean).map(|(n, c)| f64::from(*n) - factor * f64::from(*c)).collect();
        let kept: Vec<f64> = clean.iter().map(|c| factor * f64::from(*c)).collect();
        let got = 20.0 * (heard_rms(&kept, SAMPLE_RATE_HZ) / heard_rms(&rest, SAMPLE_RATE_HZ)).log10();
        assert!((got - 10.0).abs() < 0.7, "{noise:?}: {got} dB");
    }
}

#[test]
fn a_tone_survives_resampling() {
    let tone = |rate: f64| -> Vec<f64> {
        (0..(0.2 * rate) as usize)
            .map(|i| (std::f64::consts::TAU * 1_000.0 * i as f64 / rate).sin())
            .collect()
    };
    for to_hz in [8_000.0, 16_000.0, 44_100.0, 96_000.0] {
        let (got, wanted) = (resampled(&tone(48_000.0), 48_000.0, to_hz), tone(to_hz));
        assert_eq!(got.len(), wanted.len());
        let inside = got.len() / 4..3 * got.len() / 4;
        for i in inside {
            assert!((got[i] - wanted[i]).abs() < 2e-3, "{to_hz} Hz, sample {i}: {} {}", got[i], wanted[i]);
        }
    }
}

#[test]
fn every_surrounding_gives_a_sound_of_full_length_within_bounds() {
    let take = voice("single").take(&Running::idle(900.0), 1.0, 1).unwrap();
    let nothing = Surroundings::default();
    for surroundings in [
        Surroundings { room: Some(Room { rt60_s: 1.2, direct_db: -8.0 }), ..nothing.clone() },
        Surroundings { hand_held: true, ..nothing.clone() },
        Surroundings { wind_db: Some(0.0), ..nothing.clone() },
        Surroundings { phone: Some(Phone { gate: true, drive: 2.5 }), rate_hz: 16_000.0, ..nothing },
    ] {
        let heard = surroundings.hear(&take.samples, SAMPLE_RATE_HZ, &mut Dice::new(3));
        assert_eq!(heard.len(), surroundings.rate_hz as usize);
        assert!(heard.iter().all(|x| x.is_finite() && x.abs() <= 1.0), "{surroundings:?}");
        assert!(heard.iter().any(|x| x.abs() > 0.1), "{surroundings:?}");
    }
}

#[test]
fn what_no_engine_does_is_refused_with_the_value() {
    let voice = voice("single");
    let refused = |running: Running| voice.take(&running, 1.0, 1).unwrap_err().to_string();
    assert!(refused(Running::idle(f64::NAN)).contains("speed"));
    assert!(refused(Running::idle(20_000.0)).contains("20000"));
    assert!(refused(Running { misfire_share: 1.5, ..Running::idle(900.0) }).contains("1.5"));
    assert!(voice.take(&Running::idle(900.0), f64::INFINITY, 1).is_err());
    let headless = Voice { pipes: vec![], ..voice.clone() };
    assert!(headless.take(&Running::idle(900.0), 1.0, 1).is_err());
    let mute = Voice { strengths: vec![0.0], ..voice };
    assert!(mute.take(&Running::idle(900.0), 1.0, 1).is_err());
}
