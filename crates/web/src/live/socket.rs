//! A page's socket: samples and words one way, news the other.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use axum::body::Bytes;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Path, State};
use axum::response::Response;
use bellmouth_core::engine::layout::Firing;
use bellmouth_workshop::Refusal;
use bellmouth_workshop::bench::Ear;
use bellmouth_workshop::garage::layout_of;
use serde::Deserialize;
use serde_json::{Value, json};
use tokio::sync::broadcast;

use super::ear::listen;
use super::time::stopped;
use super::{EarLine, LiveBench, ToEar, lock};
use crate::app::App;
use crate::error::{Nope, sentence};
use crate::handlers::key;

/// A block of samples or a word: more than this is not one of ours, bytes.
const MESSAGE_BYTES: usize = 256 * 1024;
/// Blocks that may wait for the ear; more means the machine cannot keep up.
const WAITING_BLOCKS: usize = 64;
/// How often a page is asked whether it is still there, and after how long without a word it has gone.
const ASKED_EVERY: Duration = Duration::from_secs(5);
const GONE_AFTER: Duration = Duration::from_secs(20);

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
    /// Lead me through the bench, both hands on the screwdriver; or no longer.
    Lead { on: bool },
    /// The instruction again.
    Again,
    /// The page begins to speak, or has spoken.
    Voice { speaking: bool },
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
    let (mut asks, mut heard) = (tokio::time::interval(ASKED_EVERY), Instant::now());
    loop {
        let reply = tokio::select! {
            () = stopped(&mut stop) => break,
            // A phone that left the room closes nothing: whoever does not answer has gone, and with it the microphone.
            _ = asks.tick() => {
                let gone = GONE_AFTER < heard.elapsed();
                if gone || socket.send(Message::Ping(Bytes::new())).await.is_err() {
                    break;
                }
                None
            }
            told = news.recv() => match told {
                Ok(words) => Some(words),
                // This page was too slow for the live speed: it looks afresh.
                Err(broadcast::error::RecvError::Lagged(_)) => Some(json!({ "changed": true }).to_string()),
                Err(broadcast::error::RecvError::Closed) => break,
            },
            message = socket.recv() => { heard = Instant::now(); match message {
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
            } },
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
    if WAITING_BLOCKS <= ear.waiting.load(Ordering::Relaxed) {
        ear.fell_behind.store(true, Ordering::Relaxed);
        return true;
    }
    ear.waiting.fetch_add(1, Ordering::Relaxed);
    ear.line.send(ToEar::Samples(samples)).is_ok()
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
        Said::Lead { on } if *listening => {
            live.tell_ear(ToEar::Lead(on));
            app.benches.changed(live.job).await;
            None
        }
        Said::Voice { speaking } if *listening => {
            live.tell_ear(ToEar::Speaking(speaking));
            None
        }
        Said::Again if *listening => {
            live.tell_ear(ToEar::Again);
            None
        }
        // Only the page that holds the microphone is led, and only its voice is in it.
        Said::Lead { .. } | Said::Again | Said::Voice { .. } => None,
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
    let (line, words) = channel();
    let waiting = Arc::new(AtomicUsize::new(0));
    let fell_behind = Arc::new(AtomicBool::new(false));
    *lock(&live.ear) =
        Some(EarLine { stream, line, waiting: waiting.clone(), fell_behind: fell_behind.clone() });
    let (workshop, live) = (app.benches.workshop.clone(), live.clone());
    std::thread::Builder::new()
        .name("ear".into())
        .spawn(move || listen(&workshop, &live, ear, &words, (&waiting, &fell_behind)))
        .map_err(|error| {
            Refusal::ours(format!("no thread could be started: {error}"), "close other programs")
        })?;
    Ok(true)
}
