//! From a trace to a few numbers, and what to keep in mind about them.

use bellmouth_core::sound::evenness::COVERAGE;
use bellmouth_core::sound::{FRAME_S, Frame, Heard};

use super::answer::{Reservation, Summary};
use super::ear::Ear;
use crate::firings::{Firings, Ranged, rounded};
use crate::recording::Recording;

/// Frames over which the memory of a speed trace is followed for its standard error: 5 s.
const MEMORY_FRAMES: usize = 100;

/// Mean, spread, and the mean's standard error with the trace's memory respected: the variance of a
/// mean of *n* values with autocorrelations *ρ* is *s²/n · (1 + 2 Σ ρ)*, summed while positive.
pub(super) fn summarise(frames: &[Frame]) -> Summary {
    let heard: Vec<f64> = frames.iter().filter(|f| f.heard == Heard::Yes).map(|f| f.rpm).collect();
    let mut summary = Summary::default();
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

/// What was heard of single firings, or why nothing was.
pub(super) fn tell_firings(ear: &Ear, summary: &mut Summary, caveats: &mut Vec<Reservation>) {
    let Some(following) = &ear.following else {
        caveats.push(Reservation::new(
            "evenness-layout-guessed",
            "evenness is not given where the layout is a guess: say which engine it is",
        ));
        return;
    };
    let (told, because) = following.told();
    if let Some(Firings { variation_pct, weak_pct, strength }) = told {
        let each = |figures: &[Ranged], end: fn(&Ranged) -> f64| {
            (!figures.is_empty()).then(|| figures.iter().map(end).collect::<Vec<f64>>())
        };
        summary.cycle_variation_pct = Some(variation_pct.value);
        summary.cycle_variation_low_pct = Some(variation_pct.low);
        summary.cycle_variation_high_pct = Some(variation_pct.high);
        summary.weak_firings_pct = each(&weak_pct, |share| share.value);
        summary.weak_firings_low_pct = each(&weak_pct, |share| share.low);
        summary.weak_firings_high_pct = each(&weak_pct, |share| share.high);
        summary.strength_by_cylinder = each(&strength, |energy| energy.value);
        summary.strength_low_by_cylinder = each(&strength, |energy| energy.low);
        summary.strength_high_by_cylinder = each(&strength, |energy| energy.high);
        summary.evenness_coverage = Some(COVERAGE);
    }
    caveats.extend(because.into_iter().map(|caveat| Reservation::new(caveat.name, caveat.says)));
}

/// What to keep in mind about a take.
pub(super) fn reserve(recording: &Recording, ear: &Ear, duration_s: f64, caveats: &mut Vec<Reservation>) {
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
