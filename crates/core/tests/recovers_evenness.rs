//! Engines whose every firing is known are heard in a room: what is said of firings must be so.

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{
    Fired, Noise, Room, Running, SAMPLE_RATE_HZ, Speed, Surroundings, Take, Voice,
};
use bellmouth_core::sound::evenness::{COVERAGE, Estimate, Evenness, Follower, Pulse};
use bellmouth_core::sound::{FRAME_S, Frame, Heard};

/// An idle of an engine with one pipe, 8 % of its firings missed, in a garage with 10 dB of noise.
fn garage(name: &str, change: impl Fn(&mut Voice), seed: u64) -> (Voice, Take, Vec<f32>) {
    let mut dice = Dice::new(seed);
    let firing = Firing::from(layout(name).expect("a row of the table"));
    let mut voice = Voice::drawn(&firing, &mut dice);
    voice.pipes.fill(0);
    change(&mut voice);
    let running = Running {
        speed: Speed::Idle { rpm: dice.between(800.0, 1100.0), wander: 0.014, hunting: 0.0 },
        variation: 0.12,
        misfire_share: 0.08,
        jitter_deg: 2.0,
    };
    let take = voice.take(&running, 8.0, seed).expect("a voice that can be");
    let around = Surroundings {
        room: Some(Room { rt60_s: 0.4, direct_db: 4.0 }),
        high_pass_hz: Some(80.0),
        noise: Some((Noise::Garage, 10.0)),
        ..Surroundings::default()
    };
    let samples = around.hear(&take.samples, SAMPLE_RATE_HZ, &mut dice);
    (voice, take, samples)
}

/// A speed trace as a listener would give it: averaged, and off by 2 rpm.
fn trace(take: &Take, seed: u64) -> Vec<Frame> {
    let mut dice = Dice::new(seed);
    let seconds = take.samples.len() as f64 / SAMPLE_RATE_HZ;
    (0..(seconds / FRAME_S) as usize)
        .map(|i| {
            let t_s = i as f64 * FRAME_S;
            let around = (-5..=5).filter_map(|j| take.truth.rpm_at(t_s + 0.05 * f64::from(j)));
            let (sum, count) = around.fold((0.0, 0.0), |(sum, count), rpm| (sum + rpm, count + 1.0));
            Frame { t_s, rpm: sum / count + 2.0 * dice.normal(), sd_rpm: 3.0, heard: Heard::Yes }
        })
        .collect()
}

fn follow(firing: &Firing, samples: &[f32], frames: &[Frame], block: usize) -> (Follower, Vec<Pulse>) {
    let mut follower = Follower::new(SAMPLE_RATE_HZ, firing).expect("a rate in range");
    let mut pulses = Vec::new();
    let mut given = 0;
    for (i, samples) in samples.chunks(block).enumerate() {
        follower.feed(samples);
        // Frames come three seconds after their sound.
        let heard_s = ((i + 1) * block) as f64 / SAMPLE_RATE_HZ - 3.0;
        let ready = frames.partition_point(|frame| frame.t_s < heard_s);
        pulses.extend(follower.follow(&frames[given..ready.max(given)]));
        given = ready.max(given);
    }
    pulses.extend(follower.follow(&frames[given..]));
    pulses.extend(follower.finish());
    (follower, pulses)
}

fn evenness(follower: &Follower) -> Evenness {
    follower.evenness().expect("an idle of eight seconds is enough").value
}

