//! Numbers to places on the paper, and the numbers worth printing beside an axis.

/// A straight map from a range of values to a range of places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    from: (f64, f64),
    to: (f64, f64),
}

impl Scale {
    /// Maps `from.0` to `to.0` and `from.1` to `to.1`. A range without width maps to the middle.
    pub fn new(from: (f64, f64), to: (f64, f64)) -> Scale {
        Scale { from, to }
    }

    /// The place of a value.
    pub fn place(&self, value: f64) -> f64 {
        let width = self.from.1 - self.from.0;
        let share = if width == 0.0 { 0.5 } else { (value - self.from.0) / width };
        self.to.0 + share * (self.to.1 - self.to.0)
    }
}

/// Round numbers within a range: steps of 1, 2 or 5 times a power of ten, about `wanted` of them.
pub fn nice_ticks(low: f64, high: f64, wanted: usize) -> Vec<f64> {
    let width = high - low;
    if !(width.is_finite() && 0.0 < width) || wanted == 0 {
        return vec![low];
    }
    let rough = width / wanted as f64;
    let decade = 10f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|lead| lead * decade);
    let far = |step: f64| (step / rough).ln().abs();
    let step = steps.into_iter().min_by(|a, b| far(*a).total_cmp(&far(*b))).unwrap_or(decade);
    let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
    (first..=last).map(|index| index as f64 * step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(nice_ticks(893.0, 1061.0, 4), [900.0, 950.0, 1000.0, 1050.0]);
        assert_eq!(nice_ticks(0.0, 1.0, 5).len(), 6);
        assert_eq!(nice_ticks(5.0, 5.0, 4), [5.0]);
        assert_eq!(nice_ticks(f64::NAN, 5.0, 4).len(), 1);
    }

    #[test]
    fn a_flat_range_is_drawn_in_the_middle() {
        assert_eq!(Scale::new((3.0, 3.0), (0.0, 100.0)).place(3.0), 50.0);
        assert_eq!(Scale::new((0.0, 10.0), (100.0, 0.0)).place(2.5), 75.0);
    }
}
