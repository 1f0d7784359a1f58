//! The live stream of a bench: a page's microphone in, speed and news out.
//!
//! One thread per listening page owns the ear; the socket only carries. Every page on the same job
//! hears the same news, whichever of them holds the microphone.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::body::Bytes;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Path, State};
use axum::response::Response;
use bellmouth_core::engine::layout::Firing;
use bellmouth_workshop::bench::{Armed, BenchState, Clock, Ear, Heat, Stage, Taken, heat};
use bellmouth_workshop::garage::layout_of;
use bellmouth_workshop::logbook::{Id, Source};
use bellmouth_workshop::{Refusal, Workshop};
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::{broadcast, oneshot, watch};

use crate::app::App;
use crate::error::{Nope, sentence};
use crate::handlers::key;

/// A block of samples or a word: more than this is not one of ours, bytes.
const MESSAGE_BYTES: usize = 256 * 1024;
/// Blocks that may wait for the ear; more means the machine cannot keep up.
const WAITING_BLOCKS: usize = 64;
/// Time between two live speeds.
const LIVE_EVERY: Duration = Duration::from_millis(60);
/// Time between two ticks of the idling clock, and between two times it is written down.
const TICK: Duration = Duration::from_secs(1);
const NOTED_EVERY_MS: i64 = 30_000;

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
}

/// The line to the thread that listens.
struct EarLine {
    stream: u64,
    line: SyncSender<ToEar>,
    /// Set when a block was dropped because the ear had fallen behind: the hold begins anew.
    fell_behind: Arc<AtomicBool>,
}

enum ToEar {
    Samples(Bytes),
    Gap,
    Arm(Option<Armed>),
    Take(oneshot::Sender<Result<(), Refusal>>),
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
        lock(&self.ear).as_ref().is_some_and(|ear| ear.line.try_send(word).is_ok())
    }

    /// Reads the bench afresh: what to hold, and whether the engine must cool before the next move.
    fn look_again(&self, workshop: &Workshop) {
        let Ok(bench) = workshop.bench(self.job) else { return };
        let due = self.heat(&bench);
        if due != Heat::Fine
            && matches!(bench.stage, Stage::Move { .. })
            && workshop.pause_for_heat(self.job).is_ok()
        {
            self.tell_ear(ToEar::Arm(None));
        } else {
            self.tell_ear(ToEar::Arm(bench.armed()));
        }
        self.tell(&json!({ "changed": true }));
    }

    /// What the clock says of an engine cooled as this bench says.
    fn heat(&self, bench: &BenchState) -> Heat {
        let mut state = lock(&self.clock);
        (state.air_cooled, state.moving_air) = (bench.air_cooled(), bench.moving_air());
        state.heat()
    }
}

/// Lets the idling clock run, shows it, writes it down now and then, and calls for a pause when it is time.
async fn keep_time(app: App, live: Arc<LiveBench>, mut stop: watch::Receiver<bool>) {
    let mut ticks = tokio::time::interval(TICK);
    let mut last = Instant::now();
    loop {
        tokio::select! {
            _ = ticks.tick() => {}
            () = stopped(&mut stop) => break,
        }
        let elapsed = last.elapsed();
        last = Instant::now();
        let (clock, due, note) = {
            let mut state = lock(&live.clock);
            if !state.running {
                continue;
            }
            state.clock.run(elapsed);
            let note = NOTED_EVERY_MS <= state.clock.idling_ms - state.noted_ms;
            if note {
                state.noted_ms = state.clock.idling_ms;
            }
            (state.clock, state.heat(), note)
        };
        live.tell(&json!({ "clock": { "words": clock.words(), "hot": due != Heat::Fine } }));
        if !note && due != Heat::PauseNow {
            continue;
        }
        let (job, held) = (live.job, live.clone());
        let looked = app
            .ask(move |workshop| {
                if note {
                    workshop.note_idling(job, clock.idling_ms, clock.since_cool_ms)?;
                }
                let bench = workshop.bench(job)?;
                let open = matches!(bench.stage, Stage::Move { .. } | Stage::Holding(_));
                let pause = open && held.heat(&bench) == Heat::PauseNow;
                if pause {
                    workshop.pause_for_heat(job)?;
                    held.tell_ear(ToEar::Arm(None));
                }
                Ok(pause)
            })
            .await;
        let Ok(paused) = looked else { continue };
        if note || paused {
            live.tell(&json!({ "changed": true }));
        }
    }
    let clock = lock(&live.clock).clock;
    // The server is stopping; a clock not written down is no reason to hold it up.
    let _ =
        app.ask(move |workshop| workshop.note_idling(live.job, clock.idling_ms, clock.since_cool_ms)).await;
}

