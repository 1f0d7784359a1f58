//! Figures of the listener: accuracy by layout and noise against a simple rival, false alarms, speed, and
//! what a live stream costs.
//!
//! Run in release: `cargo run --release --bin listen` in this folder, after `scripts/fetch-pulses`.
//! A first argument replaces the seed.

#[path = "../../../crates/workshop/tests/hearing/engine_sound.rs"]
mod engine_sound;
#[path = "../../../crates/workshop/tests/hearing/other_sound.rs"]
mod other_sound;

use std::path::Path;
use std::process::Command;

use bellmouth_core::engine::layout::{Firing, LAYOUTS, Layout, layout};
use bellmouth_core::sound::{FRAME_S, Frame, Heard, Listener};
use bellmouth_workshop::listen::{Engine, Question, listen_file};
use engine_sound::{Clip, Noise, Random, Recipe, SAMPLE_RATE_HZ, pulses, render, to_level};

fn main() {
    let seed = std::env::args().nth(1).and_then(|seed| seed.parse().ok()).unwrap_or(880_000);
    let pulses = pulses();
    accuracy(seed, &pulses);
    rising(seed, &pulses);
    false_alarms(seed);
    speed(seed, &pulses);
}

fn hear(samples: &[f32], layout: &Layout) -> Vec<Frame> {
    let mut listener =
        Listener::new(SAMPLE_RATE_HZ, &Firing::from(layout), None).expect("a sample rate in range");
    let mut frames = listener.feed(samples);
    frames.extend(listener.finish());
    frames
}

fn idle<'a>(layout: &'a Layout, rpm: f64, noise: Noise, any_pulse: bool, seed: u64) -> Recipe<'a> {
    let mut random = Random::new(seed ^ 0xC0FFEE);
    Recipe {
        layout,
        rpm: rpm * random.between(0.97, 1.03),
        seconds: 10.0,
        rising_rpm_per_s: 0.0,
        wander: 0.01,
        jitter: 0.006,
        cylinders: layout.firing_deg.iter().map(|_| random.between(0.65, 1.0)).collect(),
        any_pulse,
        noise,
        ratio_db: 10.0,
        seed,
    }
}

#[derive(Default)]
struct Tally {
    frames: f64,
    right: f64,
    gross: f64,
    doubtful: f64,
    not_heard: f64,
    inside: f64,
    errors: Vec<f64>,
    /// Ratios to the truth of the heard frames that are off by more than 10 %.
    ratios: Vec<f64>,
    rival_right: f64,
    rival_gross: f64,
}

impl Tally {
    fn add(&mut self, clip: &Clip, frames: &[Frame]) {
        for frame in frames {
            let Some(truth) = clip.rpm(frame.t_s) else { continue };
            self.frames += 1.0;
            let off = (frame.rpm - truth).abs();
            match frame.heard {
                Heard::No => self.not_heard += 1.0,
                Heard::Doubtful => self.doubtful += 1.0,
                Heard::Yes => {
                    self.right += f64::from(off < 0.02 * truth);
                    self.gross += f64::from(off > 0.10 * truth);
                    self.inside += f64::from(off < 1.645 * frame.sd_rpm);
                    self.errors.push(off);
                    if off > 0.10 * truth {
                        self.ratios.push(frame.rpm / truth);
                    }
                }
            }
        }
    }

    fn add_rival(&mut self, clip: &Clip, speeds: &[f64]) {
        for (i, rpm) in speeds.iter().enumerate() {
            let Some(truth) = clip.rpm(i as f64 * FRAME_S) else { continue };
            self.rival_right += f64::from((rpm / truth - 1.0).abs() < 0.02);
            self.rival_gross += f64::from((rpm / truth - 1.0).abs() > 0.10);
        }
    }

    fn print(mut self, name: &str) {
        self.errors.sort_by(f64::total_cmp);
        let median = self.errors.get(self.errors.len() / 2).copied().unwrap_or(f64::NAN);
        let n = self.frames;
        self.ratios.sort_by(f64::total_cmp);
        let wrong = self.ratios.get(self.ratios.len() / 2);
        let wrong = wrong.map(|ratio| format!("  (× {ratio:.2})")).unwrap_or_default();
        println!(
            "{name:<28} {:>6.3} {:>6.3} {:>6.3} {:>6.3} {median:>7.2} {:>7.3} | {:>6.3} {:>6.3}{wrong}",
            self.right / n,
            self.gross / n,
            self.doubtful / n,
            self.not_heard / n,
            self.inside / self.errors.len().max(1) as f64,
            self.rival_right / n,
            self.rival_gross / n,
        );
    }
}

