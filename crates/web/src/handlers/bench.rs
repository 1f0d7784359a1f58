//! The idle bench: its page, its parts, and every key on it.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Redirect, Response};
use bellmouth_workshop::bench::{HoldForm, Stage, TachometerForm, speed_of};
use bellmouth_workshop::logbook::Id;
use bellmouth_workshop::{Refusal, Workshop};
use maud::Markup;
use serde_json::json;

use super::{Fields, key, wants_json};
use crate::app::App;
use crate::error::Nope;
use crate::page::{self, shell};

/// `GET /job/{id}/idle`
pub(crate) async fn show(State(app): State<App>, Path(id): Path<String>) -> Result<Response, Nope> {
    let job = key(&id)?;
    let bench = app.ask(move |workshop| workshop.bench(job)).await?;
    if bench.stage == Stage::Alarm {
        return Ok(Redirect::to(&format!("{}/alarm", shell::job(job))).into_response());
    }
    Ok(page::idle::page(&bench).into_response())
}

/// `GET /job/{id}/alarm`
pub(crate) async fn alarm(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    let job = key(&id)?;
    let bench = app.ask(move |workshop| workshop.bench(job)).await?;
    Ok(page::idle::alarm_page(&bench))
}

/// `GET /job/{id}/idle/parts`
pub(crate) async fn parts(State(app): State<App>, Path(id): Path<String>) -> Result<Response, Nope> {
    let job = key(&id)?;
    let bench = app.ask(move |workshop| workshop.bench(job)).await.map_err(|nope| nope.in_json(true))?;
    let leave = (bench.stage == Stage::Alarm).then(|| format!("{}/alarm", shell::job(job)));
    let parts: serde_json::Map<String, serde_json::Value> = page::idle::parts(&bench)
        .into_iter()
        .map(|(name, markup)| (name.to_string(), markup.into_string().into()))
        .collect();
    Ok(Json(json!({ "parts": parts, "leave": leave })).into_response())
}

/// `POST /job/{id}/idle/{action}`
pub(crate) async fn act(
    State(app): State<App>,
    Path((id, action)): Path<(String, String)>,
    headers: HeaderMap,
    fields: Fields,
) -> Result<Response, Nope> {
    let stay = wants_json(&headers);
    let done = acted(&app, &id, &action, fields).await;
    let job = done.map_err(|nope| nope.in_json(stay))?;
    app.benches.changed(job).await;
    Ok(answer(stay, job))
}

/// What an action answers: JSON to a page that stays, the bench to one that does not.
pub(crate) fn answer(stay: bool, job: Id) -> Response {
    if stay {
        Json(json!({})).into_response()
    } else {
        Redirect::to(&format!("{}/idle", shell::job(job))).into_response()
    }
}

async fn acted(app: &App, id: &str, action: &str, fields: Fields) -> Result<Id, Nope> {
    let job = key(id)?;
    match action {
        // The reading as it stands is in the ear, not in the logbook.
        "take" => app.benches.take_now(job).await?,
        "hold" => {
            app.ask(move |workshop| workshop.begin_hold(job, fields.seen(), &hold(&fields)).map(|_| ()))
                .await?;
            app.benches.running(job, true).await;
        }
        // What it idles at: as typed, or as heard.
        "stop" | "set" => {
            let heard = app.benches.speed_rpm(job).await;
            let listens = app.benches.listens(job);
            let setting = action == "set";
            app.ask(move |workshop| {
                if setting {
                    return workshop.set_screw(job, fields.seen(), fields.get("turns"), heard);
                }
                let will_not = fields.get("will-not") == "yes";
                let typed = fields.get("rpm").trim();
                let rpm = match (typed, heard, workshop.bench(job)?.facts.maker_idle_rpm()) {
                    ("", Some(heard), _) => heard,
                    // A key pressed by one who reads a tachometer: it stands where it was asked to.
                    ("", None, Some(wanted)) if !will_not && !listens => wanted,
                    ("", None, _) => {
                        return Err(Refusal::misused(
                            "what it idles at was neither typed nor heard well",
                            "type what a tachometer shows, or wait until the speed is heard well",
                        ));
                    }
                    (typed, _, _) => speed_of(typed)?,
                };
                workshop.stop_set(job, fields.seen(), rpm, will_not)
            })
            .await?;
        }
        _ => {
            let stops = ["pause", "died", "alarm"].contains(&action);
            let cooled = fields.get("cooled") == "yes";
            let action = action.to_string();
            app.ask(move |workshop| plain(workshop, job, &action, &fields)).await?;
            if stops {
                app.benches.running(job, false).await;
            }
            if cooled {
                app.benches.cooled(job).await;
            }
        }
    }
    Ok(job)
}

/// The actions that are a word to the workshop and nothing else.
fn plain(workshop: &Workshop, job: Id, action: &str, fields: &Fields) -> Result<(), Refusal> {
    let seen = fields.seen();
    match action {
        "typed" => {
            let form = TachometerForm { hold: hold(fields), rpm: fields.get("rpm").into() };
            workshop.keep_typed(job, &form).map(|_| ())
        }
        "died" => workshop.keep_stall(job, &hold(fields), fields.get("cause")).map(|_| ()),
        "back" => workshop.back(job, seen),
        "pause" => workshop.pause(job, seen, true, false),
        "resume" => workshop.pause(job, seen, false, fields.get("cooled") == "yes"),
        // An alarm is never refused for being late.
        "alarm" => workshop.alarm(job, true),
        "all-clear" => workshop.alarm(job, false),
        "block" => workshop.new_block(job, seen),
        "finish" => workshop.finish(job, seen, fields.get("done") == "yes"),
        "trimmed" => workshop.trimmed(job, seen, fields.get("turns")),
        "picked-up" => workshop.picked_up(job, seen, fields.get("turns")),
        "balanced" => workshop.balanced(job, seen),
        "strike" => workshop.strike(fields.get("reading"), fields.get("reason")),
        "unstrike" => workshop.unstrike(fields.get("reading")),
        "miscounted" => workshop.miscounted(fields.get("reading"), fields.get("turns")),
        "wrong-way" => workshop.wrong_way(job, seen),
        other => {
            Err(Refusal::misused(format!("the bench knows no key \"{other}\""), "use the keys on the page"))
        }
    }
}

fn hold(fields: &Fields) -> HoldForm {
    HoldForm { id: fields.get("id").into(), turns: fields.get("turns").into() }
}
