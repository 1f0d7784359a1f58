//! Every constant of the listener, in one place.
//!
//! They were set on development seeds and then left alone; the engines of the tests use other seeds. Those of chirps
//! and strays were set on ramps of seeds 123 000 and on.

mod fitted;

pub use fitted::*;

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

/// Frames from one look at every speed to the next while a steady engine is heard beyond doubt.
pub const LOOK_FRAMES: usize = 4;
/// Cells to either side of such an engine's speed that are looked at in every frame.
pub const LOOK_CELLS: usize = 24;
/// Probability of a speed from which an engine is heard beyond doubt.
pub const BEYOND_DOUBT: f32 = 0.99;

/// Relative rates of change of speed that are tried where a steady speed does not explain the sound,
/// 1/s: a blip climbs by a factor of e in a quarter of a second and falls in one or two.
pub const CHIRPS_PER_S: [f64; 12] = [-2.5, -1.6, -1.0, -0.6, -0.3, 0.3, 0.6, 1.0, 1.6, 2.5, 3.6, 5.0];
/// The most by which speed may change from a window's middle to its end for a chirp to be read in it.
pub const MOST_WARP: f64 = 0.8;
/// What a chirp of 1/s costs, in the logarithm of likelihood; it goes with the root of the rate.
pub const CHIRP_COST: f32 = 0.6;
/// Share of its usual evidence below which a steady speed does not explain the sound.
pub const UNEXPLAINED: f32 = 0.6;
/// Share by which the usual evidence follows that of each frame.
pub const USUAL_SHARE: f32 = 0.05;
/// Frames for which chirps go on being tried after the last one was needed.
pub const CHIRP_FRAMES: usize = 10;
/// How far below and above the speeds believed in a changing one is looked for: factors.
pub const CHIRP_REACH: (f64, f64) = (4.5, 4.5);
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

/// Share of orders that are as they please, whatever firing pattern and strength say.
pub const MISFIT: f64 = 0.01;

/// Speeds searched, rpm.
pub const SPEEDS_RPM: (f64, f64) = (400.0, 14_500.0);

/// Step of the speed grid in the logarithm of speed.
pub const STEP: f64 = 0.004;

/// How far a speed may lie from what a tachometer roughly shows: a factor.
pub const ABOUT_FACTOR: f64 = 1.35;

/// Strengths of an implied order against the floor that are tried, as far as orders do not fall off.
pub const STRENGTHS: [f64; 4] = [3.0, 24.0, 192.0, 1536.0];
/// Frequency from which orders fall off, hertz.
pub const FALLS_HZ: f64 = 60.0;
/// The greatest strength: where 60 firings come in a second, the power of their rate by which it falls, and
/// its least.
pub const STRONGEST: (f64, f64, f64) = (4000.0, 1.4, 40.0);

/// How cylinders differ: share by which their strengths differ, time by which their pulses do, seconds, and
/// how believable that is (a logarithm). The first is tried on every speed; the last two are cylinders that hardly
/// sound alike, and such that do so perfectly.
pub const UNEVENNESS: [(f64, f64, f32); 5] = [
    (0.192, 0.3e-3, 0.0),
    (0.12, 0.1e-3, -0.3),
    (0.4, 1.2e-3, -2.0),
    (0.877, 0.3e-3, -2.0),
    (0.02, 0.02e-3, -3.0),
];
/// Evidence of one window by which a speed may fall behind the best and still be weighed in full.
pub const FAR_BEHIND: f32 = 100.0;