const HEADER: &str =
    "                              ≤ 2 %  >10 % doubt. unheard  median  in 90 % | rival ≤2 % >10 %";

fn accuracy(seed: u64, pulses: &[Vec<f64>]) {
    println!("Idle, 700 to 1300 rpm, wander 1 %, cycles differing by 0.6 %, unequal cylinders, 10 dB");
    println!("{HEADER}");
    for (row, layout) in LAYOUTS.iter().enumerate() {
        for noise in [Noise::White, Noise::Garage] {
            let mut tally = Tally::default();
            for (place, rpm) in [700.0, 850.0, 1000.0, 1150.0, 1300.0].into_iter().enumerate() {
                let seed = seed + (row * 100 + place * 10) as u64 + u64::from(noise == Noise::White);
                let clip = render(&idle(layout, rpm, noise, (place + row) % 2 == 0, seed), pulses);
                tally.add(&clip, &hear(&clip.samples, layout));
                tally.add_rival(&clip, &rival(&clip.samples, layout));
            }
            tally.print(&format!("{} {noise:?}", layout.name));
        }
    }
}

fn rising(seed: u64, pulses: &[Vec<f64>]) {
    println!("\nFrom idle to four times its speed, 10 dB white");
    println!("{HEADER}");
    for rate in [500.0, 2_000.0, 5_000.0] {
        for name in ["single", "v-twin-45", "inline-4"] {
            let layout = layout(name).expect("a row of the table");
            let mut tally = Tally::default();
            for place in 0..3 {
                let recipe = idle(layout, 900.0, Noise::White, false, seed + 9_000 + place);
                let clip = render(&Recipe { rising_rpm_per_s: rate, ..recipe }, pulses);
                tally.add(&clip, &hear(&clip.samples, layout));
                tally.add_rival(&clip, &rival(&clip.samples, layout));
            }
            tally.print(&format!("{name} {rate:.0} rpm/s"));
        }
    }
}

fn false_alarms(seed: u64) {
    println!("\nSounds that are no engine, at the same RMS: share of frames heard, doubtful (60 s each)");
    type Make = fn(f64, u64) -> Vec<f64>;
    let others: [(&str, Make); 5] = [
        ("silence", other_sound::silence),
        ("fan", other_sound::fan),
        ("rain", other_sound::rain),
        ("music", other_sound::music),
        ("speech", other_sound::speech),
    ];
    for (name, make) in others {
        for as_layout in ["single", "v-twin-45", "inline-4", "two-stroke-single"] {
            let layout = layout(as_layout).expect("a row of the table");
            let (mut heard, mut doubtful, mut all) = (0.0, 0.0, 0.0);
            for part in 0..4 {
                for frame in hear(&to_level(&make(15.0, seed + part), 0.1), layout) {
                    all += 1.0;
                    heard += f64::from(frame.heard == Heard::Yes);
                    doubtful += f64::from(frame.heard == Heard::Doubtful);
                }
            }
            println!("{name:<10} as {as_layout:<20} {:.4} {:.4}", heard / all, doubtful / all);
        }
    }
}

fn speed(seed: u64, pulses: &[Vec<f64>]) {
    println!("\nSpeed, seconds of processor time, so that a shared machine does not blur them");
    let four = layout("inline-4").expect("a row of the table");
    let clip = render(&Recipe { seconds: 60.0, ..idle(four, 1000.0, Noise::White, false, seed) }, pulses);
    for name in ["single", "v-twin-45", "inline-4", "inline-6"] {
        let layout = layout(name).expect("a row of the table");
        let started = processor_s();
        hear(&clip.samples, layout);
        println!("samples, as {name:<12} {:.0} × real time", 60.0 / (processor_s() - started));
    }
    let mut listener =
        Listener::new(SAMPLE_RATE_HZ, &Firing::from(four), None).expect("a sample rate in range");
    let (mut worst, mut all) = (0.0_f64, 0.0);
    for block in clip.samples.chunks(882) {
        let started = processor_s();
        listener.feed(block);
        std::hint::black_box(listener.live());
        let took = processor_s() - started;
        (worst, all) = (worst.max(took), all + took);
    }
    println!("live, 20 ms blocks: worst {:.2} ms, {:.2} % of a core", 1e3 * worst, 100.0 * all / 60.0);

    let folder = std::env::temp_dir();
    let wav = folder.join(format!("bellmouth-bench-{}.wav", std::process::id()));
    let m4a = wav.with_extension("m4a");
    let bytes: Vec<u8> =
        (0..10).flat_map(|_| &clip.samples).flat_map(|x| ((x * 32_000.0) as i16).to_le_bytes()).collect();
    let raw = wav.with_extension("raw");
    std::fs::write(&raw, bytes).expect("the temporary folder can be written");
    for to in [&wav, &m4a] {
        let made = Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-f", "s16le", "-ar", "44100", "-ac", "1", "-i"])
            .arg(&raw)
            .args(["-ar", "48000"])
            .arg(to)
            .status();
        assert!(made.is_ok_and(|made| made.success()), "ffmpeg is needed");
        let took = timed_file(to, four);
        println!("10 min of 48 kHz {}: {took:.2} s, {:.0} × real time", ending(to), 600.0 / took);
    }
    for path in [&raw, &wav, &m4a] {
        let _ = std::fs::remove_file(path);
    }
    memory(&clip, four);
}

