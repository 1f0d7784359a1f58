//! A recording dropped on the bench.

use std::io::{Seek, SeekFrom};

use axum::extract::multipart::{Field, MultipartError, MultipartRejection};
use axum::extract::{Multipart, Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use bellmouth_workshop::Refusal;
use bellmouth_workshop::bench::HoldForm;
use tokio::io::AsyncWriteExt;

use super::{bench, key, wants_json};
use crate::app::App;
use crate::error::Nope;
use crate::routes::RECORDING_BYTES;

/// `POST /job/{id}/idle/recording`
pub(crate) async fn recording(
    State(app): State<App>,
    Path(id): Path<String>,
    headers: HeaderMap,
    form: Result<Multipart, MultipartRejection>,
) -> Result<Response, Nope> {
    let stay = wants_json(&headers);
    // Said at once, not after half a gigabyte has come.
    let announced =
        headers.get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
    if announced.is_some_and(|bytes| RECORDING_BYTES < bytes) {
        return Err(too_large().in_json(stay));
    }
    let form = form.map_err(|rejected| {
        Nope::refused(
            rejected.status(),
            format!("the form was not read: {}", rejected.body_text()),
            "send it from the bench",
        )
        .in_json(stay)
    })?;
    received(&app, &id, form, stay).await.map_err(|nope| nope.in_json(stay))
}

async fn received(app: &App, id: &str, mut form: Multipart, stay: bool) -> Result<Response, Nope> {
    let job = key(id)?;
    let mut hold = HoldForm::default();
    let mut sound = None;
    while let Some(field) = form.next_field().await.map_err(|error| broken(&error))? {
        match field.name().unwrap_or_default() {
            "id" => hold.id = field.text().await.map_err(|error| broken(&error))?,
            "turns" => hold.turns = field.text().await.map_err(|error| broken(&error))?,
            "sound" => sound = Some(kept_aside(field).await?),
            _ => {}
        }
    }
    let Some((file, name)) = sound else {
        return Err(Refusal::misused(
            "no recording came with the form",
            "choose a file, or drop one on the bench",
        )
        .into());
    };
    app.ask(move |workshop| workshop.keep_recording(job, &hold, file, &name)).await?;
    app.benches.changed(job).await;
    Ok(bench::answer(stay, job))
}

/// Writes an upload to a file without a name, block by block: a film of a hold may be large.
async fn kept_aside(mut field: Field<'_>) -> Result<(std::fs::File, String), Nope> {
    let failed = |error: std::io::Error| {
        Nope::from(Refusal::ours(
            format!("the recording could not be kept aside: {error}"),
            "make room on the disk, and send it again",
        ))
    };
    // Only the last part of the name: it is shown in sentences, and its ending tells the format.
    let name = field
        .file_name()
        .unwrap_or("the recording")
        .rsplit(['/', '\\'])
        .next()
        .unwrap_or_default()
        .to_string();
    let name = if name.is_empty() { "the recording".to_string() } else { name.chars().take(120).collect() };
    let mut file = tokio::fs::File::from_std(tempfile::tempfile().map_err(failed)?);
    while let Some(block) = field.chunk().await.map_err(|error| broken(&error))? {
        file.write_all(&block).await.map_err(failed)?;
    }
    file.flush().await.map_err(failed)?;
    let mut file = file.into_std().await;
    file.seek(SeekFrom::Start(0)).map_err(failed)?;
    Ok((file, name))
}

fn too_large() -> Nope {
    let limit = RECORDING_BYTES / (1024 * 1024);
    Nope::refused(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!("the recording is larger than {limit} MB"),
        "cut it to the 30 s of the hold",
    )
}

fn broken(error: &MultipartError) -> Nope {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return too_large();
    }
    Nope::refused(
        StatusCode::BAD_REQUEST,
        format!("the form broke off: {}", error.body_text()),
        "send it again",
    )
}