/// Where an engine on a tuning bench is first met: between these speeds, rpm. Outside it is less likely by so
/// much for each unit of the logarithm of speed, up to a most: a start settles ties, no more.
pub const IDLE_RPM: (f64, f64) = (690.0, 1350.0);
/// See [`IDLE_RPM`].
pub const IDLE_SLOPE: f32 = 60.0;
/// See [`IDLE_RPM`]: the most, as a logarithm of probability.
pub const IDLE_MOST: f32 = 6.0;
/// Evidence of every frame is taken off outside [`IDLE_RPM`] for each unit of the logarithm of speed, up to a most;
/// once an engine was revved, away from its speed.
pub const BELIEVED_SLOPE: f32 = 150.0;
/// See [`BELIEVED_SLOPE`].
pub const BELIEVED_MOST: f32 = 5.0;
/// The slope below idle and its most: an engine of which one cylinder in two is hardly heard sounds like half
/// its speed.
pub const SLOW: (f32, f32) = (500.0, 26.0);
/// The same where a tachometer was read: perfectly even firings sound alike at two and four times their speed, and
/// only who read it knows better.
pub const ABOUT_MOST: f32 = 15.0;
/// Speed from which an engine heard is believed to have been revved, rpm: what [`IDLE_RPM`] says ends,
/// and speeds further than [`FAST_FACTOR`] from it lose as much as those above idle did.
pub const FAST_RPM: f64 = 1450.0;
/// See [`FAST_RPM`].
pub const FAST_FACTOR: f64 = 1.3;
/// The same while a speed changes: a blip of 5000 rpm/s may be lost for 0.6 s from idle.
pub const MOVING_FACTOR: f64 = 2.7;

/// Share of the evidence of one frame that counts: frames 50 ms apart share most of their sound.
pub const TEMPER: f32 = 0.12;

/// Frames of hindsight before a frame is final, and how many are made final at once.
pub const HINDSIGHT_FRAMES: usize = 46;
/// See [`HINDSIGHT_FRAMES`].
pub const FINAL_FRAMES: usize = 24;

/// Scale of the ordinary step of speed from frame to frame, grid cells.
pub const NARROW_CELLS: f32 = 0.8;
/// Blips among the steps: their share, and the scale of their step, grid cells.
pub const BLIPS: (f32, f32) = (0.01, 16.0);
/// The same where a steady speed does not explain the sound of an engine: smaller steps, since chirps say where
/// it goes.
pub const MOVING_BLIPS: (f32, f32) = (0.3, 8.0);
/// Probability that an engine starts or stops from one frame to the next.
pub const COME_OR_GO: f32 = 0.003;

/// Frames that an engine is silent before another one may be met.
pub const STOPPED_FRAMES: usize = 10;
/// Share of belief that is as good as none: small enough that what was ruled out stays so.
pub const GONE: f32 = 1e-34;

/// Speeds at which a second engine is looked for, rpm: one that idles nearby.
pub const COMPANY_RPM: (f64, f64) = (600.0, 2200.0);
/// Share by which the evidence of a second engine follows that of each look.
pub const COMPANY_SHARE: f32 = 0.25;
/// Evidence of a second engine, beside that of the first, from which two are heard: a share.
pub const TWO_ENGINES: f32 = 0.15;
/// Evidence of the first engine in the longest window below which none is looked for beside it.
pub const COMPANY_LEAST: f32 = 40.0;

/// Evidence that noise alone reaches as often as not: what "no engine" scores.
pub const NONE_SCORES: f32 = 8.0;

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
/// Mean logarithm of the odds of a run from which its frames are heard.
pub const SURE: f64 = -0.7;
/// The same for a provisional frame, which knows only what came before.
pub const SURE_LIVE: f64 = -0.8;
/// Frames below which a run is not heard for certain: rain patters alike for half a second now and then.
pub const RUN_FRAMES: f64 = 16.0;
/// Logarithm of the odds of a frame itself below which it is not heard, whatever its run says.
pub const STILL: f64 = -2.0;
/// Frames over which the odds of a run are forgotten.
pub const POOL_FRAMES: f64 = 80.0;
/// The same for provisional frames: an engine that starts must be heard soon.
pub const LIVE_POOL_FRAMES: f64 = 8.0;
/// Logarithm of the odds beyond which a frame counts no more in its run.
pub const POOL_MOST: f64 = 8.0;
/// Frames after the first likely one that are not heard for certain: windows hear as far ahead.
pub const STARTS_FRAMES: usize = 4;
/// Standard deviations beyond which a witness counts no further.
pub const FAR_OUT: f64 = 3.0;
/// Spread that no window can resolve, share of the speed: cycles differ in length.
pub const CYCLES_DIFFER: f64 = 0.0035;

