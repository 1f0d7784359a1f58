//! Small numerical tools: where a function crosses zero, a step without corners, chance from a seed.
//!
//! The network is a nest of such questions, each with one answer because every element is monotone,
//! asked by the thousand for one idle speed. A general library would box its function and
//! allocate on every call; this is fifty lines, and its test holds it to known zeros.

mod dice;

pub use dice::Dice;

/// The place between `low` and `high` where `f` crosses zero, to within `tolerance`.
///
/// ```text
/// t = f_a/(f_b−f_a) · f_c/(f_b−f_c) + (c−a)/(b−a) · f_a/(f_c−f_a) · f_b/(f_c−f_b)
/// ```
///
/// Inverse quadratic interpolation where the last three places allow it, bisection where not, so
/// that it never leaves the bracket and always ends.
///
/// - **Source** T. R. Chandrupatla, [hybrid quadratic and bisection
///   algorithm](crate::Bibliography::Chandrupatla1997).
/// - **Assumes** that `f` is continuous and has opposite signs at the ends; where it has not, the end
///   with the smaller value is returned. Where it is no number, neither is the place.
/// - **Departs** from the source in its first step, which is a secant's instead of a bisection: most
///   of our functions are nearly straight.
pub(crate) fn root(low: f64, high: f64, tolerance: f64, mut f: impl FnMut(f64) -> f64) -> f64 {
    let (f_low, f_high) = (f(low), f(high));
    root_within((low, f_low), (high, f_high), tolerance, f)
}

/// As [`root`], where the values at the two ends are known already.
pub(crate) fn root_within(
    (low, f_low): (f64, f64),
    (high, f_high): (f64, f64),
    tolerance: f64,
    mut f: impl FnMut(f64) -> f64,
) -> f64 {
    if f_low.is_nan() || f_high.is_nan() {
        return f64::NAN;
    }
    if f_low == 0.0 || f_high == 0.0 || (f_low < 0.0) == (f_high < 0.0) {
        return if f_low.abs() <= f_high.abs() { low } else { high };
    }
    let (mut a, mut fa, mut b, mut fb) = (high, f_high, low, f_low);
    let mut t = fa / (fa - fb);
    for _ in 0..200 {
        let x = a + t * (b - a);
        let fx = f(x);
        if fx.is_nan() {
            return f64::NAN;
        }
        let (c, fc) = if (fx < 0.0) == (fa < 0.0) {
            (a, fa)
        } else {
            let behind = (b, fb);
            (b, fb) = (a, fa);
            behind
        };
        (a, fa) = (x, fx);
        let (best, f_best) = if fa.abs() < fb.abs() { (a, fa) } else { (b, fb) };
        let least = (tolerance + 2.0 * f64::EPSILON * best.abs()) / (b - a).abs();
        if f_best == 0.0 || 0.5 < least {
            return best;
        }
        let (xi, phi) = ((a - b) / (c - b), (fa - fb) / (fc - fb));
        let quadratic = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
        t = if quadratic {
            fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        } else {
            0.5
        };
        t = t.clamp(least, 1.0 - least);
    }
    if fa.abs() < fb.abs() { a } else { b }
}

/// As [`root`], for a function known to rise (or to fall) whose zero is thought to lie near a place.
///
/// `next` says from the place and its value where to look next, a little too far; where the two do
/// not hold the zero between them, the ends of the bracket do.
pub(crate) fn root_near(
    near: f64,
    (low, high): (f64, f64),
    rises: bool,
    tolerance: f64,
    next: impl Fn(f64, f64) -> f64,
    mut f: impl FnMut(f64) -> f64,
) -> f64 {
    // Ends that are no numbers would make the clamp panic.
    if low.is_nan() || high.is_nan() {
        return f64::NAN;
    }
    let first = near.clamp(low, high);
    let f_first = f(first);
    let second = next(first, f_first).clamp(low, high);
    let f_second = f(second);
    if (f_first < 0.0) != (f_second < 0.0) {
        return root_within((first, f_first), (second, f_second), tolerance, f);
    }
    if (f_second < 0.0) == rises {
        let (nearer, f_nearer) = if first < second { (second, f_second) } else { (first, f_first) };
        let f_high = f(high);
        root_within((nearer, f_nearer), (high, f_high), tolerance, f)
    } else {
        let (nearer, f_nearer) = if second < first { (second, f_second) } else { (first, f_first) };
        let f_low = f(low);
        root_within((low, f_low), (nearer, f_nearer), tolerance, f)
    }
}

/// What is below zero as zero. `f64::max` would make a zero of what is no number, too.
pub(crate) fn zero_or_more(x: f64) -> f64 {
    if x < 0.0 { 0.0 } else { x }
}

/// A step that is smooth at both ends: 0 below 0, z²(3−2z) between, 1 above 1.
pub(crate) fn smoothstep(z: f64) -> f64 {
    let z = z.clamp(0.0, 1.0);
    z * z * (3.0 - 2.0 * z)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_zeros_are_found_from_either_side() {
        type Case = (fn(f64) -> f64, f64, f64, f64);
        let cases: [Case; 4] = [
            (|x| x * x - 2.0, 0.0, 2.0, std::f64::consts::SQRT_2),
            (|x| x.powi(3) - 1e-9, -1.0, 1.5, 1e-3),
            (|x| x.exp() - 5.0, -10.0, 10.0, 5.0f64.ln()),
            (|x| if x < 0.3 { -1.0 } else { 2.0 }, 0.0, 1.0, 0.3),
        ];
        for (f, low, high, zero) in cases {
            let tolerance = 1e-12;
            for found in [root(low, high, tolerance, f), root(low, high, tolerance, |x| -f(x))] {
                assert!((found - zero).abs() < 1e-10, "{found} instead of {zero}");
            }
        }
    }

    #[test]
    fn a_zero_is_found_from_wherever_it_is_thought_to_lie() {
        for near in [-4.0, 0.1, 1.4, 1.5, 9.0] {
            for step in [-0.3, 0.0, 0.2, 5.0] {
                let next = |x: f64, _: f64| x + step;
                let rising = root_near(near, (0.0, 3.0), true, 1e-12, next, |x| x * x - 2.0);
                let falling = root_near(near, (0.0, 3.0), false, 1e-12, next, |x| 2.0 - x * x);
                assert!((rising - std::f64::consts::SQRT_2).abs() < 1e-11, "{near} {step}: {rising}");
                assert!((falling - std::f64::consts::SQRT_2).abs() < 1e-11, "{near} {step}: {falling}");
            }
        }
    }

    #[test]
    fn where_the_function_is_no_number_neither_is_its_zero() {
        assert!(root(0.0, 1.0, 1e-9, |_| f64::NAN).is_nan());
        assert!(root(0.0, 1.0, 1e-9, |x| if x == 0.0 || x == 1.0 { x - 0.5 } else { f64::NAN }).is_nan());
        assert!(root_near(0.5, (f64::NAN, 1.0), true, 1e-9, |x, _| x, |x| x).is_nan());
        assert!(root_near(f64::NAN, (0.0, 1.0), true, 1e-9, |x, _| x, |x| x).is_nan());
        assert!(zero_or_more(f64::NAN).is_nan() && zero_or_more(-1.0) == 0.0 && zero_or_more(2.0) == 2.0);
    }

    #[test]
    fn without_a_crossing_the_end_nearer_to_zero_is_given() {
        assert_eq!(root(1.0, 2.0, 1e-9, |x| x), 1.0);
        assert_eq!(root(-3.0, -2.0, 1e-9, |x| x), -2.0);
    }
}
