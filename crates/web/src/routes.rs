//! Which address is answered by which handler.

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};

use crate::app::App;
use crate::assets::asset;
use crate::error::Nope;
use crate::guard::{Hosts, guard};
use crate::handlers::{bench, garage, job, machine, sound};
use crate::live::stream;

/// A form is small: more than this is not one of ours, bytes.
const FORM_BYTES: usize = 64 * 1024;
/// A recording: 30 s of a phone's film with room to spare, bytes.
pub(crate) const RECORDING_BYTES: usize = 512 * 1024 * 1024;

/// Every route behind the guard.
pub fn router(app: App, hosts: Hosts) -> Router {
    let recordings = Router::new()
        .route("/job/{id}/idle/recording", post(sound::recording))
        .layer(DefaultBodyLimit::max(RECORDING_BYTES));
    Router::new()
        .route("/", get(garage::show))
        .route("/demo/remove", post(garage::remove_demo))
        .route("/cautions", get(garage::cautions))
        .route("/machine/new", get(machine::form).post(machine::enter))
        .route("/machine/{id}", get(machine::show).post(machine::amend))
        .route("/machine/{id}/delete", post(machine::delete))
        .route("/machine/{id}/restore", post(machine::restore))
        .route("/machine/{id}/job", post(machine::start_job))
        .route("/job/{id}", get(job::show))
        .route("/job/{id}/found", get(job::found).post(job::record_found))
        .route("/job/{id}/screw", get(job::screw).post(job::choose_screw))
        .route("/job/{id}/check", get(job::check).post(job::answer_check))
        .route("/job/{id}/left", get(job::left).post(job::record_left))
        .route("/job/{id}/readings.csv", get(job::readings_csv))
        .route("/job/{id}/sweep.json", get(job::sweep_json))
        .route("/job/{id}/idle", get(bench::show))
        .route("/job/{id}/alarm", get(bench::alarm))
        .route("/job/{id}/idle/parts", get(bench::parts))
        .route("/job/{id}/idle/live", get(stream))
        .route("/job/{id}/idle/{action}", post(bench::act))
        .route("/assets/{name}", get(asset))
        .fallback(|| async { Nope::not_found("there is no page at this address") })
        .layer(DefaultBodyLimit::max(FORM_BYTES))
        .merge(recordings)
        .with_state(app)
        .layer(from_fn_with_state(hosts, guard))
}
