//! Shapes between values: an instant hardly ever falls on one.

/// The sum of products, in eight sums side by side.
pub(in super::super) fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    let (first, second) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = first.remainder().iter().zip(second.remainder()).map(|(a, b)| a * b).sum();
    for (a, b) in first.zip(second) {
        for i in 0..8 {
            sums[i] += a[i] * b[i];
        }
    }
    rest + sums.iter().sum::<f32>()
}

/// A shape between values, some of them skipped.
pub(super) fn between(shape: &[f32], weights: [f32; 4], skip: usize, take: usize, values: &mut Vec<f32>) {
    values.clear();
    values.resize(take, 0.0);
    let [a, b, c, d] = [0, 1, 2, 3].map(|tap| &shape[skip + tap..][..take]);
    for i in 0..take {
        values[i] = weights[0] * a[i] + weights[1] * b[i] + weights[2] * c[i] + weights[3] * d[i];
    }
}

/// Adds a shape between values where it lies in a sound.
pub(super) fn add_between(shape: &[f32], weights: [f32; 4], from: i64, sound: &mut [f32]) {
    let (skip, take) = overlap(from, shape.len() - 3, sound.len());
    let into = &mut sound[(from + skip as i64) as usize..][..take];
    let [a, b, c, d] = [0, 1, 2, 3].map(|tap| &shape[skip + tap..][..take]);
    for i in 0..take {
        into[i] += weights[0] * a[i] + weights[1] * b[i] + weights[2] * c[i] + weights[3] * d[i];
    }
}

/// The transpose of [`add_between`]: adds a sound to a shape as each of its values takes part in it.
pub(super) fn gather_between(sound: &[f32], weights: [f32; 4], shape: &mut [f32]) {
    let take = sound.len();
    // Every value but the outermost takes part through all four weights.
    let inner = take.saturating_sub(3);
    let [a, b, c, d] = [3, 2, 1, 0].map(|ahead| &sound[ahead.min(take)..][..inner]);
    for (i, into) in shape[3.min(take)..][..inner].iter_mut().enumerate() {
        *into += weights[0] * a[i] + weights[1] * b[i] + weights[2] * c[i] + weights[3] * d[i];
    }
    for (tap, weight) in weights.iter().enumerate() {
        for at in (0..(3 - tap).min(take)).chain(take.max(3).saturating_sub(tap).min(take)..take) {
            shape[tap + at] += weight * sound[at];
        }
    }
}

/// How many values of `length` from `from` on lie before the sound, and how many within it.
pub(super) fn overlap(from: i64, length: usize, sound: usize) -> (usize, usize) {
    let skip = (-from).clamp(0, length as i64) as usize;
    let end = (sound as i64 - from).clamp(skip as i64, length as i64) as usize;
    (skip, end - skip)
}

/// Cubic interpolation a part of a value before the third of four.
pub(super) fn weights(part: f32) -> [f32; 4] {
    let p = 1.0 - part;
    [
        -p * (p - 1.0) * (p - 2.0) / 6.0,
        (p + 1.0) * (p - 1.0) * (p - 2.0) / 2.0,
        -(p + 1.0) * p * (p - 2.0) / 2.0,
        (p + 1.0) * p * (p - 1.0) / 6.0,
    ]
}

/// How those weights change with the part.
pub(super) fn slopes(part: f32) -> [f32; 4] {
    let p = 1.0 - part;
    [
        (3.0 * p * p - 6.0 * p + 2.0) / 6.0,
        -(3.0 * p * p - 4.0 * p - 1.0) / 2.0,
        (3.0 * p * p - 2.0 * p - 2.0) / 2.0,
        -(3.0 * p * p - 1.0) / 6.0,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gathering_is_the_transpose_of_adding() {
        let weights = weights(0.3);
        for length in [1_usize, 2, 3, 4, 29] {
            let shape: Vec<f32> = (0..length + 3).map(|i| ((i * i * 7) % 11) as f32 - 5.0).collect();
            let sound: Vec<f32> = (0..length).map(|i| ((i * 5) % 13) as f32 - 6.0).collect();
            let mut added = vec![0.0; length];
            add_between(&shape, weights, 0, &mut added);
            let mut gathered = vec![0.0; length + 3];
            gather_between(&sound, weights, &mut gathered);
            let (one, other) = (dot(&added, &sound), dot(&gathered, &shape));
            assert!((one - other).abs() < 1e-3, "{length} values: {one} and {other}");
        }
    }
}
