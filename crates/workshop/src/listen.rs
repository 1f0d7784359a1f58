//! Listening to a recording: the speed trace, its summary, and what to keep in mind.

mod ranking;

use std::path::Path;

use bellmouth_core::engine::layout::{Firing, LAYOUTS, Layout, layout};
use bellmouth_core::sound::evenness::Follower;
use bellmouth_core::sound::{FRAME_S, Frame, Heard, Listener};
use serde::Serialize;

use crate::recording::Recording;
use crate::refusal::Refusal;

pub use ranking::Ranked;

/// Seconds of a recording that are enough to rank layouts.
const RANKED_S: f64 = 60.0;
/// Heard frames whose single firings are followed: a minute.
const FOLLOWED_FRAMES: usize = 1200;
/// Frames over which the memory of a speed trace is followed for its standard error: 5 s.
const MEMORY_FRAMES: usize = 100;

/// Samples that are handed on at once.
const PART_SAMPLES: usize = 1 << 16;

/// Which engine is listened to.
#[derive(Clone, Debug, PartialEq)]
pub enum Engine {
    /// One with this firing pattern.
    Fires(Firing),
    /// A row of the layout table.
    Is(&'static Layout),
    /// Not known: layouts are ranked by how well they explain the sound.
    Unknown,
}

impl Engine {
    /// From what a command or request says: firing angles, or a layout's name, or `unknown`.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] of misuse that lists the names, where there is none or it is not known, or both
    /// are given, or the angles make no pattern.
    pub fn from_words(name: Option<&str>, firing: Option<&str>, cycle_deg: f64) -> Result<Engine, Refusal> {
        match (name, firing) {
            (Some(_), Some(_)) => {
                Err(Refusal::misused("both --engine and --firing are given", "give one of them"))
            }
            (None, None) => Err(Refusal::misused(
                "no engine is named: neither --engine nor --firing is given",
                format!("give --engine with one of {}; or --firing with its angles, such as 0,315", names()),
            )),
            (Some("unknown"), None) => Ok(Engine::Unknown),
            (Some(name), None) => layout(name).map(Engine::Is).ok_or_else(|| {
                Refusal::misused(
                    format!("no layout is called “{name}”"),
                    format!("the names are {}", names()),
                )
            }),
            (None, Some(firing)) => {
                let angles = firing
                    .split(',')
                    .map(|angle| angle.trim().parse::<f64>().map_err(|_| angle.trim().to_owned()))
                    .collect::<Result<Vec<f64>, String>>();
                let angles = angles.map_err(|angle| {
                    Refusal::misused(
                        format!("the firing angle “{angle}” is no number, in --firing {firing}"),
                        "give crank degrees with commas between, such as 0,315",
                    )
                })?;
                Firing::new(&angles, cycle_deg).map(Engine::Fires).map_err(|error| {
                    Refusal::misused(
                        format!("“{firing}” is no firing pattern: {error}"),
                        "give crank degrees from 0, ascending, below the cycle (--cycle 720 or 360), such as 0,315",
                    )
                })
            }
        }
    }

    fn firing(&self) -> Option<Firing> {
        match self {
            Engine::Fires(firing) => Some(firing.clone()),
            Engine::Is(row) => Some(Firing::from(*row)),
            Engine::Unknown => None,
        }
    }
}

/// Every name an engine can be given by.
pub fn names() -> String {
    let mut names: Vec<&str> = LAYOUTS.iter().map(|row| row.name).collect();
    names.push("unknown");
    names.join(", ")
}

/// What is asked of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Which engine it is.
    pub engine: Engine,
    /// What a tachometer roughly shows, rpm.
    pub about_rpm: Option<f64>,
    /// Listen from here, seconds.
    pub from_s: Option<f64>,
    /// Listen to here, seconds.
    pub to_s: Option<f64>,
}

impl Question {
    /// The whole recording of this engine.
    pub fn about(engine: Engine) -> Question {
        Question { engine, about_rpm: None, from_s: None, to_s: None }
    }
}

/// What was heard in a recording.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Listening {
    /// Length of what was listened to, seconds.
    pub duration_s: f64,
    /// The engine as it was taken to be.
    pub engine: ListenedEngine,
    /// Layouts by how well they explain the sound, best first; only where the layout was not known.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ranking: Vec<Ranked>,
    /// A point every 50 ms; times count from the start of the recording.
    pub trace: Vec<Point>,
    /// What it comes to.
    pub summary: Summary,
    /// What to keep in mind.
    pub caveats: Vec<Reservation>,
}

/// The engine as it was taken to be.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListenedEngine {
    /// The layout's name; `None` where firing angles were given.
    pub name: Option<String>,
    /// Firing angles, crank degrees.
    pub firing_deg: Vec<f64>,
    /// Working cycle, crank degrees.
    pub cycle_deg: f64,
}

