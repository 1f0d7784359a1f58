//! General pitch trackers on the same clips, scored by the same scorer.
//!
//! `bench/trackers.py` runs them. Each hears the sound itself and its envelope, and is asked for the rate of
//! cycles and of firings; which of these, and which constant offset, is chosen afterwards for each voice, as
//! suits the tool best. They are told how many cylinders there are, by the rate asked for; the
//! listener is told the firing angles.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use bellmouth_core::sound::Heard;

use crate::Outcome;
use crate::score::{Answer, Score, instants, median};
use crate::suite::Made;
use crate::tables;

/// Packages and versions the figures in the README were made with.
const PACKAGES: [&str; 8] = [
    "numpy",
    "scipy",
    "librosa==0.11.0",
    "praat-parselmouth==0.4.7",
    "pyworld==0.3.5",
    "pysptk==1.0.1",
    "swift-f0==0.3.0",
    "aubio-ledfx==0.4.12",
];

/// Speeds every tool is asked to look for, rpm.
const RANGE_RPM: (f64, f64) = (500.0, 7_000.0);

/// What one tool said of one clip.
struct Said {
    clip: usize,
    tool: String,
    /// Input and target.
    way: String,
    took_s: f64,
    t_s: Vec<f64>,
    rpm: Vec<f64>,
}

