//! What the listener is asked to hear: voices × conditions, every number of them drawn from a seed.

use std::path::PathBuf;
use std::process::Command;

use bellmouth_core::engine::layout::{Firing, LAYOUTS, layout};
use bellmouth_core::practice::Dice;
use bellmouth_core::practice::voice::{
    Noise, Phone, Room, Running, SAMPLE_RATE_HZ, Speed, Surroundings, Truth, Voice, beside,
};

/// A flat four whose headers differ in length: pairs of pulses come late, from another pipe.
pub const UNEQUAL_HEADERS: &str = "flat-4-headers";

/// Voices of the first table.
pub const FIRST_VOICES: [&str; 9] = [
    "single",
    "v-twin-45",
    "v-twin-90",
    "twin-360",
    "twin-270",
    "twin-180",
    "triple-120",
    "inline-4",
    UNEQUAL_HEADERS,
];

/// Conditions of the first table: every voice is heard under each of them.
pub const FIRST_CONDITIONS: [&str; 7] =
    ["idle_clean", "idle_10dB", "idle_0dB_rough", "idle_phone16k", "steady_10dB", "blip_10dB", "sweep_10dB"];

/// Further conditions, under which the voices of the first table are heard.
pub const FURTHER_CONDITIONS: [&str; 24] = [
    "idle_10dB_white",
    "idle_0dB_white",
    "idle_slow_10dB",
    "idle_fast_10dB",
    "blip_20dB",
    "blip_30dB",
    "blip_fast_10dB",
    "blip_fast_30dB",
    "roll_off_10dB",
    "fast_10dB",
    "sweep_14000_10dB",
    "hard_room_5m",
    "ringing_pipe_10dB",
    "hand_held",
    "wind_6dB",
    "phone_gate16k",
    "rate_8k",
    "rate_44100",
    "aac64",
    "opus24",
    "beside_-20dB",
    "beside_-10dB",
    "beside_-6dB",
    "beside_0dB",
];

/// One sound to be made.
#[derive(Clone, Debug)]
pub struct Clip {
    pub voice: &'static str,
    pub condition: &'static str,
    pub seed: u64,
}

/// One sound, and what is true of it.
pub struct Made {
    pub samples: Vec<f32>,
    pub rate_hz: f64,
    pub seconds: f64,
    pub firing: Firing,
    pub truth: Truth,
    /// The engine beside it, where there is one.
    pub other: Option<Truth>,
    /// What a tachometer might show: the median speed, wrong by up to a fifth.
    pub about_rpm: f64,
}

impl Clip {
    pub fn name(&self) -> String {
        format!("{}/{}#{}", self.voice, self.condition, self.seed)
    }

    /// Whether it belongs to the first table.
    pub fn is_first(&self) -> bool {
        self.is_first_condition() && FIRST_VOICES.contains(&self.voice)
    }

    pub fn is_first_condition(&self) -> bool {
        FIRST_CONDITIONS.contains(&self.condition)
    }

    /// Two engines too near in level to say which counts.
    pub fn is_disputed(&self) -> bool {
        ["beside_-6dB", "beside_0dB"].contains(&self.condition)
    }

    /// Makes the sound.
    pub fn make(&self) -> Made {
        // Names are hashed so that a clip stays the same whatever else the suite holds.
        let hash = self.name().bytes().fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3)
        });
        let mut dice = Dice::new(hash);
        let place = FIRST_VOICES.iter().position(|&voice| voice == self.voice).unwrap_or(self.voice.len());
        let mut scene = scene(self.condition, place, &mut dice);
        let mut voice = voice(self.voice, &mut dice);
        if self.condition == "idle_0dB_rough" {
            voice.draw_strengths(0.3, &mut dice);
        }
        if self.condition == "ringing_pipe_10dB" {
            voice.ringing = 0.85;
        }
        let take =
            voice.take(&scene.running, scene.seconds, hash ^ 1).expect("the suite asks for what can be");
        let mut sound = take.samples;
        let mut other = None;
        if let Some(ratio_db) = scene.beside_db {
            let (neighbour, running) = neighbour(&scene.running, &mut dice);
            let idles =
                neighbour.take(&running, scene.seconds, hash ^ 2).expect("the suite asks for what can be");
            sound = beside(&sound, &idles.samples, ratio_db, SAMPLE_RATE_HZ);
            other = Some(idles.truth);
        }
        let mut samples = scene.around.hear(&sound, SAMPLE_RATE_HZ, &mut dice);
        if let Some((codec, kbit)) = scene.codec {
            samples = coded(&samples, codec, kbit, hash);
            scene.around.rate_hz = SAMPLE_RATE_HZ;
        }
        let mut speeds = take.truth.rpm.clone();
        speeds.sort_by(f64::total_cmp);
        Made {
            samples,
            rate_hz: scene.around.rate_hz,
            seconds: scene.seconds,
            firing: voice.firing,
            about_rpm: speeds[speeds.len() / 2] * dice.between(0.8, 1.2),
            truth: take.truth,
            other,
        }
    }
}