/// Speed at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Point {
    /// Seconds from the start of the recording.
    pub t_s: f64,
    /// Speed averaged over one cycle, rpm; `None` where no engine was heard for certain.
    pub rpm: Option<f64>,
    /// Standard deviation of that speed, rpm.
    pub sd_rpm: Option<f64>,
    /// Whether an engine was heard for certain.
    pub heard: bool,
}

/// A trace in a few numbers; `None` where they cannot be vouched for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    /// Mean speed over the frames heard, rpm.
    pub rpm: Option<f64>,
    /// Standard error of that mean, the trace's memory respected, rpm.
    pub rpm_se: Option<f64>,
    /// Standard deviation of the speed over the frames heard, rpm.
    pub spread_rpm: Option<f64>,
    /// Cycle-to-cycle variation of a firing's strength (sound pressure), weak firings left out, percent.
    pub cycle_variation_pct: Option<f64>,
    /// Share of weak or missing firings at each firing position, percent.
    pub weak_firings_pct: Option<Vec<f64>>,
    /// Mean energy of a firing at the microphone for each firing position, the strongest 1; `None` with one
    /// cylinder, too.
    pub strength_by_cylinder: Option<Vec<f64>>,
}

/// A caveat as it leaves the program.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reservation {
    /// A stable name in kebab case.
    pub name: String,
    /// The sentence.
    pub says: String,
}

impl Reservation {
    fn new(name: &str, says: impl Into<String>) -> Reservation {
        Reservation { name: name.to_owned(), says: says.into() }
    }
}

/// Listens to a file.
///
/// # Errors
///
/// A [`Refusal`] where the file holds no sound that can be decoded, or the question does not fit it.
pub fn listen_file(path: &Path, question: &Question) -> Result<Listening, Refusal> {
    listen(Recording::open(path)?, question)
}

/// Listens to a recording.
///
/// # Errors
///
/// A [`Refusal`] where the question does not fit the recording.
pub fn listen(mut recording: Recording, question: &Question) -> Result<Listening, Refusal> {
    let span = Span::of(question)?;
    let rate = recording.sample_rate_hz();
    let mut caveats = Vec::new();
    let mut ears = match question.engine.firing() {
        Some(firing) => {
            let name = if let Engine::Is(row) = question.engine { Some(row.name.to_owned()) } else { None };
            vec![Ear::new(name, firing, rate, question.about_rpm)?.following(rate)?]
        }
        None => {
            let mut ears = Vec::<Ear>::new();
            for row in LAYOUTS {
                let firing = Firing::from(row);
                if ears.iter().all(|ear| ear.firing != firing) {
                    ears.push(Ear::new(Some(row.name.to_owned()), firing, rate, question.about_rpm)?);
                }
            }
            ears
        }
    };
    let (first, last) = (span.from_s * rate, span.to_s * rate);
    let (mut position, mut listened) = (0_usize, 0_usize);
    let mut ranking = Vec::new();
    recording.each_block(|block| {
        let start = position;
        position += block.len();
        let from = ((first - start as f64).max(0.0).round() as usize).min(block.len());
        let to = ((last - start as f64).max(0.0).round() as usize).min(block.len());
        if from < to {
            for ear in &mut ears {
                ear.hear(&block[from..to]);
            }
            listened += to - from;
        }
        if ears.len() > 1 && listened as f64 > RANKED_S * rate {
            ranking = rank(&mut ears);
        }
        (position as f64) < last
    })?;
    if listened == 0 {
        return Err(Refusal::unanswerable(
            format!(
                "nothing of {} lies after {} s: it ends at {:.2} s",
                recording.name(),
                span.from_s,
                position as f64 / rate
            ),
            "give --from an earlier second",
        ));
    }
    for ear in &mut ears {
        ear.finish();
    }
    if ears.len() > 1 {
        ranking = rank(&mut ears);
    }
    let ear = ears.swap_remove(0);
    caveats.extend(ranking::reservation(&ranking));
    let mut summary = summarise(&ear.frames);
    let duration_s = listened as f64 / rate;
    reserve(&recording, &ear, duration_s, &mut caveats);
    if summary.rpm.is_some() {
        tell_evenness(ear.follower.as_ref(), &mut summary, &mut caveats);
        if FOLLOWED_FRAMES <= ear.followed {
            let minutes = FOLLOWED_FRAMES as f64 * FRAME_S / 60.0;
            caveats.push(Reservation::new(
                "evenness-of-the-beginning",
                format!("evenness was taken from the first {minutes:.0} min with an engine"),
            ));
        }
    }
    if summary.rpm.is_some() && question.about_rpm.is_none() && fires_evenly(&ear.firing) {
        caveats.push(Reservation::new(
            "speed-unconfirmed",
            "an engine that fires evenly can be taken for one at half or double the speed; say once what the \
             tachometer roughly shows (about)",
        ));
    }
    let trace = ear.frames.iter().map(|frame| point(frame, span.from_s)).collect();
    let engine = ListenedEngine {
        name: ear.name,
        firing_deg: ear.firing.angles_deg().to_vec(),
        cycle_deg: ear.firing.cycle_deg(),
    };
    Ok(Listening { duration_s, engine, ranking, trace, summary, caveats })
}