/// Waits until the server stops.
async fn stopped(stop: &mut watch::Receiver<bool>) {
    // An error means that the server itself has gone.
    let _ = stop.wait_for(|stopped| *stopped).await;
}

/// What a page says.
#[derive(Deserialize)]
#[serde(tag = "say", rename_all = "lowercase")]
enum Said {
    /// A microphone was started.
    Hello {
        sample_rate_hz: f64,
        #[serde(default)]
        take_over: bool,
    },
    /// Something was missed.
    Gap,
    /// The microphone was unplugged, or switched off.
    Goodbye,
}

/// `GET /job/{id}/idle/live`: the socket of a page.
pub(crate) async fn stream(
    State(app): State<App>,
    Path(id): Path<String>,
    upgrade: WebSocketUpgrade,
) -> Result<Response, Nope> {
    let live = app.benches.open(&app, key(&id)?).await?;
    let upgrade = upgrade.max_message_size(MESSAGE_BYTES).max_frame_size(MESSAGE_BYTES);
    Ok(upgrade.on_upgrade(move |socket| carry(app, live, socket)))
}

/// Carries one page's socket until it closes.
async fn carry(app: App, live: Arc<LiveBench>, mut socket: WebSocket) {
    let stream = app.benches.streams.fetch_add(1, Ordering::Relaxed);
    let mut news = live.news.subscribe();
    let mut stop = app.benches.stop.subscribe();
    let mut listening = false;
    loop {
        let reply = tokio::select! {
            () = stopped(&mut stop) => break,
            told = news.recv() => match told {
                Ok(words) => Some(words),
                // This page was too slow for the live speed: it looks afresh.
                Err(broadcast::error::RecvError::Lagged(_)) => Some(json!({ "changed": true }).to_string()),
                Err(broadcast::error::RecvError::Closed) => break,
            },
            message = socket.recv() => match message {
                Some(Ok(Message::Binary(samples))) if listening => {
                    let kept = send_samples(&live, stream, samples);
                    listening = kept;
                    (!kept).then(|| json!({ "elsewhere": true }).to_string())
                }
                Some(Ok(Message::Text(words))) => match serde_json::from_str::<Said>(&words) {
                    Ok(said) => heed(&app, &live, stream, said, &mut listening).await.map(|reply| reply.to_string()),
                    Err(error) => Some(json!({ "refused": format!("The page said what the bench does not know: {error}. Reload it.") }).to_string()),
                },
                Some(Ok(Message::Close(_)) | Err(_)) | None => break,
                Some(Ok(_)) => None,
            },
        };
        if let Some(words) = reply
            && socket.send(Message::Text(words.into())).await.is_err()
        {
            break;
        }
    }
    hang_up(&live, stream);
}

/// Hands samples to the ear; false when another page has taken it over.
fn send_samples(live: &LiveBench, stream: u64, samples: Bytes) -> bool {
    let ear = lock(&live.ear);
    let Some(ear) = ear.as_ref().filter(|ear| ear.stream == stream) else { return false };
    match ear.line.try_send(ToEar::Samples(samples)) {
        Ok(()) => true,
        Err(TrySendError::Full(_)) => {
            ear.fell_behind.store(true, Ordering::Relaxed);
            true
        }
        Err(TrySendError::Disconnected(_)) => false,
    }
}

fn hang_up(live: &LiveBench, stream: u64) {
    let mut ear = lock(&live.ear);
    if ear.as_ref().is_some_and(|ear| ear.stream == stream) {
        *ear = None;
        lock(&live.clock).running = false;
    }
}

