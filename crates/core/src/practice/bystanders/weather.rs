//! Rain, dripping, and wheels on a road.

use super::super::Dice;
use super::super::voice::SAMPLE_RATE_HZ;
use super::super::voice::filter::Section;
use super::{Struck, Tape};

pub(super) fn rain(tape: &mut Tape, dice: &mut Dice) {
    let rate_hz = dice.between_in_ratio(8.0, 120.0);
    let mut at = 0.0;
    while at < tape.seconds() {
        let drop = Struck(vec![(dice.between_in_ratio(400.0, 5_000.0), 1.0, dice.between(0.002, 0.006))]);
        drop.blow(tape, at, dice.between_in_ratio(0.2, 4.0), 0.5, dice);
        at -= (1.0 - dice.unit()).ln() / rate_hz;
    }
    let wash = dice.between(0.02, 0.4);
    let mut low = Section::low(4_000.0, SAMPLE_RATE_HZ);
    tape.throughout(|_| wash * low.step(dice.between(-1.7, 1.7)));
}

pub(super) fn dripping(tape: &mut Tape, dice: &mut Dice) {
    for _ in 0..(1.0 + dice.unit() * 2.0) as usize {
        let (rate_hz, uneven) = (dice.between(2.0, 14.0), dice.between(0.01, 0.12));
        let (pitch_hz, fade_s) = (dice.between(400.0, 2_000.0), dice.between(0.005, 0.02));
        let mut at = dice.between(0.0, 0.5);
        while at < tape.seconds() {
            // No drop sounds like the last one: the bubble's size differs.
            let drop = Struck(vec![(pitch_hz * (1.0 + 0.15 * dice.normal()).max(0.3), 1.0, fade_s)]);
            drop.blow(tape, at, (1.0 + 0.3 * dice.normal()).max(0.2), 0.3, dice);
            at += (1.0 + uneven * dice.normal()).max(0.3) / rate_hz;
        }
    }
    let wash = dice.between(0.005, 0.05);
    tape.throughout(|_| wash * dice.between(-1.7, 1.7));
}

pub(super) fn tyres(tape: &mut Tape, dice: &mut Dice) {
    let far = dice.between(0.05, 0.3);
    let mut low = Section::low(900.0, SAMPLE_RATE_HZ);
    tape.throughout(|_| far * low.step(dice.between(-1.7, 1.7)));
    let mut at = dice.between(0.0, 2.0);
    while at < tape.seconds() {
        let (half_s, size) = (dice.between(0.7, 2.5), dice.between_in_ratio(0.4, 2.5));
        let (mut above, mut below) = (
            Section::high(dice.between(200.0, 500.0), SAMPLE_RATE_HZ),
            Section::low(dice.between(1_200.0, 2_500.0), SAMPLE_RATE_HZ),
        );
        tape.add(at, 4.0 * half_s, |t| {
            let swell = (-((t - 2.0 * half_s) / half_s).powi(2) * 2.0).exp();
            size * swell * below.step(above.step(dice.between(-1.7, 1.7)))
        });
        // Both axles cross a joint in the road.
        let joint =
            Struck(vec![(dice.between(90.0, 200.0), 1.0, 0.02), (dice.between(300.0, 600.0), 0.5, 0.01)]);
        let axles_s = dice.between(0.12, 0.25);
        for later in [0.0, axles_s] {
            joint.blow(tape, at + 2.0 * half_s + later, 1.5 * size, 0.5, dice);
        }
        at += dice.between(1.0, 6.0);
    }
}
