//! Whole sweeps by sound alone: hidden machines are heard, a person turns what is said, no key is pressed.
//!
//! `led --machines 20 --first-seed 1`. Machines are drawn as `practice::draw` draws them; what leads knows none of it. The
//! stop is set by the person to within a third of what the ear allows; the screw exactly where it is said.

use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use bellmouth_core::engine::layout::{Firing, layout};
use bellmouth_core::idle::Outcome;
use bellmouth_core::practice::voice::{SAMPLE_RATE_HZ, Voice};
use bellmouth_core::practice::{Dice, Hidden, Population, Started, draw};
use bellmouth_core::quantity::{Screw, TurnsOut};
use bellmouth_workshop::bench::gate::QUESTIONS;
use bellmouth_workshop::bench::{CheckForm, Ear, FoundForm, HoldForm, News, Stage, Wish};
use bellmouth_workshop::garage::{MachineForm, new_id};
use bellmouth_workshop::logbook::Source;
use bellmouth_workshop::{Refusal, Workshop};

/// How long the page speaks, and how long after it the hand has turned, seconds.
const SPEAKS_S: f64 = 3.0;
const TURNS_S: f64 = 3.0;
/// Longer than any sweep, seconds.
const PATIENCE_S: f64 = 1_500.0;

/// What came of one.
struct Swept {
    words: String,
    found: Option<Found>,
}

struct Found {
    seconds: f64,
    readings: usize,
    error_turns: f64,
    covered: bool,
    worst_read: f64,
}

fn main() -> Result<(), String> {
    let (machines, first_seed) = asked()?;
    let hidden = draw(Population::Network, first_seed, machines).map_err(|error| error.to_string())?;
    let next = AtomicU64::new(0);
    let done = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, std::num::NonZero::get) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(machine) = hidden.get(index as usize) else { break };
                    let swept = swept(machine, first_seed + index);
                    let swept = swept.unwrap_or_else(|why| Swept { words: why, found: None });
                    done.lock().expect("no sweep panics").push((index, swept));
                }
            });
        }
    });
    let mut done = done.into_inner().expect("no sweep panics");
    done.sort_by_key(|(index, _)| *index);
    for (index, swept) in &done {
        println!("{index:>3}  {}", swept.words);
    }
    let found: Vec<&Found> = done.iter().filter_map(|(_, swept)| swept.found.as_ref()).collect();
    let mut errors: Vec<f64> = found.iter().map(|found| found.error_turns.abs()).collect();
    errors.sort_by(f64::total_cmp);
    let mean = |of: fn(&Found) -> f64| found.iter().map(|found| of(found)).sum::<f64>() / found.len() as f64;
    let at = |share: f64| errors.get((share * errors.len() as f64) as usize).copied().unwrap_or(f64::NAN);
    println!(
        "\n{} of {} led to a setting; readings {:.1}, minutes {:.1}, edge off by {:.3} (median) {:.2} (90th), covered {:.2}, worst reading off by {:.4} (mean over machines)",
        found.len(),
        done.len(),
        mean(|found| found.readings as f64),
        mean(|found| found.seconds) / 60.0,
        at(0.5),
        at(0.9),
        mean(|found| f64::from(u8::from(found.covered))),
        mean(|found| found.worst_read),
    );
    Ok(())
}

fn asked() -> Result<(usize, u64), String> {
    let (mut machines, mut first_seed) = (20, 1);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let number = words.next().and_then(|number| number.parse::<u64>().ok());
        let number = number.ok_or_else(|| format!("{word} needs a number after it"))?;
        match word.as_str() {
            "--machines" => machines = number as usize,
            "--first-seed" => first_seed = number,
            other => return Err(format!("{other} is not known; --machines N --first-seed S are")),
        }
    }
    Ok((machines, first_seed))
}

/// A layout with so many cylinders.
fn layout_name(cylinders: u32, dice: &mut Dice) -> &'static str {
    let names: &[&str] = match cylinders {
        1 => &["single"],
        2 => &["v-twin-45", "v-twin-90", "twin-180", "twin-360"],
        3 => &["triple-120"],
        4 => &["inline-4"],
        _ => &["inline-6"],
    };
    names[(dice.between(0.0, names.len() as f64) as usize).min(names.len() - 1)]
}

