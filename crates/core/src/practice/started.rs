//! A machine that runs in time and is heard, while its screw, its stop and its throttle are moved.

mod limiter;

use super::hidden::Counting;
use super::voice::crank::{Asked, Uneven};
use super::voice::live::Live;
use super::voice::speed::{WANDER_STEP_S, Wander};
use super::voice::{SAMPLE_RATE_HZ, TURNS_RPM, Voice};
use super::{Dice, Hidden};
use crate::air::Air;
use crate::carburettor::{Machine, Network};
use crate::engine::{Idle, Running, Turning};
use crate::error::{Result, require};
use crate::fuel::Fuel;
use limiter::Limiter;

/// Speed is reckoned, and what was moved takes effect, every hundredth of a second.
const STEP_S: f64 = WANDER_STEP_S;
const STEP_SAMPLES: usize = (STEP_S * SAMPLE_RATE_HZ) as usize;
/// How much speed wanders at idle, standard deviation as a share, and how long until that is forgotten, seconds.
const USUAL_WANDER: f64 = 0.01;
const WANDER_MEMORY_S: f64 = 0.7;
/// Standard deviation of a firing's strength from cycle to cycle, share.
const VARIATION: f64 = 0.1;
/// Time in which an engine that has died stands, seconds (common practice, no source: compression stops it within
/// a few turns).
const RUN_DOWN_S: f64 = 0.7;
/// Slower than this the crank hardly moves any gas, rpm.
const QUIET_RPM: f64 = 200.0;
/// How a kicked engine starts: turned for so long at such a speed; then it catches, and its first charges carry it
/// up to another within so long, whence it finds its idle or dies (from memory: magnitudes).
const CRANKING_S: f64 = 0.6;
const CRANKING_RPM: f64 = 300.0;
const FLARE_S: f64 = 0.4;
const FLARE_RPM: f64 = 1500.0;
/// The chance in its sound is not that in its speed, so that neither hears of the other's draws.
const SOUND_APART: u64 = 0x5EED_50DD;
/// The furthest that stop or hand opens the plate, degrees.
const MOST_OPENED_DEG: f64 = 20.0;

/// A machine that was started: time passes as its [sound](Started::sound) is asked for.
///
/// Speed follows [`Running::step`]; what is heard of it wanders a little, as idles do. Where the mixture comes near
/// a limit, cycles are missed and heard to be. Moves take effect within a hundredth of a second of
/// sound. What is heard does not depend on the sizes of the blocks it is asked for in.
///
/// Left out: films of fuel, the delay of the mixture, warming up, and which cylinder is the one that misses; an
/// engine that dies stands within 0.7 s, however fast it was.
///
/// # Example
///
/// ```
/// use bellmouth_core::air::Air;
/// use bellmouth_core::carburettor::{Carburettor, Machine};
/// use bellmouth_core::engine::layout::{Firing, layout};
/// use bellmouth_core::fuel::Petrol;
/// use bellmouth_core::practice::{Dice, Started, voice::Voice};
///
/// let twin = Machine::new(Carburettor::constant_depression());
/// let (air, fuel) = (Air::at_altitude(0.0, 298.15, 0.0)?, Petrol::default().at(298.15)?);
/// let firing = Firing::from(layout("v-twin-45").expect("a row of the table"));
/// let voice = Voice::drawn(&firing, &mut Dice::new(1));
/// let mut twin = Started::new(&twin, &air, &fuel, voice, 2.75, 1)?;
/// let mut second = vec![0.0; 48_000];
/// twin.sound(&mut second);
/// assert!((twin.rpm() / 1057.0 - 1.0).abs() < 0.05);
/// twin.kill();
/// twin.sound(&mut second);
/// assert_eq!(twin.rpm(), 0.0);
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Started {
    /// As it was last built: screw and plate where they are.
    machine: Machine,
    air: Air,
    fuel: Fuel,
    counting: Counting,
    moved: Moved,
    running: Running<Network>,
    turning: Turning,
    does: Does,
    /// Mean pressure in its manifolds at the idle it was started at, Pa: what a load is reckoned from.
    idle_pa: f64,
    wander: f64,
    drift: Wander,
    dice: Dice,
    /// What is asked of the crank at both ends of the present step, and how many samples of it have passed.
    from: Asked,
    to: Asked,
    passed: usize,
    uneven: Uneven,
    live: Live,
    limiter: Limiter,
}

/// Where everything that can be moved stands.
#[derive(Clone, Copy, Debug)]
struct Moved {
    /// Turns out, as counted.
    turns: f64,
    stop_deg: f64,
    twisted_deg: f64,
}

/// What the engine does.
#[derive(Clone, Copy, Debug)]
enum Does {
    Runs,
    /// Dies from a speed; for so many steps already.
    RunsDown {
        from_rpm: f64,
        steps: u32,
    },
    Stands,
    /// Is being kicked, for so many steps already.
    Starts {
        steps: u32,
    },
}

