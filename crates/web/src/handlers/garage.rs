//! The garage and the cautions.

use axum::extract::State;
use axum::response::Redirect;
use maud::Markup;

use crate::app::App;
use crate::error::Nope;
use crate::page;

/// `GET /`
pub(crate) async fn show(State(app): State<App>) -> Result<Markup, Nope> {
    let garage = app.ask(|workshop| workshop.garage()).await?;
    Ok(page::garage::page(&garage))
}

/// `POST /demo/remove`
pub(crate) async fn remove_demo(State(app): State<App>) -> Result<Redirect, Nope> {
    app.ask(|workshop| workshop.remove_demo()).await?;
    Ok(Redirect::to("/"))
}

/// `GET /cautions`
pub(crate) async fn cautions() -> Markup {
    page::before::cautions_page()
}
