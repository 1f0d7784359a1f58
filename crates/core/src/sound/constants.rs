//! Every constant of the listener, in one place.
//!
//! They were set on development seeds and then left alone; the tests use other seeds.

/// Edges of the bands whose loudness is followed, hertz. Phones hear little below the first; the
/// last is dropped where the sample rate does not reach it.
pub const BANDS_HZ: [(f64, f64); 4] = [(100.0, 400.0), (400.0, 1200.0), (1200.0, 3000.0), (3000.0, 7000.0)];

/// Rate at which loudness is followed, hertz, as nearly as whole samples allow.
pub const LOUDNESS_HZ: f64 = 1000.0;

/// Time over which a band's own mean loudness is taken, seconds.
pub const LEVEL_S: f64 = 0.3;

/// Share of the mean loudness below which quieter makes no difference: keeps gaps between pulses
/// from shouting.
pub const LEVEL_FLOOR: f32 = 0.05;

/// Lower edge of loudness changes that count, hertz: slower than any cycle searched for.
pub const SLOWEST_HZ: f64 = 2.0;

/// Lengths of the windows whose spectra are taken, seconds, longest first. The long one separates
/// half orders at idle, the short ones follow a blip.
pub const WINDOWS_S: [f64; 3] = [1.2, 0.6, 0.3];

/// Half-width of the neighbourhood a line is compared with, hertz.
pub const NEIGHBOURHOOD_HZ: f64 = 25.0;

/// Largest ratio of a line to its neighbourhood that counts: one line alone proves no engine.
pub const LINE_CAP: f32 = 12.0;

/// Lines searched, hertz.
pub const LINES_HZ: (f64, f64) = (3.0, 400.0);

/// Speeds searched, rpm.
pub const SPEEDS_RPM: (f64, f64) = (400.0, 7000.0);

/// Step of the speed grid in the logarithm of speed.
pub const STEP: f64 = 0.004;

/// How far a speed may lie from what a tachometer roughly shows: a factor.
pub const ABOUT_FACTOR: f64 = 1.35;

/// Strengths of an implied order against the floor that are tried.
pub const STRENGTHS: [f64; 3] = [1.0, 4.0, 16.0];

/// Relative variance of orders that even cylinders would not have, and the weight of each: engines
/// of unequal cylinders exist, but are the rarer the more unequal.
pub const UNEVENNESS: [(f64, f64); 2] = [(0.04, 1.0), (0.25, 0.0256)];

/// Share of the evidence of one frame that counts: frames 50 ms apart share most of their sound.
pub const TEMPER: f32 = 0.06;

/// Frames of hindsight before a frame is final, and how many are made final at once.
pub const HINDSIGHT_FRAMES: usize = 60;
/// See [`HINDSIGHT_FRAMES`].
pub const FINAL_FRAMES: usize = 10;

/// Scale of the ordinary step of speed from frame to frame, grid cells.
pub const NARROW_CELLS: f32 = 0.8;
/// Scale of the step of a blip, grid cells.
pub const WIDE_CELLS: f32 = 16.0;
/// Share of blips among steps.
pub const WIDE_SHARE: f32 = 0.01;
/// Probability that an engine starts or stops from one frame to the next.
pub const COME_OR_GO: f32 = 0.003;

/// Evidence that noise alone reaches as often as not: what "no engine" scores.
pub const NONE_SCORES: f32 = 40.0;
