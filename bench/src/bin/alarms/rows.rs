//! Rows of witnesses, from engines whose speed is known and from sounds that are no engine.

use std::fmt::Write as _;

use bellmouth_core::engine::layout::LAYOUTS;
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::bystanders::Bystander;
use bellmouth_core::sound::FRAME_S;
use bellmouth_core::sound::constants::{LIKELY, SPEEDS_RPM, UNAMBIGUOUS};
use bellmouth_core::sound::witness::{NAMES, Testimony};

use crate::drawn;
use crate::engine_sound::{self, Noise, Random, Recipe, pulses, render, to_level};
use crate::sounds::{Other, RMS, Said, hear, hear_as};
use crate::{LISTENING, each, suite};

/// One sound to be listened to.
enum Piece {
    /// A clip of the hearing benchmark; perhaps it starts only after something else.
    Voice(suite::Clip, Option<Before>),
    /// An engine running and heard anyhow, by layout and number.
    Drawn(usize, u64),
    /// Recorded pulses, by layout and number.
    Pulses(usize, u64),
    Other(Other),
}

/// What is to be heard before an engine starts.
#[derive(Clone, Copy)]
enum Before {
    Silence,
    Noise,
    Other(Bystander),
}

/// Writes rows: label (1 engine at its right speed, 0 not), group, clip, `stored` or `live`, the witnesses.
pub fn say(path: &str, minutes: f64, first_seed: u64, thin: u64, only: &[String]) {
    let mut pieces = Vec::new();
    let wanted = |name: &str| only.is_empty() || only.iter().any(|word| name.contains(word.as_str()));
    for (at, clip) in (1..=20).flat_map(suite::clips).enumerate() {
        let at = at as u64;
        if !wanted("voice") {
            continue;
        }
        if at % thin == 0 {
            pieces.push(Piece::Voice(clip.clone(), None));
        }
        if clip.is_first_condition() && at % (2 * thin) == 1 {
            let before = match at / (2 * thin) % 4 {
                0 => Before::Silence,
                1 => Before::Noise,
                _ => Before::Other(Bystander::ALL[at as usize / 7 % Bystander::ALL.len()]),
            };
            pieces.push(Piece::Voice(clip, Some(before)));
        }
    }
    if wanted("drawn") {
        let takes = 800_u64.div_ceil(thin);
        pieces.extend((0..LAYOUTS.len()).flat_map(|row| (0..takes).map(move |take| Piece::Drawn(row, take))));
    }
    if wanted("pulses") {
        let takes = 160_u64.div_ceil(thin);
        pieces
            .extend((0..LAYOUTS.len()).flat_map(|row| (0..takes).map(move |take| Piece::Pulses(row, take))));
    }
    pieces.extend(Other::takes(minutes, first_seed, only).into_iter().map(Piece::Other));
    let pulses = pulses();
    let written = each(&pieces, |piece| rows(piece, &pulses));
    let mut text = format!("label group clip kind t_s {}\n", NAMES.join(" "));
    let mut lost = [0.0; 4];
    for (rows, losses) in &written {
        text.push_str(rows);
        lost.iter_mut().zip(losses).for_each(|(sum, lost)| *sum += lost);
    }
    std::fs::write(path, text).unwrap_or_else(|error| panic!("{path}: {error}"));
    println!("{} pieces", pieces.len());
    if 0.0 < lost[0] {
        println!(
            "of {} frames of engines right within 10 %, none likely in {:.4}, ambiguous in {:.4}, no witness in {:.4}",
            lost[0],
            lost[1] / lost[0],
            lost[2] / lost[0],
            lost[3] / lost[0]
        );
    }
}

