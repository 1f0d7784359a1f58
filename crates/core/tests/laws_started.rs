//! What must hold of a machine that runs in time and is heard while it is turned.

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Carburettor, Machine};
use bellmouth_core::engine::Idle;
use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::practice::voice::{SAMPLE_RATE_HZ, Voice};
use bellmouth_core::practice::{Dice, Hidden, Population, Started, draw};
use bellmouth_core::quantity::Screw;
use bellmouth_core::sound::evenness::Follower;
use bellmouth_core::sound::{Heard, Listener};

fn day() -> (Air, Fuel) {
    let air = Air::standard(0.0).expect("a day by the sea");
    (air, Petrol::default().at(298.15).expect("warm petrol"))
}

fn twin() -> Machine {
    Machine::new(Carburettor::constant_depression())
}

fn firing(name: &str) -> Firing {
    Firing::from(layout(name).expect("a row of the table"))
}

fn voice(name: &str) -> Voice {
    Voice::drawn(&firing(name), &mut Dice::new(4))
}

/// The twin idling at a position, its speed without a wander.
fn steady(machine: &Machine, turns: f64, seed: u64) -> Started {
    let (air, fuel) = day();
    let started = Started::new(machine, &air, &fuel, voice("v-twin-45"), turns, seed);
    started.and_then(|started| started.with_wander(0.0)).expect("a position at which it idles")
}

fn pass(started: &mut Started, seconds: f64) -> Vec<f32> {
    let mut sound = vec![0.0; (seconds * SAMPLE_RATE_HZ).round() as usize];
    started.sound(&mut sound);
    sound
}

fn rms(sound: &[f32]) -> f64 {
    (sound.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / sound.len() as f64).sqrt()
}

/// A voice for a hidden machine: as many cylinders, evenly fired.
fn voice_of(hidden: &Hidden) -> Voice {
    let names = ["single", "twin-360", "triple-120", "inline-4"];
    voice(names[hidden.cylinders() as usize - 1])
}

#[test]
fn blocks_of_any_size_give_the_same_sound() {
    let (whole, mut cut) = (twin(), Vec::new());
    let (mut one, mut other) = (steady(&whole, 2.75, 3), steady(&whole, 2.75, 3));
    // What is moved is moved at the same sample of both.
    let moves: [fn(&mut Started); 6] = [
        |started| started.turn(2.25).unwrap(),
        |started| started.twist(3.0).unwrap(),
        |started| started.twist(0.0).unwrap(),
        |started| started.kill(),
        |started| started.kick(),
        |started| started.open_stop(3.8).unwrap(),
    ];
    let mut dice = Dice::new(8);
    let mut together = Vec::new();
    for moved in moves {
        let samples = 20_000 + (dice.unit() * 30_000.0) as usize;
        let mut block = vec![0.0; samples];
        one.sound(&mut block);
        together.extend(block);
        let mut left = samples;
        while left > 0 {
            let size = (1.0 + dice.unit() * if dice.chance(0.3) { 5.0 } else { 3_000.0 }) as usize;
            let mut block = vec![0.0; size.min(left)];
            other.sound(&mut block);
            left -= block.len();
            cut.extend(block);
        }
        assert_eq!(one.rpm(), other.rpm());
        moved(&mut one);
        moved(&mut other);
    }
    assert!(together == cut, "cut otherwise, it sounds otherwise");
    assert!(together.iter().all(|x| x.abs() <= 1.0));
}

#[test]
fn the_same_seed_gives_the_same_sound_and_another_seed_another() {
    let machine = twin();
    let sound = |seed| pass(&mut steady(&machine, 2.75, seed), 0.5);
    let once = sound(1);
    assert!(once == sound(1));
    assert!(once != sound(2));
    assert!((0.015..0.12).contains(&rms(&once)), "{}", rms(&once));
}

