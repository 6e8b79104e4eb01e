//! The handover of a form, as one file to take away.
//!
//! In: a form. Out: a ZIP archive of what `lowspot handover` writes, with no clock in it.

use std::io::{self, Cursor, Write as _};
use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use zip::write::SimpleFileOptions;
use zip::{DateTime, ZipWriter};

use super::Shared;
use super::answer::without_folders;
use super::form::Form;
use super::guard::{Sent, refused};
use super::rooms::Room;
use super::upload::no_room;
use crate::error::{Error, Result};
use crate::handover;
use crate::output::bundle;

/// Makes the handover and sends it. There is no progress to tell: the floor has been answered before.
pub(super) async fn send(
    State(shared): State<Arc<Shared>>,
    room: Option<Extension<Arc<Room>>>,
    Sent(form): Sent,
) -> Response {
    let Some(Extension(room)) = room else {
        return no_room();
    };
    let form = match Form::read(&form) {
        Ok(form) => form,
        Err(error) => return refused(StatusCode::UNPROCESSABLE_ENTITY, error.to_string()),
    };
    let Some(place) = shared.benches.place(&form).await else {
        return refused(StatusCode::SERVICE_UNAVAILABLE, "lowspot is ending.");
    };
    let made = tokio::task::spawn_blocking(move || {
        let made = archive(form, &room);
        drop(place);
        made
    });
    match made.await {
        Ok(Ok(bytes)) => {
            let kind = (header::CONTENT_TYPE, "application/zip");
            let name = "attachment; filename=\"handover.zip\"";
            ([kind, (header::CONTENT_DISPOSITION, name)], bytes).into_response()
        }
        Ok(Err(reason)) => refused(StatusCode::UNPROCESSABLE_ENTITY, reason),
        Err(_) => refused(
            StatusCode::INTERNAL_SERVER_ERROR,
            "This floor stopped lowspot.",
        ),
    }
}

/// The archive, or in words what stands against it.
fn archive(form: Form, room: &Room) -> std::result::Result<Vec<u8>, String> {
    let desk = form.lay_out(room).map_err(|error| error.to_string())?;
    let made = handover::handover(&desk.job, desk.units, &|_, _| {})
        .and_then(|found| zipped(&bundle::files(&found, desk.units)?));
    made.map_err(|error| without_folders(&error.to_string(), &desk))
}

fn zipped(files: &[(String, Vec<u8>)]) -> Result<Vec<u8>> {
    let fail = |source: io::Error| Error::Write {
        file: "handover.zip".to_owned(),
        source,
    };
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().last_modified_time(DateTime::default());
    for (name, bytes) in files {
        let begun = archive.start_file(name.as_str(), options);
        begun.map_err(|error| fail(error.into()))?;
        archive.write_all(bytes).map_err(fail)?;
    }
    let done = archive.finish().map_err(|error| fail(error.into()))?;
    Ok(done.into_inner())
}