fn rows(piece: &Piece, pulses: &[Vec<f64>]) -> (String, [f64; 4]) {
    let mut rows = Rows { text: String::new(), lost: [0.0; 4], disputed: false };
    match piece {
        Piece::Voice(clip, before) => voice(clip, *before, &mut rows),
        Piece::Drawn(row, take) => {
            let mut dice = Dice::new(41_000_000 + 10_000 * *row as u64 + take);
            let (kind, made) = drawn::drawn(&LAYOUTS[*row], &mut dice);
            let before = match dice.unit() {
                share if share < 0.2 => Some(Before::Silence),
                share if share < 0.4 => Some(Before::Noise),
                _ => None,
            };
            let name = format!("{}-{take}", LAYOUTS[*row].name);
            engine(&made, before, &format!("drawn-{kind}"), &name, &mut dice, &mut rows);
        }
        Piece::Pulses(row, take) => {
            let layout = &LAYOUTS[*row];
            let mut random = Random::new(row_seed(*row, *take));
            let fast = take % 4 == 3;
            let rising = if take % 6 == 5 { random.between(300.0, 3_000.0) } else { 0.0 };
            let rpm = if fast { random.between(1_300.0, 6_000.0) } else { random.between(650.0, 1_350.0) };
            let recipe = Recipe {
                layout,
                rpm: if rising > 0.0 { rpm.min(1_500.0) } else { rpm },
                seconds: 8.0,
                rising_rpm_per_s: rising,
                wander: random.between(0.004, 0.015),
                jitter: random.between(0.003, 0.008),
                cylinders: layout.firing_deg.iter().map(|_| random.between(0.65, 1.0)).collect(),
                any_pulse: random.uniform() < 0.5,
                noise: if random.uniform() < 0.5 { Noise::White } else { Noise::Garage },
                ratio_db: random.between(0.0, 20.0),
                seed: row_seed(*row, *take) + 1,
            };
            let clip = render(&recipe, pulses);
            let said = hear(&clip.samples, engine_sound::SAMPLE_RATE_HZ, layout.name);
            let name = format!("{}-{take}", layout.name);
            rows.engine(&said, &format!("pulses-{}", layout.name), &name, |t_s| clip.rpm(t_s));
        }
        Piece::Other(other) => {
            let samples = other.samples();
            // Two layouts a take, and more takes: other sounds differ more from one another than layouts do.
            let turn = (other.seed / 100_000) as usize;
            for name in [turn, turn + 3].map(|place| LISTENING[place % LISTENING.len()]) {
                let said = hear(&samples, other.rate_hz(), name);
                let clip = format!("{}-{}", other.name(), other.seed / 100_000);
                let clip = format!("{clip}~{name}");
                for testimony in said.said.iter().step_by(2) {
                    rows.row(0, other.name(), &clip, "stored", testimony);
                }
                for (_, testimony) in said.live.iter().step_by(4) {
                    if let Some(testimony) = testimony {
                        rows.row(0, other.name(), &clip, "live", testimony);
                    }
                }
            }
        }
    }
    (rows.text, rows.lost)
}

/// Seeds of pulses, apart from those of every test.
fn row_seed(row: usize, take: u64) -> u64 {
    31_000_000 + 10_000 * row as u64 + 2 * take
}

fn voice(clip: &suite::Clip, before: Option<Before>, rows: &mut Rows) {
    let mut dice = Dice::new(clip.seed * 1_009 + clip.name().len() as u64);
    let group = match before {
        None => format!("voice-{}", clip.condition),
        Some(Before::Silence) => "start-silence".to_owned(),
        Some(Before::Noise) => "start-noise".to_owned(),
        Some(Before::Other(_)) => "start-other".to_owned(),
    };
    engine(&clip.make(), before, &group, &clip.name(), &mut dice, rows);
}

/// Rows of an engine, perhaps after something else.
fn engine(
    made: &suite::Made,
    before: Option<Before>,
    group: &str,
    name: &str,
    dice: &mut Dice,
    rows: &mut Rows,
) {
    let count = (dice.between(2.0, 5.0) * made.rate_hz) as usize;
    let mut samples: Vec<f32> = match before {
        None => vec![],
        Some(Before::Silence) => (0..count).map(|_| (1e-5 * dice.normal()) as f32).collect(),
        Some(Before::Noise) => (0..count).map(|_| (0.03 * dice.normal()) as f32).collect(),
        Some(Before::Other(kind)) => {
            let seed = (1e6 * dice.unit()) as u64;
            let sound = kind.sound(count as f64 / 48_000.0 + 0.2, seed).expect("a length in range");
            // At another rate it sounds slower or faster, and no more like an engine.
            to_level(&sound[..count], dice.between_in_ratio(0.01, RMS))
        }
    };
    let starts_s = samples.len() as f64 / made.rate_hz;
    let keep = if before.is_some() { (8.0 * made.rate_hz) as usize } else { made.samples.len() };
    samples.extend(&made.samples[..keep.min(made.samples.len())]);
    let said = hear_as(&samples, made.rate_hz, &made.firing);
    // Where two engines are alike, the speed of the other one is not wrong.
    rows.disputed = group.contains("-beside");
    rows.engine(&said, group, name, |t_s| {
        if t_s < starts_s { Some(f64::NAN) } else { made.truth.rpm_at(t_s - starts_s) }
    });
    rows.disputed = false;
}