async fn heed(
    app: &App,
    live: &Arc<LiveBench>,
    stream: u64,
    said: Said,
    listening: &mut bool,
) -> Option<Value> {
    match said {
        Said::Gap => {
            live.tell_ear(ToEar::Gap);
            None
        }
        Said::Goodbye => {
            hang_up(live, stream);
            *listening = false;
            None
        }
        Said::Hello { sample_rate_hz, take_over } => {
            if !take_over && lock(&live.ear).as_ref().is_some_and(|ear| ear.stream != stream) {
                return Some(json!({ "elsewhere": true }));
            }
            match begin(app, live, stream, sample_rate_hz).await {
                Ok(begun) => {
                    *listening = begun;
                    (!begun).then(|| json!({ "notice": "layout" }))
                }
                Err(refusal) => Some(
                    json!({ "refused": format!("{} {}", sentence(&refusal.message), sentence(&refusal.remedy)) }),
                ),
            }
        }
    }
}

/// Starts an ear for this stream; false when the engine's layout is not given.
async fn begin(app: &App, live: &Arc<LiveBench>, stream: u64, sample_rate_hz: f64) -> Result<bool, Refusal> {
    let (workshop, bench_job) = (app.benches.workshop.clone(), live.job);
    let bench = tokio::task::spawn_blocking(move || workshop.bench(bench_job))
        .await
        .map_err(|_| Refusal::ours("the workshop stumbled", "start the microphone again"))??;
    let Some(layout) = layout_of(&bench.machine) else { return Ok(false) };
    let mut ear = Ear::new(sample_rate_hz, &Firing::from(layout), bench.facts.about_rpm())?;
    ear.arm(bench.armed());
    let (line, words) = sync_channel(WAITING_BLOCKS);
    let fell_behind = Arc::new(AtomicBool::new(false));
    *lock(&live.ear) = Some(EarLine { stream, line, fell_behind: fell_behind.clone() });
    let (workshop, live) = (app.benches.workshop.clone(), live.clone());
    std::thread::Builder::new()
        .name("ear".into())
        .spawn(move || listen(&workshop, &live, ear, &words, &fell_behind))
        .map_err(|error| {
            Refusal::ours(format!("no thread could be started: {error}"), "close other programs")
        })?;
    Ok(true)
}

/// The thread that listens: ends when the line is hung up.
fn listen(
    workshop: &Workshop,
    live: &LiveBench,
    mut ear: Ear,
    words: &Receiver<ToEar>,
    fell_behind: &AtomicBool,
) {
    let mut shown = Instant::now();
    let mut samples = Vec::new();
    while let Ok(word) = words.recv() {
        match word {
            ToEar::Gap => ear.gap(),
            ToEar::Arm(armed) => ear.arm(armed),
            ToEar::Take(reply) => {
                let taken = ear.take_now();
                let kept = taken.and_then(|taken| keep(workshop, live, &mut ear, taken));
                // The page that asked may have gone; the reading is kept all the same.
                let _ = reply.send(kept);
            }
            ToEar::Samples(bytes) => {
                if fell_behind.swap(false, Ordering::Relaxed) {
                    ear.gap();
                }
                samples.clear();
                let pairs = bytes.chunks_exact(2);
                samples
                    .extend(pairs.map(|pair| f32::from(i16::from_le_bytes([pair[0], pair[1]])) / 32_768.0));
                if let Some(taken) = ear.hear(&samples)
                    && let Err(refusal) = keep(workshop, live, &mut ear, taken)
                {
                    live.tell(&json!({ "refused": format!("This reading was not saved: {refusal}.") }));
                }
                lock(&live.clock).running = ear.running();
                if LIVE_EVERY <= shown.elapsed() {
                    shown = Instant::now();
                    live.tell(&json!({ "live": ear.view() }));
                }
            }
        }
    }
    live.tell(&json!({ "silent": true }));
}

/// Saves a reading, and only then tells the pages of it. When it cannot be saved the hold begins anew.
fn keep(workshop: &Workshop, live: &LiveBench, ear: &mut Ear, taken: Taken) -> Result<(), Refusal> {
    if let Err(refusal) = workshop.keep_held(live.job, taken.armed, &taken.held, Source::Microphone) {
        ear.arm(Some(taken.armed));
        return Err(refusal);
    }
    live.tell(&json!({ "taken": true }));
    live.look_again(workshop);
    Ok(())
}
