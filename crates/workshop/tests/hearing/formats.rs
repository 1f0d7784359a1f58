//! The same sound in every format gives the same speed; what is no recording is refused in a sentence.

use std::path::{Path, PathBuf};
use std::process::Command;

use bellmouth_core::engine::layout::layout;
use bellmouth_core::practice::voice::resampled;
use bellmouth_workshop::listen::{Engine, Question, listen, listen_file};
use bellmouth_workshop::recording::Recording;

use crate::engine_sound::{Noise, SAMPLE_RATE_HZ, pulses};
use crate::{SEED, idle};

/// A folder of this test's own, removed at its end.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("bellmouth-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Folder(path)
    }

    fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// A wav file of 16-bit mono samples.
fn wav(samples: &[f32], rate_hz: u32) -> Vec<u8> {
    let data: Vec<u8> = samples.iter().flat_map(|x| ((x * 32_000.0) as i16).to_le_bytes()).collect();
    let mut out = b"RIFF".to_vec();
    out.extend((36 + data.len() as u32).to_le_bytes());
    out.extend(b"WAVEfmt ");
    out.extend(16_u32.to_le_bytes());
    out.extend([1, 0, 1, 0]);
    out.extend(rate_hz.to_le_bytes());
    out.extend((rate_hz.wrapping_mul(2)).to_le_bytes());
    out.extend([2, 0, 16, 0]);
    out.extend(b"data");
    out.extend((data.len() as u32).to_le_bytes());
    out.extend(data);
    out
}

fn encode(from: &Path, to: &Path, options: &[&str]) {
    let made = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-i"])
        .arg(from)
        .args(options)
        .arg(to)
        .output()
        .unwrap_or_else(|error| panic!("ffmpeg: {error}; install it, scripts/test does"));
    assert!(made.status.success(), "{}: {}", to.display(), String::from_utf8_lossy(&made.stderr));
}

fn question(name: &str) -> Question {
    Question::about(Engine::Is(layout(name).unwrap()))
}

/// What a browser records: streamed, so that nothing says how long it is or where its parts lie.
const AS_A_BROWSER: [&str; 6] = ["-c:a", "libopus", "-b:a", "48k", "-live", "1"];

const FORMATS: [(&str, &[&str]); 36] = [
    ("u8.wav", &["-c:a", "pcm_u8"]),
    ("s24.wav", &["-c:a", "pcm_s24le"]),
    ("s32.wav", &["-c:a", "pcm_s32le"]),
    ("f32.wav", &["-c:a", "pcm_f32le"]),
    ("f64.wav", &["-c:a", "pcm_f64le"]),
    ("mulaw.wav", &["-c:a", "pcm_mulaw"]),
    // Three channels are written with the extensible header.
    ("extensible.wav", &["-ac", "3", "-c:a", "pcm_s24le"]),
    ("stereo.wav", &["-ac", "2"]),
    ("r8000.wav", &["-ar", "8000"]),
    ("r16000.wav", &["-ar", "16000"]),
    ("r44100.wav", &["-ar", "44100"]),
    ("r192000.wav", &["-ar", "192000"]),
    ("a.aiff", &[]),
    ("a.caf", &["-c:a", "pcm_s16le"]),
    ("alac.caf", &["-c:a", "alac"]),
    ("a.flac", &[]),
    ("a.mp3", &["-b:a", "128k"]),
    ("vorbis.ogg", &["-c:a", "libvorbis"]),
    ("opus.ogg", &["-c:a", "libopus", "-b:a", "24k"]),
    ("voice.opus", &["-c:a", "libopus", "-b:a", "16k", "-application", "voip", "-frame_duration", "60"]),
    ("stereo.opus", &["-c:a", "libopus", "-b:a", "96k", "-ac", "2"]),
    ("browser.webm", &AS_A_BROWSER),
    ("stereo.webm", &["-c:a", "libopus", "-b:a", "64k", "-ac", "2"]),
    ("vorbis.webm", &["-c:a", "libvorbis"]),
    ("flac.mkv", &["-c:a", "flac"]),
    ("a.m4a", &["-c:a", "aac", "-b:a", "96k"]),
    ("a.mp4", &["-c:a", "aac"]),
    ("stereo.mp4", &["-c:a", "aac", "-ac", "2"]),
    ("opus.mp4", &["-c:a", "libopus"]),
    ("pieces.mp4", &["-c:a", "aac", "-movflags", "frag_keyframe+delay_moov+default_base_moof"]),
    ("index-first.mp4", &["-c:a", "aac", "-movflags", "+faststart"]),
    ("a.mov", &["-c:a", "aac"]),
    ("a.3gp", &["-c:a", "aac"]),
    ("alac.m4a", &["-c:a", "alac"]),
    ("pcm.mov", &["-c:a", "pcm_s16le"]),
    ("a.aac", &["-c:a", "aac"]),
];

