//! Files that a browser sends: scans, books, whatever the command line reads.
//!
//! In: the body of a request, as it comes. Out: its number, by which the form names it. Written as it comes, so that
//! memory does not grow with it; what is too large is refused while it comes, and nothing of it is kept.

use std::sync::Arc;
use std::time::Duration;

use axum::Extension;
use axum::body::{Body, Bytes};
use axum::extract::Query;
use axum::http::StatusCode;
use axum::http::header::{self, HeaderMap};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use tokio::fs::File;
use tokio::io::AsyncWriteExt as _;
use tokio_stream::StreamExt as _;

use super::guard::refused;
use super::rooms::{Room, Upload};

/// A browser that sends nothing for this long has gone.
const SILENCE: Duration = Duration::from_secs(30);

/// What the browser says of a file.
#[derive(Deserialize)]
pub(super) struct Said {
    name: String,
}

const TOO_LARGE: &str = "This is more than the page takes: 4 GB and 50 files for one browser. Remove files, or use \
                         `lowspot check` in a terminal, which reads scans of any size.";

/// Takes one file, and answers with its number.
pub(super) async fn take(
    room: Option<Extension<Arc<Room>>>,
    Query(said): Query<Said>,
    headers: HeaderMap,
    body: Body,
) -> Response {
    let Some(Extension(room)) = room else {
        return no_room();
    };
    let announced = headers.get(header::CONTENT_LENGTH);
    let announced = announced.and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    let number = match room.place(&said.name) {
        Err(_) => Err(cannot_keep()),
        Ok(upload) if announced.is_some_and(|bytes| !upload.fits(bytes)) => Err(too_large()),
        Ok(upload) => receive(upload, body)
            .await
            .and_then(|upload| room.keep(upload).ok_or_else(too_large)),
    };
    match number {
        Ok(number) => number.to_string().into_response(),
        Err(refusal) => refusal,
    }
}

/// Writes the body into the file. Whatever comes of an upload that is cut short goes with it.
async fn receive(mut upload: Upload, body: Body) -> Result<Upload, Response> {
    let mut file = File::create_new(upload.path())
        .await
        .map_err(|_| cannot_keep())?;
    let mut blocks = body.into_data_stream();
    loop {
        let block = tokio::time::timeout(SILENCE, blocks.next()).await;
        let block: Bytes = match block {
            Ok(Some(Ok(block))) => block,
            Ok(None) => break,
            Ok(Some(Err(_))) | Err(_) => {
                return Err(refused(
                    StatusCode::REQUEST_TIMEOUT,
                    "The file did not come whole.",
                ));
            }
        };
        if !upload.grow(block.len() as u64) {
            return Err(too_large());
        }
        file.write_all(&block).await.map_err(|_| cannot_keep())?;
    }
    file.flush().await.map_err(|_| cannot_keep())?;
    Ok(upload)
}

/// Removes all files of the browser.
pub(super) async fn forget(room: Option<Extension<Arc<Room>>>) -> Response {
    match room {
        Some(Extension(room)) => {
            room.clear();
            StatusCode::NO_CONTENT.into_response()
        }
        None => no_room(),
    }
}

/// The browser's cookie is missing or of an earlier run.
pub(super) fn no_room() -> Response {
    refused(
        StatusCode::UNAUTHORIZED,
        "lowspot was started anew: load the page again.",
    )
}

fn too_large() -> Response {
    refused(StatusCode::PAYLOAD_TOO_LARGE, TOO_LARGE)
}

fn cannot_keep() -> Response {
    refused(
        StatusCode::INSUFFICIENT_STORAGE,
        "The file cannot be kept: is the disk of the machine that runs lowspot full?",
    )
}
