//! Every constant of the listener, in one place.
//!
//! They were set on development seeds and then left alone; the engines of the tests use other seeds. The
//! rule for voices was widened once after a test's own speech had been heard in two frames. Those of chirps
//! and strays were set on ramps of seeds 123 000 and on.

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

/// Windows whose spectra are taken, longest first: length, seconds, and highest line searched, hertz.
/// The long one separates half orders at idle, where cycles that differ blur high lines; the short
/// ones follow a blip.
pub const WINDOWS: [(f64, f64); 3] = [(1.2, 160.0), (0.6, 250.0), (0.3, 400.0)];

/// Relative rates of change of speed that are tried where a steady speed does not explain the sound,
/// 1/s: a blip climbs by a factor of e in a quarter of a second and falls in one or two.
pub const CHIRPS_PER_S: [f64; 11] = [-2.5, -1.6, -1.0, -0.6, -0.3, 0.3, 0.6, 1.0, 1.6, 2.5, 4.0];
/// The most by which speed may change from a window's middle to its end for a chirp to be read in it.
pub const MOST_WARP: f64 = 0.8;
/// Above this rate the longest window is left out, 1/s: no blip keeps its rate that long.
pub const LONG_CHIRP_PER_S: f64 = 0.3;
/// What a chirp of 1/s costs, in the logarithm of likelihood; it goes with the root of the rate.
pub const CHIRP_COST: f32 = 0.5;
/// Share of its usual evidence below which a steady speed does not explain the sound.
pub const UNEXPLAINED: f32 = 0.6;
/// Share by which the usual evidence follows that of each frame.
pub const USUAL_SHARE: f32 = 0.05;
/// Frames for which chirps go on being tried after the last one was needed.
pub const CHIRP_FRAMES: usize = 10;
/// Cells to either side of the likeliest speed, its half and its double for which chirps are tried.
pub const CHIRP_CELLS: usize = 100;
/// Share of the belief that follows the likeliest chirp to the next frame; the rest stays.
pub const FOLLOWS: f32 = 0.5;

/// Half-width of the neighbourhood a line is compared with, hertz.
pub const NEIGHBOURHOOD_HZ: f64 = 25.0;

/// Multiple of the neighbourhood's mean above which a bin does not count towards its floor.
pub const CLIP: f64 = 1.5;
/// What clipping takes from the mean of an exponential distribution, put back: *1/(1 − exp(−1.5))*.
pub const CLIP_LOSS: f64 = 1.2872;

/// Largest ratio of a line to its neighbourhood that is told apart.
pub const LINE_CAP: f32 = 10_000.0;
/// Share of lines in noise that are no noise: hum, whistles. One line alone proves no engine.
pub const STRAY: f64 = 1e-4;

/// Speeds searched, rpm.
pub const SPEEDS_RPM: (f64, f64) = (400.0, 7000.0);

/// Step of the speed grid in the logarithm of speed.
pub const STEP: f64 = 0.004;

/// How far a speed may lie from what a tachometer roughly shows: a factor.
pub const ABOUT_FACTOR: f64 = 1.35;

/// Far above idle more is taken off, once from here on, rpm, and how much at most: no engine is met there
/// that did not pass through lower speeds within hearing.
pub const FAR_ABOVE: (f64, f32) = (2500.0, 15.0);

/// Speed from which an engine heard is believed to have been revved, rpm: what [`IDLE_RPM`] says ends,
/// and speeds further than [`FAST_FACTOR`] from it lose as much as those above idle did.
pub const FAST_RPM: f64 = 1450.0;
/// See [`FAST_RPM`].
pub const FAST_FACTOR: f64 = 1.3;
/// The same while a speed changes: a blip of 5000 rpm/s may be lost for 0.6 s from idle.
pub const MOVING_FACTOR: f64 = 4.2;

/// Strengths of an implied order against the floor that are tried.
pub const STRENGTHS: [f64; 4] = [2.5, 16.0, 100.0, 640.0];

/// Relative variance of orders that even cylinders would not have (for two cylinders; it falls as
/// their number), and the weight of each.
pub const UNEVENNESS: [(f64, f64); 3] = [(0.06, 1.0), (0.01, 0.8), (0.3, 0.8)];
/// Evidence of one window by which a speed may fall behind the best and still be weighed in full.
pub const FAR_BEHIND: f32 = 25.0;