/// Every sample of a recording, and its rate.
fn samples(mut recording: Recording) -> (Vec<f32>, f64) {
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend_from_slice(block);
    }
    (samples, recording.sample_rate_hz())
}

/// How much later one sound comes than another, samples: where they agree best, within 3000.
fn later(sound: &[f32], than: &[f32]) -> isize {
    let part = 60_000..70_000_usize;
    let agreement = |lag: isize| -> f32 {
        part.clone().step_by(3).map(|i| than[i] * sound[(i as isize + lag) as usize]).sum()
    };
    (-3_000..=3_000).max_by(|a, b| agreement(*a).total_cmp(&agreement(*b))).unwrap()
}

#[test]
fn every_format_gives_the_same_trace() {
    let folder = Folder::new("formats");
    let twin = layout("v-twin-45").unwrap();
    let clip = idle(twin, 950.0, false, Noise::White, SEED + 20, &pulses());
    let made: Vec<f64> = clip.samples.iter().map(|&x| x.into()).collect();
    let made: Vec<f32> = resampled(&made, SAMPLE_RATE_HZ, 48_000.0).iter().map(|&x| x as f32).collect();
    let original = folder.file("original.wav", &wav(&made, 48_000));
    let want = listen_file(&original, &question("v-twin-45")).unwrap();
    let (rpm, truth) = (want.summary.rpm.unwrap(), clip.rpm(4.0).unwrap());
    assert!((rpm / truth - 1.0).abs() < 0.03, "{rpm} rpm, truly near {truth}");
    for (name, options) in FORMATS {
        let path = folder.0.join(name);
        encode(&original, &path, options);
        let (decoded, rate_hz) = samples(Recording::open(&path).unwrap());
        if rate_hz == 48_000.0 {
            // A stream of bare AAC has nowhere to say what comes before the sound; speech coding at few bits
            // keeps no phases.
            let wanted = if name == "a.aac" { 1_024 } else { 0 };
            let near = if name == "voice.opus" { 48 } else { 2 };
            let late = later(&decoded, &made);
            assert!((late - wanted).abs() <= near, "{name}: {late} samples late");
        }
        let heard =
            listen_file(&path, &question("v-twin-45")).unwrap_or_else(|refusal| panic!("{name}: {refusal}"));
        let rpm = heard.summary.rpm.unwrap_or_else(|| panic!("{name}: not heard"));
        assert!(
            (rpm / want.summary.rpm.unwrap() - 1.0).abs() < 0.002,
            "{name}: {rpm} instead of {want:?} rpm"
        );
        assert!((heard.duration_s - 8.0).abs() < 0.1, "{name}: {} s", heard.duration_s);
        let mut apart = 0;
        for (a, b) in want.trace.iter().zip(&heard.trace) {
            let same = match (a.rpm, b.rpm) {
                (Some(a), Some(b)) => (a / b - 1.0).abs() < 0.01,
                (a, b) => a.is_some() == b.is_some(),
            };
            apart += usize::from(!same);
        }
        assert!(apart <= want.trace.len() / 50, "{name}: {apart} of {} frames differ", want.trace.len());
        // An upload has no file: any source of bytes will do.
        let bytes = std::io::Cursor::new(std::fs::read(&path).unwrap());
        let uploaded = samples(Recording::read(bytes, name).unwrap());
        assert!(uploaded == (decoded, rate_hz), "{name}: uploaded, it sounds otherwise");
    }
}

#[test]
fn an_ending_that_lies_changes_nothing() {
    let folder = Folder::new("endings");
    let sound = wav(&vec![0.1; 48_000], 48_000);
    let good = folder.file("good.wav", &sound);
    for (ending, options) in [
        ("mp3", &[][..]),
        ("flac", &[]),
        ("ogg", &["-c:a", "libopus"]),
        ("webm", &["-c:a", "libopus"]),
        ("m4a", &[]),
    ] {
        let path = folder.0.join(format!("true.{ending}"));
        encode(&good, &path, options);
        let bytes = std::fs::read(&path).unwrap();
        for lie in ["lie.wav", "lie.mp3", "lie.m4a", "lie.ogg", "lie.txt", "lie"] {
            let path = folder.file(lie, &bytes);
            let (samples, _) = samples(Recording::open(&path).unwrap());
            assert!(
                (samples.len() as f64 / 48_000.0 - 1.0).abs() < 0.05,
                "{ending} as {lie}: {}",
                samples.len()
            );
        }
    }
}

