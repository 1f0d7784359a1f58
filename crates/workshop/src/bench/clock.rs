//! The idling clock, and what it says of heat.

use std::time::Duration;

/// How hot the engine may have become, judged by its idling clock alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heat {
    /// Nothing to say.
    Fine,
    /// A pause is due at the next chance.
    PauseDue,
    /// A pause now.
    PauseNow,
}

/// Judges the idling clock: minutes since the engine last cooled.
///
/// Air-cooled without moving air, a pause is due after 3 minutes and taken at 5; with a fan after 10,
/// and 12; liquid-cooled after 20, and never forced (common practice, no source).
pub fn heat(since_cool_ms: i64, air_cooled: bool, moving_air: bool) -> Heat {
    let (due_min, now_min) = match (air_cooled, moving_air) {
        (true, false) => (3, 5),
        (true, true) => (10, 12),
        (false, _) => (20, i64::MAX / 60_000),
    };
    match since_cool_ms / 60_000 {
        minutes if now_min <= minutes => Heat::PauseNow,
        minutes if due_min <= minutes => Heat::PauseDue,
        _ => Heat::Fine,
    }
}

/// The idling clock: runs while an engine is heard, or while a hold is made without a microphone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Clock {
    /// In this job, milliseconds.
    pub idling_ms: i64,
    /// Since the engine last cooled, milliseconds.
    pub since_cool_ms: i64,
}

impl Clock {
    /// Lets time pass with the engine running.
    pub fn run(&mut self, elapsed: Duration) {
        let elapsed = i64::try_from(elapsed.as_millis()).unwrap_or(0);
        self.idling_ms += elapsed;
        self.since_cool_ms += elapsed;
    }

    /// The time since the engine last cooled, as a clock shows it.
    pub fn words(&self) -> String {
        let seconds = self.since_cool_ms / 1000;
        format!("idling {}:{:02}", seconds / 60, seconds % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_air_cooled_engine_without_a_fan_pauses_between_three_and_five_minutes() {
        let at = |minutes: i64| heat(minutes * 60_000, true, false);
        assert_eq!(
            [at(2), at(3), at(4), at(5)],
            [Heat::Fine, Heat::PauseDue, Heat::PauseDue, Heat::PauseNow]
        );
        assert_eq!(heat(9 * 60_000, true, true), Heat::Fine);
        assert_eq!(heat(60 * 60_000, false, false), Heat::PauseDue);
    }

    #[test]
    fn the_clock_reads_minutes_and_seconds() {
        let mut clock = Clock::default();
        clock.run(Duration::from_millis(190_400));
        assert_eq!(clock.words(), "idling 3:10");
    }
}