/// Processor time this process has had, seconds.
fn processor_s() -> f64 {
    let spent = std::fs::read_to_string("/proc/self/schedstat").unwrap_or_default();
    spent.split(' ').next().and_then(|ns| ns.parse::<f64>().ok()).unwrap_or(f64::NAN) / 1e9
}

fn ending(path: &Path) -> String {
    path.extension().unwrap_or_default().to_string_lossy().into_owned()
}

fn timed_file(path: &Path, layout: &'static Layout) -> f64 {
    let started = processor_s();
    let heard = listen_file(path, &Question::about(Engine::Is(layout))).expect("the file was just made");
    assert!(heard.summary.rpm.is_some());
    processor_s() - started
}

/// What the listener itself adds to memory over 20 minutes.
fn memory(clip: &Clip, layout: &Layout) {
    let resident = || {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let line = status.lines().find(|line| line.starts_with("VmRSS")).unwrap_or_default().to_owned();
        line.split_whitespace().nth(1).and_then(|kib| kib.parse::<f64>().ok()).unwrap_or(f64::NAN) / 1024.0
    };
    let mut listener =
        Listener::new(SAMPLE_RATE_HZ, &Firing::from(layout), None).expect("a sample rate in range");
    let before = resident();
    for minute in 1..=20 {
        listener.feed(&clip.samples);
        if minute == 1 || minute == 20 {
            println!("resident after {minute} min: {:+.1} MiB", resident() - before);
        }
    }
}

/// The rival: the highest peak of the envelope's autocorrelation over 1.2 s, taken as the cycle; the
/// shortest of peaks nearly as high.
fn rival(samples: &[f32], layout: &Layout) -> Vec<f64> {
    let step = (SAMPLE_RATE_HZ / 1_000.0) as usize;
    let rate = SAMPLE_RATE_HZ / step as f64;
    let envelope: Vec<f32> =
        samples.chunks(step).map(|box_| box_.iter().map(|x| x * x).sum::<f32>().sqrt()).collect();
    let frames = (samples.len() as f64 / SAMPLE_RATE_HZ / FRAME_S) as usize;
    let half = (0.6 * rate) as usize;
    let lag = |rpm: f64| (rate * layout.cycle_deg / 6.0 / rpm) as usize;
    (0..frames)
        .map(|frame| {
            let middle = (frame as f64 * FRAME_S * rate) as usize;
            let part = &envelope[middle.saturating_sub(half)..(middle + half).min(envelope.len())];
            let mean = part.iter().sum::<f32>() / part.len() as f32;
            let part: Vec<f32> = part.iter().map(|x| x - mean).collect();
            let score: Vec<f32> = (lag(7_000.0)..=lag(400.0).min(part.len() - 2))
                .map(|lag| {
                    let sum: f32 = part.iter().zip(&part[lag..]).map(|(a, b)| a * b).sum();
                    sum / (part.len() - lag) as f32
                })
                .collect();
            let best = score.iter().copied().fold(f32::MIN, f32::max);
            let is_peak = |i: usize| {
                (i == 0 || score[i] >= score[i - 1]) && (i + 1 == score.len() || score[i] >= score[i + 1])
            };
            let at = (0..score.len()).find(|&i| score[i] > 0.9 * best && is_peak(i)).unwrap_or(0);
            rate * layout.cycle_deg / 6.0 / (at + lag(7_000.0)) as f64
        })
        .collect()
}