#[test]
fn a_stretch_keeps_the_times_of_the_recording() {
    let folder = Folder::new("stretch");
    let clip = idle(layout("inline-4").unwrap(), 1_000.0, false, Noise::White, SEED + 21, &pulses());
    let path = folder.file("idle.wav", &wav(&clip.samples, SAMPLE_RATE_HZ as u32));
    let stretch = Question { from_s: Some(2.0), to_s: Some(7.0), ..question("inline-4") };
    let heard = listen_file(&path, &stretch).unwrap();
    assert_eq!((heard.trace.len(), heard.trace[0].t_s, heard.duration_s), (100, 2.0, 5.0));
    assert!(heard.caveats.iter().any(|caveat| caveat.name == "speed-unconfirmed"), "{:?}", heard.caveats);
    let about = Question { about_rpm: Some(1_000.0), ..stretch };
    let heard = listen_file(&path, &about).unwrap();
    assert!(heard.caveats.iter().all(|caveat| caveat.name != "speed-unconfirmed"), "{:?}", heard.caveats);
    let late = Question { from_s: Some(100.0), ..question("inline-4") };
    let refused = listen_file(&path, &late).unwrap_err();
    assert_eq!(refused.exit_status(), 3);
    assert!(refused.message.ends_with("idle.wav lies after 100 s: it ends at 8.00 s"), "{refused}");
    let backwards = Question { from_s: Some(3.0), to_s: Some(2.0), ..question("inline-4") };
    assert_eq!(listen_file(&path, &backwards).unwrap_err().exit_status(), 2);
}

#[test]
fn an_unknown_layout_is_ranked_with_a_caveat() {
    let folder = Folder::new("unknown");
    let clip = idle(layout("v-twin-45").unwrap(), 950.0, false, Noise::White, SEED + 22, &pulses());
    let path = folder.file("idle.wav", &wav(&clip.samples, SAMPLE_RATE_HZ as u32));
    let heard = listen_file(&path, &Question::about(Engine::Unknown)).unwrap();
    assert!(heard.caveats.iter().any(|caveat| caveat.name == "layout-guessed"));
    assert!(heard.ranking.windows(2).all(|pair| pair[0].evidence >= pair[1].evidence));
    let narrow = heard.ranking.iter().position(|row| row.name == "v-twin-45").unwrap();
    let even = heard.ranking.iter().position(|row| row.name == "inline-6").unwrap();
    assert!(narrow < even, "{:#?}", heard.ranking);
}

#[test]
fn a_quiet_file_is_an_answer_without_speed() {
    let folder = Folder::new("quiet");
    let path = folder.file("quiet.wav", &wav(&vec![0.0; 96_000], 48_000));
    let heard = listen_file(&path, &question("single")).unwrap();
    assert_eq!((heard.summary.rpm, heard.trace.len()), (None, 40));
    assert!(heard.trace.iter().all(|point| point.rpm.is_none() && !point.heard));
    assert!(
        heard.caveats.iter().any(|caveat| caveat.says == "no engine was heard in 2.0 s"),
        "{:?}",
        heard.caveats
    );
}