/// Where an engine on a tuning bench is met: between these speeds, rpm. Outside, evidence is taken
/// off for each unit of the logarithm of speed, up to a most: below, above. It settles near ties
/// between a speed and its half or double, no more.
pub const IDLE_RPM: (f64, f64) = (690.0, 1350.0);
/// See [`IDLE_RPM`]: what one unit of the logarithm takes off.
pub const IDLE_SLOPE: f32 = 150.0;
/// See [`IDLE_RPM`]: the most that is taken off, below and above.
pub const IDLE_MOST: (f32, f32) = (24.0, 18.0);

/// Share of the evidence of one frame that counts: frames 50 ms apart share most of their sound.
pub const TEMPER: f32 = 0.12;

/// Frames of hindsight before a frame is final, and how many are made final at once.
pub const HINDSIGHT_FRAMES: usize = 56;
/// See [`HINDSIGHT_FRAMES`].
pub const FINAL_FRAMES: usize = 14;

/// Scale of the ordinary step of speed from frame to frame, grid cells.
pub const NARROW_CELLS: f32 = 0.8;
/// Scale of the step of a blip, grid cells.
pub const WIDE_CELLS: f32 = 16.0;
/// Share of blips among steps.
pub const WIDE_SHARE: f32 = 0.01;
/// The same where a steady speed does not explain the sound of an engine.
pub const MOVING_SHARE: f32 = 0.3;
/// Probability that an engine starts or stops from one frame to the next.
pub const COME_OR_GO: f32 = 0.003;

/// Evidence that noise alone reaches as often as not: what "no engine" scores.
pub const NONE_SCORES: f32 = 6.0;

/// Range in which tones are looked for, hertz: above what firings at crank-correct instants keep
/// sharp.
pub const TONE_HZ: (f64, f64) = (400.0, 2000.0);
/// Length of the piece of sound in which tones are looked for, seconds, to the nearest power of two.
pub const TONE_S: f64 = 0.093;
/// Half-width of the neighbourhood a tone is compared with, hertz.
pub const TONE_NEAR_HZ: f64 = 200.0;
/// Multiple of its neighbourhood from which a bin stands out.
pub const TONE_STANDS_OUT: f64 = 8.0;

