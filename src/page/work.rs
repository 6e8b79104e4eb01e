//! Forms are answered one after another, a few at a time, while the page is told how far it has got.
//!
//! In: a form. Out: lines of JSON as they come: `{"read": 65536, "of": 2000000}` while a scan is read, and last
//! `{"answer": ...}`. A form whose browser has gone before its turn is not answered at all.

use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use axum::Extension;
use axum::body::Body;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::{self, HeaderMap};
use axum::response::{IntoResponse, Response};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;

use super::Shared;
use super::answer::{answer as answer_to, problem};
use super::form::Form;
use super::guard::{Sent, refused};
use super::rooms::Room;
use super::upload::no_room;
use crate::error::Error;

/// How often the page is told how far a scan is read.
const OFTEN: Duration = Duration::from_millis(200);

/// Where forms are worked on: typed readings are quick and never wait for files, which may be slow.
pub(super) struct Benches {
    typed: Arc<Semaphore>,
    files: Arc<Semaphore>,
}

impl Benches {
    /// A bench a core for typed readings, one for files: a scan takes all cores by itself.
    pub(super) fn new() -> Self {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        Self {
            typed: Arc::new(Semaphore::new(cores)),
            files: Arc::new(Semaphore::new(1)),
        }
    }

    /// A place to work at, when there is one.
    pub(super) async fn place(&self, form: &Form) -> Option<OwnedSemaphorePermit> {
        let bench = if form.asks_about_files() {
            &self.files
        } else {
            &self.typed
        };
        bench.clone().acquire_owned().await.ok()
    }
}

/// Answers a form.
pub(super) async fn answer(
    State(shared): State<Arc<Shared>>,
    room: Option<Extension<Arc<Room>>>,
    headers: HeaderMap,
    Sent(form): Sent,
) -> Response {
    let Some(Extension(room)) = room else {
        return no_room();
    };
    let kind = headers
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok());
    if kind.is_none_or(|kind| !kind.starts_with("application/json")) {
        return refused(StatusCode::UNSUPPORTED_MEDIA_TYPE, "A form is JSON.");
    }
    let (lines, told) = mpsc::channel(16);
    tokio::spawn(async move {
        let line = match Form::read(&form) {
            Ok(form) => work(&shared, room, form, &lines).await,
            Err(error) => Some(problem(&error)),
        };
        if let Some(line) = line {
            let _ = lines.send(format!("{{\"answer\":{line}}}\n")).await;
        }
    });
    let body = ReceiverStream::new(told).map(Ok::<_, Infallible>);
    let kind = [(header::CONTENT_TYPE, "application/x-ndjson")];
    (kind, Body::from_stream(body)).into_response()
}

/// The answer; None where nobody waits for it any more.
async fn work(
    shared: &Shared,
    room: Arc<Room>,
    form: Form,
    lines: &mpsc::Sender<String>,
) -> Option<String> {
    let place = tokio::select! {
        place = shared.benches.place(&form) => place?,
        () = lines.closed() => return None,
    };
    let told = lines.clone();
    let worked = tokio::task::spawn_blocking(move || {
        let meter = Meter::new(told);
        let desk = form.lay_out(&room);
        let answer = match &desk {
            Ok(desk) => answer_to(desk, &|points, of| meter.more(points, of)),
            Err(error) => problem(error),
        };
        drop(place);
        answer
    });
    let lost = || {
        problem(&Error::floor(
            "a floor that stopped lowspot",
            "a report of it, with the files",
        ))
    };
    Some(worked.await.unwrap_or_else(|_| lost()))
}

/// Tells how many points have been read.
struct Meter {
    lines: mpsc::Sender<String>,
    started: Instant,
    read: AtomicU64,
    told: AtomicU64,
}

impl Meter {
    fn new(lines: mpsc::Sender<String>) -> Self {
        Self {
            lines,
            started: Instant::now(),
            read: AtomicU64::new(0),
            told: AtomicU64::new(0),
        }
    }

    /// `points` more, `of` so many in all.
    fn more(&self, points: u64, of: Option<u64>) {
        let read = self.read.fetch_add(points, Ordering::Relaxed) + points;
        let now = self.started.elapsed().as_millis() as u64 / OFTEN.as_millis() as u64;
        if self.told.fetch_max(now, Ordering::Relaxed) < now {
            let of = of.map_or_else(|| "null".to_owned(), |of| of.to_string());
            // A page that does not keep up misses a line.
            let _ = self
                .lines
                .try_send(format!("{{\"read\":{read},\"of\":{of}}}\n"));
        }
    }
}
