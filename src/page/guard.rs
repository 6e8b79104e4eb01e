//! Who may ask: every request passes here first.
//!
//! In: a request. Out: the same with its [`Room`], or a refusal in words. Held here: the Host header (a page of another
//! name cannot be led here), the Origin of whatever writes (another page cannot write), the key on a local network, the
//! cookie of the room, and the headers that keep a browser from loading anything from elsewhere.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};

use axum::body::Bytes;
use axum::extract::{FromRequest, Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::rooms::{Room, token};
use super::{Invitation, Shared};

/// The cookie that holds the token of a room.
const COOKIE: &str = "lowspot";

/// How long a browser keeps it: a phone that is started anew on site is let in for as long as this lowspot runs.
const KEPT_S: u32 = 7 * 24 * 3600;

/// Told of every invitation.
type Invite = Box<dyn Fn(&Invitation) + Send + Sync>;

/// What a browser must know to come in.
pub(super) struct Door {
    address: SocketAddr,
    /// What the Host header may say.
    hosts: Vec<String>,
    /// The key that opens next; None: no key is needed.
    key: Option<Mutex<String>>,
    invite: Invite,
}

impl Door {
    pub(super) fn new(address: SocketAddr, keyed: bool, invite: Invite) -> Self {
        let port = address.port();
        let mut hosts = vec![address.to_string()];
        if address.ip().is_loopback() {
            hosts.push(format!("localhost:{port}"));
        }
        if port == 80 {
            let bare: Vec<_> = hosts
                .iter()
                .filter_map(|host| host.strip_suffix(":80").map(str::to_owned))
                .collect();
            hosts.extend(bare);
        }
        Self {
            address,
            hosts,
            key: keyed.then(|| Mutex::new(token())),
            invite,
        }
    }

    /// Tells where the page can be opened.
    pub(super) fn invite(&self) {
        let key = self.key.as_ref().map(|key| {
            let key = key.lock().unwrap_or_else(PoisonError::into_inner);
            format!("?key={}", *key)
        });
        (self.invite)(&Invitation {
            keyed: key.is_some(),
            url: format!("http://{}/{}", self.address, key.unwrap_or_default()),
        });
    }

    /// Whether `offered` is the key; it opens once, and the next one is told.
    fn unlock(&self, offered: Option<&str>) -> bool {
        let Some(key) = &self.key else {
            return true;
        };
        let mut key = key.lock().unwrap_or_else(PoisonError::into_inner);
        let fits = offered.is_some_and(|offered| same(offered, &key));
        if fits {
            *key = token();
            drop(key);
            self.invite();
        }
        fits
    }
}

/// Whether two texts are the same, in a time that does not tell how far.
fn same(a: &str, b: &str) -> bool {
    let differ = a
        .bytes()
        .zip(b.bytes())
        .fold(0, |differ, (a, b)| differ | (a ^ b));
    a.len() == b.len() && differ == 0
}

/// A refusal in words.
pub(super) fn refused(status: StatusCode, words: impl Into<String>) -> Response {
    (status, words.into()).into_response()
}

/// What was sent with a request, or a refusal in our words.
pub(super) struct Sent(pub(super) Bytes);

impl<S: Send + Sync> FromRequest<S> for Sent {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Self, Response> {
        let sent = Bytes::from_request(request, state).await;
        sent.map(Self).map_err(|rejection| {
            let words = match rejection.status() {
                StatusCode::PAYLOAD_TOO_LARGE => {
                    "A form of more than 4 MB: give the survey as a file instead.".to_owned()
                }
                _ => format!("The form did not come through: {rejection}."),
            };
            refused(rejection.status(), words)
        })
    }
}

/// Lets a request through with its room, or refuses it.
pub(super) async fn guard(
    State(shared): State<Arc<Shared>>,
    mut request: Request,
    next: Next,
) -> Response {
    let mut response = match admit(&shared, &request) {
        Ok((room, cookie)) => {
            if let Some(room) = room {
                request.extensions_mut().insert(room);
            }
            let mut response = next.run(request).await;
            if let Some(cookie) = cookie {
                response.headers_mut().insert(header::SET_COOKIE, cookie);
            }
            response
        }
        Err(refusal) => refusal,
    };
    secure(response.headers_mut());
    response
}

/// The room of a request, and the cookie of a new one.
type Admitted = (Option<Arc<Room>>, Option<HeaderValue>);

fn admit(shared: &Shared, request: &Request) -> Result<Admitted, Response> {
    let headers = request.headers();
    let door = &shared.door;
    if !host_is_ours(door, request) {
        return Err(refused(
            StatusCode::FORBIDDEN,
            "This page answers only under the address that the terminal shows.",
        ));
    }
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if !reads && !origin_is_ours(door, headers) {
        return Err(refused(
            StatusCode::FORBIDDEN,
            "Only the page itself may send anything here.",
        ));
    }
    if let Some(room) = cookie(headers).and_then(|token| shared.rooms.open(token)) {
        return Ok((Some(room), None));
    }
    let front = reads && request.uri().path() == "/";
    if front && door.unlock(key(request)) {
        let (token, room) = shared.rooms.add();
        let cookie =
            format!("{COOKIE}={token}; Path=/; Max-Age={KEPT_S}; HttpOnly; SameSite=Strict");
        return Ok((Some(room), HeaderValue::from_str(&cookie).ok()));
    }
    if door.key.is_some() {
        return Err(refused(
            StatusCode::FORBIDDEN,
            "No key, or one that is spent: open the newest address that the terminal shows. Each opens one browser.",
        ));
    }
    Ok((None, None))
}

fn host_is_ours(door: &Door, request: &Request) -> bool {
    let ours = |host: &str| door.hosts.iter().any(|one| one.eq_ignore_ascii_case(host));
    let mut named = request.headers().get_all(header::HOST).iter();
    let host = named.next().and_then(|host| host.to_str().ok());
    let authority = request.uri().authority();
    named.next().is_none()
        && host.is_some_and(ours)
        && authority.is_none_or(|authority| ours(authority.as_str()))
}

fn origin_is_ours(door: &Door, headers: &HeaderMap) -> bool {
    let origin = headers
        .get(header::ORIGIN)
        .and_then(|origin| origin.to_str().ok());
    let host = origin.and_then(|origin| origin.strip_prefix("http://"));
    let site = headers.get("sec-fetch-site");
    host.is_some_and(|host| door.hosts.iter().any(|one| one.eq_ignore_ascii_case(host)))
        && site.is_none_or(|site| site == "same-origin")
}

/// The token in the cookie.
fn cookie(headers: &HeaderMap) -> Option<&str> {
    let cookies = headers.get_all(header::COOKIE).iter();
    let mut pairs = cookies
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .filter_map(|pair| pair.trim().split_once('='));
    pairs
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, token)| token)
}

/// The key in the address.
fn key(request: &Request) -> Option<&str> {
    let mut pairs = request
        .uri()
        .query()?
        .split('&')
        .filter_map(|pair| pair.split_once('='));
    pairs.find(|(name, _)| *name == "key").map(|(_, key)| key)
}

/// What every answer says to the browser about itself.
fn secure(headers: &mut HeaderMap) {
    const SAID: [(HeaderName, &str); 6] = [
        (
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; \
             manifest-src 'self'; frame-src blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        ),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
    ];
    for (name, value) in SAID {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
}
