//! What keeps a loud sound inside −1 to 1.

use super::SAMPLE_RATE_HZ;

/// Peaks up to this are left as they are.
const KNEE: f64 = 0.6;
/// Time in which a peak is forgotten, seconds.
const RELEASE_S: f64 = 0.5;

/// Turns a sound down by its recent peak, so that waves keep their shape: at once where one rises, slowly back.
///
/// ```text
/// gain = g(peak)/peak,   g(p) = k + (1 − k)(1 − e^(−(p − k)/(1 − k)))  above the knee k
/// ```
#[derive(Clone, Debug)]
pub(super) struct Limiter {
    peak: f64,
    keep: f64,
}

impl Limiter {
    pub(super) fn new() -> Limiter {
        Limiter { peak: 0.0, keep: (-1.0 / (RELEASE_S * SAMPLE_RATE_HZ)).exp() }
    }

    #[inline(always)]
    pub(super) fn step(&mut self, x: f64) -> f64 {
        self.peak = x.abs().max(self.peak * self.keep);
        if self.peak <= KNEE {
            return x;
        }
        let over = (self.peak - KNEE) / (1.0 - KNEE);
        x * (1.0 - (1.0 - KNEE) * (-over).exp()) / self.peak
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_quiet_is_left_alone_and_what_is_loud_stays_inside_in_order() {
        let mut before = 0.0;
        for loud in 1..400 {
            let x = 0.05 * f64::from(loud);
            let y = Limiter::new().step(-x);
            assert!(if x <= KNEE { y == -x } else { y >= -1.0 }, "{x}: {y}");
            assert!(-y >= before, "{x}: {y} after {before}");
            before = -y;
        }
    }

    #[test]
    fn a_peak_turns_down_what_follows_and_is_forgotten() {
        let mut limiter = Limiter::new();
        limiter.step(4.0);
        let soon = limiter.step(0.1);
        assert!(soon < 0.03, "{soon}");
        for _ in 0..(3.0 * SAMPLE_RATE_HZ) as usize {
            limiter.step(0.0);
        }
        assert_eq!(limiter.step(0.1), 0.1);
    }
}
