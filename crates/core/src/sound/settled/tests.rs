//! Traces with known means, wander, steps, gaps and swings.

use super::*;
use crate::sound::{FRAME_S, Frame, Heard};

/// A small seeded generator of standard normal numbers (splitmix64 and Box–Muller).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().max(1e-300).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// A trace that wanders about a course: standard deviation and correlation time as given.
fn trace(seed: u64, duration_s: f64, sd: f64, correlation_s: f64, course: impl Fn(f64) -> f64) -> Vec<Frame> {
    let mut dice = Dice(seed * 7919 + 1);
    let keep = (-FRAME_S / correlation_s).exp();
    let mut wander = sd * dice.normal();
    (0..(duration_s / FRAME_S) as usize)
        .map(|i| {
            wander = keep * wander + sd * (1.0 - keep * keep).sqrt() * dice.normal();
            let t_s = i as f64 * FRAME_S;
            Frame { t_s, rpm: course(t_s) + wander, sd_rpm: 2.0, heard: Heard::Yes }
        })
        .collect()
}

fn watch(frames: &[Frame]) -> (HoldState, Vec<HoldState>) {
    let mut watch = HoldWatch::new(HoldRules::default());
    let states: Vec<HoldState> = frames.iter().map(|frame| watch.push(frame)).collect();
    (states[states.len() - 1], states)
}

#[test]
fn stated_error_covers_the_mean_of_a_wandering_speed_about_nine_times_in_ten() {
    for (sd, correlation_s) in [(6.0, 0.3), (12.0, 0.75), (20.0, 0.5), (20.0, 1.0)] {
        let (mut taken, mut covered, mut stated, mut squares) = (0, 0, 0.0, 0.0);
        for seed in 0..300 {
            let frames = trace(seed, 75.0, sd, correlation_s, |_| 1000.0);
            if let (HoldState::Taken(held), _) = watch(&frames) {
                taken += 1;
                covered += usize::from((held.mean_rpm - 1000.0).abs() <= 1.645 * held.se_rpm);
                stated += held.se_rpm;
                squares += (held.mean_rpm - 1000.0).powi(2);
            }
        }
        let coverage = covered as f64 / taken as f64;
        let factor = (squares / taken as f64).sqrt() / (stated / taken as f64);
        println!(
            "sd {sd} correlation {correlation_s}: taken {taken}, coverage {coverage:.3}, actual/stated {factor:.2}"
        );
        assert!(280 <= taken, "{taken} of 300 were taken");
        assert!((0.80..=0.97).contains(&coverage), "sd {sd}, {correlation_s} s: {coverage}");
        assert!((0.7..=1.4).contains(&factor), "sd {sd}, {correlation_s} s: {factor}");
    }
}

#[test]
fn a_hold_settles_then_measures_then_is_taken_and_stays() {
    let frames = trace(3, 40.0, 5.0, 0.3, |_| 1040.0);
    let (last, states) = watch(&frames);
    assert!(matches!(states[0], HoldState::Settling { .. }));
    assert!(matches!(states[195], HoldState::Settling { .. }), "{:?}", states[195]);
    assert!(matches!(states[260], HoldState::Measuring { .. }), "{:?}", states[260]);
    let HoldState::Taken(held) = last else { panic!("{last:?}") };
    assert!((held.start_s - 10.0).abs() < 0.06 && 19.9 < held.end_s && held.end_s < 23.0, "{held:?}");
    assert!((held.spread_rpm - 5.0).abs() < 2.0, "{held:?}");
}

#[test]
fn a_wilder_engine_is_held_longer() {
    let length = |sd: f64| {
        let total: f64 = (0..20)
            .map(|seed| match watch(&trace(seed, 80.0, sd, 0.75, |_| 1000.0)).0 {
                HoldState::Taken(held) => held.end_s - held.start_s,
                other => panic!("{other:?}"),
            })
            .sum();
        total / 20.0
    };
    let (calm, wild) = (length(6.0), length(20.0));
    assert!(calm < 12.0 && 18.0 < wild, "{calm} {wild}");
}

