//! Machines that turn or strike, but do not fire.

use std::f64::consts::TAU;

use super::super::Dice;
use super::super::voice::SAMPLE_RATE_HZ;
use super::super::voice::filter::Section;
use super::super::voice::speed::wandering;
use super::{Struck, Tape};

/// Something with blades.
struct Rotor {
    turns_hz: f64,
    blades: f64,
    /// Level of the blades' tone beside the wash.
    tone: f64,
    /// Share by which each blade modulates the wash, and by which one turn does.
    swing: f64,
    unbalance: f64,
    /// How sharply a blade cuts: 1 is a sine.
    sharp: i32,
    wash_hz: (f64, f64),
    /// Standard deviation of its drift, share.
    drift: f64,
}

impl Rotor {
    fn blow(&self, tape: &mut Tape, dice: &mut Dice) {
        let drift = wandering((tape.seconds() * 1000.0) as usize + 2, 3.0, dice);
        let tones: Vec<(f64, f64)> =
            (1..=5).map(|h| (dice.between(0.2, 1.0) / f64::from(h), dice.between(0.0, TAU))).collect();
        let mut above = Section::high(self.wash_hz.0, SAMPLE_RATE_HZ);
        let mut below = Section::low(self.wash_hz.1, SAMPLE_RATE_HZ);
        let mut turned = 0.0_f64;
        tape.throughout(|t| {
            turned += self.turns_hz * (1.0 + self.drift * drift[(t * 1000.0) as usize]) / SAMPLE_RATE_HZ;
            let blade = TAU * self.blades * turned;
            let tone: f64 =
                tones.iter().zip(1..).map(|((a, p), h)| a * (f64::from(h) * blade + p).cos()).sum();
            let cut = (0.5 + 0.5 * blade.cos()).powi(self.sharp);
            let wash = below.step(above.step(dice.between(-1.7, 1.7)));
            self.tone * tone + wash * (1.0 + self.swing * cut + self.unbalance * (TAU * turned).cos())
        });
    }
}

pub(super) fn desk_fan(tape: &mut Tape, dice: &mut Dice) {
    let rotor = Rotor {
        turns_hz: dice.between(14.0, 28.0),
        blades: dice.between(3.0, 6.0).floor(),
        tone: dice.between(0.0, 0.4),
        swing: dice.between(0.1, 0.8),
        unbalance: dice.between(0.0, 0.3),
        sharp: 1,
        wash_hz: (100.0, dice.between_in_ratio(800.0, 5_000.0)),
        drift: dice.between(0.001, 0.005),
    };
    rotor.blow(tape, dice);
    hum(tape, dice.between(0.0, 0.3), dice);
}

pub(super) fn large_fan(tape: &mut Tape, dice: &mut Dice) {
    let rotor = Rotor {
        turns_hz: dice.between(2.0, 9.0),
        blades: dice.between(3.0, 7.0).floor(),
        tone: 0.0,
        swing: dice.between(0.4, 2.5),
        unbalance: dice.between(0.0, 0.3),
        sharp: 1 + (dice.unit() * 4.0) as i32,
        wash_hz: (80.0, dice.between_in_ratio(500.0, 3_000.0)),
        drift: dice.between(0.001, 0.01),
    };
    rotor.blow(tape, dice);
}

pub(super) fn extractor(tape: &mut Tape, dice: &mut Dice) {
    let rotor = Rotor {
        turns_hz: dice.between(22.0, 49.0),
        blades: dice.between(6.0, 40.0).floor(),
        tone: dice.between(0.1, 0.5),
        swing: dice.between(0.0, 0.3),
        unbalance: dice.between(0.05, 0.4),
        sharp: 1,
        wash_hz: (100.0, dice.between_in_ratio(1_500.0, 6_000.0)),
        drift: dice.between(0.0005, 0.003),
    };
    rotor.blow(tape, dice);
    hum(tape, dice.between(0.0, 0.4), dice);
}

/// Mains hum with its harmonics.
fn hum(tape: &mut Tape, level: f64, dice: &mut Dice) {
    let mains_hz = dice.one_of(&[50.0, 60.0]);
    let parts: Vec<(f64, f64, f64)> = (1..=12)
        .map(|h| {
            let h = f64::from(h);
            (h * mains_hz, dice.between(0.1, 1.0) / h.powf(0.7), dice.between(0.0, TAU))
        })
        .collect();
    tape.throughout(|t| level * parts.iter().map(|(f, a, p)| a * (TAU * f * t + p).cos()).sum::<f64>());
}

