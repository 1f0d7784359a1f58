//! How well the listener hears: a voice whose speed is known, everywhere it may be met.
//!
//! `cargo run --release --bin hearing -- --seeds 3` prints tables by condition and voice, the worst clips,
//! and what wrong speeds have to do with right ones. Further words:
//!
//! | word | meaning |
//! |---|---|
//! | `--seeds N`, `--first-seed S` | how many sets of clips, and which is the first |
//! | `--only WORD` | only clips whose name (`voice/condition#seed`) holds the word; may be repeated |
//! | `--show` | a line of frames for each clip |
//! | `--trackers` | general pitch trackers on the clips of the first table (Python is needed) |

mod score;
mod suite;
mod tables;
mod trackers;

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bellmouth_core::sound::{Frame, Heard, Listener};
use score::{Score, answers};
use suite::{Clip, Made};

/// What came of one clip.
pub struct Outcome {
    pub clip: Clip,
    /// Nothing said about speed.
    pub plain: Score,
    /// A rough speed said.
    pub told: Score,
    pub times_real: f64,
    pub made_times_real: f64,
    /// Logarithm of how much better the true speed explains the sound than the wrong one most often given,
    /// and that one's ratio.
    pub for_truth: Option<(f64, f64)>,
    trace: String,
}

struct Words {
    seeds: u64,
    first_seed: u64,
    only: Vec<String>,
    show: bool,
    trackers: bool,
}

fn main() {
    let words = words();
    let clips: Vec<Clip> = (words.first_seed..words.first_seed + words.seeds)
        .flat_map(suite::clips)
        .filter(|clip| words.only.is_empty() || words.only.iter().any(|word| clip.name().contains(word)))
        .collect();
    let outcomes = heard(&clips);
    if words.show {
        outcomes.iter().for_each(|outcome| println!("{}\n{}", outcome.clip.name(), outcome.trace));
    }
    report(&outcomes);
    if words.trackers {
        let first: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.clip.is_first()).collect();
        trackers::compare(&first);
    }
}

fn words() -> Words {
    let mut words = Words { seeds: 1, first_seed: 1, only: vec![], show: false, trackers: false };
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        let mut value = || given.next().unwrap_or_else(|| panic!("{word} needs a value"));
        match word.as_str() {
            "--seeds" => words.seeds = value().parse().expect("a number of seeds"),
            "--first-seed" => words.first_seed = value().parse().expect("a seed"),
            "--only" => words.only.push(value()),
            "--show" => words.show = true,
            "--trackers" => words.trackers = true,
            _ => panic!("{word} means nothing here: --seeds --first-seed --only --show --trackers"),
        }
    }
    words
}

/// Makes and hears every clip, on as many threads as there are cores.
fn heard(clips: &[Clip]) -> Vec<Outcome> {
    let next = AtomicUsize::new(0);
    let outcomes = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                while let Some(clip) = clips.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let outcome = outcome(clip);
                    outcomes.lock().expect("no thread panics while it holds this").push(outcome);
                }
            });
        }
    });
    let mut outcomes = outcomes.into_inner().expect("every thread has ended");
    outcomes
        .sort_by_key(|outcome: &Outcome| clips.iter().position(|clip| clip.name() == outcome.clip.name()));
    outcomes
}

fn outcome(clip: &Clip) -> Outcome {
    let began = processor_s();
    let made = clip.make();
    let made_s = processor_s() - began;
    let began = processor_s();
    let frames = listen(&made, None).map(|(frames, _)| frames).unwrap_or_default();
    let listened_s = processor_s() - began;
    let given = answers(&frames, made.seconds);
    let plain = Score::of(&given, made.seconds, &made.truth, made.other.as_ref());
    let told = listen(&made, Some(made.about_rpm)).map(|(frames, _)| frames).unwrap_or_default();
    let told = Score::of(&answers(&told, made.seconds), made.seconds, &made.truth, made.other.as_ref());
    Outcome {
        clip: clip.clone(),
        for_truth: for_truth(&made, &plain),
        trace: trace(&made, &frames),
        plain,
        told,
        times_real: made.seconds / listened_s,
        made_times_real: made.seconds / made_s,
    }
}

/// Frames, and the evidence for this layout; nothing where the listener refuses.
fn listen(made: &Made, about_rpm: Option<f64>) -> Option<(Vec<Frame>, f64)> {
    let mut listener = Listener::new(made.rate_hz, &made.firing, about_rpm).ok()?;
    let mut frames = listener.feed(&made.samples);
    frames.extend(listener.finish());
    Some((frames, listener.evidence()))
}

/// Where one wrong ratio is given for a tenth of a clip or more: two listeners, each told one of the speeds,
/// say which explains the sound better. Negative: the sound itself speaks for the wrong one.
fn for_truth(made: &Made, plain: &Score) -> Option<(f64, f64)> {
    let mut ratios = [plain.ratios.as_slice(), &plain.ratios_unheard].concat();
    if (ratios.len() as f64) < 0.1 * made.seconds / bellmouth_core::sound::FRAME_S {
        return None;
    }
    let ratio = score::median(&mut ratios);
    let mut speeds = made.truth.rpm.clone();
    let rpm = score::median(&mut speeds);
    // Told one speed, a listener must be able to follow: speeds are sorted now.
    if speeds[speeds.len() * 19 / 20] > 1.3 * speeds[speeds.len() / 20] {
        return None;
    }
    let (_, right) = listen(made, Some(rpm))?;
    let (_, wrong) = listen(made, Some(rpm * ratio))?;
    Some((right - wrong, ratio))
}

