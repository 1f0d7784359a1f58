//! An engine that turns in time: it speeds up, settles, and dies.

use std::f64::consts::PI;

use super::{Intake, Running};

/// Below this an engine does not carry itself, rpm (common practice, no source).
pub const LEAST_RPM: f64 = 450.0;

/// Longest step of the integration, s.
const LONGEST_STEP_S: f64 = 0.002;

/// How an engine turns at an instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Turning {
    /// Speed, rpm; 0 once it has died.
    pub rpm: f64,
    /// Pressure behind each intake, Pa, in the order of [`Running::feeds`].
    pub manifold_pa: Vec<f64>,
}

impl Turning {
    /// Whether it still turns by itself.
    pub fn is_alive(&self) -> bool {
        0.0 < self.rpm
    }
}

impl<I: Intake> Running<I> {
    /// The engine turning at a speed \[rpm\], its manifolds filled as they would be if it were held there.
    pub fn turning_at(&self, rpm: f64) -> Turning {
        Turning { rpm, manifold_pa: self.pressures_at(rpm) }
    }

    /// Lets time pass, s.
    ///
    /// ```text
    /// J dω/dt  = [p_i f b − p_f − (p₀ − p_m)] · V_d/(4π)
    /// V dp_m/dt = R T_m (ṁ_delivered − ṁ_drawn)
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *J* | `inertia_kg_m2` | moment of inertia | kg m² | above zero |
    /// | *V* | `manifold_m3` | volume of a manifold | m³ | above zero |
    /// | – | `duration_s` | time that passes | s | zero or more; else nothing passes |
    ///
    /// Classical Runge–Kutta steps of at most 2 ms. Where speed falls below [`LEAST_RPM`] the engine
    /// has died: its speed is 0 and it does not come back by itself.
    ///
    /// - **Source** the mean-value form of published engine libraries.
    /// - **Assumes** that mixture follows at once: no film of fuel, no delay to the power stroke.
    /// - **Departs** from real engines in both, and in having no single pulses.
    pub fn step(&self, turning: &mut Turning, duration_s: f64) {
        if !(duration_s.is_finite() && 0.0 < duration_s) {
            return;
        }
        let steps = (duration_s / LONGEST_STEP_S).ceil();
        let step_s = duration_s / steps;
        for _ in 0..steps as u64 {
            if !turning.is_alive() {
                return;
            }
            let a = self.slope(turning);
            let b = self.slope(&moved(turning, &a, 0.5 * step_s));
            let c = self.slope(&moved(turning, &b, 0.5 * step_s));
            let d = self.slope(&moved(turning, &c, step_s));
            let mean = |i: usize| (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]) / 6.0;
            turning.rpm += step_s * mean(0);
            for (i, pressure) in turning.manifold_pa.iter_mut().enumerate() {
                *pressure += step_s * mean(i + 1);
            }
            if turning.rpm < LEAST_RPM {
                turning.rpm = 0.0;
            }
        }
    }

    /// Change of speed \[rpm/s\], then of each manifold pressure \[Pa/s\].
    fn slope(&self, turning: &Turning) -> Vec<f64> {
        let mut slopes = vec![0.0];
        let mut mean_pa = -self.engine.friction_pa(turning.rpm);
        for (feed, &manifold_pa) in self.feeds.iter().zip(&turning.manifold_pa) {
            let charge = feed.intake.charge(manifold_pa, turning.rpm);
            let drawn = self.drawn_kg_s(feed, manifold_pa, turning.rpm);
            let share = self.share_of(feed);
            let torque = self.torque_share(feed, &charge, drawn, manifold_pa);
            mean_pa += share
                * f64::from(feed.alike)
                * self.mean_pressure(drawn, share, turning.rpm, manifold_pa, torque);
            let volume = self.engine.manifold_m3 * share;
            let delivered = charge.mixture_air_kg_s + charge.leak_air_kg_s;
            slopes.push(self.gas_constant * self.engine.charge_k * (delivered - drawn) / volume);
        }
        let torque_nm = mean_pa * self.engine.displacement_m3 / (4.0 * PI);
        slopes[0] = torque_nm / self.engine.inertia_kg_m2 * 30.0 / PI;
        slopes
    }
}

/// The state some time along a slope.
fn moved(from: &Turning, slopes: &[f64], by_s: f64) -> Turning {
    Turning {
        // Kept above zero so that no equation meets an engine that turns backwards.
        rpm: (from.rpm + by_s * slopes[0]).max(1.0),
        manifold_pa: from
            .manifold_pa
            .iter()
            .zip(&slopes[1..])
            .map(|(p, dp)| (p + by_s * dp).max(1.0))
            .collect(),
    }
}