pub(super) fn refrigerator(tape: &mut Tape, dice: &mut Dice) {
    hum(tape, 0.5, dice);
    // The rotor slips behind the field; what is loose beats with it.
    let rotor_hz = dice.one_of(&[25.0, 30.0, 50.0, 60.0]) * dice.between(0.955, 0.99);
    let loose = Struck::drawn((300.0, 2_500.0), (0.002, 0.008), dice);
    let (size, mut at) = (dice.between(0.0, 1.2), 0.0);
    while at < tape.seconds() {
        let strength = size * (1.0 + 0.15 * dice.normal()).max(0.0);
        loose.blow(tape, at, strength, 0.5, dice);
        at += 1.0 / rotor_hz;
    }
}

pub(super) fn air_compressor(tape: &mut Tape, dice: &mut Dice) {
    let pistons = dice.one_of(&[1.0, 2.0]);
    let turns_hz = dice.between(9.0, 20.0);
    // Pressure rises in the tank, and the motor slips a little more.
    let slowing = dice.between(0.0, 0.0004);
    let (gulp_hz, gulp_level) = (dice.between(120.0, 350.0), dice.between(0.5, 1.5));
    let valves = Struck::drawn((800.0, 4_000.0), (0.002, 0.006), dice);
    let valve_level = dice.between(0.1, 0.8);
    let mut suck = Section::low(gulp_hz, SAMPLE_RATE_HZ);
    let mut turned = 0.0_f64;
    let mut blows = Vec::new();
    tape.throughout(|t| {
        let before = turned;
        turned += turns_hz * (1.0 - slowing * t) / SAMPLE_RATE_HZ;
        if (pistons * before).floor() < (pistons * turned).floor() {
            blows.push(t);
        }
        // Air is drawn in during half of a turn, smoothly.
        let opened = (TAU * pistons * turned).sin().max(0.0);
        gulp_level * opened * 3.0 * suck.step(dice.between(-1.7, 1.7)) + 0.15 * dice.between(-1.7, 1.7)
    });
    for at in blows {
        valves.blow(tape, at, valve_level * (1.0 + 0.05 * dice.normal()), 0.5, dice);
    }
    hum(tape, dice.between(0.1, 0.5), dice);
}

/// How a tool is used: pieces of time, each with the speed it goes to \[share\] and its load, 0 to 1.
fn strokes(seconds: f64, lasts_s: (f64, f64), rests: f64, dice: &mut Dice) -> Vec<(f64, f64)> {
    let steps = (seconds * 1000.0) as usize + 2;
    let mut course = Vec::with_capacity(steps);
    let (mut speed, mut load) = (1.0, 0.0);
    while course.len() < steps {
        let rest = dice.chance(rests);
        let wanted_load = if rest { 0.0 } else { dice.between(0.0, 1.0) };
        let wanted_speed = if rest { 0.0 } else { dice.between(0.75, 1.0) - 0.15 * wanted_load };
        for _ in 0..(dice.between(lasts_s.0, lasts_s.1) * 1000.0) as usize {
            speed += (wanted_speed - speed) / 150.0;
            load += (wanted_load - load) / 80.0;
            course.push((speed, load));
        }
    }
    course
}

pub(super) fn drill(tape: &mut Tape, dice: &mut Dice) {
    let course = strokes(tape.seconds(), (0.7, 3.0), 0.2, dice);
    let motor_hz = dice.between(150.0, 350.0);
    let (teeth, reduction) = (dice.between(5.0, 9.0).floor(), dice.between(8.0, 20.0));
    let chuck = dice.between(0.1, 0.9);
    let mut chips = Section::high(1_000.0, SAMPLE_RATE_HZ);
    let mut turned = 0.0_f64;
    tape.throughout(|t| {
        let (speed, load) = course[(t * 1000.0) as usize];
        turned += motor_hz * speed / SAMPLE_RATE_HZ;
        let whirr = (TAU * turned).cos()
            + 0.6 * (TAU * teeth * turned).cos()
            + 0.3 * (TAU * 2.0 * teeth * turned).cos();
        let round = 1.0 + chuck * (TAU * turned / reduction).cos();
        let noise = chips.step(dice.between(-1.7, 1.7));
        speed * (0.4 * whirr * round + noise * (0.3 + 1.5 * load * round.max(0.0)))
    });
}