/// One listener and what it heard.
struct Ear {
    name: Option<String>,
    firing: Firing,
    listener: Listener,
    /// Listens for single firings; none where the layout is only guessed.
    follower: Option<Follower>,
    /// Heard frames that the follower was given.
    followed: usize,
    frames: Vec<Frame>,
}

impl Ear {
    fn new(
        name: Option<String>,
        firing: Firing,
        rate_hz: f64,
        about_rpm: Option<f64>,
    ) -> Result<Ear, Refusal> {
        let listener = Listener::new(rate_hz, &firing, about_rpm)
            .map_err(|error| Refusal::misused(error.to_string(), "give --about a speed in that range"))?;
        Ok(Ear { name, firing, listener, follower: None, followed: 0, frames: Vec::new() })
    }

    /// The same, single firings listened for.
    fn following(mut self, rate_hz: f64) -> Result<Ear, Refusal> {
        let follower = Follower::new(rate_hz, &self.firing).map_err(|error| {
            Refusal::misused(error.to_string(), "convert the recording to a rate in that range")
        })?;
        self.follower = Some(follower);
        Ok(self)
    }

    fn hear(&mut self, samples: &[f32]) {
        // The follower keeps sound until its frames have come: so much at a time, however long the block is.
        for part in samples.chunks(PART_SAMPLES) {
            let frames = self.listener.feed(part);
            self.follow(part, &frames);
            self.frames.extend(frames);
        }
    }

    /// Single firings are followed for as long as they can tell more: a minute of them says what an hour would.
    fn follow(&mut self, part: &[f32], frames: &[Frame]) {
        let Some(follower) = self.follower.as_mut().filter(|_| self.followed < FOLLOWED_FRAMES) else {
            return;
        };
        follower.feed(part);
        follower.follow(frames);
        self.followed += frames.iter().filter(|frame| frame.heard == Heard::Yes).count();
        if FOLLOWED_FRAMES <= self.followed {
            follower.finish();
        }
    }

    fn finish(&mut self) {
        let frames = self.listener.finish();
        if let Some(follower) = self.follower.as_mut().filter(|_| self.followed < FOLLOWED_FRAMES) {
            follower.follow(&frames);
            follower.finish();
        }
        self.frames.extend(frames);
    }
}

/// Ranks the ears, best first, and keeps the best alone.
fn rank(ears: &mut Vec<Ear>) -> Vec<Ranked> {
    let evidence = |ear: &Ear| ear.listener.evidence();
    ears.sort_by(|a, b| evidence(b).total_cmp(&evidence(a)));
    let row = |ear: &Ear| (ear.name.clone().unwrap_or_default(), evidence(ear), summarise(&ear.frames).rpm);
    let ranking = ranking::ranked(ears.iter().map(row).collect());
    ears.truncate(1);
    ranking
}

struct Span {
    from_s: f64,
    to_s: f64,
}

impl Span {
    fn of(question: &Question) -> Result<Span, Refusal> {
        let span =
            Span { from_s: question.from_s.unwrap_or(0.0), to_s: question.to_s.unwrap_or(f64::INFINITY) };
        if 0.0 <= span.from_s && span.from_s < span.to_s && span.from_s.is_finite() {
            return Ok(span);
        }
        Err(Refusal::misused(
            match question.to_s {
                Some(to_s) => format!("from {} s to {to_s} s is no stretch of time", span.from_s),
                None => format!("from {} s to the end is no stretch of time", span.from_s),
            },
            "give --from and --to in seconds from the start of the recording, --from the smaller",
        ))
    }
}

fn point(frame: &Frame, from_s: f64) -> Point {
    let heard = frame.heard == Heard::Yes;
    Point {
        t_s: rounded(frame.t_s + from_s, 1e3),
        rpm: heard.then(|| rounded(frame.rpm, 1e2)),
        sd_rpm: heard.then(|| rounded(frame.sd_rpm, 1e2)),
        heard,
    }
}