impl Started {
    /// A machine idling with every mixture screw at a position, turns out, and sounding like a voice.
    ///
    /// Chance in its sound and in its wander follows from the seed.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) where it does not idle at that position, where the
    /// voice has not as many cylinders as the engine, or where either cannot be: as [`Machine::running`] and
    /// [`Voice::take`].
    pub fn new(
        machine: &Machine,
        air: &Air,
        fuel: &Fuel,
        voice: Voice,
        turns: f64,
        seed: u64,
    ) -> Result<Started> {
        Started::counted((machine, air, fuel), Counting::default(), voice, turns, seed)
    }

    /// A hidden machine idling with its screws at a position as counted: the miscount is its own.
    ///
    /// # Errors
    ///
    /// As [`Started::new`].
    pub fn hidden(hidden: &Hidden, voice: Voice, counted_turns: f64, seed: u64) -> Result<Started> {
        Started::counted(hidden.opened(), hidden.counting(), voice, counted_turns, seed)
    }

    fn counted(
        (machine, air, fuel): (&Machine, &Air, &Fuel),
        counting: Counting,
        voice: Voice,
        turns: f64,
        seed: u64,
    ) -> Result<Started> {
        voice.check()?;
        let heard = voice.firing.angles_deg().len() as f64;
        require(
            heard == f64::from(machine.engine.cylinders),
            "cylinders of the voice",
            heard,
            "as many as the engine has",
        )?;
        let carburettor = &machine.carburettor;
        let stop_deg = (carburettor.stop_rad - carburettor.throttle.closed_rad).to_degrees();
        let moved = Moved { turns, stop_deg, twisted_deg: 0.0 };
        let mut machine = machine.clone();
        machine.carburettor.pilot.turns = counting.true_turns(turns);
        let running = machine.running(air, fuel)?;
        let idle = running.idle();
        require(matches!(idle, Idle::Runs(_)), "turns", turns, "a position at which the machine idles")?;
        let turning = running.turning_at(idle.operation().map_or(0.0, |idle| idle.rpm));
        let idles = Asked { rpm: turning.rpm, load: 0.0 };
        let uneven = Uneven { variation: VARIATION, misfire_share: 1.0 - running.burning(&turning) };
        Ok(Started {
            idle_pa: mean(&turning.manifold_pa),
            live: Live::new(voice, idles, &uneven, seed.wrapping_add(SOUND_APART)),
            limiter: Limiter::new(),
            machine,
            air: *air,
            fuel: *fuel,
            counting,
            moved,
            running,
            turning,
            does: Does::Runs,
            wander: USUAL_WANDER,
            drift: Wander::from_middle(WANDER_MEMORY_S),
            dice: Dice::new(seed),
            from: idles,
            to: idles,
            passed: STEP_SAMPLES,
            uneven,
        })
    }

    /// The same machine whose speed wanders by this share of itself, one standard deviation; 0.01 if nobody says.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless it is 0 to 0.1.
    pub fn with_wander(mut self, wander: f64) -> Result<Started> {
        require((0.0..=0.1).contains(&wander), "wander", wander, "0 to 0.1 of the speed")?;
        self.wander = wander;
        Ok(self)
    }

    /// Turns every mixture screw to a position, turns out as counted.
    ///
    /// # Errors
    ///
    /// As [`Machine::running`]; then nothing has moved.
    pub fn turn(&mut self, turns: f64) -> Result<()> {
        self.move_to(Moved { turns, ..self.moved })
    }

    /// Where the mixture screws stand, turns out as counted.
    pub fn turns(&self) -> f64 {
        self.moved.turns
    }

    /// Turns the idle stop until it holds the plate open by so much, degrees from where the plate touches.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless it is 0 to 20; then nothing has moved.
    pub fn open_stop(&mut self, opened_deg: f64) -> Result<()> {
        require((0.0..=MOST_OPENED_DEG).contains(&opened_deg), "stop", opened_deg, "0 to 20 degrees open")?;
        self.move_to(Moved { stop_deg: opened_deg, ..self.moved })
    }

    /// How far the idle stop holds the plate open, degrees from where the plate touches.
    pub fn stop_deg(&self) -> f64 {
        self.moved.stop_deg
    }

    /// Opens the throttle by hand, so many degrees beyond its stop; 0 lets go.
    ///
    /// What the carburettor makes of that is what its network says, whose main circuit is that of an idle: most
    /// machines speed up at 3°, some go lean and bog; opened by 12° most do.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless it is 0 to 20; then nothing has moved.
    pub fn twist(&mut self, opened_deg: f64) -> Result<()> {
        require((0.0..=MOST_OPENED_DEG).contains(&opened_deg), "twist", opened_deg, "0 to 20 degrees")?;
        self.move_to(Moved { twisted_deg: opened_deg, ..self.moved })
    }

    /// Throws the kill switch: nothing burns until it is kicked.
    pub fn kill(&mut self) {
        if matches!(self.does, Does::Runs | Does::Starts { .. }) {
            self.does = Does::RunsDown { from_rpm: self.rpm(), steps: 0 };
        }
    }

    /// Starts it again, if it does not run: it is turned, catches, and finds its idle if there is one.
    pub fn kick(&mut self) {
        if matches!(self.does, Does::RunsDown { .. } | Does::Stands) {
            self.does = Does::Starts { steps: 0 };
        }
    }