/// Probability of no engine above which none is heard.
pub const LIKELY: f32 = 0.5;
/// Probability that the speed is near the best one, needed to trust it.
pub const UNAMBIGUOUS: f32 = 0.9;
/// Frames before and after that a verdict looks at, as far as they hang together.
pub const AROUND_FRAMES: (usize, usize) = (40, 36);
/// Frames that a provisional verdict looks back.
pub const LIVE_FRAMES: usize = 48;
/// Frames to either side over which loudness is folded by the cycle.
pub const FOLD_FRAMES: usize = 6;
/// Frames between two folds that are compared: they share no sound.
pub const ALIKE_FRAMES: usize = 2 * FOLD_FRAMES + 1;
/// Change of speed from one frame to the next that is another engine or a wrong speed, grid cells.
pub const JUMP_CELLS: f32 = 80.0;
/// Logarithm of the odds above which an engine is heard.
pub const SURE: f64 = 1.5;
/// Standard deviations beyond which a witness counts no further.
pub const FAR_OUT: f64 = 3.0;
/// Logarithm of the odds where every witness is at its mean.
pub const VERDICT_BIAS: f64 = 3.6226;
/// Mean and spread of each witness among those that the verdict was fitted to.
pub const USUAL: [(f64, f64); 21] = [
    (0.4084, 0.2132),
    (0.2643, 0.1768),
    (0.5968, 0.2398),
    (-0.9314, 1.0038),
    (0.7035, 0.5606),
    (0.5793, 0.7464),
    (0.6276, 0.2663),
    (0.0295, 0.0898),
    (-0.5937, 0.6677),
    (4.6926, 0.9249),
    (0.3086, 0.2189),
    (10.2910, 2.0791),
    (-10.7572, 1.6765),
    (-7.5882, 0.8134),
    (-5.1096, 1.7411),
    (0.0578, 0.0706),
    (3.5031, 0.7730),
    (2.6016, 0.6829),
    (0.7559, 0.1688),
    (3.9092, 0.5906),
    (-5.4131, 1.7229),
];
/// Weights of the verdict: for each witness of itself, and of its product with each up to itself.
pub const WEIGHTS: [[f64; 22]; 21] = [
    // best_rhythm
    [
        0.102, 0.435, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0,
    ],
    // mean_rhythm
    [
        -0.028, -0.236, -0.182, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0,
    ],
    // agreement
    [
        -1.053, -0.498, 0.335, -0.360, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0,
    ],
    // depth
    [
        -0.398, 0.248, -1.020, -0.068, 0.045, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // skewness
    [
        -0.046, 0.200, -0.523, -0.319, -0.239, -0.647, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // attack
    [
        0.188, -0.338, 0.171, 0.311, -0.796, -1.316, -0.674, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // implied
    [
        -0.698, -0.305, 0.365, 0.153, 0.069, 0.215, 0.708, -0.858, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // between
    [
        -0.553, 0.119, -0.039, 0.022, 0.190, 0.260, -0.189, 0.323, -0.471, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // rest
    [
        -0.739, 0.454, -0.514, 0.350, 0.261, -0.388, -0.782, 0.250, -0.141, -0.380, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // evidence
    [
        0.427, 0.553, 0.512, 0.613, -0.066, -0.624, 0.291, -0.337, -0.305, -0.849, -0.517, 0.0, 0.0, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // steadiness
    [
        -0.397, -0.168, -0.379, -0.106, -0.019, 0.272, -0.804, -0.081, -0.562, -0.105, -0.239, -0.362, 0.0,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // near
    [
        0.971, -0.231, 0.103, -0.227, -0.023, -0.016, -0.034, 0.298, -0.053, 0.116, 0.055, 0.068, -0.059,
        0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // none
    [
        0.139, 0.066, -0.109, -0.218, -0.186, -0.315, -0.240, 0.198, -0.295, -0.094, 0.245, -0.141, -0.001,
        -0.032, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // jerk
    [
        0.720, 0.122, -0.583, -0.293, -0.045, 0.042, 0.183, -0.095, 0.009, -0.283, 0.015, -0.119, 0.173,
        -0.055, 0.129, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // wander
    [
        0.753, 0.185, -0.205, -0.010, 0.069, -0.117, 0.428, -0.192, 0.123, -0.349, 0.126, 0.139, 0.016,
        -0.018, -0.074, -0.557, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // tone
    [
        -1.172, -0.059, 0.035, 0.032, -0.172, 0.151, -0.228, 0.542, -0.094, -0.531, 0.064, -0.122, 0.215,
        0.028, -0.132, 0.095, -0.481, 0.0, 0.0, 0.0, 0.0, 0.0,
    ],
    // firings
    [
        -0.955, -0.303, -0.063, -0.245, -0.104, -0.724, 0.015, -0.429, -0.044, 0.397, -0.572, -0.441, 0.419,
        -0.021, -0.341, -0.385, 0.600, 0.217, 0.0, 0.0, 0.0, 0.0,
    ],
    // cycles
    [
        -0.191, 0.077, 0.098, -0.211, -0.281, -0.197, -0.145, 0.857, 0.016, -0.239, 0.067, 0.172, -0.131,
        0.529, 0.148, 0.047, 0.183, 0.066, -0.222, 0.0, 0.0, 0.0,
    ],
    // alike
    [
        0.332, 0.128, 0.087, -0.033, 0.184, -0.135, -0.005, -0.064, 0.107, 0.281, 0.212, 0.159, 0.015,
        -0.059, -0.287, -0.200, -0.027, -0.314, 0.216, -0.436, 0.0, 0.0,
    ],
    // frames
    [
        0.010, -0.173, 0.016, 0.058, -0.065, 0.428, -0.126, -0.115, -0.195, 0.169, -0.297, -0.206, 0.115,
        -0.122, 0.364, 0.364, 0.004, 0.575, 0.053, 0.444, 0.049, 0.0,
    ],
    // still
    [
        0.934, 0.097, -0.246, 0.042, 0.070, -0.167, 0.400, -0.085, 0.156, -0.195, 0.258, 0.344, -0.044,
        0.033, 0.087, -0.276, -0.103, -0.223, 0.119, -0.278, 0.473, -0.087,
    ],
];
/// Spread that no window can resolve, share of the speed: cycles differ in length.
pub const CYCLES_DIFFER: f64 = 0.0035;