pub(super) fn grinder(tape: &mut Tape, dice: &mut Dice) {
    let course = strokes(tape.seconds(), (0.4, 2.0), 0.05, dice);
    let disc_hz = dice.between(90.0, 180.0);
    let (whine, ratio) = (dice.between(0.1, 0.6), dice.between(2.5, 4.5));
    let wobble = dice.between(0.2, 1.0);
    let mut sparks = Section::high(dice.between(300.0, 1_500.0), SAMPLE_RATE_HZ);
    let mut turned = 0.0_f64;
    tape.throughout(|t| {
        let (speed, load) = course[(t * 1000.0) as usize];
        turned += disc_hz * speed / SAMPLE_RATE_HZ;
        let tone = (TAU * ratio * turned).cos() + 0.5 * (TAU * 8.0 * turned).cos();
        let noise = sparks.step(dice.between(-1.7, 1.7));
        speed * (whine * tone + noise * (0.4 + 2.0 * load * (1.0 + wobble * (TAU * turned).cos())))
    });
}

pub(super) fn impact_wrench(tape: &mut Tape, dice: &mut Dice) {
    let blows_hz = dice.between(14.0, 32.0);
    let socket = Struck::drawn((900.0, 5_500.0), (0.003, 0.015), dice);
    let air = dice.between(0.2, 1.0);
    let mut at = dice.between(0.0, 0.5);
    while at < tape.seconds() {
        // It runs free, then strikes until the nut sits, then rests.
        let free = dice.between(0.1, 0.6);
        let until = at + free + dice.between(0.8, 4.0);
        let mut hiss = Section::high(700.0, SAMPLE_RATE_HZ);
        tape.add(at, until - at, |t| air * (t / 0.05).min(1.0) * hiss.step(dice.between(-1.7, 1.7)));
        let (mut strikes, mut slowed) = (at + free, 1.0);
        while strikes < until {
            let size = (1.0 + 0.2 * dice.normal()).max(0.2);
            socket.blow(tape, strikes, 3.0 * size, 1.5, dice);
            slowed *= 1.0 + 0.004 * dice.normal();
            strikes += slowed * (1.0 + 0.04 * dice.normal()).max(0.5) / blows_hz;
        }
        at = until + dice.between(0.4, 2.0);
    }
}

pub(super) fn ratchet(tape: &mut Tape, dice: &mut Dice) {
    let pawl = Struck::drawn((1_500.0, 6_000.0), (0.001, 0.006), dice);
    let mut at = dice.between(0.0, 0.5);
    while at < tape.seconds() {
        let (clicks_hz, until) = (dice.between(15.0, 60.0), at + dice.between(0.25, 0.9));
        let begins = at;
        while at < until {
            // The hand speeds up and slows down again within a stroke.
            let share = ((at - begins) / (until - begins) * std::f64::consts::PI).sin().max(0.3);
            pawl.blow(tape, at, (1.0 + 0.2 * dice.normal()).max(0.2), 0.7, dice);
            at += (1.0 + 0.05 * dice.normal()).max(0.5) / (clicks_hz * share);
        }
        at += dice.between(0.2, 0.7);
    }
}

pub(super) fn hammering(tape: &mut Tape, dice: &mut Dice) {
    let blows_hz = dice.between(1.5, 7.0);
    let plate = Struck::drawn((250.0, 4_000.0), (0.01, 0.08), dice);
    let uneven = dice.between(0.02, 0.08);
    let mut at = dice.between(0.0, 0.5);
    while at < tape.seconds() {
        for _ in 0..(dice.between(6.0, 30.0) as usize) {
            plate.blow(tape, at, (1.0 + 0.2 * dice.normal()).max(0.2), 2.0, dice);
            at += (1.0 + uneven * dice.normal()).max(0.4) / blows_hz;
        }
        at += dice.between(0.5, 2.0);
    }
}