#[test]
fn a_turned_screw_settles_where_the_machine_idles_there_and_dies_where_it_does_not() {
    let (machine, (air, fuel)) = (twin(), day());
    let mut started = steady(&machine, 2.75, 1);
    let (mut runs, mut stalls) = (0, 0);
    for turns in [2.0, 1.5, 1.25, 0.5, 3.5, 5.0, 0.25, 2.75] {
        started.kick();
        started.turn(turns).unwrap();
        assert_eq!(started.turns(), turns);
        pass(&mut started, 12.0);
        match machine.idle(turns, &air, &fuel).unwrap() {
            Idle::Runs(idle) => {
                runs += 1;
                let off = started.rpm() / idle.rpm - 1.0;
                assert!(off.abs() < 0.02, "{turns} turns: {} for {}", started.rpm(), idle.rpm);
            }
            Idle::Stalls => {
                stalls += 1;
                assert_eq!(started.rpm(), 0.0, "{turns} turns");
                assert!(pass(&mut started, 1.0).iter().all(|&x| x == 0.0), "{turns} turns: not silent");
            }
            Idle::Races => panic!("the twin does not race at {turns} turns"),
        }
    }
    assert!(runs >= 5 && stalls >= 2, "{runs} run, {stalls} stall");
}

#[test]
fn a_killed_engine_is_silent_within_a_second_until_it_is_kicked() {
    let mut started = steady(&twin(), 2.75, 1);
    let idle_rpm = started.rpm();
    let idle_rms = rms(&pass(&mut started, 1.0));
    started.kill();
    pass(&mut started, 1.0);
    assert_eq!(started.rpm(), 0.0);
    assert!(pass(&mut started, 3.0).iter().all(|&x| x == 0.0));
    started.turn(3.0).unwrap();
    started.turn(2.75).unwrap();
    assert!(pass(&mut started, 0.5).iter().all(|&x| x == 0.0), "a screw does not start an engine");
    started.kick();
    let cranked = rms(&pass(&mut started, 0.5));
    assert!(0.0 < cranked && cranked < 0.5 * idle_rms, "nothing burns yet: {cranked}");
    pass(&mut started, 6.0);
    assert!((started.rpm() / idle_rpm - 1.0).abs() < 0.02, "{} after {idle_rpm}", started.rpm());
    assert!((rms(&pass(&mut started, 1.0)) / idle_rms - 1.0).abs() < 0.2);
}

#[test]
fn recovers_the_speed_from_its_sound() {
    let (air, fuel) = day();
    for (name, cylinders) in [("single", 1), ("v-twin-45", 2), ("twin-180", 2), ("inline-4", 4)] {
        let mut machine = twin();
        machine.engine.cylinders = cylinders;
        let mut started = Started::new(&machine, &air, &fuel, voice(name), 2.75, 7).unwrap();
        let mut listener = Listener::new(SAMPLE_RATE_HZ, &firing(name), None).unwrap();
        let (mut frames, mut true_rpm) = (Vec::new(), Vec::new());
        for _ in 0..200 {
            true_rpm.push(started.rpm());
            frames.extend(listener.feed(&pass(&mut started, 0.05)));
        }
        frames.extend(listener.finish());
        let heard: Vec<(f64, f64)> = frames
            .iter()
            .filter(|frame| frame.heard == Heard::Yes && frame.t_s > 1.0)
            .filter_map(|frame| {
                true_rpm.get((frame.t_s / 0.05).round() as usize).map(|&rpm| (frame.rpm, rpm))
            })
            .collect();
        assert!(heard.len() > 150, "{name}: {} frames heard", heard.len());
        let off = heard.iter().map(|(heard, rpm)| heard / rpm - 1.0).sum::<f64>() / heard.len() as f64;
        assert!(off.abs() < 0.005, "{name}: off by {off} in the mean");
        let within = heard.iter().filter(|(heard, rpm)| (heard / rpm - 1.0).abs() < 0.01).count();
        assert!(within * 10 > heard.len() * 8, "{name}: {within} of {} within 1 %", heard.len());
    }
}