/// Whether two cylinders or more fire at equal distances.
fn fires_evenly(firing: &Firing) -> bool {
    let angles = firing.angles_deg();
    let distance = firing.cycle_deg() / angles.len() as f64;
    angles.len() > 1 && angles.iter().enumerate().all(|(i, angle)| (angle - i as f64 * distance).abs() < 1.0)
}

/// Digits beyond what is known only hide it.
fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// Mean, spread, and the mean's standard error with the trace's memory respected: the variance of a
/// mean of *n* values with autocorrelations *ρ* is *s²/n · (1 + 2 Σ ρ)*, summed while positive.
fn summarise(frames: &[Frame]) -> Summary {
    let heard: Vec<f64> = frames.iter().filter(|f| f.heard == Heard::Yes).map(|f| f.rpm).collect();
    let mut summary = Summary {
        rpm: None,
        rpm_se: None,
        spread_rpm: None,
        cycle_variation_pct: None,
        weak_firings_pct: None,
        strength_by_cylinder: None,
    };
    if heard.is_empty() {
        return summary;
    }
    let count = heard.len() as f64;
    let mean = heard.iter().sum::<f64>() / count;
    summary.rpm = Some(rounded(mean, 1e2));
    if heard.len() < 20 {
        return summary;
    }
    let off: Vec<f64> = heard.iter().map(|rpm| rpm - mean).collect();
    let variance = off.iter().map(|x| x * x).sum::<f64>() / (count - 1.0);
    let mut memory = 1.0;
    for lag in 1..MEMORY_FRAMES.min(heard.len() / 2) {
        let together: f64 = off.iter().zip(&off[lag..]).map(|(a, b)| a * b).sum::<f64>() / count;
        if together <= 0.0 {
            break;
        }
        memory += 2.0 * together / variance.max(1e-12);
    }
    summary.spread_rpm = Some(rounded(variance.sqrt(), 1e2));
    summary.rpm_se = Some(rounded((variance / count * memory).sqrt(), 1e2));
    summary
}

/// What to keep in mind about a take.
fn reserve(recording: &Recording, ear: &Ear, duration_s: f64, caveats: &mut Vec<Reservation>) {
    let count = |heard: Heard| ear.frames.iter().filter(|frame| frame.heard == heard).count();
    let (heard, doubtful) = (count(Heard::Yes), count(Heard::Doubtful));
    if heard == 0 {
        let something =
            if doubtful > 0 { "; something like one was heard, too doubtful to trust" } else { "" };
        caveats.push(Reservation::new(
            "not-heard",
            format!("no engine was heard in {duration_s:.1} s{something}"),
        ));
    } else if heard + heard / 9 < ear.frames.len() {
        let share = 100.0 * heard as f64 / ear.frames.len() as f64;
        caveats.push(Reservation::new(
            "heard-in-part",
            format!("an engine was heard in {share:.0} % of {duration_s:.1} s; the rest is left blank"),
        ));
    }
    let company = ear.listener.frames_with_company();
    if heard < 9 * company {
        caveats.push(Reservation::new(
            "two-engines",
            format!(
                "two engines are heard in {:.1} s, and which one is meant cannot be said: hold the microphone where \
                 this one is three times as loud, or stop the other",
                company as f64 * FRAME_S
            ),
        ));
    }
    if recording.cut_short() {
        caveats.push(Reservation::new(
            "cut-short",
            format!("{} breaks off at {:.1} s before its own end", recording.name(), recording.elapsed_s()),
        ));
    }
    if recording.damaged() > 0 {
        caveats.push(Reservation::new(
            "damaged",
            format!(
                "{} pieces of {} could not be decoded; times after them run early",
                recording.damaged(),
                recording.name()
            ),
        ));
    }
}

/// What was heard of single firings, or why nothing was.
fn tell_evenness(follower: Option<&Follower>, summary: &mut Summary, caveats: &mut Vec<Reservation>) {
    let Some(follower) = follower else {
        caveats.push(Reservation::new(
            "evenness-layout-guessed",
            "evenness is not given where the layout is a guess: say which engine it is",
        ));
        return;
    };
    let said = match follower.evenness() {
        Ok(even) => {
            let (value, round) = (even.value, |share: &f64| rounded(*share, 1e2));
            summary.cycle_variation_pct = Some(rounded(value.variation_pct, 1e1));
            summary.weak_firings_pct =
                Some(value.weak_pct.iter().map(|share| rounded(*share, 1e1)).collect());
            if value.energy.len() > 1 {
                summary.strength_by_cylinder = Some(value.energy.iter().map(round).collect());
            }
            even.caveats
        }
        Err(why) => vec![why],
    };
    caveats.extend(said.into_iter().map(|caveat| Reservation::new(caveat.name, caveat.says)));
}
