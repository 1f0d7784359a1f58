//! Listening to a recording: the speed trace, its summary, and what to keep in mind.

mod answer;
mod ear;
mod engine;
mod ranking;
mod summary;

use std::path::Path;

use bellmouth_core::engine::layout::{Firing, LAYOUTS};

use crate::recording::Recording;
use crate::refusal::Refusal;

pub use answer::{ListenedEngine, Listening, Point, Reservation, Summary};
pub use engine::{Engine, names};
pub use ranking::Ranked;

use ear::Ear;

/// Seconds of a recording that are enough to rank layouts.
const RANKED_S: f64 = 60.0;

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
    let mut summary = summary::summarise(&ear.frames);
    let duration_s = listened as f64 / rate;
    summary::reserve(&recording, &ear, duration_s, &mut caveats);
    if summary.rpm.is_some() {
        summary::tell_firings(&ear, &mut summary, &mut caveats);
    }
    if summary.rpm.is_some() && question.about_rpm.is_none() && fires_evenly(&ear.firing) {
        caveats.push(Reservation::new(
            "speed-unconfirmed",
            "an engine that fires evenly can be taken for one at half or double the speed; say once what the \
             tachometer roughly shows (about)",
        ));
    }
    let trace = ear.frames.iter().map(|frame| Point::of(frame, span.from_s)).collect();
    let engine = ListenedEngine {
        name: ear.name,
        firing_deg: ear.firing.angles_deg().to_vec(),
        cycle_deg: ear.firing.cycle_deg(),
    };
    Ok(Listening { duration_s, engine, ranking, trace, summary, caveats })
}

/// Ranks the ears, best first, and keeps the best alone.
fn rank(ears: &mut Vec<Ear>) -> Vec<Ranked> {
    let evidence = |ear: &Ear| ear.listener.evidence();
    ears.sort_by(|a, b| evidence(b).total_cmp(&evidence(a)));
    let row = |ear: &Ear| {
        (ear.name.clone().unwrap_or_default(), evidence(ear), summary::summarise(&ear.frames).rpm)
    };
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

/// Whether two cylinders or more fire at equal distances.
fn fires_evenly(firing: &Firing) -> bool {
    let angles = firing.angles_deg();
    let distance = firing.cycle_deg() / angles.len() as f64;
    angles.len() > 1 && angles.iter().enumerate().all(|(i, angle)| (angle - i as f64 * distance).abs() < 1.0)
}