#[test]
fn what_is_no_recording_is_refused_in_a_sentence() {
    let folder = Folder::new("bad");
    let sound = wav(&vec![0.1; 48_000], 48_000);
    let good = folder.file("good.wav", &sound);
    for (name, options) in [
        ("clip.mp4", &["-c:a", "aac"][..]),
        ("around.opus", &["-c:a", "libopus", "-ac", "6"]),
        ("disc.mp4", &["-c:a", "ac3"]),
        ("old.wma", &["-c:a", "wmav2"]),
        ("old.avi", &[]),
        ("clip.webm", &["-c:a", "libopus"]),
        ("clip.ogg", &["-c:a", "libopus"]),
        ("silent.mp4", &["-f", "lavfi", "-i", "testsrc=duration=1:size=64x64", "-map", "1:v"]),
    ] {
        encode(&good, &folder.0.join(name), options);
    }
    let whole = std::fs::read(folder.0.join("clip.mp4")).unwrap();
    folder.file("cut.mp4", &whole[..whole.len() / 2]);
    // What is protected, or spoken into an old telephone, differs in the four letters of its coding.
    let at = whole.windows(4).position(|four| four == b"mp4a").unwrap();
    for (name, coding) in [("bought.m4p", b"drms"), ("bought.mp4", b"enca"), ("note.3gp", b"samr")] {
        let mut named = whole.clone();
        named[at..at + 4].copy_from_slice(coding);
        folder.file(name, &named);
    }
    folder.file("note.amr", b"#!AMR\n\x3c\x08");
    folder.file("cut.webm", &std::fs::read(folder.0.join("clip.webm")).unwrap()[..60]);
    folder.file("cut.ogg", &std::fs::read(folder.0.join("clip.ogg")).unwrap()[..60]);
    folder.file("text.wav", b"idle speed 950, screw two turns out\n");
    folder.file("empty.wav", b"");
    folder.file("header.wav", &sound[..30]);
    folder.file("slow.wav", &wav(&vec![0.1; 4_000], 100));
    folder.file("fast.wav", &wav(&vec![0.1; 4_000], 4_000_000_000));
    folder.file("noise.wav", &[0x9C, 0, 7, 0xE1, 3].repeat(400));
    let cases = [
        ("missing.wav", "cannot be read (there is no such file or folder)", "check the name"),
        ("text.wav", "is no recording: it is text (it begins “idle speed 950, scre”)", "give a wav, flac"),
        ("empty.wav", "is empty (0 bytes)", "record or copy it again"),
        ("header.wav", "is cut off or damaged: it ends too early, after 30 bytes", "record or copy it again"),
        ("cut.mp4", "is cut off or damaged", "record or copy it again"),
        (
            "around.opus",
            "holds sound as Opus of more than two channels, which is not read",
            "convert it to wav",
        ),
        ("disc.mp4", "holds sound as AC-3, which is not read", "convert it to wav"),
        ("old.wma", "holds sound as Windows Media Audio, which is not read", "convert it to wav"),
        ("old.avi", "holds sound as AVI, a video, which is not read", "convert it to wav"),
        ("note.3gp", "holds sound as AMR (speech of old telephones), which is not read", "convert it to wav"),
        ("note.amr", "holds sound as AMR (speech of old telephones), which is not read", "convert it to wav"),
        ("bought.m4p", "is protected against copying, and cannot be decoded", "record the engine yourself"),
        ("bought.mp4", "is protected against copying, and cannot be decoded", "record the engine yourself"),
        ("cut.webm", "is cut off or damaged", "record or copy it again"),
        ("cut.ogg", "is cut off or damaged", "record or copy it again"),
        ("silent.mp4", "holds no sound", "record with the microphone on"),
        (
            "slow.wav",
            "says its sample rate is 100 Hz, but 8000 to 192000 Hz",
            "record again at 44100 or 48000 Hz",
        ),
        ("fast.wav", "says its sample rate is 4000000000 Hz", "record again at 44100 or 48000 Hz"),
        ("noise.wav", "is no recording", "give a wav, flac"),
        (".", "is a folder", "give a wav, flac"),
    ];
    for (name, message, remedy) in cases {
        let refusal = listen_file(&folder.0.join(name), &question("single")).unwrap_err();
        assert!(refusal.message.contains(message) && refusal.message.contains(name), "{name}: {refusal}");
        assert!(refusal.remedy.starts_with(remedy), "{name}: {refusal}");
        assert_eq!(refusal.exit_status(), 3, "{name}");
    }
}

#[test]
fn damaged_bytes_never_panic() {
    let folder = Folder::new("damaged");
    let clip = idle(layout("single").unwrap(), 1_000.0, false, Noise::White, SEED + 23, &pulses());
    let good = folder.file("good.wav", &wav(&clip.samples[..60_000], SAMPLE_RATE_HZ as u32));
    let mut random = crate::Random::new(9);
    for (number, (ending, options)) in [
        ("wav", &[][..]),
        ("aiff", &[]),
        ("caf", &[]),
        ("flac", &[]),
        ("mp3", &[]),
        ("ogg", &["-c:a", "libvorbis"]),
        ("ogg", &["-c:a", "libopus", "-b:a", "16k"]),
        ("webm", &["-c:a", "libopus"]),
        ("m4a", &[]),
        ("mp4", &["-c:a", "aac", "-movflags", "+faststart"]),
    ]
    .into_iter()
    .enumerate()
    {
        let whole = folder.0.join(format!("whole-{number}.{ending}"));
        encode(&good, &whole, options);
        let bytes = std::fs::read(&whole).unwrap();
        for _ in 0..12 {
            let mut broken = bytes[..(bytes.len() as f64 * random.between(0.05, 1.0)) as usize].to_vec();
            for _ in 0..20 {
                let at = random.next() as usize % broken.len();
                broken[at] = random.next() as u8;
            }
            let name = format!("broken.{ending}");
            // An answer or a refusal; what it says is the other tests' matter.
            if let Ok(recording) = Recording::read(std::io::Cursor::new(broken), &name) {
                let _ = listen(recording, &question("single"));
            }
        }
    }
}
