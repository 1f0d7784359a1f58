//! How well a trace follows the truth: one scorer for everything that listens.

use bellmouth_core::practice::voice::Truth;
use bellmouth_core::sound::{FRAME_S, Frame, Heard};

/// One answer about one instant.
#[derive(Clone, Copy, Debug)]
pub struct Answer {
    pub rpm: f64,
    pub sd_rpm: f64,
    pub heard: Heard,
}

/// What came of one clip. Shares are of all frames scored unless said otherwise.
#[derive(Clone, Debug, Default)]
pub struct Score {
    /// Heard, and within 1 %.
    pub within_1: f64,
    /// Heard, and within 2 %.
    pub within_2: f64,
    /// Within 2 %, whatever the verdict.
    pub within_2_any: f64,
    /// Heard, and off by more than 10 %.
    pub gross: f64,
    /// The same as a share of frames heard; not a number where none was.
    pub gross_of_heard: f64,
    /// Off by more than 10 %, whatever the verdict.
    pub gross_any: f64,
    pub not_heard: f64,
    pub doubtful: f64,
    /// Median error of frames heard, rpm.
    pub median_rpm: f64,
    /// Frames heard whose truth lies within ±1.645 standard deviations, and frames heard.
    pub inside: (usize, usize),
    /// Delay removed, seconds.
    pub delay_s: f64,
    /// Ratios to the truth of frames off by more than 10 %: heard, and the others.
    pub ratios: Vec<f64>,
    pub ratios_unheard: Vec<f64>,
    /// Heard within 2 % of the other engine's speed.
    pub other: f64,
}

/// Instants scored, seconds: every 50 ms from 0.25 s after the begin to 0.25 s before the end.
pub fn instants(seconds: f64) -> Vec<f64> {
    let last = ((seconds - 0.25) / FRAME_S + 1e-9).floor() as usize;
    (5..=last).map(|i| i as f64 * FRAME_S).collect()
}

/// A listener's frames as answers about the instants.
pub fn answers(frames: &[Frame], seconds: f64) -> Vec<Answer> {
    let silent = Answer { rpm: f64::NAN, sd_rpm: f64::NAN, heard: Heard::No };
    instants(seconds)
        .iter()
        .map(|t_s| {
            let frame = frames.get((t_s / FRAME_S).round() as usize);
            frame.map_or(silent, |f| Answer { rpm: f.rpm, sd_rpm: f.sd_rpm, heard: f.heard })
        })
        .collect()
}

impl Score {
    /// Scores answers, after removing the one delay within ±0.1 s that suits them best.
    pub fn of(answers: &[Answer], seconds: f64, truth: &Truth, other: Option<&Truth>) -> Score {
        let instants = instants(seconds);
        let heard = answers.iter().filter(|answer| answer.heard == Heard::Yes).count();
        // So few heard that they say nothing about the delay: take what there is.
        let counts = |answer: &Answer| heard < 10 || answer.heard == Heard::Yes;
        let cost = |delay_s: f64| {
            let costs = instants.iter().zip(answers).filter(|(_, answer)| counts(answer));
            costs
                .map(|(t_s, answer)| {
                    let error =
                        truth.rpm_at(t_s - delay_s).map_or(0.02, |rpm| (answer.rpm / rpm - 1.0).abs());
                    // A frame that is wrong anyway has no say.
                    if error.is_nan() { 0.02 } else { error.min(0.02) }
                })
                .sum::<f64>()
        };
        let delays = (-10..=10).map(|step| f64::from(step) * 0.01);
        let delay_s = delays
            .map(|delay| (delay, cost(delay)))
            .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.abs().total_cmp(&b.0.abs())))
            .map_or(0.0, |best| best.0);

        let mut score = Score { delay_s, ..Score::default() };
        let mut errors = Vec::new();
        let mut count = 0.0;
        for (t_s, answer) in instants.iter().zip(answers) {
            let Some(rpm) = truth.rpm_at(t_s - delay_s) else { continue };
            count += 1.0;
            let off = (answer.rpm / rpm - 1.0).abs();
            let one = |is: bool| f64::from(u8::from(is));
            let yes = answer.heard == Heard::Yes;
            score.within_1 += one(yes && off < 0.01);
            score.within_2 += one(yes && off < 0.02);
            score.within_2_any += one(off < 0.02);
            score.gross += one(yes && off > 0.1);
            score.gross_any += one(off.is_nan() || off > 0.1);
            score.not_heard += one(answer.heard == Heard::No);
            score.doubtful += one(answer.heard == Heard::Doubtful);
            if off > 0.1 {
                let ratios = if yes { &mut score.ratios } else { &mut score.ratios_unheard };
                ratios.push(answer.rpm / rpm);
            }
            if yes {
                let error = (answer.rpm - rpm).abs();
                errors.push(error);
                score.inside.0 += usize::from(error < 1.645 * answer.sd_rpm);
                score.inside.1 += 1;
                let beside = other.and_then(|other| other.rpm_at(t_s - delay_s));
                score.other += one(beside.is_some_and(|rpm| (answer.rpm / rpm - 1.0).abs() < 0.02));
            }
        }
        score.gross_of_heard = score.gross / errors.len() as f64;
        for share in [
            &mut score.within_1,
            &mut score.within_2,
            &mut score.within_2_any,
            &mut score.gross,
            &mut score.gross_any,
            &mut score.not_heard,
            &mut score.doubtful,
            &mut score.other,
        ] {
            *share /= f64::max(count, 1.0);
        }
        score.median_rpm = median(&mut errors);
        score
    }
}

/// The middle one; not a number where there is none.
pub fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}
