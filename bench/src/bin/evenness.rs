//! Figures of evenness: missed firings found, strength of each cylinder, variation, by layout and condition.
//!
//! Run in release: `cargo run --release --bin evenness -- [--first-seed 1] [--seeds 3] [--only NAME] [--show]` in this
//! folder. A clip is an idle of 10 to 12 s by `practice::voice`, of which 5 to 12 % of the firings are missed
//! and the others differ by 5 to 15 %.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bellmouth_core::engine::layout::{Firing, LAYOUTS, layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{
    Fired, Noise, Phone, Room, Running, SAMPLE_RATE_HZ, Speed, Surroundings, Voice,
};
use bellmouth_core::sound::Listener;
use bellmouth_core::sound::evenness::{Estimate, Follower, Pulse};

/// A flat four whose headers differ in length: pairs of pulses come late, from another pipe.
const UNEQUAL_HEADERS: &str = "flat-4-headers";

/// Under which every layout is heard; the third is the one promises are about.
const CONDITIONS: [&str; 7] =
    ["dry", "10dB", "room_10dB", "room_0dB", "phone16k", "fast_room_10dB", "hard_room"];

/// How far a firing's sound may come after its crank angle, degrees: valve, pipe, and where in a pulse its
/// instant lies.
const MOST_LATE_DEG: usize = 330;

/// Standard deviation of strength in a long run, in units of what is asked for: a voice makes every firing answer
/// the one before by a quarter, the other way.
const OWN_VARIATION: f64 = 1.033;

fn main() {
    let (mut first, mut seeds, mut only, mut show) = (1_u64, 3_u64, Vec::<String>::new(), false);
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        let mut value = || given.next().unwrap_or_else(|| panic!("{word} needs a value"));
        match word.as_str() {
            "--first-seed" => first = value().parse().expect("a seed"),
            "--seeds" => seeds = value().parse().expect("a number of seeds"),
            "--only" => only.push(value()),
            "--show" => show = true,
            _ => panic!("{word} means nothing here: --first-seed --seeds --only --show"),
        }
    }
    let mut names: Vec<&str> = LAYOUTS.iter().map(|row| row.name).collect();
    names.push(UNEQUAL_HEADERS);
    let mut clips = Vec::new();
    for condition in CONDITIONS {
        for &name in &names {
            let clip = format!("{name}/{condition}");
            if only.iter().all(|part| clip.contains(part.as_str())) {
                clips.extend((first..first + seeds).map(|seed| (name, condition, seed)));
            }
        }
    }
    let outcomes = heard(&clips);
    println!(
        "{:<18} {:<15} clips refused | precision recall | variation off, points | energy RMS, within 0.15 | named | truth in 90 %: variation weak energy | ms/s",
        "layout", "condition"
    );
    for condition in CONDITIONS {
        for &name in &names {
            let own: Vec<&Outcome> = outcomes
                .iter()
                .filter(|outcome| outcome.name == name && outcome.condition == condition)
                .collect();
            if !own.is_empty() {
                println!("{name:<18} {condition:<15} {}", row(&own));
                if show {
                    own.iter().for_each(|outcome| println!("    {outcome:.3?}"));
                }
            }
        }
        let all: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.condition == condition).collect();
        if !all.is_empty() {
            println!("{:<18} {condition:<15} {}\n", "all", row(&all));
        }
    }
}

#[derive(Debug)]
struct Outcome {
    name: &'static str,
    condition: &'static str,
    #[allow(dead_code, reason = "shown by --show")]
    seed: u64,
    /// Why nothing was said.
    refused: Option<&'static str>,
    found: usize,
    wrong: usize,
    lost: usize,
    variation_off: f64,
    /// Whether the engine's own variation, weak shares and energies lay within their intervals.
    variation_held: Vec<bool>,
    weak_held: Vec<bool>,
    energy_held: Vec<bool>,
    /// Difference of each cylinder's energy from the truth; empty where cylinders have pipes of their own, which
    /// change what a microphone gets of them.
    energy_off: Vec<f64>,
    /// Whether positions are the cylinders they were said to be; none where that was not said.
    named: Option<bool>,
    ms_per_s: f64,
}

