//! Two short blips are a word that the ear understands, whatever the engine.

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{Running, SAMPLE_RATE_HZ, Speed, Voice};
use bellmouth_core::sound::{BlipWatch, Listener};

/// The blips counted in a take, heard live in blocks as a page sends them.
fn counted(name: &str, speed: Speed, seconds: f64, seed: u64) -> Vec<u32> {
    let firing = Firing::from(layout(name).expect("a row of the table"));
    let voice = Voice::drawn(&firing, &mut Dice::new(seed));
    let running = Running { speed, ..Running::idle(1000.0) };
    let take = voice.take(&running, seconds, seed).expect("an engine that can be");
    let mut listener = Listener::new(SAMPLE_RATE_HZ, &firing, Some(1000.0)).expect("a usual rate");
    let (mut watch, mut said, mut last_s) = (BlipWatch::new(), Vec::new(), f64::NEG_INFINITY);
    let samples: Vec<f32> = take.samples.iter().map(|x| 0.1 * *x as f32).collect();
    for block in samples.chunks(2048) {
        listener.feed(block);
        if let Some(frame) = listener.live()
            && last_s < frame.t_s
        {
            last_s = frame.t_s;
            said.extend(watch.push(&frame));
        }
    }
    said
}

#[test]
fn two_blips_are_heard_as_two_and_an_idle_as_none() {
    let mut understood = 0;
    let layouts = ["single", "v-twin-45", "v-twin-90", "twin-180", "twin-360", "inline-4"];
    for (seed, name) in (1..).zip(layouts) {
        let blips = Speed::Blips {
            idle_rpm: 1000.0,
            top_rpm: 2600.0,
            rises_rpm_per_s: 6000.0,
            falls_s: 0.35,
            held_s: 0.05,
            begin_s: vec![10.0, 11.3],
        };
        let said = counted(name, blips, 18.0, seed);
        understood += u32::from(said == [2]);
        let idle = Speed::Idle { rpm: 1000.0, wander: 0.02, hunting: 0.0 };
        assert_eq!(counted(name, idle, 18.0, seed), [], "{name} idles");
    }
    assert!(5 <= understood, "understood on {understood} of {} engines", layouts.len());
}
