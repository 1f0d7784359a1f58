//! Music: what keeps time better than any engine.

use std::f64::consts::TAU;

use super::super::Dice;
use super::super::voice::SAMPLE_RATE_HZ;
use super::super::voice::filter::Section;
use super::super::voice::speed::wandering;
use super::Tape;

/// Drums of one kit.
#[derive(Clone, Copy)]
enum Drum {
    Kick,
    Snare,
    Hat,
    Tom,
    Block,
}

const DRUMS: [Drum; 5] = [Drum::Kick, Drum::Snare, Drum::Hat, Drum::Tom, Drum::Block];

fn beat(tape: &mut Tape, drum: Drum, at_s: f64, size: f64, tune: f64, dice: &mut Dice) {
    let mut bright = Section::high(5_000.0, SAMPLE_RATE_HZ);
    match drum {
        Drum::Kick => tape.add(at_s, 0.3, |t| {
            let phase = 50.0 * tune * t + 3.0 * (1.0 - (-t / 0.02).exp());
            1.5 * size * (-t / 0.09).exp() * (TAU * phase).sin()
        }),
        Drum::Snare => tape.add(at_s, 0.25, |t| {
            let skin = (TAU * 190.0 * tune * t).sin() * (-t / 0.04).exp();
            size * (0.5 * skin + 0.5 * (-t / 0.06).exp() * dice.between(-1.7, 1.7))
        }),
        Drum::Hat => {
            tape.add(at_s, 0.08, |t| 0.7 * size * (-t / 0.018).exp() * bright.step(dice.between(-1.7, 1.7)))
        }
        Drum::Tom => tape.add(at_s, 0.3, |t| {
            size * (-t / 0.1).exp() * (TAU * (110.0 * tune * t + 0.6 * (1.0 - (-t / 0.03).exp()))).sin()
        }),
        Drum::Block => tape.add(at_s, 0.06, |t| size * (-t / 0.012).exp() * (TAU * 900.0 * tune * t).sin()),
    }
}

/// A tempo: seconds a sixteenth.
fn sixteenth_s(dice: &mut Dice) -> f64 {
    15.0 / dice.between(75.0, 175.0)
}

/// When all sixteenths fall, each off by a player's unevenness.
fn grid(tape: &Tape, step_s: f64, uneven_s: f64, dice: &mut Dice) -> Vec<f64> {
    let count = (tape.seconds() / step_s) as usize;
    (0..count).map(|i| (i as f64 * step_s + uneven_s * dice.normal()).max(0.0)).collect()
}

pub(super) fn drum_machine(tape: &mut Tape, dice: &mut Dice) {
    let step_s = sixteenth_s(dice);
    let tune = dice.between(0.7, 1.4);
    // One bar of sixteen steps for each drum, and it never changes.
    let bars: Vec<(Drum, Vec<f64>)> = DRUMS
        .iter()
        .map(|&drum| {
            let (busy, every) = (dice.between(0.05, 0.6), dice.one_of(&[1, 2, 4]));
            let offset = if matches!(drum, Drum::Snare) { 4 } else { 0 };
            let bar = (0..16)
                .map(|step| {
                    let regular = (step + offset) % (2 * every) == 0;
                    let size = dice.between(0.4, 1.0);
                    if regular || dice.chance(busy * 0.5) { size } else { 0.0 }
                })
                .collect();
            (drum, bar)
        })
        .collect();
    let heard = 2 + (dice.unit() * 4.0) as usize;
    for (i, at) in grid(tape, step_s, 0.0, dice).into_iter().enumerate() {
        for (drum, bar) in bars.iter().take(heard) {
            if bar[i % 16] > 0.0 {
                beat(tape, *drum, at, bar[i % 16], tune, dice);
            }
        }
    }
}

pub(super) fn sixteenths(tape: &mut Tape, dice: &mut Dice) {
    let step_s = sixteenth_s(dice);
    let drum = dice.one_of(&DRUMS);
    let (tune, uneven_s) = (dice.between(0.7, 2.0), dice.one_of(&[0.0, 0.002, 0.006]));
    let accent = dice.between(0.4, 1.0);
    for (i, at) in grid(tape, step_s, uneven_s, dice).into_iter().enumerate() {
        let size = if i % 4 == 0 { 1.0 } else { accent };
        let size = size * (1.0 + 3.0 * uneven_s / 0.006 * 0.04 * dice.normal());
        beat(tape, drum, at, size, tune, dice);
    }
}

/// A note of a saw through a low-pass, as a bass or a synthesiser has it.
fn note(tape: &mut Tape, at_s: f64, seconds: f64, pitch_hz: f64, fade_s: f64, size: f64, dull_hz: f64) {
    let mut low = Section::low(dull_hz, SAMPLE_RATE_HZ);
    tape.add(at_s, seconds + 0.02, |t| {
        let shape =
            (t / 0.004).min(1.0) * (-t / fade_s).exp() * ((seconds + 0.02 - t) / 0.02).clamp(0.0, 1.0);
        size * shape * low.step(2.0 * (pitch_hz * t).fract() - 1.0)
    });
}

/// Steps of a minor scale, semitones.
const SCALE: [f64; 7] = [0.0, 2.0, 3.0, 5.0, 7.0, 8.0, 10.0];

fn pitch(root_hz: f64, degree: usize) -> f64 {
    let octave = (degree / 7) as f64;
    root_hz * ((SCALE[degree % 7] + 12.0 * octave) / 12.0).exp2()
}

