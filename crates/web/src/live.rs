//! The live stream of a bench: a page's microphone in, speed and news out.
//!
//! One thread per listening page owns the [`ear`]; the [`socket`] only carries; the clock keeps [`time`]. Every
//! page on the same job hears the same news, whichever of them holds the microphone.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::body::Bytes;
use bellmouth_workshop::bench::{Armed, BenchState, Clock, Heat, Stage, heat};
use bellmouth_workshop::logbook::Id;
use bellmouth_workshop::{Refusal, Workshop};
use serde_json::{Value, json};
use tokio::sync::{broadcast, oneshot, watch};

use crate::app::App;
use crate::error::Nope;

mod ear;
mod socket;
mod time;

pub(crate) use socket::stream;
use time::keep_time;

/// Every bench that has been looked at since the server started.
pub(crate) struct Benches {
    workshop: Arc<Workshop>,
    open: Mutex<HashMap<Id, Arc<LiveBench>>>,
    stop: watch::Sender<bool>,
    streams: AtomicU64,
}

struct LiveBench {
    job: Id,
    news: broadcast::Sender<String>,
    ear: Mutex<Option<EarLine>>,
    clock: Mutex<ClockState>,
    /// Held while the bench is looked at afresh, so that an older look never overtakes a newer one.
    looking: Mutex<()>,
}

/// The line to the thread that listens.
struct EarLine {
    stream: u64,
    line: Sender<ToEar>,
    /// Blocks of samples that wait to be heard; words always pass.
    waiting: Arc<AtomicUsize>,
    /// Set when a block was dropped because the ear had fallen behind: the hold begins anew.
    fell_behind: Arc<AtomicBool>,
}

enum ToEar {
    Samples(Bytes),
    Gap,
    Arm(Option<Armed>),
    Take(oneshot::Sender<Result<(), Refusal>>),
    /// The speed as it is now.
    Speed(oneshot::Sender<Option<f64>>),
    /// Lead a person through the bench, or no longer.
    Lead(bool),
    /// The instruction again.
    Again,
    /// What the bench asks for now.
    Asked(Stage),
    /// Whether the page speaks.
    Speaking(bool),
}

struct ClockState {
    clock: Clock,
    running: bool,
    noted_ms: i64,
    /// How the engine is cooled, kept from the last look at the bench: a look fits the curve, which is
    /// too much work for every second.
    air_cooled: bool,
    moving_air: bool,
}

impl ClockState {
    fn heat(&self) -> Heat {
        heat(self.clock.since_cool_ms, self.air_cooled, self.moving_air)
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Benches {
    pub(crate) fn new(workshop: Arc<Workshop>) -> Benches {
        Benches {
            workshop,
            open: Mutex::default(),
            stop: watch::Sender::new(false),
            streams: AtomicU64::new(1),
        }
    }

    /// Ends every stream, so that the server can stop.
    pub(crate) fn stop(&self) {
        self.stop.send_replace(true);
    }

    /// The live side of a job's bench; its clock starts where the logbook left it.
    async fn open(&self, app: &App, job: Id) -> Result<Arc<LiveBench>, Nope> {
        if let Some(known) = lock(&self.open).get(&job) {
            return Ok(known.clone());
        }
        let bench = app.ask(move |workshop| workshop.bench(job)).await?;
        let facts = &bench.facts;
        let clock = Clock { idling_ms: facts.idling_ms(), since_cool_ms: facts.since_cool_ms() };
        let bench = Arc::new(LiveBench {
            job,
            news: broadcast::Sender::new(256),
            ear: Mutex::new(None),
            looking: Mutex::new(()),
            clock: Mutex::new(ClockState {
                clock,
                running: false,
                noted_ms: clock.idling_ms,
                air_cooled: bench.air_cooled(),
                moving_air: bench.moving_air(),
            }),
        });
        let mut open = lock(&self.open);
        // Another page may have opened it meanwhile: there is one clock for a job.
        if let Some(known) = open.get(&job) {
            return Ok(known.clone());
        }
        open.insert(job, bench.clone());
        tokio::spawn(keep_time(app.clone(), bench.clone(), self.stop.subscribe()));
        Ok(bench)
    }

    fn known(&self, job: Id) -> Option<Arc<LiveBench>> {
        lock(&self.open).get(&job).cloned()
    }

    /// Something of the job was saved: tells every page, and the ear what it is to hold.
    pub(crate) async fn changed(&self, job: Id) {
        let Some(live) = self.known(job) else { return };
        let workshop = self.workshop.clone();
        // A failure here is told by the page's own next request.
        let _ = tokio::task::spawn_blocking(move || live.look_again(&workshop)).await;
    }

    /// Takes the reading as it stands.
    pub(crate) async fn take_now(&self, job: Id) -> Result<(), Nope> {
        let deaf = || {
            Nope::from(Refusal::misused(
                "no microphone listens to this engine",
                "start the microphone, type what a tachometer shows, or drop a recording",
            ))
        };
        let (reply, answer) = oneshot::channel();
        let sent = self.known(job).is_some_and(|live| live.tell_ear(ToEar::Take(reply)));
        if !sent {
            return Err(deaf());
        }
        answer.await.map_err(|_| deaf())?.map_err(Nope::from)
    }

    /// Whether a microphone listens to this engine.
    pub(crate) fn listens(&self, job: Id) -> bool {
        self.known(job).is_some_and(|live| lock(&live.ear).is_some())
    }

    /// Mean speed over the last seconds, rpm, where a microphone hears it well.
    pub(crate) async fn speed_rpm(&self, job: Id) -> Option<f64> {
        let (reply, answer) = oneshot::channel();
        if !self.known(job)?.tell_ear(ToEar::Speed(reply)) {
            return None;
        }
        answer.await.ok().flatten()
    }

    /// Starts or stops the idling clock where no microphone does.
    pub(crate) async fn running(&self, job: Id, runs: bool) {
        if let Some(live) = self.known(job) {
            lock(&live.clock).running = runs;
        }
    }

    /// The engine has cooled: its clock of heat starts anew.
    pub(crate) async fn cooled(&self, job: Id) {
        if let Some(live) = self.known(job) {
            lock(&live.clock).clock.since_cool_ms = 0;
        }
    }
}

impl LiveBench {
    fn tell(&self, news: &Value) {
        // No page is listening: nothing to tell.
        let _ = self.news.send(news.to_string());
    }

    fn tell_ear(&self, word: ToEar) -> bool {
        lock(&self.ear).as_ref().is_some_and(|ear| ear.line.send(word).is_ok())
    }

    /// Reads the bench afresh: what to hold, and whether the engine must cool before the next move.
    fn look_again(&self, workshop: &Workshop) {
        let _one_at_a_time = lock(&self.looking);
        let Ok(bench) = workshop.bench(self.job) else { return };
        let due = self.heat(&bench);
        let between_holds = bench.stage.engine_runs() && !matches!(bench.stage, Stage::Holding(_));
        let paused = due != Heat::Fine && between_holds && workshop.pause_for_heat(self.job).is_ok();
        let bench = if paused { workshop.bench(self.job).unwrap_or(bench) } else { bench };
        self.tell_ear(ToEar::Arm(bench.armed()));
        self.tell_ear(ToEar::Asked(bench.stage));
        self.tell(&json!({ "changed": true }));
    }

    /// What the clock says of an engine cooled as this bench says.
    fn heat(&self, bench: &BenchState) -> Heat {
        let mut state = lock(&self.clock);
        (state.air_cooled, state.moving_air) = (bench.air_cooled(), bench.moving_air());
        state.heat()
    }
}
