//! A job's own pages: the stages before and after the bench, and what leaves as a file.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use bellmouth_workshop::bench::{BenchState, CheckForm, FoundForm};
use bellmouth_workshop::{Refusal, Workshop};
use maud::Markup;

use super::{Fields, key};
use crate::app::App;
use crate::error::{Nope, sentence};
use crate::page::{self, shell};

async fn bench(app: &App, id: &str) -> Result<BenchState, Nope> {
    let id = key(id)?;
    app.ask(move |workshop| workshop.bench(id)).await
}

/// Keeps a form and goes on to the job; a refusal shows the form again with its sentence.
async fn keep(
    app: &App,
    id: &str,
    on_to: &str,
    again: fn(&BenchState, Option<&str>) -> Markup,
    save: impl FnOnce(&Workshop) -> Result<(), Refusal> + Send + 'static,
) -> Result<Response, Nope> {
    let job = key(id)?;
    let kept = app.ask(move |workshop| Ok(save(workshop))).await?;
    Ok(match kept {
        Ok(()) => {
            app.benches.changed(job).await;
            Redirect::to(&format!("{}{on_to}", shell::job(job))).into_response()
        }
        Err(refusal) => {
            let told = format!("{} {}", sentence(&refusal.message), sentence(&refusal.remedy));
            (StatusCode::BAD_REQUEST, again(&bench(app, id).await?, Some(&told))).into_response()
        }
    })
}

/// `GET /job/{id}`
pub(crate) async fn show(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    Ok(page::job::page(&bench(&app, &id).await?))
}

/// `GET /job/{id}/found`
pub(crate) async fn found(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    Ok(page::before::found_page(&bench(&app, &id).await?, None))
}

/// `POST /job/{id}/found`
pub(crate) async fn record_found(
    State(app): State<App>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Nope> {
    let job = key(&id)?;
    let form = FoundForm { counts: fields.all("count") };
    keep(&app, &id, "/screw", page::before::found_page, move |workshop| {
        workshop.record_found(job, fields.seen(), &form)
    })
    .await
}

/// `GET /job/{id}/screw`
pub(crate) async fn screw(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    Ok(page::before::screw_page(&bench(&app, &id).await?, None))
}

/// `POST /job/{id}/screw`
pub(crate) async fn choose_screw(
    State(app): State<App>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Nope> {
    let job = key(&id)?;
    keep(&app, &id, "/check", page::before::screw_page, move |workshop| {
        workshop.choose_screw(job, fields.seen(), fields.get("screw"))
    })
    .await
}

/// `GET /job/{id}/check`
pub(crate) async fn check(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    Ok(page::before::check_page(&bench(&app, &id).await?, None))
}

/// `POST /job/{id}/check`
pub(crate) async fn answer_check(
    State(app): State<App>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Nope> {
    let job = key(&id)?;
    let answers = fields
        .0
        .iter()
        .filter_map(|(name, value)| Some((name.strip_prefix("gate-")?.to_string(), value.clone())));
    let form = CheckForm {
        answers: answers.collect(),
        about_rpm: fields.get("about_rpm").into(),
        idle_rpm: fields.get("idle_rpm").into(),
        drop_rpm: fields.get("drop_rpm").into(),
        back_out_turns: fields.get("back_out_turns").into(),
    };
    keep(&app, &id, "/idle", page::before::check_page, move |workshop| {
        workshop.answer_gate(job, fields.seen(), &form)
    })
    .await
}

/// `GET /job/{id}/left`
pub(crate) async fn left(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    Ok(page::left::page(&bench(&app, &id).await?, None))
}

/// `POST /job/{id}/left`
pub(crate) async fn record_left(
    State(app): State<App>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Nope> {
    let job = key(&id)?;
    keep(&app, &id, "/left", page::left::page, move |workshop| {
        workshop.record_left(job, fields.seen(), fields.get("turns"))
    })
    .await
}

/// `GET /job/{id}/readings.csv`: the readings as a table that `bellmouth sweep` reads.
pub(crate) async fn readings_csv(State(app): State<App>, Path(id): Path<String>) -> Result<Response, Nope> {
    let table = bellmouth_workshop::bench::readings_csv(&bench(&app, &id).await?.holds());
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8")], table).into_response())
}

/// `GET /job/{id}/sweep.json`: the answer, as the command prints it.
pub(crate) async fn sweep_json(State(app): State<App>, Path(id): Path<String>) -> Result<Response, Nope> {
    match bench(&app, &id).await?.sweep {
        Some(Ok(answer)) => Ok(Json(bellmouth_workshop::sweep::SweepAnswer::from(&answer)).into_response()),
        Some(Err(refused)) => {
            Err(Nope::from(Refusal::unanswerable(refused, "take a hold at which the engine runs"))
                .in_json(true))
        }
        None => {
            Err(Nope::from(Refusal::unanswerable("there is no reading yet", "take a first hold"))
                .in_json(true))
        }
    }
}