pub(super) fn bass(tape: &mut Tape, dice: &mut Dice) {
    let step_s = sixteenth_s(dice) * dice.one_of(&[1.0, 2.0, 4.0]);
    let (root_hz, dull_hz) = (dice.between(36.0, 70.0), dice.between_in_ratio(300.0, 3_000.0));
    let (fade_s, stays) = (dice.between_in_ratio(0.08, 1.0), dice.between(0.3, 0.95));
    let uneven_s = dice.between(0.0, 0.008);
    let mut degree = 0;
    for at in grid(tape, step_s, uneven_s, dice) {
        if !dice.chance(stays) {
            degree = (dice.unit() * 9.0) as usize;
        }
        note(tape, at, 0.95 * step_s, pitch(root_hz, degree), fade_s, dice.between(0.7, 1.0), dull_hz);
    }
}

pub(super) fn arpeggio(tape: &mut Tape, dice: &mut Dice) {
    let step_s = sixteenth_s(dice);
    let (root_hz, dull_hz) = (dice.between(80.0, 220.0), dice.between_in_ratio(700.0, 6_000.0));
    let fade_s = dice.between_in_ratio(0.04, 0.3);
    let pattern: Vec<usize> =
        (0..dice.one_of(&[3, 4, 8])).map(|_| dice.one_of(&[0, 2, 4, 7, 9, 11])).collect();
    let mut chord = 0;
    for (i, at) in grid(tape, step_s, 0.0, dice).into_iter().enumerate() {
        if i % 16 == 0 {
            chord = (dice.unit() * 5.0) as usize;
        }
        let hertz = pitch(root_hz, chord + pattern[i % pattern.len()]);
        note(tape, at, 0.9 * step_s, hertz, fade_s, 0.7, dull_hz);
    }
}

pub(super) fn chords(tape: &mut Tape, dice: &mut Dice) {
    let lasts_s = dice.between(0.8, 5.0);
    let (root_hz, dull_hz) = (dice.between(70.0, 180.0), dice.between_in_ratio(500.0, 4_000.0));
    let (tremolo_hz, depth) = (dice.between(4.0, 9.0), dice.one_of(&[0.0, 0.3, 0.6, 0.9]));
    let mut played = Tape { sound: vec![0.0; tape.sound.len()] };
    let mut at = 0.0;
    while at < tape.seconds() {
        let chord = (dice.unit() * 6.0) as usize;
        for third in [0, 2, 4, 7] {
            let hertz = pitch(root_hz, chord + third) * (1.0 + 0.001 * dice.normal());
            note(&mut played, at, lasts_s, hertz, 2.0, dice.between(0.4, 1.0), dull_hz);
        }
        at += lasts_s;
    }
    let mut i = 0;
    tape.throughout(|t| {
        i += 1;
        played.sound[i - 1] * (1.0 + depth * (TAU * tremolo_hz * t).cos())
    });
}

pub(super) fn strings(tape: &mut Tape, dice: &mut Dice) {
    let root_hz = dice.between(45.0, 130.0);
    let (dull_hz, vibrato_hz) = (dice.between_in_ratio(800.0, 4_000.0), dice.between(4.5, 6.5));
    let (vibrato, lasts_s) = (dice.between(0.0, 0.012), dice.between(0.4, 3.0));
    let drift = wandering((tape.seconds() * 1000.0) as usize + 2, 0.3, dice);
    let mut low = Section::low(dull_hz, SAMPLE_RATE_HZ);
    let (mut phase, mut wanted_hz, mut now_hz, mut until, mut bowed) = (0.0_f64, root_hz, root_hz, 0.0, 0.0);
    tape.throughout(|t| {
        if t >= until {
            wanted_hz = pitch(root_hz, (dice.unit() * 10.0) as usize);
            until = t + lasts_s * dice.between(0.5, 1.5);
            bowed = 0.2;
        }
        now_hz += (wanted_hz - now_hz) / (0.012 * SAMPLE_RATE_HZ);
        bowed += (1.0 - bowed) / (0.08 * SAMPLE_RATE_HZ);
        let bend = vibrato * (TAU * vibrato_hz * t).sin() + 0.002 * drift[(t * 1000.0) as usize];
        phase += now_hz * (1.0 + bend) / SAMPLE_RATE_HZ;
        bowed * low.step(2.0 * phase.fract() - 1.0 + 0.15 * dice.between(-1.7, 1.7))
    });
}

pub(super) fn band(tape: &mut Tape, dice: &mut Dice) {
    let step_s = sixteenth_s(dice);
    let uneven_s = dice.between(0.001, 0.01);
    let hats_every = dice.one_of(&[1, 2, 2, 4]);
    let (root_hz, tune) = (dice.between(36.0, 60.0), dice.between(0.8, 1.3));
    let (bass_level, chord_level) = (dice.between(0.2, 0.8), dice.between(0.05, 0.4));
    let mut chord = 0;
    for (i, at) in grid(tape, step_s, uneven_s, dice).into_iter().enumerate() {
        if i % 16 == 0 {
            chord = (dice.unit() * 6.0) as usize;
            for third in [14, 16, 18] {
                note(tape, at, 16.0 * step_s, pitch(root_hz, chord + third), 1.5, chord_level, 2_500.0);
            }
        }
        let fill = dice.chance(0.06);
        if i % 8 == 0 || fill {
            beat(tape, Drum::Kick, at, dice.between(0.8, 1.0), tune, dice);
        }
        if i % 8 == 4 || (fill && i % 4 != 0) {
            beat(tape, Drum::Snare, at, dice.between(0.7, 1.0), tune, dice);
        }
        if i % hats_every == 0 {
            beat(tape, Drum::Hat, at, dice.between(0.3, 0.8), tune, dice);
        }
        if i % 2 == 0 && !dice.chance(0.2) {
            note(tape, at, 1.8 * step_s, pitch(root_hz, chord), 0.4, bass_level, 900.0);
        }
    }
}
