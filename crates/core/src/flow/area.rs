//! Openings by their geometry: screw, butterfly, slide.

use std::f64::consts::{FRAC_PI_2, PI};

use crate::error::{Result, require};

/// Area of a round bore opened to a height by a straight edge, *A* \[m²\].
///
/// ```text
/// A = r² acos((r−h)/r) − (r−h) √(2 r h − h²),   r = D/2
/// ```
///
/// | symbol | argument | meaning | unit | domain |
/// |:---:|---|---|:---:|---|
/// | *h* | `height_m` | height opened | m | any; held between 0 and *D* |
/// | *D* | `diameter_m` | bore | m | above zero |
///
/// - **Source** geometry of the circular segment.
/// - **Assumes** a straight lower edge of the slide.
/// - **Departs** from nothing.
///
/// # Example
///
/// ```
/// use bellmouth_core::flow::segment_area;
/// assert!((segment_area(0.017, 0.034) - 0.125 * std::f64::consts::PI * 0.034f64.powi(2)).abs() < 1e-12);
/// ```
pub fn segment_area(height_m: f64, diameter_m: f64) -> f64 {
    let r = 0.5 * diameter_m;
    let h = height_m.clamp(0.0, diameter_m);
    r * r * ((r - h) / r).clamp(-1.0, 1.0).acos() - (r - h) * (2.0 * r * h - h * h).max(0.0).sqrt()
}

/// The end of a mixture screw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tip {
    /// A cone of this half angle, rad.
    Cone {
        /// Half angle, rad.
        half_angle_rad: f64,
    },
    /// A tip whose section grows evenly along its length, so that area grows evenly with turns until
    /// the tip has left the seat.
    Even {
        /// Length of the tip, m.
        length_m: f64,
    },
}

/// A mixture screw in its seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MixtureScrew {
    /// Diameter of the seat, m.
    pub seat_m: f64,
    /// Way per turn, m.
    pub pitch_m: f64,
    /// Shape of its end.
    pub tip: Tip,
}

impl MixtureScrew {
    /// Refuses a screw that cannot be made.
    pub(crate) fn check(&self) -> Result<()> {
        require(
            1e-4 <= self.seat_m && self.seat_m <= 5e-3,
            "screw_seat_mm",
            1e3 * self.seat_m,
            "from 0.1 to 5",
        )?;
        require(
            1e-4 <= self.pitch_m && self.pitch_m <= 2e-3,
            "screw_pitch_mm",
            1e3 * self.pitch_m,
            "from 0.1 to 2",
        )?;
        match self.tip {
            Tip::Cone { half_angle_rad } => {
                let degrees = half_angle_rad.to_degrees();
                require((1.0..=45.0).contains(&degrees), "screw_taper_deg", degrees, "from 1 to 45")
            }
            Tip::Even { length_m } => {
                require((2e-4..=2e-2).contains(&length_m), "screw_tip_mm", 1e3 * length_m, "from 0.2 to 20")
            }
        }
    }

    /// Open area at a position, *A* \[m²\].
    ///
    /// ```text
    /// cone   g = π h s (d − h s c),  at most π d²/(4 c);   A = g F/(g⁴ + F⁴)^¼,   F = π d²/4
    /// even   g = F h/L,                                      A = g F/(g⁴ + F⁴)^¼
    /// h = turns · pitch,  s = sin θ,  c = cos θ
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | – | `turns` | turns out from lightly seated | – | any; closed below 0 |
    /// | *d* | `seat_m` | diameter of the seat | m | above zero |
    /// | *θ* | `half_angle_rad` | half angle of the cone | rad | 0 to π/4 |
    /// | *L* | `length_m` | length of an even tip | m | above zero |
    ///
    /// - **Source** geometry of a cone in a round hole; the smooth limit by the hole itself is ours.
    /// - **Assumes** a centred screw and a sharp seat.
    /// - **Departs** from geometry near full opening, where two openings in series are blended.
    pub fn area_m2(&self, turns: f64) -> f64 {
        let height = turns.max(0.0) * self.pitch_m;
        let full = 0.25 * PI * self.seat_m * self.seat_m;
        let gap = match self.tip {
            Tip::Cone { half_angle_rad } => {
                let (sin, cos) = half_angle_rad.sin_cos();
                let along = height * sin;
                if along * cos < 0.5 * self.seat_m {
                    PI * along * (self.seat_m - along * cos)
                } else {
                    full / cos
                }
            }
            Tip::Even { length_m } => full * height / length_m,
        };
        gap * full / (gap.powi(4) + full.powi(4)).sqrt().sqrt()
    }
}