    /// Speed now, its wander included, rpm: the mean around which firings swing the crank. One that has died
    /// runs down to 0 in 0.7 s.
    pub fn rpm(&self) -> f64 {
        self.asked().rpm
    }

    /// Lets `into.len()` samples of time pass, [`SAMPLE_RATE_HZ`] a second, and gives what is heard.
    ///
    /// At the idle it was started at peaks come to about a half, and its usual RMS is 0.1 or, where few cylinders
    /// strike hard, less. Every sample stays between −1 and 1: where peaks come above 0.6, as they do in a blip,
    /// all is turned down with them for a while, as by a telephone; waves keep their shape.
    pub fn sound(&mut self, into: &mut [f32]) {
        for sample in into {
            if self.passed == STEP_SAMPLES {
                self.advance();
                self.passed = 0;
            }
            let asked = self.asked();
            self.passed += 1;
            *sample = if asked.rpm > 0.0 {
                let moves = (asked.rpm / QUIET_RPM).min(1.0);
                self.limiter.step(moves * self.live.step(asked, &self.uneven)) as f32
            } else {
                0.0
            };
        }
    }

    fn asked(&self) -> Asked {
        let share = self.passed as f64 / STEP_SAMPLES as f64;
        let between = |from: f64, to: f64| from + (to - from) * share;
        Asked { rpm: between(self.from.rpm, self.to.rpm), load: between(self.from.load, self.to.load) }
    }

    fn move_to(&mut self, moved: Moved) -> Result<()> {
        let mut machine = self.machine.clone();
        let carburettor = &mut machine.carburettor;
        carburettor.pilot.turns = self.counting.true_turns(moved.turns);
        let opened_rad = (moved.stop_deg + moved.twisted_deg).to_radians();
        carburettor.stop_rad = carburettor.throttle.closed_rad + opened_rad;
        self.running = machine.running(&self.air, &self.fuel)?;
        self.machine = machine;
        self.moved = moved;
        Ok(())
    }

    /// Reckons the next step.
    fn advance(&mut self) {
        self.from = self.to;
        self.drift.step(&mut self.dice);
        match self.does {
            Does::Runs => {
                self.running.step(&mut self.turning, STEP_S);
                if self.turning.is_alive() {
                    self.to = self.carried();
                } else {
                    self.does = Does::RunsDown { from_rpm: self.from.rpm, steps: 0 };
                    self.run_down(self.from.rpm, 0);
                }
            }
            Does::RunsDown { from_rpm, steps } => self.run_down(from_rpm, steps),
            Does::Stands => {}
            Does::Starts { steps } => self.start(steps),
        }
    }

    /// What is asked where the engine carries itself.
    fn carried(&mut self) -> Asked {
        self.uneven.misfire_share = (1.0 - self.running.burning(&self.turning)).clamp(0.0, 1.0);
        let wandered = self.turning.rpm * (1.0 + self.wander * self.drift.now());
        Asked { rpm: wandered.min(TURNS_RPM.1), load: self.load() }
    }

    /// The load by the pressure in the manifolds: 1 where they are full, −1 where they are empty.
    fn load(&self) -> f64 {
        let outside_pa = self.air.pressure_pa();
        // Below this nothing is drawn: the residual gas alone fills the cylinder.
        let empty_pa = outside_pa / self.machine.engine.compression_ratio.powf(1.3);
        let above_pa = mean(&self.turning.manifold_pa) - self.idle_pa;
        let most_pa = if above_pa < 0.0 { self.idle_pa - empty_pa } else { outside_pa - self.idle_pa };
        (above_pa / most_pa.max(1.0)).clamp(-1.0, 1.0)
    }

    fn run_down(&mut self, from_rpm: f64, steps: u32) {
        self.turning.rpm = 0.0;
        self.uneven.misfire_share = 1.0;
        let steps = steps + 1;
        let left = 1.0 - f64::from(steps) * STEP_S / RUN_DOWN_S;
        self.to = Asked { rpm: from_rpm * left.max(0.0), load: 0.0 };
        self.does = Does::RunsDown { from_rpm, steps };
        if self.from.rpm <= 0.0 {
            self.live.rest();
            self.does = Does::Stands;
        }
    }

    fn start(&mut self, steps: u32) {
        let steps = steps + 1;
        let since_s = f64::from(steps) * STEP_S;
        self.does = Does::Starts { steps };
        if since_s <= CRANKING_S {
            self.uneven.misfire_share = 1.0;
            let reached = self.from.rpm + (CRANKING_RPM - self.from.rpm) * (STEP_S / 0.05);
            self.to = Asked { rpm: reached, load: 0.0 };
            return;
        }
        let share = ((since_s - CRANKING_S) / FLARE_S).min(1.0);
        self.turning = self.running.turning_at(CRANKING_RPM + (FLARE_RPM - CRANKING_RPM) * share);
        self.to = self.carried();
        if share >= 1.0 {
            self.does = Does::Runs;
        }
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}
