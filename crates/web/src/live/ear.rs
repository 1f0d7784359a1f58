//! The thread that listens for a bench.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::Receiver;
use std::time::{Duration, Instant};

use bellmouth_workshop::bench::{Ear, News, Taken, Wish};
use bellmouth_workshop::logbook::Source;
use bellmouth_workshop::{Refusal, Workshop};
use serde_json::json;

use super::{LiveBench, ToEar, lock};

/// Time between two live speeds.
const LIVE_EVERY: Duration = Duration::from_millis(60);

/// The thread that listens: ends when the line is hung up.
pub(super) fn listen(
    workshop: &Workshop,
    live: &LiveBench,
    mut ear: Ear,
    words: &Receiver<ToEar>,
    (waiting, fell_behind): (&AtomicUsize, &AtomicBool),
) {
    let mut shown = Instant::now();
    let mut samples = Vec::new();
    while let Ok(word) = words.recv() {
        match word {
            ToEar::Gap => ear.gap(),
            ToEar::Arm(armed) => ear.arm(armed),
            ToEar::Lead(on) => ear.lead(on),
            ToEar::Again => {
                if let Some(wish) = ear.again() {
                    heed(workshop, live, &mut ear, News::Wish(wish));
                }
            }
            ToEar::Asked(stage) => ear.asked(&stage),
            ToEar::Speaking(speaking) => ear.speaking(speaking),
            // Who asked may have gone.
            ToEar::Speed(reply) => drop(reply.send(ear.speed_rpm())),
            ToEar::Take(reply) => {
                let taken = ear.take_now();
                let kept = taken.and_then(|taken| keep(workshop, live, &mut ear, taken));
                // The page that asked may have gone; the reading is kept all the same.
                let _ = reply.send(kept);
            }
            ToEar::Samples(bytes) => {
                waiting.fetch_sub(1, Ordering::Relaxed);
                if fell_behind.swap(false, Ordering::Relaxed) {
                    ear.gap();
                }
                samples.clear();
                let pairs = bytes.chunks_exact(2);
                samples
                    .extend(pairs.map(|pair| f32::from(i16::from_le_bytes([pair[0], pair[1]])) / 32_768.0));
                for news in ear.hear(&samples) {
                    heed(workshop, live, &mut ear, news);
                }
                lock(&live.clock).running = ear.running();
                if LIVE_EVERY <= shown.elapsed() {
                    shown = Instant::now();
                    live.tell(&json!({ "live": ear.view() }));
                }
            }
        }
    }
    // Where another line took its place, as after a broken link, somebody listens on.
    if lock(&live.ear).is_none() {
        live.tell(&json!({ "silent": true }));
    }
}

/// Does what a block of sound led to.
fn heed(workshop: &Workshop, live: &LiveBench, ear: &mut Ear, news: News) {
    let done = match news {
        News::Taken(taken) => keep(workshop, live, ear, taken)
            .map_err(|refusal| format!("This reading was not saved: {refusal}.")),
        News::Wish(wish) => grant(workshop, live, wish).map_err(|refusal| refusal.to_string()),
    };
    if let Err(words) = done {
        live.tell(&json!({ "refused": words }));
    }
}

/// Does what whoever leads wants done, and tells the pages.
fn grant(workshop: &Workshop, live: &LiveBench, wish: Wish) -> Result<(), Refusal> {
    match &wish {
        Wish::Say(words) => live.tell(&json!({ "speak": words })),
        Wish::Again => live.tell(&json!({ "again": true })),
        _ => {}
    }
    workshop.grant(live.job, &wish)?;
    live.look_again(workshop);
    Ok(())
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