/// Every clip of one seed.
pub fn clips(seed: u64) -> Vec<Clip> {
    let others = LAYOUTS.iter().map(|row| row.name).filter(|name| !FIRST_VOICES.contains(name));
    let voices: Vec<&'static str> = FIRST_VOICES.into_iter().chain(others).collect();
    let mut clips = Vec::new();
    for &voice in &voices {
        clips.extend(FIRST_CONDITIONS.iter().map(|condition| Clip { voice, condition, seed }));
    }
    for voice in FIRST_VOICES {
        clips.extend(FURTHER_CONDITIONS.iter().map(|condition| Clip { voice, condition, seed }));
    }
    clips
}

fn voice(name: &str, dice: &mut Dice) -> Voice {
    let row = layout(if name == UNEQUAL_HEADERS { "flat-4" } else { name }).expect("a row of the table");
    let mut voice = Voice::drawn(&Firing::from(row), dice);
    if name == UNEQUAL_HEADERS {
        voice.pipes = vec![0, 0, 1, 1];
        voice.headers_ms = vec![0.0, 0.4, 2.2, 2.9];
    }
    voice
}

/// Another engine of any layout, idling at a speed that differs by 6 % at least.
fn neighbour(running: &Running, dice: &mut Dice) -> (Voice, Running) {
    let Speed::Idle { rpm, .. } = running.speed else { unreachable!("only idles have neighbours") };
    let names: Vec<&str> = LAYOUTS.iter().map(|row| row.name).collect();
    let voice = voice(dice.one_of(&names), dice);
    let mut beside_rpm = dice.between(700.0, 1300.0);
    while (beside_rpm / rpm).ln().abs() < 0.06 {
        beside_rpm = dice.between(700.0, 1300.0);
    }
    (voice, Running::idle(beside_rpm))
}

