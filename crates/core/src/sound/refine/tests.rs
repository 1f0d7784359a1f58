//! What refining must do to a made-up cycle whose speed is known.

use super::*;
use crate::numeric::Dice;

const STEP_S: f64 = 0.001;
const SECONDS: f64 = 5.0;

/// Loudness in which every cycle has two pulses, in noise; `cycles` is the crank's angle against time.
fn pulses(noise: f64, cycles: impl Fn(f64) -> f64) -> Vec<Lanes> {
    let mut dice = Dice::new(17);
    (0..(SECONDS / STEP_S) as usize)
        .map(|value| {
            let angle = cycles(value as f64 * STEP_S);
            let pulse = |at: f64| {
                let off = (angle - at - (angle - at).round()) / 0.03;
                2.0 * (-0.5 * off * off).exp()
            };
            let loudness = pulse(0.2) + 0.7 * pulse(0.64);
            std::array::from_fn(|_| (loudness + noise * dice.normal()) as f32)
        })
        .collect()
}

fn sound(loudness: &[Lanes]) -> Sound<'_> {
    Sound { loudness, first_s: 0.0, step_s: STEP_S }
}

fn frames(rpm: impl Fn(f64) -> f64) -> Vec<Known> {
    let count = (SECONDS / FRAME_S) as usize;
    (0..count).map(|i| Known { rpm: rpm(i as f64 * FRAME_S), sd_rpm: 10.0, heard: true }).collect()
}

#[test]
fn recovers_how_cycles_differ_from_a_coarse_speed_that_does_not_show_it() {
    // A swing of 2 % every 1.25 s about 900 rpm of a four-stroke: 7.5 cycles a second.
    let turns = std::f64::consts::TAU * 0.8;
    let loudness = pulses(0.5, |t| 7.5 * (t - 0.02 / turns * (turns * t).cos()));
    let coarse = frames(|_| 900.0);
    let refined = Refiner::new(720.0).refine(&sound(&loudness), &coarse);
    let mut inside = 0;
    let middle = 10..coarse.len() - 10;
    for frame in middle.clone() {
        let truth = 900.0 * (1.0 + 0.02 * (turns * frame as f64 * FRAME_S).sin());
        let found = refined[frame];
        // The swing is 18 rpm.
        assert!((found.rpm - truth).abs() < 5.0, "frame {frame}: {found:?}, truth {truth}");
        inside += usize::from((found.rpm - truth).abs() < 1.645 * found.sd_rpm);
    }
    assert!(0.8 * middle.len() as f64 <= inside as f64, "{inside} of {} inside", middle.len());
}

#[test]
fn a_steady_truth_stays_where_it_is_and_is_surer() {
    for (cycle_deg, cycles_per_s) in [(720.0, 7.5), (360.0, 15.0)] {
        let loudness = pulses(0.5, |t| cycles_per_s * t);
        for found in Refiner::new(cycle_deg).refine(&sound(&loudness), &frames(|_| 900.0)) {
            assert!((found.rpm - 900.0).abs() < 3.0, "{found:?}");
            assert!(found.sd_rpm < 10.0, "{found:?}");
        }
    }
}

#[test]
fn what_was_not_heard_or_too_short_stays_as_it_is() {
    let loudness = pulses(0.5, |t| 7.5 * t);
    let mut coarse = frames(|_| 930.0);
    // A run too short between two gaps, in a trace with a jump behind it.
    coarse[30].heard = false;
    coarse[37].heard = false;
    coarse[60..].iter_mut().for_each(|known| known.rpm = 1860.0);
    let refined = Refiner::new(720.0).refine(&sound(&loudness), &coarse);
    assert_eq!(refined.len(), coarse.len());
    assert_eq!(refined[30..=37], coarse[30..=37]);
    assert!((0..30).chain(38..60).all(|frame| (refined[frame].rpm / 930.0 - 1.0).abs() < 0.05));
    assert!((60..100).all(|frame| (refined[frame].rpm / 1860.0 - 1.0).abs() < 0.05));
}

#[test]
fn silence_moves_no_speed() {
    for known in Refiner::new(720.0).refine(&sound(&vec![[0.0; LANES]; 5000]), &frames(|_| 900.0)) {
        assert!((known.rpm - 900.0).abs() < 1e-6, "{known:?}");
    }
}

#[test]
fn a_shift_is_read_off_the_mean_cycle() {
    let loudness = pulses(0.2, |t| 7.5 * t);
    let mut sums = Sums::new();
    for (value, loudness) in loudness.iter().enumerate() {
        sums.add(7.5 * STEP_S * value as f64, loudness, 1.0);
    }
    let template = Template::new(&sums, 50, &Transforms::new()).expect("five seconds are cycles enough");
    for ahead in [-0.004, 0.0, 0.004] {
        let (mut information, mut pull) = (0.0, 0.0);
        for (value, loudness) in loudness.iter().enumerate() {
            // An angle that is behind the crank by so much.
            let one = template.compare(7.5 * STEP_S * value as f64 - ahead, loudness, 10.0);
            information += one.0;
            pull += one.1;
        }
        assert!((f64::from(pull / information) - ahead).abs() < 4e-4, "{ahead}: {}", pull / information);
    }
}

#[test]
fn the_mean_rate_of_a_cycle_is_one_over_the_time_it_takes() {
    // Rate grows from 6 by 3 in a second, so the angle is 6 t + 1.5 t², which a cubic holds exactly.
    let rates: Vec<f64> = (0..40).map(|frame| 6.0 + 3.0 * frame as f64 * FRAME_S).collect();
    let path = Path::along(&rates);
    let meets = |angle: f64| (-6.0 + (36.0 + 6.0 * angle).sqrt()) / 3.0;
    for frame in 4..36 {
        let t = frame as f64 * FRAME_S;
        let angle = 6.0 * t + 1.5 * t * t;
        let takes_s = meets(angle + 0.5) - meets(angle - 0.5);
        assert!((path.cycle_rate(frame) * takes_s - 1.0).abs() < 1e-6, "frame {frame}");
        assert!((path.slope(frame) - 3.0).abs() < 1e-9, "frame {frame}");
    }
}

#[test]
fn shifts_that_grow_evenly_are_a_speed_that_is_off() {
    let rates = vec![7.5; 60];
    let shifts: Vec<Shift> = (0..60)
        .map(|frame| Shift { cycles: 0.05 * frame as f64 * FRAME_S, information: 1e6, later_s: 0.0 })
        .collect();
    for (frame, found) in smoothed(&rates, &[0.5; 60], &shifts).iter().enumerate() {
        assert!((found.rate - 0.05).abs() < 0.005, "frame {frame}: {found:?}");
        assert!((found.angle - 0.05 * frame as f64 * FRAME_S).abs() < 0.002, "frame {frame}: {found:?}");
        assert!(0.0 < found.rate_variance && found.rate_variance < 0.25, "frame {frame}: {found:?}");
    }
}