/// Pulses beside the firings that made them; sound comes later than the crank by one angle, which is the one
/// at which most agrees.
fn matched<'a>(pulses: &'a [Pulse], fired: &'a [Fired]) -> Vec<(&'a Pulse, &'a Fired)> {
    let beside = |late_s: f64| -> Vec<(&Pulse, &Fired)> {
        let near = |t_s: f64| fired.iter().min_by(|a, b| (a.t_s - t_s).abs().total_cmp(&(b.t_s - t_s).abs()));
        pulses
            .iter()
            .filter_map(|pulse| near(pulse.t_s - late_s).map(|fired| (pulse, fired)))
            .filter(|(pulse, fired)| (pulse.t_s - late_s - fired.t_s).abs() < 0.008)
            .collect()
    };
    let agree =
        |pairs: &[(&Pulse, &Fired)]| pairs.iter().filter(|(pulse, fired)| pulse.weak == fired.missed).count();
    (0..25).map(|step| beside(0.002 * f64::from(step))).max_by_key(|pairs| agree(pairs)).expect("delays")
}

#[test]
fn recovers_missed_firings_and_the_strength_of_each_cylinder() {
    for (name, seed) in [("single", 51), ("twin-270", 52), ("triple-120", 53), ("inline-4", 54)] {
        let (voice, take, samples) = garage(name, |_| {}, seed);
        let (follower, pulses) = follow(&voice.firing, &samples, &trace(&take, seed), 4_096);
        let even = evenness(&follower);
        let pairs = matched(&pulses, &take.truth.fired);
        let both = pairs.iter().filter(|(pulse, fired)| pulse.weak && fired.missed).count() as f64;
        let said = pairs.iter().filter(|(pulse, _)| pulse.weak).count() as f64;
        let missed = pairs.iter().filter(|(_, fired)| fired.missed).count() as f64;
        assert!(pairs.len() as f64 > 0.85 * take.truth.fired.len() as f64, "{name}: {} firings", pairs.len());
        assert!(both >= 0.9 * said && both >= 0.9 * missed, "{name}: {both} of {said} said, {missed} missed");
        assert!(
            (even.variation_pct.value - 12.0).abs() < 5.0,
            "{name}: varies by {} %",
            even.variation_pct.value
        );
        let truth = take.truth.energy_by_cylinder();
        for (position, energy) in even.energy.iter().enumerate() {
            let (_, fired) = pairs
                .iter()
                .find(|(pulse, _)| pulse.position == position)
                .expect("a firing at each position");
            let off = energy.value - truth[fired.cylinder];
            assert!(off.abs() < 0.15, "{name}: cylinder {} is off by {off}", fired.cylinder);
        }
    }
}

#[test]
fn recovers_what_is_true_within_nine_intervals_of_ten() {
    let (mut held, mut all) = (0.0, 0.0);
    for (name, seed) in
        [("single", 55), ("twin-180", 56), ("twin-270", 57), ("triple-120", 58), ("inline-4", 59)]
    {
        let (voice, take, samples) = garage(name, |_| {}, seed);
        let (follower, pulses) = follow(&voice.firing, &samples, &trace(&take, seed), 4_096);
        let even = evenness(&follower);
        let pairs = matched(&pulses, &take.truth.fired);
        let cylinder_of = |position: usize| {
            let own = pairs.iter().find(|(pulse, _)| pulse.position == position);
            own.expect("a firing at each position").1.cylinder
        };
        let most = voice.strengths.iter().copied().fold(0.0, f64::max);
        let mut figures = vec![(even.variation_pct, 12.4, 8.0)];
        figures.extend(even.weak_pct.iter().map(|share| (*share, 8.0, 20.0)));
        let energies = even.energy.iter().enumerate();
        figures.extend(energies.map(|(position, energy)| {
            (*energy, (voice.strengths[cylinder_of(position)] / most).powi(2), 0.4)
        }));
        for (Estimate { value, low, high }, truth, widest) in figures {
            assert!(low <= value && value <= high && high - low < widest, "{name}: {low} to {high}");
            held += f64::from(u8::from(low <= truth && truth <= high));
            all += 1.0;
        }
    }
    // Of some thirty intervals with nine held in ten, fewer than four in five are held once in twenty times.
    assert!(held >= (COVERAGE - 0.1) * all, "{held} of {all}");
}

