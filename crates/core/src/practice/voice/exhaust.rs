//! From firings to sound: blow-down through headers, pipes and silencer; intake; valves; whine.

use super::super::Dice;
use super::filter::{add_at, usual_rms};
use super::parts::{
    Belt, Blown, Inlet, Outlet, Pulse, Rushing, Seats, Valves, drawn_rise_s, opens_deg, ticks,
};
use super::turned::Turned;
use super::{Running, SAMPLE_RATE_HZ, Voice};

/// Everything heard at the machine, run-in and run-out included.
pub(super) fn heard(voice: &Voice, running: &Running, turned: &Turned, dice: &mut Dice) -> Vec<f64> {
    let mut sound = vec![0.0; turned.samples()];
    let flows = flows(voice, running, turned, dice);
    for flow in &flows {
        let mut outlet = Outlet::drawn(voice, dice);
        let piped: Vec<f64> = flow.iter().map(|&flow| outlet.step(flow)).collect();
        add_at(&mut sound, &piped, 1.0, SAMPLE_RATE_HZ);
        if voice.turbulence > 0.0 {
            let mut gas = Rushing::new();
            let rushing: Vec<f64> = flow.iter().map(|&flow| gas.step(flow, dice)).collect();
            add_at(&mut sound, &rushing, voice.turbulence, SAMPLE_RATE_HZ);
        }
    }
    let usual = usual_rms(&sound, SAMPLE_RATE_HZ).max(1e-12);
    sound.iter_mut().for_each(|x| *x /= usual);
    if voice.intake > 0.0 {
        add_intake(&mut sound, voice, turned, dice);
    }
    if ticks(voice) {
        add_ticks(&mut sound, voice, turned, dice);
    }
    if voice.whine > 0.0 {
        let belt = Belt::drawn(dice);
        for (i, x) in sound.iter_mut().enumerate() {
            *x += belt.whine(voice.whine, turned.angles_deg()[i], turned.asked(i as f64).rpm);
        }
    }
    sound
}

/// Adds a pulse to a flow, as far as the flow goes.
fn add(pulse: &Pulse, flow: &mut [f64]) {
    let span = pulse.span();
    let end = span.end.min(flow.len());
    pulse.add(flow[span.start.min(end)..end].iter_mut());
}

/// Outflow of each pipe.
fn flows(voice: &Voice, running: &Running, turned: &Turned, dice: &mut Dice) -> Vec<Vec<f64>> {
    let pipes = voice.pipes.iter().max().map_or(1, |&last| last + 1);
    let mut flows = vec![vec![0.0; turned.samples()]; pipes];
    let (opens_deg, _) = opens_deg(voice);
    let rise_s = drawn_rise_s(dice);
    for fired in &turned.fired {
        let late = dice.normal();
        let blown = Blown::drawn(dice);
        let at = turned.sample_at(fired.crank_deg + opens_deg + running.jitter_deg * late);
        let Some(sample) = at else { continue };
        let pulse = Pulse::blow_down(voice, fired, &blown, rise_s, sample, turned.asked(sample));
        add(&pulse, &mut flows[voice.pipes[fired.cylinder]]);
    }
    flows
}

fn add_intake(sound: &mut [f64], voice: &Voice, turned: &Turned, dice: &mut Dice) {
    let mut gulps = vec![0.0; turned.samples()];
    let (_, opens_deg) = opens_deg(voice);
    for fired in &turned.fired {
        let uneven = 1.0 + 0.05 * dice.normal();
        let Some(sample) = turned.sample_at(fired.crank_deg + opens_deg) else { continue };
        add(&Pulse::gulp(uneven, sample, turned.asked(sample)), &mut gulps);
    }
    let mut inlet = Inlet::drawn(dice);
    let (tone, hiss): (Vec<f64>, Vec<f64>) = gulps.iter().map(|&gulp| inlet.step(gulp, dice)).unzip();
    add_at(sound, &tone, 0.8 * voice.intake, SAMPLE_RATE_HZ);
    add_at(sound, &hiss, 0.4 * voice.intake, SAMPLE_RATE_HZ);
}

fn add_ticks(sound: &mut [f64], voice: &Voice, turned: &Turned, dice: &mut Dice) {
    let mut clicks = vec![0.0; turned.samples()];
    let valves = Valves::drawn(voice.strengths.len(), dice);
    for fired in &turned.fired {
        for (valve, at_deg) in Valves::AT_DEG.iter().enumerate() {
            let tick = valves.tick(fired.cylinder, valve, dice);
            let Some(sample) = turned.sample_at(fired.crank_deg + at_deg + tick.late_deg) else { continue };
            let (here, next) = tick.click(sample, turned.asked(sample).rpm);
            clicks[sample as usize] += here;
            if let Some(click) = clicks.get_mut(sample as usize + 1) {
                *click += next;
            }
        }
    }
    let mut seats = Seats::drawn(dice);
    clicks.iter_mut().for_each(|click| *click = seats.step(*click));
    add_at(sound, &clicks, voice.ticks, SAMPLE_RATE_HZ);
}
