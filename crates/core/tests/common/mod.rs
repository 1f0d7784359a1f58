//! What several test files share: the comparison with a printed number.

/// Asserts that `got` rounds to the decimal exactly as the source printed it.
///
/// The printed number is a string, digits as printed: `"745"` claims whole units, `"745.0"` tenths;
/// write `"1.2e3"` where the zeros of 1200 are not significant. The tolerance, half a unit of the
/// last printed digit, is therefore never chosen.
#[track_caller]
pub(crate) fn assert_printed(got: f64, printed: &str) {
    let (mantissa, exponent) = printed.split_once(['e', 'E']).unwrap_or((printed, "0"));
    let decimals = mantissa.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    let last_digit = 10f64.powi(exponent.parse::<i32>().expect("an exponent") - decimals as i32);
    let want: f64 = printed.parse().expect("a decimal");
    // A hair above one half, so that a tie survives the representation of decimals in binary.
    assert!(
        (got - want).abs() <= 0.500_000_1 * last_digit,
        "printed {printed}, computed {got} (off by {:+.2} of the last digit)",
        (got - want) / last_digit,
    );
}