/// Runs them on these outcomes' clips and prints their rows under the listener's.
pub fn compare(outcomes: &[&Outcome]) {
    let python = match environment() {
        Ok(python) => python,
        Err(why) => {
            println!("\nThe trackers are left out: {why}");
            return;
        }
    };
    let folder = std::env::temp_dir().join(format!("bellmouth-trackers-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
    let made: Vec<Made> = outcomes.iter().map(|outcome| outcome.clip.make()).collect();
    match said(&python, &folder, &made) {
        Ok(said) => print(outcomes, &made, &said),
        Err(why) => println!("\nThe trackers failed: {why}"),
    }
    let _ = std::fs::remove_dir_all(&folder);
}

fn said(python: &Path, folder: &Path, made: &[Made]) -> Result<Vec<Said>, String> {
    let mut list = String::new();
    for (number, made) in made.iter().enumerate() {
        let firings = made.firing.angles_deg().len();
        let (low, high) = RANGE_RPM;
        list += &format!("{number} {firings} {} {low} {high}\n", made.firing.cycle_deg());
        write(&folder.join(format!("{number}.wav")), &wav(&made.samples, made.rate_hz))?;
    }
    write(&folder.join("clips.tsv"), list.as_bytes())?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("trackers.py");
    let output = Command::new(python).arg(script).arg(folder).output().map_err(|e| e.to_string())?;
    let complaints = String::from_utf8_lossy(&output.stderr);
    complaints.lines().take(8).for_each(|line| eprintln!("trackers.py: {line}"));
    if !output.status.success() {
        return Err(complaints.into_owned());
    }
    let answers = std::fs::read(folder.join("answers.bin")).map_err(|error| error.to_string())?;
    let mut values = answers
        .chunks_exact(8)
        .map(|eight| f64::from_le_bytes(eight.try_into().expect("eight bytes because it was cut so")));
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(|line| {
            let fields: Vec<&str> = line.split('\t').collect();
            let [clip, tool, input, target, count, took] = fields[..] else {
                return Err(format!("not understood: {line}"));
            };
            let count: usize = count.parse().map_err(|_| line.to_owned())?;
            Ok(Said {
                clip: clip.parse().map_err(|_| line.to_owned())?,
                tool: tool.to_owned(),
                way: format!("{input}, {target}"),
                took_s: took.parse().map_err(|_| line.to_owned())?,
                t_s: values.by_ref().take(count).collect(),
                rpm: values.by_ref().take(count).collect(),
            })
        })
        .collect()
}

fn print(outcomes: &[&Outcome], made: &[Made], said: &[Said]) {
    let mut tools: Vec<&str> = Vec::new();
    for said in said {
        if !tools.contains(&said.tool.as_str()) {
            tools.push(&said.tool);
        }
    }
    println!(
        "\nNine voices, seven conditions: the listener, told the firing angles, and general trackers, each with the input, target and offset that suit it best for each voice"
    );
    println!("{:<24} {} | × time", "", tables::COLUMNS);
    let ours: Vec<&Score> = outcomes.iter().map(|outcome| &outcome.plain).collect();
    let mut times: Vec<f64> = outcomes.iter().map(|outcome| outcome.times_real).collect();
    println!("{:<24} {} | {:>6.0}", "listener", tables::row(&ours), median(&mut times));
    let mut by_condition: Vec<(String, BTreeMap<&str, Vec<f64>>)> = vec![(
        "listener".to_owned(),
        outcomes.iter().fold(BTreeMap::new(), |mut sums: BTreeMap<&str, Vec<f64>>, outcome| {
            sums.entry(outcome.clip.condition).or_default().push(outcome.plain.within_2);
            sums
        }),
    )];
    for tool in tools {
        let own: Vec<&Said> = said.iter().filter(|said| said.tool == tool).collect();
        let chosen = chosen(outcomes, made, &own);
        let scores: Vec<&Score> = chosen.iter().map(|(_, score, _)| score).collect();
        let mut times: Vec<f64> =
            chosen.iter().map(|(clip, _, took_s)| made[*clip].seconds / took_s.max(1e-6)).collect();
        println!("{tool:<24} {} | {:>6.0}", tables::row(&scores), median(&mut times));
        let mut groups: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for (clip, score, _) in &chosen {
            groups.entry(outcomes[*clip].clip.condition).or_default().push(score.within_2);
        }
        by_condition.push((tool.to_owned(), groups));
    }
    println!("\nWithin 2 % (heard), by condition");
    let conditions: Vec<&str> = crate::suite::FIRST_CONDITIONS.to_vec();
    println!("{:<24} {}", "", conditions.iter().map(|c| format!("{c:>15}")).collect::<String>());
    for (tool, groups) in by_condition {
        let cells: String = conditions
            .iter()
            .map(|condition| {
                let values = groups.get(condition).map_or(&[][..], Vec::as_slice);
                format!("{:>15.3}", values.iter().sum::<f64>() / values.len() as f64)
            })
            .collect();
        println!("{tool:<24} {cells}");
    }
}

/// Clip, score, and processor time, seconds.
type Scored = (usize, Score, f64);

/// For each clip the score in the way, and with the offset, that suits the tool best for that voice.
fn chosen(outcomes: &[&Outcome], made: &[Made], own: &[&Said]) -> Vec<Scored> {
    let mut voices: Vec<&str> = Vec::new();
    let mut chosen = Vec::new();
    for outcome in outcomes {
        if voices.contains(&outcome.clip.voice) {
            continue;
        }
        voices.push(outcome.clip.voice);
        let of_voice: Vec<&&Said> =
            own.iter().filter(|said| outcomes[said.clip].clip.voice == outcome.clip.voice).collect();
        let mut ways: Vec<&str> = of_voice.iter().map(|said| said.way.as_str()).collect();
        ways.sort_unstable();
        ways.dedup();
        let mut best: Option<(f64, Vec<Scored>)> = None;
        for way in ways {
            for offset in -6..=6 {
                let offset_s = 0.05 * f64::from(offset);
                let scored: Vec<Scored> = of_voice
                    .iter()
                    .filter(|said| said.way == way)
                    .map(|said| {
                        let made = &made[said.clip];
                        let answers = answers(said, made.seconds, offset_s);
                        (said.clip, Score::of(&answers, made.seconds, &made.truth, None), said.took_s)
                    })
                    .collect();
                let merit = scored.iter().map(|(_, s, _)| s.within_2 + 0.5 * s.within_1).sum::<f64>();
                if best.as_ref().is_none_or(|best| merit > best.0) {
                    best = Some((merit, scored));
                }
            }
        }
        chosen.extend(best.into_iter().flat_map(|best| best.1));
    }
    chosen.sort_by_key(|(clip, _, _)| *clip);
    chosen
}

/// Speeds between a tool's own instants; silent where the nearest of them is further than a tenth of a
/// second or its own step.
fn answers(said: &Said, seconds: f64, offset_s: f64) -> Vec<Answer> {
    let known: Vec<(f64, f64)> = said
        .t_s
        .iter()
        .zip(&said.rpm)
        .filter(|(_, rpm)| rpm.is_finite() && **rpm > 0.0)
        .map(|(t, rpm)| (t + offset_s, *rpm))
        .collect();
    let step = said.t_s.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max).min(1.0);
    let reach = f64::max(0.1, 1.1 * step);
    instants(seconds)
        .into_iter()
        .map(|t_s| {
            let next = known.partition_point(|(t, _)| *t < t_s);
            let (before, after) = (next.checked_sub(1).and_then(|at| known.get(at)), known.get(next));
            let near = |place: Option<&(f64, f64)>| place.filter(|(t, _)| (t - t_s).abs() <= reach).copied();
            let rpm = match (near(before), near(after)) {
                (Some((t0, r0)), Some((t1, r1))) => {
                    let share = (t_s - t0) / (t1 - t0).max(1e-9);
                    (r0.ln() + share * (r1.ln() - r0.ln())).exp()
                }
                (Some((_, rpm)), None) | (None, Some((_, rpm))) => rpm,
                (None, None) => f64::NAN,
            };
            let heard = if rpm.is_nan() { Heard::No } else { Heard::Yes };
            Answer { rpm, sd_rpm: f64::NAN, heard }
        })
        .collect()
}

/// A wav file of 16-bit mono samples.
fn wav(samples: &[f32], rate_hz: f64) -> Vec<u8> {
    let data: Vec<u8> = samples.iter().flat_map(|x| ((x * 32_000.0) as i16).to_le_bytes()).collect();
    let rate = rate_hz as u32;
    let mut file = b"RIFF".to_vec();
    file.extend((36 + data.len() as u32).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16_u32.to_le_bytes());
    file.extend([1, 0, 1, 0]);
    file.extend(rate.to_le_bytes());
    file.extend((2 * rate).to_le_bytes());
    file.extend([2, 0, 16, 0]);
    file.extend(b"data");
    file.extend((data.len() as u32).to_le_bytes());
    file.extend(data);
    file
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), String> {
    std::fs::write(path, bytes).map_err(|error| format!("{}: {error}", path.display()))
}

/// The interpreter of the trackers' virtual environment, made where it is missing.
fn environment() -> Result<PathBuf, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/trackers-env");
    let python = folder.join("bin/python");
    if !python.exists() {
        run(Command::new("python3").args(["-m", "venv"]).arg(&folder))?;
    }
    let needed = "import aubio, librosa, parselmouth, pysptk, pyworld, swift_f0";
    if !Command::new(&python).args(["-c", needed]).output().is_ok_and(|output| output.status.success()) {
        run(Command::new(&python).args(["-m", "pip", "install", "-q"]).args(PACKAGES))?;
    }
    Ok(python)
}

fn run(command: &mut Command) -> Result<(), String> {
    let output = command.output().map_err(|error| format!("{command:?}: {error}"))?;
    if output.status.success() { Ok(()) } else { Err(String::from_utf8_lossy(&output.stderr).into_owned()) }
}