/// A condition, its numbers drawn.
struct Scene {
    seconds: f64,
    running: Running,
    around: Surroundings,
    beside_db: Option<f64>,
    codec: Option<(&'static str, u32)>,
}

fn scene(condition: &str, place: usize, dice: &mut Dice) -> Scene {
    let idle_rpm = dice.between(700.0, 1300.0);
    let idle = |rpm: f64, wander: f64| Speed::Idle { rpm, wander, hunting: 0.0 };
    let room = |rt60_s: f64, direct_db: f64| Some(Room { rt60_s, direct_db });
    let garage_10 = Some((Noise::Garage, 10.0));
    let mut scene = Scene {
        seconds: dice.between(10.0, 12.0),
        running: Running {
            speed: idle(idle_rpm, 0.014),
            variation: dice.between(0.1, 0.2),
            misfire_share: 0.0,
            jitter_deg: 2.0,
        },
        around: Surroundings {
            room: room(dice.between(0.25, 0.5), 4.0),
            high_pass_hz: Some(80.0),
            noise: garage_10,
            ..Surroundings::default()
        },
        beside_db: None,
        codec: None,
    };
    let (running, around) = (&mut scene.running, &mut scene.around);
    let moving = Surroundings { room: room(0.3, 5.0), high_pass_hz: Some(100.0), ..around.clone() };
    let blips = |rises: (f64, f64), dice: &mut Dice| Speed::Blips {
        idle_rpm,
        top_rpm: dice.between(3_800.0, 5_500.0),
        rises_rpm_per_s: dice.between(rises.0, rises.1),
        falls_s: dice.between(0.4, 0.7),
        held_s: 0.1,
        begin_s: vec![1.2, 4.4, 7.8],
    };
    match condition {
        "idle_clean" => {
            *around = Surroundings::default();
            running.speed = idle(idle_rpm, 0.010);
            running.variation = dice.between(0.06, 0.14);
        }
        "idle_10dB" | "ringing_pipe_10dB" => {}
        "idle_0dB_rough" => {
            running.speed = Speed::Idle { rpm: idle_rpm, wander: 0.015, hunting: 0.02 };
            running.variation = dice.between(0.2, 0.3);
            running.misfire_share = 0.05;
            around.noise = Some((Noise::Garage, 0.0));
            around.room = room(dice.between(0.3, 0.6), 3.0);
        }
        "idle_phone16k" | "phone_gate16k" => {
            running.variation = dice.between(0.12, 0.25);
            running.misfire_share = 0.02;
            around.room = room(dice.between(0.3, 0.8), 0.0);
            around.phone = Some(Phone { gate: condition == "phone_gate16k", drive: 2.5 });
            around.rate_hz = 16_000.0;
        }
        "steady_10dB" => {
            *around = Surroundings { high_pass_hz: Some(dice.between(80.0, 150.0)), ..moving };
            running.speed = Speed::Steady { rpm: dice.between(2_000.0, 6_000.0) };
            running.variation = dice.between(0.06, 0.14);
        }
        "blip_10dB" | "blip_20dB" | "blip_30dB" | "blip_fast_10dB" | "blip_fast_30dB" => {
            let fast = condition.contains("fast");
            let level_db = match () {
                () if condition.ends_with("30dB") => 30.0,
                () if condition.ends_with("20dB") => 20.0,
                () => 10.0,
            };
            *around = Surroundings { noise: Some((Noise::Garage, level_db)), ..moving };
            around.phone = (place % 2 == 1).then_some(Phone { gate: false, drive: 1.5 });
            running.speed = blips(if fast { (5_000.0, 8_000.0) } else { (3_500.0, 4_500.0) }, dice);
        }
        "sweep_10dB" | "sweep_14000_10dB" => {
            *around = moving;
            around.rate_hz = if place.is_multiple_of(3) { 16_000.0 } else { SAMPLE_RATE_HZ };
            let top_rpm = dice.between(3_000.0, 5_500.0);
            running.speed = if condition == "sweep_14000_10dB" {
                Speed::Ramp { from_rpm: 2_000.0, to_rpm: 14_000.0, begins_s: 1.0, takes_s: 8.0 }
            } else if place % 2 == 1 {
                Speed::Ramp { from_rpm: idle_rpm, to_rpm: top_rpm, begins_s: 1.0, takes_s: 8.0 }
            } else {
                Speed::Blips {
                    idle_rpm,
                    top_rpm,
                    rises_rpm_per_s: 2_500.0,
                    falls_s: 2.2,
                    held_s: 2.5,
                    begin_s: vec![1.5],
                }
            };
        }
        "roll_off_10dB" => {
            *around = moving;
            running.speed = Speed::RollOff {
                from_rpm: dice.between(4_000.0, 8_000.0),
                idle_rpm,
                shut_s: 3.0,
                falls_s: dice.between(0.5, 1.5),
            };
        }
        "fast_10dB" => {
            *around = moving;
            running.speed = Speed::Steady { rpm: dice.between(6_000.0, 14_000.0) };
        }
        "idle_10dB_white" => around.noise = Some((Noise::White, 10.0)),
        "idle_0dB_white" => around.noise = Some((Noise::White, 0.0)),
        "idle_slow_10dB" => running.speed = idle(dice.between(450.0, 700.0), 0.014),
        "idle_fast_10dB" => running.speed = idle(dice.between(1_300.0, 2_000.0), 0.014),
        "hard_room_5m" => around.room = room(1.5, -8.0),
        "hand_held" => around.hand_held = true,
        "wind_6dB" => around.wind_db = Some(6.0),
        "rate_8k" => around.rate_hz = 8_000.0,
        "rate_44100" => around.rate_hz = 44_100.0,
        "aac64" => scene.codec = Some(("aac", 64)),
        "opus24" => scene.codec = Some(("libopus", 24)),
        "beside_-20dB" => scene.beside_db = Some(-20.0),
        "beside_-10dB" => scene.beside_db = Some(-10.0),
        "beside_-6dB" => scene.beside_db = Some(-6.0),
        "beside_0dB" => scene.beside_db = Some(0.0),
        unknown => unreachable!("{unknown} is no condition"),
    }
    scene
}

/// What a codec leaves of a sound; it needs ffmpeg.
fn coded(samples: &[f32], codec: &str, kbit: u32, name: u64) -> Vec<f32> {
    let folder = std::env::temp_dir();
    let path = |ending: &str| -> PathBuf {
        folder.join(format!("bellmouth-hearing-{}-{name:x}.{ending}", std::process::id()))
    };
    let (raw, small, back) = (path("raw"), path(if codec == "aac" { "m4a" } else { "ogg" }), path("back"));
    let bytes: Vec<u8> = samples.iter().flat_map(|x| x.to_le_bytes()).collect();
    std::fs::write(&raw, bytes).expect("the temporary folder can be written");
    let plain = ["-f", "f32le", "-ar", "48000", "-ac", "1"];
    let rate = format!("{kbit}k");
    ffmpeg(|ffmpeg| ffmpeg.args(plain).arg("-i").arg(&raw).args(["-c:a", codec, "-b:a", &rate]).arg(&small));
    ffmpeg(|ffmpeg| ffmpeg.arg("-i").arg(&small).args(plain).arg(&back));
    let bytes = std::fs::read(&back).expect("ffmpeg wrote it");
    for path in [raw, small, back] {
        let _ = std::fs::remove_file(path);
    }
    bytes.chunks_exact(4).map(|four| f32::from_le_bytes([four[0], four[1], four[2], four[3]])).collect()
}

fn ffmpeg(arguments: impl FnOnce(&mut Command) -> &mut Command) {
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-y"]);
    let done = arguments(&mut command).status();
    assert!(done.is_ok_and(|status| status.success()), "ffmpeg is needed: {command:?}");
}