fn swept(hidden: &Hidden, seed: u64) -> Result<Swept, String> {
    let mut dice = Dice::new(seed);
    let name = layout_name(hidden.cylinders(), &mut dice);
    let row = layout(name).ok_or(format!("no layout {name}"))?;
    let firing = Firing::from(row);
    let curve = hidden.idle_curve().map_err(|error| error.to_string())?;
    let Some(edge) = curve.lean_edge_turns() else {
        return Ok(Swept { words: format!("{name}: nothing is fastest"), found: None });
    };
    let best = curve.best().map_or(f64::NAN, |best| best.turns);
    let found = (0..60).map(|_| (8.0 * dice.between(0.5, 4.0)).round() / 8.0).find_map(|turns| {
        Some((turns, hidden.idle(turns).ok()?.operation()?.rpm)).filter(|(_, rpm)| *rpm < 2_000.0)
    });
    let Some((found, rpm)) = found else {
        return Ok(Swept { words: format!("{name}: idles nowhere"), found: None });
    };
    let voice = Voice::drawn(&firing, &mut Dice::new(seed));
    let engine = Started::hidden(hidden, voice, found, seed).map_err(|error| error.to_string())?;
    let folder = std::env::temp_dir().join(format!("bellmouth-led-bench-{}", new_id()));
    let led = led(hidden, engine, &firing, (row.name, found, rpm, best), &folder);
    // A folder of temporary things that stays is no reason to lose a figure.
    let _ = std::fs::remove_dir_all(&folder);
    let led = led.map_err(|refusal| format!("{name}: {refusal}"))?;
    Ok(told(name, hidden, edge, found, led))
}

/// What a led sweep left: seconds, edge with its interval, setting, and readings with where they were taken.
struct Led {
    seconds: f64,
    ended: Option<Stage>,
    edge: Option<(f64, f64, f64)>,
    readings: Vec<(f64, f64)>,
}