#[test]
fn a_wander_is_as_large_as_asked() {
    for wander in [0.004, 0.02] {
        let mut started = steady(&twin(), 2.75, 5).with_wander(wander).unwrap();
        let mean = started.rpm();
        let squares = (0..600).map(|_| {
            pass(&mut started, 0.1);
            (started.rpm() / mean - 1.0).powi(2)
        });
        let sd = (squares.sum::<f64>() / 600.0).sqrt();
        assert!((0.75..1.25).contains(&(sd / wander)), "{sd} for {wander}");
    }
}

#[test]
fn the_stop_opened_is_faster_and_a_twist_is_a_blip() {
    let mut started = steady(&twin(), 2.75, 2);
    let (idle_rpm, stop_deg) = (started.rpm(), started.stop_deg());
    let idle_rms = rms(&pass(&mut started, 1.0));
    started.twist(3.0).unwrap();
    let blip = pass(&mut started, 0.5);
    assert!(started.rpm() > 1.3 * idle_rpm, "{} from {idle_rpm}", started.rpm());
    let louder = rms(&blip[12_000..]) / idle_rms;
    assert!(louder > 1.4, "{louder} times as loud as the idle");
    assert!(blip.iter().all(|x| x.abs() <= 1.0));
    started.twist(0.0).unwrap();
    pass(&mut started, 3.0);
    assert!((started.rpm() / idle_rpm - 1.0).abs() < 0.05, "{} from {idle_rpm}", started.rpm());
    assert_eq!(started.stop_deg(), stop_deg);
    started.open_stop(stop_deg + 0.3).unwrap();
    pass(&mut started, 6.0);
    assert!(started.rpm() > 1.05 * idle_rpm, "{} from {idle_rpm}", started.rpm());
    assert!((started.stop_deg() - stop_deg - 0.3).abs() < 1e-12);
}

#[test]
fn recovers_the_share_of_firings_that_the_mixture_misses() {
    let (air, fuel) = day();
    for (turns, seconds) in [(2.75, 8.0), (1.75, 16.0), (1.65, 16.0)] {
        let idle = twin().idle(turns, &air, &fuel).unwrap();
        let missed_pct = 100.0 * (1.0 - idle.operation().unwrap().burning);
        let firing = firing("twin-270");
        let one_pipe = Voice { pipes: vec![0; 2], ..voice("twin-270") };
        let mut started = Started::new(&twin(), &air, &fuel, one_pipe, turns, 12).unwrap();
        let mut listener = Listener::new(SAMPLE_RATE_HZ, &firing, None).unwrap();
        let mut follower = Follower::new(SAMPLE_RATE_HZ, &firing).unwrap();
        for _ in 0..(2.0 * seconds) as usize {
            let sound = pass(&mut started, 0.5);
            follower.feed(&sound);
            follower.follow(&listener.feed(&sound));
        }
        follower.follow(&listener.finish());
        follower.finish();
        let even = follower.evenness().unwrap().value;
        let weak_pct = even.weak_pct.iter().map(|share| share.value).sum::<f64>() / 2.0;
        assert!(
            (weak_pct - missed_pct).abs() < 1.0 + 0.35 * missed_pct,
            "{turns}: {weak_pct} % for {missed_pct}"
        );
    }
}