fn row(outcomes: &[&Outcome]) -> String {
    let said: Vec<&&Outcome> = outcomes.iter().filter(|outcome| outcome.refused.is_none()).collect();
    let sum = |of: &dyn Fn(&Outcome) -> f64| said.iter().map(|outcome| of(outcome)).sum::<f64>();
    let found = sum(&|outcome| outcome.found as f64);
    let share = |other: f64| found / (found + other);
    let off: Vec<f64> = said.iter().flat_map(|outcome| outcome.energy_off.iter().copied()).collect();
    let rms = (off.iter().map(|x| x * x).sum::<f64>() / off.len() as f64).sqrt();
    let piped: Vec<&&&Outcome> = said.iter().filter(|outcome| !outcome.energy_off.is_empty()).collect();
    let within = piped.iter().filter(|outcome| outcome.energy_off.iter().all(|x| x.abs() <= 0.15)).count();
    let held = |of: &dyn Fn(&Outcome) -> &Vec<bool>| {
        let all: Vec<bool> = said.iter().flat_map(|outcome| of(outcome).iter().copied()).collect();
        if all.is_empty() {
            return "–".to_owned();
        }
        format!("{:.0} %", 100.0 * all.iter().filter(|&&held| held).count() as f64 / all.len() as f64)
    };
    let named: Vec<bool> = said.iter().filter_map(|outcome| outcome.named).collect();
    format!(
        "{:>5} {:>7} | {:>9.3} {:>6.3} | {:>21.1} | {:>10.3} {:>5}/{:<5} | {:>2}/{:<2} | {:>24} {:>4} {:>6} | {:.1}",
        outcomes.len(),
        outcomes.len() - said.len(),
        share(sum(&|outcome| outcome.wrong as f64)),
        share(sum(&|outcome| outcome.lost as f64)),
        sum(&|outcome| outcome.variation_off.abs()) / said.len() as f64,
        rms,
        within,
        piped.len(),
        named.iter().filter(|&&named| named).count(),
        named.len(),
        held(&|outcome| &outcome.variation_held),
        held(&|outcome| &outcome.weak_held),
        held(&|outcome| &outcome.energy_held),
        outcomes.iter().map(|outcome| outcome.ms_per_s).sum::<f64>() / outcomes.len() as f64,
    )
}

/// Makes and hears every clip, on as many threads as there are cores.
fn heard(clips: &[(&'static str, &'static str, u64)]) -> Vec<Outcome> {
    let next = AtomicUsize::new(0);
    let outcomes = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                while let Some(&(name, condition, seed)) = clips.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let outcome = outcome(name, condition, seed);
                    outcomes.lock().expect("no thread panics while it holds this").push(outcome);
                }
            });
        }
    });
    let mut outcomes = outcomes.into_inner().expect("every thread has ended");
    outcomes.sort_by_key(|outcome: &Outcome| outcome.seed);
    outcomes
}

fn scene(condition: &str, dice: &mut Dice) -> (f64, Surroundings) {
    let rpm = dice.between(700.0, 1300.0);
    let garage = |level_db: f64| Some((Noise::Garage, level_db));
    let mut around =
        Surroundings { high_pass_hz: Some(80.0), noise: garage(10.0), ..Surroundings::default() };
    if condition != "dry" && condition != "10dB" {
        around.room = Some(Room { rt60_s: dice.between(0.25, 0.5), direct_db: 4.0 });
    }
    match condition {
        "dry" => around.noise = None,
        "room_0dB" => around.noise = garage(0.0),
        "phone16k" => {
            around.room = Some(Room { rt60_s: dice.between(0.3, 0.8), direct_db: 0.0 });
            around.phone = Some(Phone { gate: false, drive: 2.5 });
            around.rate_hz = 16_000.0;
        }
        "hard_room" => around.room = Some(Room { rt60_s: 1.5, direct_db: -8.0 }),
        _ => {}
    }
    (if condition.starts_with("fast") { dice.between(1_300.0, 2_000.0) } else { rpm }, around)
}