/// Truth and frames twice a second: `=` heard, `?` doubtful, `-` not heard.
fn trace(made: &Made, frames: &[Frame]) -> String {
    frames
        .iter()
        .step_by(10)
        .filter_map(|frame| {
            let truth = made.truth.rpm_at(frame.t_s)?;
            let mark = match frame.heard {
                Heard::Yes => '=',
                Heard::Doubtful => '?',
                Heard::No => '-',
            };
            Some(format!("{:.1}s {truth:.0}{mark}{:.0}", frame.t_s, frame.rpm))
        })
        .collect::<Vec<_>>()
        .join("  ")
}

/// Processor time this thread has had, seconds.
fn processor_s() -> f64 {
    let spent = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    spent.split(' ').next().and_then(|ns| ns.parse::<f64>().ok()).unwrap_or(f64::NAN) / 1e9
}

fn report(outcomes: &[Outcome]) {
    let pick = |keep: &dyn Fn(&Clip) -> bool| -> Vec<&Outcome> {
        outcomes.iter().filter(|outcome| keep(&outcome.clip)).collect()
    };
    let first = pick(&|clip| clip.is_first());
    let voices = pick(&|clip| clip.is_first_condition());
    let further = pick(&|clip| !clip.is_first_condition());
    println!(
        "Levels: RMS in 100 Hz to 8 kHz over the clip. Shares are of all frames unless \"of heard\"; \"any\": whatever the verdict."
    );
    tables::grouped("Nine voices by condition", &first, |outcome| outcome.clip.condition.to_owned());
    tables::grouped("Nine voices, seven conditions, by voice", &first, |outcome| {
        outcome.clip.voice.to_owned()
    });
    let others: Vec<&Outcome> = voices.iter().filter(|outcome| !outcome.clip.is_first()).copied().collect();
    tables::grouped("Further voices, seven conditions, by voice", &others, |outcome| {
        outcome.clip.voice.to_owned()
    });
    tables::grouped("Further voices by condition", &others, |outcome| outcome.clip.condition.to_owned());
    tables::grouped("Further conditions, nine voices", &further, |outcome| outcome.clip.condition.to_owned());
    let beside = pick(&|clip| clip.condition.starts_with("beside"));
    let locked = |condition: &str| {
        let own: Vec<f64> =
            beside.iter().filter(|o| o.clip.condition == condition).map(|o| o.plain.other).collect();
        own.iter().sum::<f64>() / own.len() as f64
    };
    if !beside.is_empty() {
        print!("Heard at the other engine's speed:");
        for condition in ["beside_-20dB", "beside_-10dB", "beside_-6dB", "beside_0dB"] {
            print!(" {condition} {:.3}", locked(condition));
        }
        println!();
    }
    tables::headline("Nine voices × seven conditions", &first);
    tables::headline("All voices × seven conditions", &voices);
    tables::headline("Everything but engines beside within 6 dB", &pick(&|clip| !clip.is_disputed()));

    worst("Worst clips of nine voices × seven conditions", &first);
    worst("Worst clips of the others", &pick(&|clip| !clip.is_first() && !clip.is_disputed()));
    wrong(&pick(&|clip| !clip.is_disputed()));
    println!();
    for (title, group) in
        [("nine voices", &first), ("further voices", &others), ("further conditions", &further)]
    {
        tables::histogram(
            &format!("Gross errors heard, {title}"),
            group.iter().flat_map(|o| o.plain.ratios.clone()),
        );
        tables::histogram(
            &format!("Gross errors not heard or doubtful, {title}"),
            group.iter().flat_map(|o| o.plain.ratios_unheard.clone()),
        );
    }
    let mean =
        |value: fn(&Outcome) -> f64| outcomes.iter().map(value).sum::<f64>() / outcomes.len().max(1) as f64;
    println!(
        "\n{} clips; heard {:.0} × real time, made {:.0} × real time, both on one core",
        outcomes.len(),
        mean(|outcome| outcome.times_real),
        mean(|outcome| outcome.made_times_real)
    );
}

/// The ten clips with the fewest frames heard within 2 %, and of these the fewest right at all.
fn worst(title: &str, outcomes: &[&Outcome]) {
    println!("\n{title}");
    let mut sorted = outcomes.to_vec();
    let merit = |score: &Score| score.within_2 + 0.01 * score.within_2_any;
    sorted.sort_by(|a, b| merit(&a.plain).total_cmp(&merit(&b.plain)));
    sorted.iter().take(10).for_each(|outcome| println!("{}", fault(outcome)));
}

/// Every clip of even speed with a tenth of its frames wrong, whatever the verdict: is it the sound, or what is
/// believed before listening?
fn wrong(outcomes: &[&Outcome]) {
    println!(
        "\nWrong for a tenth of the clip or more at even speed, and what the sound says for the truth against the wrong speed (logarithm of likelihoods; negative: the sound itself misleads)"
    );
    for outcome in outcomes.iter().filter(|outcome| outcome.for_truth.is_some()) {
        println!("{}", fault(outcome));
    }
}

/// One line about a clip that went wrong.
fn fault(outcome: &Outcome) -> String {
    let plain = &outcome.plain;
    let says = outcome.for_truth.map_or(String::new(), |(evidence, ratio)| {
        format!("{} ({ratio:.2}), for the truth {evidence:+.0}", tables::ratio_word(ratio))
    });
    format!(
        "  {:<34} ≤2 % {:.3}, >10 % {:.3}, unheard {:.3}, doubtful {:.3}, any ≤2 % {:.3}; said ≤2 % {:.3}; {says}",
        outcome.clip.name(),
        plain.within_2,
        plain.gross,
        plain.not_heard,
        plain.doubtful,
        plain.within_2_any,
        outcome.told.within_2,
    )
}
