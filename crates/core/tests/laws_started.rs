//! What must hold of a machine that runs in time and is heard while it is turned.

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Carburettor, Machine};
use bellmouth_core::engine::Idle;
use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::practice::voice::{SAMPLE_RATE_HZ, Voice};
use bellmouth_core::practice::{Dice, Hidden, Population, Started, draw};
use bellmouth_core::quantity::Screw;
use bellmouth_core::sound::{Heard, Listener};

fn day() -> (Air, Fuel) {
    (Air::standard(0.0).unwrap(), Petrol::default().at(298.15).unwrap())
}

fn twin() -> Machine {
    Machine::new(Carburettor::constant_depression())
}

fn firing(name: &str) -> Firing {
    Firing::from(layout(name).unwrap())
}

fn voice(name: &str) -> Voice {
    Voice::drawn(&firing(name), &mut Dice::new(4))
}

/// The twin idling at a position, its speed without a wander.
fn steady(machine: &Machine, turns: f64, seed: u64) -> Started {
    let (air, fuel) = day();
    let started = Started::new(machine, &air, &fuel, voice("v-twin-45"), turns, seed).unwrap();
    started.with_wander(0.0).unwrap()
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
    assert!((0.07..0.14).contains(&rms(&once)), "{}", rms(&once));
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
    pass(&mut started, 0.3);
    started.kill();
    pass(&mut started, 1.0);
    assert_eq!(started.rpm(), 0.0);
    assert!(pass(&mut started, 3.0).iter().all(|&x| x == 0.0));
    started.turn(3.0).unwrap();
    started.turn(2.75).unwrap();
    assert!(pass(&mut started, 0.5).iter().all(|&x| x == 0.0), "a screw does not start an engine");
    started.kick();
    let cranked = pass(&mut started, 0.5);
    assert!(rms(&cranked) < 0.5 * 0.1, "nothing burns yet: {}", rms(&cranked));
    pass(&mut started, 6.0);
    assert!((started.rpm() / idle_rpm - 1.0).abs() < 0.02, "{} after {idle_rpm}", started.rpm());
    assert!(rms(&pass(&mut started, 1.0)) > 0.05);
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
        let mean = steady(&twin(), 2.75, 5).rpm();
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
    assert!(rms(&blip[12_000..]) > 2.0 * idle_rms, "no louder than the idle");
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
fn firings_are_missed_near_the_lean_limit() {
    let (machine, (air, fuel)) = (twin(), day());
    let burning = |turns: f64| match machine.idle(turns, &air, &fuel).unwrap() {
        Idle::Runs(idle) => idle.burning,
        _ => panic!("it idles at {turns} turns"),
    };
    let quiet = |turns: f64| {
        // Power of each half turn of the crank: one that missed is quiet.
        let mut started = steady(&machine, turns, 6);
        let sound = pass(&mut started, 20.0);
        let piece = (60.0 / started.rpm() * SAMPLE_RATE_HZ) as usize;
        let mut levels: Vec<f64> = sound.chunks_exact(piece).map(rms).collect();
        levels.sort_unstable_by(f64::total_cmp);
        let usual = levels[levels.len() / 2];
        levels.iter().filter(|&&level| level < 0.5 * usual).count() as f64 / levels.len() as f64
    };
    println!("{:?}", [1.2, 1.3, 1.4, 1.5, 1.75, 2.0, 2.75].map(|turns| (burning(turns), quiet(turns))));
}

#[test]
fn an_air_screw_and_a_fuel_screw_go_their_own_ways() {
    for (screw, seed) in [(Screw::Fuel, 1), (Screw::Air, 1)] {
        for hidden in
            draw(Population::Network, seed, 12).unwrap().iter().filter(|hidden| hidden.screw() == screw)
        {
            let best = hidden.idle_curve().unwrap();
            println!("{screw:?} {:?} {:?}", best.best().map(|b| b.turns), best.lean_edge_turns());
        }
    }
    let _ = voice_of;
}
