//! What the page is made of, inside the program.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use crate::tolerance;

/// A file of the page.
pub(super) struct Asset {
    pub(super) path: &'static str,
    kind: &'static str,
    content: &'static str,
}

macro_rules! asset {
    ($path:literal, $kind:literal, $file:literal) => {
        Asset {
            path: $path,
            kind: $kind,
            content: include_str!(concat!("assets/", $file)),
        }
    };
}

/// All of them.
pub(super) const ALL: &[Asset] = &[
    asset!("/", "text/html; charset=utf-8", "index.html"),
    asset!("/style.css", "text/css; charset=utf-8", "style.css"),
    asset!("/icon.svg", "image/svg+xml", "icon.svg"),
    asset!("/app.js", "text/javascript; charset=utf-8", "app.js"),
    asset!("/state.js", "text/javascript; charset=utf-8", "state.js"),
    asset!("/entry.js", "text/javascript; charset=utf-8", "entry.js"),
    asset!("/room.js", "text/javascript; charset=utf-8", "room.js"),
    asset!("/ask.js", "text/javascript; charset=utf-8", "ask.js"),
    asset!("/show.js", "text/javascript; charset=utf-8", "show.js"),
    asset!("/sheet.js", "text/javascript; charset=utf-8", "sheet.js"),
    asset!("/cards.js", "text/javascript; charset=utf-8", "cards.js"),
];

/// Invented compound sheets to begin with.
const SHEETS: [&str; 3] = [
    include_str!("../../sample-surveys/weavers-kitchen/compound.toml"),
    include_str!("../../sample-surveys/corner-studio/compound.toml"),
    include_str!("../../sample-surveys/loom-workshop/compound.toml"),
];

/// Sends a file of the page.
pub(super) async fn send(asset: &'static Asset) -> Response {
    let headers = [
        (header::CONTENT_TYPE, asset.kind),
        (header::CACHE_CONTROL, "no-cache"),
    ];
    (headers, asset.content).into_response()
}

/// The classes: name, title, standard.
pub(super) async fn classes() -> Response {
    let all: Vec<_> = tolerance::classes()
        .map(|class| [class.name, class.title, class.standard])
        .collect();
    as_json(&all)
}

/// The invented compound sheets.
pub(super) async fn sheets() -> Response {
    as_json(&SHEETS)
}

fn as_json(value: &impl Serialize) -> Response {
    let kind = [(header::CONTENT_TYPE, "application/json")];
    (kind, serde_json::to_string(value).unwrap_or_default()).into_response()
}