/// A butterfly throttle: a plate on a shaft in a round bore.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Butterfly {
    /// Bore, m.
    pub bore_m: f64,
    /// Angle of the plate from square across the bore where it touches, rad.
    pub closed_rad: f64,
    /// Shaft diameter over bore, –; 0 neglects the shaft.
    pub shaft_ratio: f64,
}

impl Butterfly {
    /// Refuses a throttle that cannot be made.
    pub(crate) fn check(&self) -> Result<()> {
        let degrees = self.closed_rad.to_degrees();
        require(
            5e-3 <= self.bore_m && self.bore_m <= 0.1,
            "throttle_bore_mm",
            1e3 * self.bore_m,
            "from 5 to 100",
        )?;
        require((0.0..=30.0).contains(&degrees), "closed_plate_deg", degrees, "from 0 to 30")?;
        require((0.0..=0.5).contains(&self.shaft_ratio), "shaft_ratio", self.shaft_ratio, "from 0 to 0.5")
    }

    /// Open area at a plate angle, *A* \[m²\].
    ///
    /// ```text
    /// 4A/(πD²) = 1 − cos ψ/cos ψ₀
    ///          + (2/π) [ (a/cos ψ) √(cos²ψ − a² cos²ψ₀) + (cos ψ/cos ψ₀) asin(a cos ψ₀/cos ψ)
    ///                    − a √(1−a²) − asin a ]                              cos ψ > a cos ψ₀
    /// 4A/(πD²) = 1 − (2/π) [ asin a + a √(1−a²) ]                            beyond
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *ψ* | `plate_rad` | angle of the plate from square across | rad | any; closed below *ψ₀*, open from π/2 |
    /// | *ψ₀* | `closed_rad` | the same where it touches | rad | 0 to π/6 |
    /// | *a* | `shaft_ratio` | shaft diameter over bore | – | 0 to ½ |
    ///
    /// - **Source** Harrington and Bolt, [SAE 700082](crate::Bibliography::Sae700082) (attribution from
    ///   memory). Two patterns of signs are in circulation; this one agrees with the area integrated
    ///   from the geometry, which the tests do again.
    /// - **Assumes** a thin plate and a straight bore.
    /// - **Departs** from the source in nothing.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::flow::Butterfly;
    /// let throttle = Butterfly { bore_m: 0.034, closed_rad: 5f64.to_radians(), shaft_ratio: 0.2 };
    /// assert_eq!(format!("{:.1}", 1e6 * throttle.area_m2(45f64.to_radians())), "261.9");
    /// ```
    pub fn area_m2(&self, plate_rad: f64) -> f64 {
        let (a, cos_closed) = (self.shaft_ratio, self.closed_rad.cos());
        let cos = plate_rad.clamp(self.closed_rad, FRAC_PI_2).cos();
        let shaft = a * (1.0 - a * a).sqrt() + a.asin();
        let share = if a * cos_closed < cos {
            let beside = a / cos * (cos * cos - a * a * cos_closed * cos_closed).sqrt();
            let before = cos / cos_closed * (a * cos_closed / cos).asin();
            1.0 - cos / cos_closed + 2.0 / PI * (beside + before - shaft)
        } else {
            1.0 - 2.0 / PI * shaft
        };
        0.25 * PI * self.bore_m * self.bore_m * share.max(0.0)
    }

    /// How far the plate's edge has moved along the wall from where it touches, m.
    pub(crate) fn edge_travel_m(&self, plate_rad: f64) -> f64 {
        0.5 * self.bore_m * (plate_rad.sin() - self.closed_rad.sin())
    }
}