#[test]
fn recovers_that_a_cylinder_does_not_fire_but_not_which_of_two() {
    // One train of pulses fits either cylinder of a twin.
    let change = |voice: &mut Voice| {
        voice.strengths = vec![1.0, 0.05];
        voice.intake = 0.1;
    };
    let (voice, take, samples) = garage("twin-270", change, 60);
    let (follower, _) = follow(&voice.firing, &samples, &trace(&take, 60), 4_096);
    let even = evenness(&follower);
    assert!(!even.positions_known, "{even:?}");
    let dead = usize::from(even.energy[1].value < even.energy[0].value);
    assert!(even.weak_pct[dead].value > 90.0 && even.weak_pct[1 - dead].value < 20.0, "{even:?}");
    assert!(even.energy[dead].value < 0.2, "{even:?}");
}

#[test]
fn recovers_which_cylinder_of_an_uneven_four_does_not_fire() {
    // The three that are left stand 450°, 90° and 180° apart, as no other three do.
    let change = |voice: &mut Voice| {
        voice.strengths = vec![1.0, 0.05, 0.9, 0.95];
        voice.intake = 0.1;
    };
    let (voice, take, samples) = garage("crossplane-4", change, 61);
    let (follower, _) = follow(&voice.firing, &samples, &trace(&take, 61), 4_096);
    let even = evenness(&follower);
    assert!(even.positions_known && even.energy[1].value < 0.35, "{even:?}");
    assert!([0, 2, 3].iter().all(|&lives| even.energy[lives].value > 0.5), "{even:?}");
    let told = follower.evenness().expect("as before").caveats;
    assert!(told.iter().any(|caveat| caveat.name == "cylinder-faint"), "{told:?}");
}

#[test]
fn blocks_of_any_size_give_the_same_firings() {
    let (voice, take, samples) = garage("twin-180", |_| {}, 70);
    let frames = trace(&take, 70);
    let (follower, pulses) = follow(&voice.firing, &samples, &frames, 1_000);
    let (at_once, same) = follow(&voice.firing, &samples, &frames, samples.len());
    assert_eq!(pulses, same);
    assert_eq!(evenness(&follower), evenness(&at_once));
}

#[test]
fn an_even_pattern_does_not_say_which_cylinder_is_which() {
    let (voice, take, samples) = garage("twin-360", |_| {}, 71);
    let (follower, _) = follow(&voice.firing, &samples, &trace(&take, 71), 4_096);
    let even = follower.evenness().expect("an idle of eight seconds is enough");
    assert!(!even.value.positions_known);
    assert!(even.caveats.iter().any(|caveat| caveat.name == "cylinder-unknown"));
    assert!(even.caveats.iter().any(|caveat| caveat.name == "strength-not-mixture"));
}

#[test]
fn noise_short_takes_and_fast_engines_are_refused_with_the_reason() {
    let single = Firing::from(layout("single").expect("a row of the table"));
    let mut dice = Dice::new(72);
    let noise: Vec<f32> = (0..384_000).map(|_| 0.1 * dice.normal() as f32).collect();
    let steady = |rpm: f64, seconds: f64| -> Vec<Frame> {
        (0..(seconds / FRAME_S) as usize)
            .map(|i| Frame { t_s: i as f64 * FRAME_S, rpm, sd_rpm: 3.0, heard: Heard::Yes })
            .collect()
    };
    for (rpm, seconds, why) in
        [(900.0, 8.0, "evenness-noisy"), (900.0, 1.0, "evenness-short"), (5000.0, 8.0, "evenness-fast")]
    {
        let (follower, pulses) = follow(&single, &noise, &steady(rpm, seconds), 4_096);
        assert!(pulses.is_empty(), "{why}: {} firings", pulses.len());
        assert_eq!(follower.evenness().expect_err("a refusal").name, why);
    }
    let (follower, _) = follow(&single, &noise, &[], 4_096);
    assert_eq!(follower.evenness().expect_err("a refusal").name, "evenness-not-heard");
}