struct Rows {
    text: String,
    /// Frames of engines that are right, and those of them lost whatever the witnesses say.
    lost: [f64; 4],
    /// Whether frames at a wrong speed may be those of another engine.
    disputed: bool,
}

impl Rows {
    /// Rows of an engine; its speed is not a number before it starts.
    fn engine(&mut self, said: &Said, group: &str, clip: &str, rpm_at: impl Fn(f64) -> Option<f64>) {
        // One delay at most is forgiven, as in the hearing benchmark.
        let ratio = |rpm: f64, t_s: f64| {
            let near = [-0.06, -0.03, 0.0, 0.03, 0.06].into_iter().filter_map(|later| rpm_at(t_s - later));
            near.map(|truth| rpm / truth).min_by(|a, b| a.ln().abs().total_cmp(&b.ln().abs()))
        };
        let disputed = self.disputed;
        let wrong = |off: f64| off.is_nan() || ((off - 1.0).abs() > 0.1 && !disputed);
        let of_wrong = |off: f64| if off.is_nan() { "before-start" } else { "wrong" };
        let mut said_at = vec![None; said.frames.len()];
        for testimony in &said.said {
            if let Some(at) = said_at.get_mut((testimony.t_s / FRAME_S).round() as usize) {
                *at = Some(testimony);
            }
        }
        for (i, frame) in said.frames.iter().enumerate() {
            let Some(off) = ratio(frame.rpm, frame.t_s) else { continue };
            // Speeds that are not searched cannot be found; their frames are wrong, not lost.
            let right = (off - 1.0).abs() < 0.02;
            if (off - 1.0).abs() < 0.1 && frame.rpm < SPEEDS_RPM.1 {
                self.lost[0] += 1.0;
                match said_at[i] {
                    None => self.lost[1] += 1.0,
                    Some(said) if near(said) < f64::from(UNAMBIGUOUS) => self.lost[2] += 1.0,
                    Some(_) => {}
                }
            }
            let Some(testimony) = said_at[i] else { continue };
            if i % 2 == 1 {
                continue;
            }
            if right {
                self.row(1, group, clip, "stored", testimony);
            } else if wrong(off) {
                self.row(0, of_wrong(off), clip, "stored", testimony);
            }
        }
        for (i, (frame, testimony)) in said.live.iter().enumerate() {
            let (Some(off), Some(testimony)) = (ratio(frame.rpm, frame.t_s), testimony) else { continue };
            if (off - 1.0).abs() < 0.03 && i % 4 == 0 {
                self.row(1, group, clip, "live", testimony);
            } else if wrong(off) && i % 4 == 0 {
                self.row(0, of_wrong(off), clip, "live", testimony);
            }
        }
    }

    fn row(&mut self, label: u8, group: &str, clip: &str, kind: &str, testimony: &Testimony) {
        assert!(testimony.witnesses.iter().all(|witness| witness.is_finite()), "{group} {clip}");
        write!(self.text, "{label} {group} {clip} {kind} {:.2}", testimony.t_s).expect("text can grow");
        for witness in testimony.witnesses {
            write!(self.text, " {witness:.3}").expect("text can grow");
        }
        self.text.push('\n');
    }
}

/// The probability that a speed is near the best, as far as its mean around the frame tells.
fn near(said: &Testimony) -> f64 {
    let log_odds = said.witnesses[NAMES.iter().position(|name| *name == "near").expect("a witness")];
    debug_assert!(f64::from(LIKELY) < 1.0);
    1.0 / (1.0 + (-log_odds).exp())
}
