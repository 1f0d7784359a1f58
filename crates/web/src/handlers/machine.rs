//! A machine: its page, its form, a job on it.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use bellmouth_workshop::garage::{MachineForm, new_id};
use maud::Markup;

use super::{Fields, key};
use crate::app::App;
use crate::error::{Nope, sentence};
use crate::page::{self, shell};

fn read(fields: &Fields) -> MachineForm {
    let text = |name: &str| fields.get(name).to_string();
    MachineForm {
        id: text("id"),
        name: text("name"),
        layout: text("layout"),
        cooling: text("cooling"),
        carburettors: text("carburettors"),
        base_turns: text("base_turns"),
    }
}

/// `GET /machine/new`
pub(crate) async fn form() -> Markup {
    let form = MachineForm { id: new_id().to_string(), carburettors: "1".into(), ..MachineForm::default() };
    page::machine::new_page(&form, None)
}

/// `POST /machine/new`: what was typed stays in the form when it is refused.
pub(crate) async fn enter(State(app): State<App>, fields: Fields) -> Result<Response, Nope> {
    let form = read(&fields);
    let typed = form.clone();
    let entered = app.ask(move |workshop| Ok(workshop.enter_machine(&typed))).await?;
    Ok(match entered {
        Ok(id) => Redirect::to(&shell::machine(id)).into_response(),
        Err(refusal) => {
            let told = format!("{} {}", sentence(&refusal.message), sentence(&refusal.remedy));
            (StatusCode::BAD_REQUEST, page::machine::new_page(&form, Some(&told))).into_response()
        }
    })
}

/// `GET /machine/{id}`
pub(crate) async fn show(State(app): State<App>, Path(id): Path<String>) -> Result<Markup, Nope> {
    let id = key(&id)?;
    let history = app.ask(move |workshop| workshop.machine(id)).await?;
    Ok(page::machine::page(&history, new_id()))
}

/// `POST /machine/{id}`
pub(crate) async fn amend(
    State(app): State<App>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Redirect, Nope> {
    let id = key(&id)?;
    let seen = fields.seen().unwrap_or(-1);
    let form = read(&fields);
    app.ask(move |workshop| workshop.amend_machine(id, seen, &form)).await?;
    Ok(Redirect::to(&shell::machine(id)))
}

/// `POST /machine/{id}/delete`
pub(crate) async fn delete(State(app): State<App>, Path(id): Path<String>) -> Result<Redirect, Nope> {
    let id = key(&id)?;
    app.ask(move |workshop| workshop.delete_machine(id)).await?;
    Ok(Redirect::to("/"))
}

/// `POST /machine/{id}/restore`
pub(crate) async fn restore(State(app): State<App>, Path(id): Path<String>) -> Result<Redirect, Nope> {
    let id = key(&id)?;
    app.ask(move |workshop| workshop.restore_machine(id)).await?;
    Ok(Redirect::to(&shell::machine(id)))
}

/// `POST /machine/{id}/job`
pub(crate) async fn start_job(
    State(app): State<App>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Redirect, Nope> {
    let machine = key(&id)?;
    let job = app
        .ask(move |workshop| workshop.open_job(fields.get("id"), machine, fields.get("complaint")))
        .await?;
    Ok(Redirect::to(&shell::job(job)))
}