fn led(
    hidden: &Hidden,
    mut engine: Started,
    firing: &Firing,
    (layout, found, rpm, best): (&str, f64, f64, f64),
    folder: &Path,
) -> Result<Led, Refusal> {
    let (workshop, _) = Workshop::open(&folder.join("logbook.sqlite"))?;
    let form = MachineForm {
        id: new_id().to_string(),
        name: "a hidden machine".into(),
        layout: layout.into(),
        cooling: "liquid".into(),
        carburettors: "1".into(),
        base_turns: String::new(),
    };
    let machine = workshop.enter_machine(&form)?;
    let job = workshop.open_job(&new_id().to_string(), machine, "")?;
    workshop.record_found(job, None, &FoundForm { counts: vec![found.to_string()] })?;
    let screw = if hidden.screw() == Screw::Fuel { "fuel" } else { "air" };
    workshop.choose_screw(job, None, screw)?;
    let answers = QUESTIONS.iter().map(|question| (question.name.into(), "good".into())).collect();
    let about_rpm = format!("{:.0}", (rpm / 50.0).round() * 50.0);
    let check = CheckForm { answers, about_rpm: about_rpm.clone(), ..CheckForm::default() };
    workshop.answer_gate(job, None, &check)?;
    let mut ear = Ear::new(SAMPLE_RATE_HZ, firing, about_rpm.parse().ok())?;
    ear.lead(true);

    let (mut now_s, mut spoken_s, mut turned_s) = (0.0, f64::INFINITY, f64::INFINITY);
    let mut stage: Option<Stage> = None;
    while now_s < PATIENCE_S && !matches!(stage, Some(Stage::Count { .. } | Stage::Ended(_))) {
        let mut block = [0.0_f32; 2048];
        engine.sound(&mut block);
        now_s += block.len() as f64 / SAMPLE_RATE_HZ;
        let (mut changed, mut speaks) = (stage.is_none(), false);
        for news in ear.hear(&block) {
            changed = true;
            match news {
                News::Taken(taken) => {
                    workshop.keep_held(job, taken.armed, &taken.held, Source::Microphone)?;
                }
                News::Wish(wish) => {
                    if let Wish::Say(_) = &wish {
                        speaks = true;
                        if engine.rpm() == 0.0 {
                            // What a person would say it died of, by which way the screw went.
                            let richness = |turns| hidden.screw().richness(TurnsOut(turns)).0;
                            let lean = richness(engine.turns()) < richness(best);
                            let id = workshop.bench(job)?.hold_id().to_string();
                            let hold = HoldForm { id, turns: engine.turns().to_string() };
                            workshop.keep_stall(job, &hold, if lean { "lean" } else { "rich" })?;
                        }
                    }
                    workshop.grant(job, &wish)?;
                }
            }
        }
        if changed {
            let bench = workshop.bench(job)?;
            ear.arm(bench.armed());
            ear.asked(&bench.stage);
            if stage.as_ref() != Some(&bench.stage) {
                stage = Some(bench.stage);
                speaks = true;
            }
        }
        if speaks {
            ear.speaking(true);
            spoken_s = now_s + SPEAKS_S;
        }
        if spoken_s <= now_s {
            spoken_s = f64::INFINITY;
            ear.speaking(false);
            turned_s = now_s + TURNS_S;
        }
        if turned_s <= now_s {
            turned_s = f64::INFINITY;
            if let Some(Stage::Move { to, .. } | Stage::Set { to, .. }) = &stage {
                engine.turn(to.0).map_err(|error| Refusal::ours(error.to_string(), "report it"))?;
                engine.kick();
            }
        }
    }
    let bench = workshop.bench(job)?;
    let edge = bench.answer().map(|sweep| (sweep.edge.best.0, sweep.edge.low.0, sweep.edge.high.0));
    let readings = bench.readings.iter().filter_map(|entry| match entry.reading.outcome {
        Outcome::Ran { rpm, .. } => Some((entry.reading.turns.0, rpm)),
        Outcome::Stalled(_) => None,
    });
    Ok(Led { seconds: now_s, ended: stage, edge, readings: readings.collect() })
}

/// Where a sweep stood when patience ended.
fn ended_words(stage: Option<&Stage>) -> String {
    match stage {
        Some(Stage::Holding(armed)) => format!("in a hold at {:.3}", armed.turns.0),
        other => format!("{other:?}"),
    }
}

/// One line, and the figures if it came to an end.
fn told(name: &str, hidden: &Hidden, true_edge: f64, found: f64, led: Led) -> Swept {
    let Some((edge, low, high)) = led.edge else {
        return Swept {
            words: format!(
                "{name}: nothing was read, ENDED {} after {:.0} s",
                ended_words(led.ended.as_ref()),
                led.seconds
            ),
            found: None,
        };
    };
    let worst_read = led
        .readings
        .iter()
        .filter_map(|&(turns, rpm)| {
            let truth = hidden.idle(turns).ok()?.operation()?.rpm;
            Some((rpm / truth - 1.0).abs())
        })
        .fold(0.0, f64::max);
    let covered = low - 1e-9 <= true_edge && true_edge <= high + 1e-9;
    let screw = if hidden.screw() == Screw::Fuel { "fuel" } else { "air" };
    let words = format!(
        "{name:<10} {screw:<4} found {found:.3}  edge {edge:.2} ({low:.2} to {high:.2}), true {true_edge:.2}{}  {} readings in {:.0} s, worst off by {worst_read:.4}",
        if covered { "" } else { "  NOT COVERED" },
        led.readings.len(),
        led.seconds
    );
    let ended = matches!(led.ended, Some(Stage::Count { .. }));
    let found = Found {
        seconds: led.seconds,
        readings: led.readings.len(),
        error_turns: edge - true_edge,
        covered,
        worst_read,
    };
    if ended {
        Swept { words, found: Some(found) }
    } else {
        Swept { words: format!("{words}  ENDED {}", ended_words(led.ended.as_ref())), found: None }
    }
}