#[test]
fn a_step_starts_the_hold_anew_and_is_named() {
    let mut named = 0;
    for seed in 0..20 {
        // A fan comes on in the middle of the measurement.
        let frames = trace(seed, 60.0, 9.0, 0.5, |t| if t < 15.0 { 1040.0 } else { 1000.0 });
        let (last, states) = watch(&frames);
        let HoldState::Taken(held) = last else { panic!("{last:?}") };
        assert!(14.0 < held.start_s, "seed {seed}: {held:?}");
        assert!((held.mean_rpm - 1000.0).abs() < 16.0, "seed {seed}: {held:?}");
        let says = |state: &HoldState| matches!(state, HoldState::Unsteady { reason: Unsteadiness::Stepped { by_rpm } } if *by_rpm < -20.0);
        named += usize::from(states.iter().any(says));
    }
    // In the middle of so short a window a step may be taken for a drift, which starts anew as well.
    assert!(17 <= named, "{named} of 20");
}

#[test]
fn drift_beyond_the_limit_is_named() {
    let frames = trace(5, 60.0, 4.0, 0.3, |t| 900.0 + 2.0 * t);
    let (_, states) = watch(&frames);
    let named = |state: &HoldState| matches!(state, HoldState::Unsteady { reason: Unsteadiness::Drifting { rpm_per_min } } if (80.0..160.0).contains(rpm_per_min));
    assert!(states.iter().any(named));
}

#[test]
fn hunting_is_said_and_never_averaged_into_a_narrow_error() {
    for (seed, period) in [(1, 1.5), (2, 2.5), (3, 4.0)] {
        let frames =
            trace(seed, 75.0, 6.0, 0.4, |t| 1000.0 + 40.0 * (std::f64::consts::TAU * t / period).sin());
        let (last, _) = watch(&frames);
        let HoldState::Unsteady { reason: Unsteadiness::Hunting { period_s, swing_rpm } } = last else {
            panic!("{period}: {last:?}")
        };
        assert!((period_s - period).abs() < 0.25 * period, "{period_s}");
        assert!((60.0..110.0).contains(&swing_rpm), "{swing_rpm}");
    }
}

#[test]
fn a_short_gap_pauses_a_hold_and_a_long_one_breaks_it() {
    let silence = |from: f64, to: f64| {
        let mut frames = trace(9, 60.0, 5.0, 0.3, |_| 1040.0);
        for frame in frames.iter_mut().filter(|frame| from <= frame.t_s && frame.t_s < to) {
            frame.heard = Heard::Doubtful;
            frame.rpm = f64::NAN;
        }
        frames
    };
    let HoldState::Taken(paused) = watch(&silence(14.0, 14.6)).0 else { panic!("paused") };
    assert!((paused.start_s - 10.0).abs() < 0.1, "{paused:?}");
    let (last, states) = watch(&silence(14.0, 16.0));
    let HoldState::Taken(broken) = last else { panic!("broken") };
    assert!((broken.start_s - 26.0).abs() < 0.1, "{broken:?}");
    assert!(states.contains(&HoldState::Waiting));
    let never = vec![Frame { t_s: 0.0, rpm: f64::NAN, sd_rpm: f64::NAN, heard: Heard::No }; 40];
    assert_eq!(watch(&never).0, HoldState::Waiting);
}

#[test]
fn restart_forgets_the_hold() {
    let frames = trace(3, 40.0, 5.0, 0.3, |_| 1040.0);
    let mut watch = HoldWatch::new(HoldRules::default());
    for frame in &frames {
        watch.push(frame);
    }
    watch.restart();
    assert!(matches!(watch.push(&frames[799]), HoldState::Settling { .. }));
}

#[test]
fn stretches_of_a_whole_trace_lie_between_its_steps() {
    let levels = |t: f64| {
        if t < 40.0 {
            1000.0
        } else if t < 80.0 {
            1060.0
        } else {
            950.0
        }
    };
    let found = settled_stretches(&trace(4, 120.0, 6.0, 0.4, levels), HoldRules::default());
    let means: Vec<f64> = found.iter().map(|held| held.mean_rpm).collect();
    assert_eq!(found.len(), 3, "{found:?}");
    for (mean, level) in means.iter().zip([1000.0, 1060.0, 950.0]) {
        assert!((mean - level).abs() < 8.0, "{means:?}");
    }
    assert!(found.windows(2).all(|pair| pair[0].end_s <= pair[1].start_s), "{found:?}");
}
