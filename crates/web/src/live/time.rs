//! The idling clock of a bench.

use std::sync::Arc;
use std::time::{Duration, Instant};

use bellmouth_workshop::bench::Heat;
use serde_json::json;
use tokio::sync::watch;

use super::{LiveBench, lock};
use crate::app::App;

/// Time between two ticks of the idling clock, and between two times it is written down.
const TICK: Duration = Duration::from_secs(1);
const NOTED_EVERY_MS: i64 = 30_000;

/// Lets the idling clock run, shows it, writes it down now and then, and calls for a pause when it is time.
pub(super) async fn keep_time(app: App, live: Arc<LiveBench>, mut stop: watch::Receiver<bool>) {
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
                let open = bench.stage.engine_runs();
                let pause = open && held.heat(&bench) == Heat::PauseNow;
                if pause {
                    workshop.pause_for_heat(job)?;
                    held.look_again(workshop);
                }
                Ok(pause)
            })
            .await;
        let Ok(paused) = looked else { continue };
        if note && !paused {
            live.tell(&json!({ "changed": true }));
        }
    }
    let clock = lock(&live.clock).clock;
    // The server is stopping; a clock not written down is no reason to hold it up.
    let _ =
        app.ask(move |workshop| workshop.note_idling(live.job, clock.idling_ms, clock.since_cool_ms)).await;
}

/// Waits until the server stops.
pub(super) async fn stopped(stop: &mut watch::Receiver<bool>) {
    // An error means that the server itself has gone.
    let _ = stop.wait_for(|stopped| *stopped).await;
}