/// Times that a refined angle is made to refine itself.
pub const PASSES: usize = 3;
/// Change of the logarithm of speed from frame to frame from which it is not one engine's course.
pub const MOST_JUMP: f64 = 0.25;
/// Fewest frames in a run for a mean cycle.
pub const SHORTEST_RUN_FRAMES: usize = 12;
/// Frames before those that settle whose sound is kept for the mean cycle.
pub const REFINED_FRAMES: usize = 30;
/// Change of the logarithm of speed after which the mean cycle is another one.
pub const BLOCK_LOG: f64 = 0.3;
/// Fewest values of loudness in odd and in even cycles for a mean cycle.
pub const FEWEST_VALUES: f32 = 60.0;
/// Highest order of the cycle that loudness follows, hertz.
pub const HIGHEST_ORDER_HZ: f64 = 420.0;
/// Orders to either side whose noise is taken together.
pub const NEAR_ORDERS: usize = 6;
/// Multiple of its noise by which an order must stand out to be the engine's.
pub const PROVES: f32 = 3.0;
/// Furthest that loudness counts as off the mean cycle, nepers of energy.
pub const MOST_OFF: f32 = 2.0;
/// Wanders of an idling engine that are tried, share of its speed in one second.
pub const WANDERS: [f64; 4] = [0.01, 0.02, 0.04, 0.08];
/// Variances of shifts that are tried, against what noise around the mean cycle says.
pub const SHIFT_SCALES: [f64; 2] = [1.0, 2.0];
/// Spread of a shift that no noise explains, cycles: ignition is not the same in every cycle.
pub const JITTER_CYCLES: f64 = 0.002;
/// Square of the standard deviations beyond which a shift is an outlier.
pub const OUTLIER: f64 = 6.25;
/// Spread of the speed before the first shift about the coarse one, share.
pub const START_SHARE: f64 = 0.03;
/// Multiple of the coarse spread by which one frame holds the speed near the coarse one: neighbouring
/// frames share their errors.
pub const COARSE_SHARE: f64 = 1.5;
/// Furthest that a refinement moves a speed, coarse standard deviations.
pub const FURTHEST_SD: f64 = 4.0;
/// Multiple of the smoother's own spread.
pub const PHASE_SCALE: f64 = 0.95;
/// Spread of how late sound is, seconds: with speed and load it changes by some of a cycle.
pub const LATE_S: f64 = 0.01;
/// Spread that no phase shows, share of the speed.
pub const UNSEEN_SHARE: f64 = 0.0005;

