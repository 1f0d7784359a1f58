//! Is it an engine at all? False alarms in sounds that are none, and the fit of the verdict's weights.
//!
//! | command | what it does |
//! |---|---|
//! | `alarms --minutes 30` | so many minutes of each kind of other sound, heard as each of seven layouts: frames heard, the longest run, how far from the threshold |
//! | `alarms --say FILE --minutes 6` | writes rows of witnesses: engines at right and at wrong speeds, starts, and other sounds |
//! | `alarms --fit FILE` | fits the weights to such rows (may be repeated), tries them on rows left out, prints `sound/constants/fitted.rs` |
//!
//! After any change of what is heard (half an hour on two cores): `--say` four files, `--fit` them together
//! (`alarms --fit A --fit B …` > ../crates/core/src/sound/constants/fitted.rs), format, build again, and let
//! `alarms --minutes 30` confirm it on other seeds. The weights there are of
//!
//! | file | what |
//! |---|---|
//! | `--say A --minutes 5 --thin 30` | everything |
//! | `--say B --thin 3 --only pulses` | more engines made of recorded pulses |
//! | `--say C --minutes 10 --first-seed 31 --only rain` | rain, in which a rhythm is rarely likely at all |
//! | `--say D --minutes 8 --first-seed 21 --thin 100000` and `--only` each other sound | more of what is no engine |
//!
//! `--first-seed S` moves the seeds of other sounds, `--only WORD` keeps those whose name holds the word,
//! `--thin N` keeps every Nth clip of engines. Needs `scripts/fetch-pulses`, espeak-ng and ffmpeg.

mod drawn;
#[path = "../../../../crates/workshop/tests/hearing/engine_sound.rs"]
mod engine_sound;
mod fit;
mod net;
#[path = "../../../../crates/workshop/tests/hearing/other_sound.rs"]
mod other_sound;
mod rows;
mod sounds;
#[path = "../hearing/suite.rs"]
mod suite;

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bellmouth_core::sound::Heard;
use bellmouth_core::sound::constants::SURE;
use sounds::{Other, hear};

/// Layouts that listen to what is no engine.
pub const LISTENING: [&str; 7] =
    ["single", "v-twin-45", "twin-360", "triple-120", "inline-4", "inline-6", "two-stroke-twin"];

struct Words {
    minutes: f64,
    first_seed: Option<u64>,
    only: Vec<String>,
    thin: u64,
    say: Option<String>,
    fit: Vec<String>,
}

fn main() {
    let words = words();
    if !words.fit.is_empty() {
        fit::fit(&words.fit);
    } else if let Some(path) = &words.say {
        rows::say(path, words.minutes, words.first_seed.unwrap_or(1), words.thin, &words.only);
    } else {
        alarms(&words);
    }
}

fn words() -> Words {
    let mut words = Words { minutes: 30.0, first_seed: None, only: vec![], thin: 40, say: None, fit: vec![] };
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        let mut value = || given.next().unwrap_or_else(|| panic!("{word} needs a value"));
        match word.as_str() {
            "--minutes" => words.minutes = value().parse().expect("a number of minutes"),
            "--first-seed" => words.first_seed = Some(value().parse().expect("a seed")),
            "--only" => words.only.push(value()),
            "--thin" => words.thin = value().parse().expect("a whole number, 1 or more"),
            "--say" => words.say = Some(value()),
            "--fit" => words.fit.push(value()),
            _ => panic!(
                "{word} means nothing here: --minutes --first-seed --only --thin --say FILE --fit FILE"
            ),
        }
    }
    words
}

/// Does something for each piece of work, on as many threads as there are cores.
pub fn each<T: Sync, R: Send>(work: &[T], make: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(piece) = work.get(at) else { break };
                    let made = make(piece);
                    done.lock().expect("no thread panics while it holds this").push((at, made));
                }
            });
        }
    });
    let mut done = done.into_inner().expect("every thread has ended");
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, made)| made).collect()
}

/// What one kind of sound did to one layout.
#[derive(Clone, Copy, Debug)]
struct Alarm {
    frames: usize,
    heard: usize,
    live: usize,
    doubtful: usize,
    longest: usize,
    highest: f64,
}

impl Alarm {
    const NONE: Alarm =
        Alarm { frames: 0, heard: 0, live: 0, doubtful: 0, longest: 0, highest: f64::NEG_INFINITY };

    fn and(self, other: Alarm) -> Alarm {
        Alarm {
            frames: self.frames + other.frames,
            heard: self.heard + other.heard,
            live: self.live + other.live,
            doubtful: self.doubtful + other.doubtful,
            longest: self.longest.max(other.longest),
            highest: self.highest.max(other.highest),
        }
    }
}

fn alarms(words: &Words) {
    let first_seed = words.first_seed.unwrap_or(60);
    let others = Other::takes(words.minutes, first_seed, &words.only);
    let found = each(&others, |other| {
        let samples = other.samples();
        LISTENING.map(|name| {
            let heard = hear(&samples, other.rate_hz(), name);
            let mut alarm = Alarm { frames: heard.frames.len(), ..Alarm::NONE };
            let mut run = 0;
            for frame in &heard.frames {
                run = if frame.heard == Heard::Yes { run + 1 } else { 0 };
                alarm.longest = alarm.longest.max(run);
                alarm.heard += usize::from(frame.heard == Heard::Yes);
                alarm.doubtful += usize::from(frame.heard == Heard::Doubtful);
            }
            alarm.live = heard.live.iter().filter(|(frame, _)| frame.heard == Heard::Yes).count();
            for said in &heard.said {
                alarm.highest = alarm.highest.max(said.log_odds);
            }
            alarm
        })
    });
    println!(
        "Frames heard in sounds that are no engine, {} minutes a kind, seeds from {first_seed}, as each of {} layouts; threshold {SURE}",
        words.minutes,
        LISTENING.len()
    );
    println!("kind             frames   heard  longest s   live  doubtful  highest log-odds  heard as");
    let (mut all, mut kinds) = (Alarm::NONE, Vec::<&str>::new());
    others.iter().for_each(|other| {
        if !kinds.contains(&other.name()) {
            kinds.push(other.name());
        }
    });
    for kind in kinds {
        let own = others.iter().zip(&found).filter(|(other, _)| other.name() == kind);
        let mut sum = Alarm::NONE;
        let mut heard_as = Vec::new();
        for (layout, name) in LISTENING.iter().enumerate() {
            let as_this = own.clone().fold(Alarm::NONE, |sum, (_, alarms)| sum.and(alarms[layout]));
            if as_this.heard + as_this.live > 0 {
                heard_as.push(format!("{name} {}+{}", as_this.heard, as_this.live));
            }
            sum = sum.and(as_this);
        }
        println!(
            "{kind:<15} {:>7} {:>7} {:>10.2} {:>6} {:>9.4} {:>17.2}  {}",
            sum.frames,
            sum.heard,
            sum.longest as f64 * bellmouth_core::sound::FRAME_S,
            sum.live,
            sum.doubtful as f64 / sum.frames as f64,
            sum.highest,
            heard_as.join(", ")
        );
        all = all.and(sum);
    }
    println!("in all {} of {} frames heard, {} live", all.heard, all.frames, all.live);
}
