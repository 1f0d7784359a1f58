//! What a tachometer's word is worth to the ear: even firings sound alike at multiples of their speed.

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::voice::{Running, SAMPLE_RATE_HZ, Speed, Voice};
use bellmouth_core::practice::{Dice, Population, Started, draw};
use bellmouth_core::sound::{Frame, Heard, Listener};

fn firing(name: &str) -> Firing {
    Firing::from(layout(name).expect("a row of the table"))
}

/// Frames settled after so many seconds.
fn settled(listener: &mut Listener, samples: &[f32], after_s: f64) -> Vec<Frame> {
    let mut frames = listener.feed(samples);
    frames.extend(listener.finish());
    frames.retain(|frame| after_s < frame.t_s);
    frames
}

#[test]
fn an_even_four_whose_tachometer_was_read_is_not_heard_at_a_multiple() {
    let machines = draw(Population::Network, 41, 40).expect("machines can be drawn");
    let fours = machines.iter().filter(|hidden| hidden.cylinders() == 4).take(4);
    let (mut right, mut all) = (0, 0);
    for (seed, hidden) in (41..).zip(fours) {
        let best = hidden.idle_curve().expect("a curve").best().map(|best| best.turns).expect("it idles");
        let rpm = hidden.idle(best).expect("it idles").operation().map_or(0.0, |operation| operation.rpm);
        let four = firing("inline-4");
        let voice = Voice::drawn(&four, &mut Dice::new(seed));
        let mut engine = Started::hidden(hidden, voice, best, seed).expect("it idles at its best");
        let mut samples = vec![0.0; 15 * SAMPLE_RATE_HZ as usize];
        engine.sound(&mut samples);
        let about_rpm = (rpm / 50.0).round() * 50.0;
        let mut listener = Listener::new(SAMPLE_RATE_HZ, &four, Some(about_rpm)).expect("a usual rate");
        for frame in settled(&mut listener, &samples, 1.0) {
            let near = (frame.rpm / rpm - 1.0).abs() < 0.1;
            assert!(near || frame.heard != Heard::Yes, "{rpm:.0} heard as {:.0}", frame.rpm);
            all += 1;
            right += u32::from(near && frame.heard == Heard::Yes);
        }
    }
    assert!(0.85 * f64::from(all) < f64::from(right), "{right} of {all} frames heard");
}

#[test]
fn a_rev_is_followed_although_the_idle_was_told() {
    for (seed, name) in (51..).zip(["single", "v-twin-90", "inline-4"]) {
        let voice = Voice::drawn(&firing(name), &mut Dice::new(seed));
        let speed = Speed::Ramp { from_rpm: 1000.0, to_rpm: 3000.0, begins_s: 5.0, takes_s: 2.0 };
        let take = voice
            .take(&Running { speed, ..Running::idle(1000.0) }, 14.0, seed)
            .expect("an engine that can be");
        let samples: Vec<f32> = take.samples.iter().map(|sample| 0.1 * *sample as f32).collect();
        let mut listener = Listener::new(SAMPLE_RATE_HZ, &firing(name), Some(1000.0)).expect("a usual rate");
        let fast = settled(&mut listener, &samples, 8.0);
        let right = fast.iter().filter(|frame| (frame.rpm / 3000.0 - 1.0).abs() < 0.1).count();
        assert!(0.9 * (fast.len() as f64) < right as f64, "{name}: {right} of {} frames", fast.len());
    }
}