/// Band in which pulses are told apart, hertz: below stands hum, above they come too ragged.
pub const PULSE_BAND_HZ: (f64, f64) = (80.0, 600.0);
/// Rate of the waveform in which they are told apart, hertz, as nearly as whole samples allow.
pub const PULSE_RATE_HZ: f64 = 3000.0;
/// Time over which loudness is taken to find where cycles begin, seconds.
pub const SWELL_S: f64 = 0.004;
/// Parts of a cycle among which its begin is sought.
pub const PHASE_BINS: usize = 240;
/// Most parts by which a begin may shift from cycle to cycle, against the trace.
pub const PHASE_STEPS: i8 = 20;
/// What a shift costs: times its square up to the second value, in proportion beyond.
pub const PHASE_STEP_COST: (f32, f32) = (0.06, 3.0);
/// Length of a pulse's shape before its instant, seconds: where in a pulse the instant lies is not known.
pub const PULSE_BEFORE_S: f64 = 0.010;
/// Length of a pulse's shape after its instant, seconds: so much of a room's ringing is told from the next pulses.
pub const PULSE_AFTER_S: f64 = 0.140;
/// Rounds in which sizes, instants and shapes are improved.
pub const LEARNING_ROUNDS: usize = 7;
/// Steps by which shapes are improved in a round.
pub const LEARNING_STEPS: usize = 4;
/// Standard deviation of a firing's instant about what its neighbours say, crank degrees.
pub const PUNCTUAL_DEG: f64 = 3.0;
/// The last round in which instants are sought anew, not only improved.
pub const RETIMED_ROUNDS: usize = 3;
/// Share of a shape's likeness that counts as evidence of its instant: neighbouring values are much alike.
pub const TIMING_SHARE: f32 = 0.3;
/// Multiple of what shapes of their own explain by chance from which positions have them.
pub const OWN_SHAPES: f64 = 5.0;
/// Largest shift of a firing's instant that is tried, seconds.
pub const RETIMED_S: f64 = 0.005;
/// Share of an interval by which firings come early or late against their neighbours.
pub const HURRIES: f64 = 0.015;
/// What holds shapes down, as a share of what speaks for them: everywhere, and for each square of a firing interval away.
pub const SHAPE_PENALTY: (f32, f32) = (0.01, 0.03);
/// What draws the size of a firing to the usual one, as a share of what speaks for its own.
pub const SIZE_PENALTY: f32 = 0.01;
/// The same while shapes are learned: in a steady train sizes that vary with a short shape explain a sound as well as
/// even ones with a longer shape do, and engines are even more often than not.
pub const LEARNING_SIZE_PENALTY: f32 = 0.3;
/// Length of a pulse after its instant by which that instant is sought anew, seconds: its beginning tells when it came.
pub const TIMED_S: f64 = 0.050;
/// Length of sound that is taken apart at once, seconds.
pub const STRETCH_S: f64 = 10.0;
/// Cycles below which a stretch is not taken apart.
pub const STRETCH_CYCLES: usize = 16;
/// Speed above which pulses are not told apart, rpm: evenness is asked of an idle.
pub const EVEN_SPEED_RPM: f64 = 1500.0;
/// Least time between two firings for pulses to be told apart, seconds.
pub const EVEN_GAP_S: f64 = 0.011;
/// Standard deviation of strength by noise above which firings are not judged, a share of the usual strength.
pub const EVEN_NOISE: f64 = 0.105;
/// Share of the sound with an engine below which it is said that only a part was judged.
pub const JUDGED_SHARE: f64 = 0.8;
/// Share by which speed may leave the mean of a run before the run ends.
pub const RUN_SHARE: f64 = 0.12;
/// Usual strength of a position below which its cylinder does not fire at all, a share of the strongest one's.
pub const DEAD_BELOW: f64 = 0.42;
/// Energy, a share of the strongest one's, below which a cylinder may not be firing: it is said, and no name hangs on it.
pub const FAINT_BELOW: f64 = 0.35;
/// Share of firings that must not be weak in a cylinder that does fire, for any of it to be believed.
pub const STRONG_SHARE: f64 = 0.5;
/// Strength below which a firing is weak, a share of what is usual at its position.
pub const WEAK_BELOW: f64 = 0.5;
/// Cycles in a row that are counted together, so that blocks of them differ as if by chance alone.
pub const BLOCK_CYCLES: usize = 4;
/// Share of the firings judged weak that are, as promised.
pub const WEAK_PRECISION: f64 = 0.95;
/// Share of the weak firings that are judged so, as promised.
pub const WEAK_RECALL: f64 = 0.95;
/// Variance that noise gives the size of a firing, as a multiple of what it gives one sought between firings: the fit
/// of shapes and sizes takes some of it up. On development seeds.
pub const NOISE_AT_FIRINGS: f64 = 1.6;
/// How well that variance is known, as a share of it: a standard deviation.
pub const NOISE_DOUBT: f64 = 0.5;
/// How well energies of two positions compare where firings come at unequal distances, so that pulses run into one
/// another here and not there, beyond what chance makes of it: a standard deviation, as a share. On development seeds.
pub const ENERGY_DOUBT: f64 = 0.06;
/// Narrowest distance of firings, as a share of the mean one, from which all are taken for alike.
pub const ALIKE_APART: f64 = 0.95;
