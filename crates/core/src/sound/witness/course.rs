//! How a speed goes from frame to frame, and which frames hang together.

/// The first and the last of the places about one, up to so many before and after it, that hang together;
/// `hangs` tells whether a place and its next do.
pub(crate) fn together(
    count: usize,
    at: usize,
    reach: (usize, usize),
    hangs: impl Fn(usize) -> bool,
) -> (usize, usize) {
    let mut from = at;
    while from > 0 && at < from + reach.0 && hangs(from - 1) {
        from -= 1;
    }
    let mut to = at;
    while to + 1 < count && to < at + reach.1 && hangs(to) {
        to += 1;
    }
    (from, to)
}

/// Median second difference.
pub(crate) fn jerk(cells: &[f64]) -> f64 {
    let mut jerks: Vec<f64> = cells.windows(3).map(|c| (c[0] - 2.0 * c[1] + c[2]).abs()).collect();
    jerks.sort_unstable_by(f64::total_cmp);
    jerks.get(jerks.len() / 2).copied().unwrap_or(0.0)
}

/// Change from place to place of the line that fits best.
pub(crate) fn slope(cells: &[f64]) -> f64 {
    let count = cells.len() as f64;
    let (mean, middle) = (cells.iter().sum::<f64>() / count, 0.5 * (count - 1.0));
    let (mut xy, mut xx) = (0.0, 1e-9);
    for (i, cell) in cells.iter().enumerate() {
        let x = i as f64 - middle;
        xy += x * (cell - mean);
        xx += x * x;
    }
    xy / xx
}

/// Distance from the line that fits best: its root mean square, and its median. Mains and drum machines
/// keep time better than any engine, but for a jump from note to note.
pub(crate) fn wander(cells: &[f64]) -> (f64, f64) {
    let count = cells.len() as f64;
    let (mean, middle) = (cells.iter().sum::<f64>() / count, 0.5 * (count - 1.0));
    let slope = slope(cells);
    let mut off: Vec<f64> =
        cells.iter().enumerate().map(|(i, cell)| (cell - mean - slope * (i as f64 - middle)).abs()).collect();
    let squares: f64 = off.iter().map(|x| x * x).sum();
    off.sort_unstable_by(f64::total_cmp);
    ((squares / count).sqrt(), off[off.len() / 2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_ends_where_two_neighbours_do_not_hang_together() {
        let hangs = |i: usize| i != 3 && i != 9;
        assert_eq!(together(20, 6, (10, 10), hangs), (4, 9));
        assert_eq!(together(20, 6, (1, 2), hangs), (5, 8));
        assert_eq!(together(20, 15, (10, 10), hangs), (10, 19));
    }

    #[test]
    fn a_steady_climb_is_no_wander() {
        let climb: Vec<f64> = (0..40).map(|i| 3.0 * f64::from(i)).collect();
        let (wander, usual) = wander(&climb);
        assert!(wander < 1e-6 && usual < 1e-6, "{wander} {usual}");
        assert!(jerk(&climb) < 1e-9);
    }
}