#[test]
fn an_air_screw_and_a_fuel_screw_go_their_own_ways() {
    let mut tried = [0, 0];
    let hidden = [Population::Network, Population::Alien].map(|population| draw(population, 1, 8).unwrap());
    for hidden in hidden.iter().flatten() {
        let Some(best) = hidden.idle_curve().unwrap().best().copied() else { continue };
        // From three quarters of a turn lean of the best, half a turn out.
        let (lean, kind) = match hidden.screw() {
            Screw::Fuel => (best.turns - 0.75, 0),
            Screw::Air => (best.turns + 0.75, 1),
        };
        let rpm_at = |turns: f64| hidden.idle(turns).unwrap().operation().map_or(0.0, |idle| idle.rpm);
        let (from, to) = (rpm_at(lean), rpm_at(lean + 0.5));
        // Dead at the begin, or so far out that the screw meters nothing any more.
        if !(lean >= 0.0 && from > 0.0 && (to / from - 1.0).abs() > 5e-4) {
            continue;
        }
        tried[kind] += 1;
        let started = Started::hidden(hidden, voice_of(hidden), lean, 9).unwrap();
        let mut started = started.with_wander(0.0).unwrap();
        let before = started.rpm();
        started.turn(lean + 0.5).unwrap();
        pass(&mut started, 15.0);
        let after = started.rpm();
        assert!((before - from).abs() < 1e-6, "{before} rpm at {lean} turns as counted");
        assert!((after - to).abs() <= 0.02 * to, "{after} rpm for {to}");
        match hidden.screw() {
            Screw::Fuel => assert!(after > before, "{after} rpm after {before}"),
            Screw::Air => assert!(after < before, "{after} rpm after {before}"),
        }
    }
    assert!(tried.iter().all(|&tried| tried >= 3), "{tried:?}");
}

#[test]
fn what_cannot_be_is_refused_and_moves_nothing() {
    let (air, fuel) = day();
    let new = |voice: Voice, turns: f64| Started::new(&twin(), &air, &fuel, voice, turns, 1).map(|_| ());
    assert!(new(voice("inline-4"), 2.75).unwrap_err().to_string().contains("cylinders of the voice"));
    assert!(new(voice("v-twin-45"), 0.25).unwrap_err().to_string().contains("0.25"));
    assert!(new(voice("v-twin-45"), f64::NAN).is_err());
    assert!(new(Voice { ripple: f64::NAN, ..voice("v-twin-45") }, 2.75).is_err());
    let mut started = steady(&twin(), 2.75, 1);
    let before = (started.turns(), started.stop_deg());
    assert!(
        started.turn(-1.0).is_ok_and(|()| started.turns() == -1.0),
        "no screw goes further in than its seat"
    );
    started.turn(2.75).unwrap();
    for nothing in [f64::NAN, -0.1, 25.0] {
        assert!(started.open_stop(nothing).is_err() && started.twist(nothing).is_err(), "{nothing}");
    }
    assert!(started.turn(f64::NAN).is_err() && started.turn(20.0).is_err());
    assert_eq!((started.turns(), started.stop_deg()), before);
    assert!(started.clone().with_wander(f64::NAN).is_err());
}

#[test]
fn whatever_is_moved_sound_stays_inside_and_speed_is_one_an_engine_turns() {
    let mut dice = Dice::new(31);
    for population in [Population::Network, Population::Alien] {
        for hidden in draw(population, 5, 6).unwrap() {
            let best = hidden.idle_curve().unwrap().best().map_or(2.5, |best| best.turns);
            let Ok(mut started) = Started::hidden(&hidden, voice_of(&hidden), best, 3) else { continue };
            for _ in 0..40 {
                match dice.one_of(&[0, 1, 2, 3, 4, 5]) {
                    0 => started.turn(dice.between(0.0, 6.0)).unwrap(),
                    1 => started.open_stop(dice.between(0.5, 8.0)).unwrap(),
                    2 => started.twist(dice.between(0.0, 20.0)).unwrap(),
                    3 => started.twist(0.0).unwrap(),
                    4 => started.kick(),
                    _ if dice.chance(0.3) => started.kill(),
                    _ => {}
                }
                let seconds = dice.between(0.01, 1.5);
                assert!(pass(&mut started, seconds).iter().all(|x| x.abs() <= 1.0), "{started:?}");
                assert!((0.0..=15_000.0).contains(&started.rpm()), "{}", started.rpm());
            }
        }
    }
}