fn outcome(name: &'static str, condition: &'static str, seed: u64) -> Outcome {
    let hash = format!("{name}/{condition}#{seed}").bytes().fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3)
    });
    let mut dice = Dice::new(hash);
    let (rpm, around) = scene(condition, &mut dice);
    let seconds = dice.between(10.0, 12.0);
    let running = Running {
        speed: Speed::Idle { rpm, wander: 0.014, hunting: 0.0 },
        variation: dice.between(0.05, 0.15),
        misfire_share: dice.between(0.05, 0.12),
        jitter_deg: 2.0,
    };
    let row = layout(if name == UNEQUAL_HEADERS { "flat-4" } else { name }).expect("a row of the table");
    let firing = Firing::from(row);
    let mut voice = Voice::drawn(&firing, &mut dice);
    if name == UNEQUAL_HEADERS {
        voice.pipes = vec![0, 0, 1, 1];
        voice.headers_ms = vec![0.0, 0.4, 2.2, 2.9];
    }
    let take = voice.take(&running, seconds, hash ^ 1).expect("the bench asks for what can be");
    let samples = around.hear(&take.samples, SAMPLE_RATE_HZ, &mut dice);
    let about = rpm * dice.between(0.8, 1.2);
    let mut listener = Listener::new(around.rate_hz, &firing, Some(about)).expect("a rate in range");
    let mut frames = listener.feed(&samples);
    frames.extend(listener.finish());
    let began = processor_s();
    let mut follower = Follower::new(around.rate_hz, &firing).expect("a rate in range");
    follower.feed(&samples);
    let mut pulses = follower.follow(&frames);
    pulses.extend(follower.finish());
    let ms_per_s = (processor_s() - began) * 1e3 / seconds;
    let mut outcome = Outcome {
        name,
        condition,
        seed,
        refused: None,
        found: 0,
        wrong: 0,
        lost: 0,
        variation_off: 0.0,
        variation_held: Vec::new(),
        weak_held: Vec::new(),
        energy_held: Vec::new(),
        energy_off: Vec::new(),
        named: None,
        ms_per_s,
    };
    let evenness = match follower.evenness() {
        Ok(with) => with.value,
        Err(why) => return Outcome { refused: Some(why.name), ..outcome },
    };
    let pairs = (0..=MOST_LATE_DEG / 10)
        .map(|step| pairs(&pulses, &take.truth.fired, 10.0 * step as f64))
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
        .expect("there are lags");
    for (pulse, fired) in &pairs {
        match (pulse.weak, fired.missed) {
            (true, true) => outcome.found += 1,
            (true, false) => outcome.wrong += 1,
            (false, true) => outcome.lost += 1,
            (false, false) => {}
        }
    }
    outcome.variation_off =
        evenness.variation_pct.value - 100.0 * variation(&take.truth.fired, &voice.strengths);
    let cylinders = voice.strengths.len();
    let cylinder_of: Vec<usize> = (0..cylinders)
        .map(|position| {
            let hits = |cylinder: usize| {
                pairs.iter().filter(|(p, f)| p.position == position && f.cylinder == cylinder).count()
            };
            (0..cylinders).max_by_key(|&cylinder| hits(cylinder)).unwrap_or(0)
        })
        .collect();
    if evenness.positions_known && cylinders > 1 {
        outcome.named =
            Some(cylinder_of.iter().enumerate().all(|(position, &cylinder)| position == cylinder));
    }
    let holds = |estimate: &Estimate, truth: f64| estimate.low <= truth && truth <= estimate.high;
    outcome.variation_held = vec![holds(&evenness.variation_pct, 100.0 * OWN_VARIATION * running.variation)];
    outcome.weak_held =
        evenness.weak_pct.iter().map(|share| holds(share, 100.0 * running.misfire_share)).collect();
    if voice.pipes.iter().all(|&pipe| pipe == 0) {
        let truth = take.truth.energy_by_cylinder();
        let off = |(&cylinder, energy): (&usize, &Estimate)| energy.value - truth[cylinder];
        outcome.energy_off = cylinder_of.iter().zip(&evenness.energy).map(off).collect();
        if cylinders > 1 {
            // Every cylinder misses as often as any other, so strengths alone tell energies apart.
            let most = voice.strengths.iter().copied().fold(0.0, f64::max);
            let own = |&cylinder: &usize| (voice.strengths[cylinder] / most).powi(2);
            outcome.energy_held =
                cylinder_of.iter().zip(&evenness.energy).map(|(at, energy)| holds(energy, own(at))).collect();
        }
    }
    outcome
}

/// Standard deviation of the firings that were not missed, about their cylinder's own strength.
fn variation(fired: &[Fired], strengths: &[f64]) -> f64 {
    let strong: Vec<f64> = fired
        .iter()
        .filter(|fired| !fired.missed)
        .map(|fired| fired.energy.sqrt() / strengths[fired.cylinder] - 1.0)
        .collect();
    (strong.iter().map(|x| x * x).sum::<f64>() / strong.len().max(1) as f64).sqrt()
}

/// Pulses with the firings they would be of, if sound came so much later than the crank.
fn pairs<'a>(pulses: &'a [Pulse], fired: &'a [Fired], late_deg: f64) -> Vec<(&'a Pulse, &'a Fired)> {
    let crank_deg = |t_s: f64| {
        let next = fired.partition_point(|fired| fired.t_s < t_s).clamp(1, fired.len() - 1);
        let (a, b) = (&fired[next - 1], &fired[next]);
        a.crank_deg + (t_s - a.t_s) / (b.t_s - a.t_s) * (b.crank_deg - a.crank_deg)
    };
    pulses
        .iter()
        .filter_map(|pulse| {
            let at_deg = crank_deg(pulse.t_s) - late_deg;
            let near = fired
                .iter()
                .min_by(|a, b| (a.crank_deg - at_deg).abs().total_cmp(&(b.crank_deg - at_deg).abs()))?;
            ((near.crank_deg - at_deg).abs() < 60.0).then_some((pulse, near))
        })
        .collect()
}

/// Correlation of heard and true strength.
fn likeness(pairs: &[(&Pulse, &Fired)]) -> f64 {
    let count = pairs.len() as f64;
    if pairs.len() < 20 {
        return -1.0;
    }
    let mean = |of: &dyn Fn(&(&Pulse, &Fired)) -> f64| pairs.iter().map(of).sum::<f64>() / count;
    let (heard, truth) = (mean(&|pair| pair.0.strength), mean(&|pair| pair.1.energy.sqrt()));
    let both = mean(&|pair| (pair.0.strength - heard) * (pair.1.energy.sqrt() - truth));
    let one = mean(&|pair| (pair.0.strength - heard).powi(2));
    let other = mean(&|pair| (pair.1.energy.sqrt() - truth).powi(2));
    both / (one * other).sqrt().max(1e-12)
}

/// Processor time of this thread, seconds.
fn processor_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/thread-self/schedstat").expect("Linux counts it");
    let ns = stat.split(' ').next().and_then(|ns| ns.parse::<f64>().ok()).expect("a count of nanoseconds");
    ns * 1e-9
}
