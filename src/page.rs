//! The local web page: a floor typed in or dropped as files, answered by the same pipeline as the command line.
//!
//! In: requests of a browser on this machine or, with a key, on the local network. Out: the page, and the documents of
//! `--json` with their maps and summaries. A form becomes a job file (`form.rs`), which is run as `--job` would be
//! (`answer.rs`); nothing is worked out here.
//! What a browser sends is kept in a private temporary folder, one for each browser, and removed when serving ends
//! (`rooms.rs`). No name in a request is ever opened as a path.

#![allow(
    clippy::result_large_err,
    reason = "a refusal is an HTTP response, made once"
)]

mod answer;
mod assets;
mod bundle;
mod form;
mod guard;
mod rooms;
mod upload;
mod work;

use std::future::Future;
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};

use crate::error::{Error, Result};
use guard::Door;
use rooms::Rooms;
use work::Benches;

/// The port where nobody says.
pub const USUAL_PORT: u16 = 4477;

/// More connections than this wait.
const MOST_CONNECTIONS: usize = 256;

/// A browser that has not sent the head of its request after this long is let go.
const PATIENCE: Duration = Duration::from_secs(15);

/// How long requests may take to end when serving ends.
const GRACE: Duration = Duration::from_secs(2);

/// A form longer than this is no floor, bytes.
const LONGEST_FORM: usize = 4 << 20;

/// Where to serve.
#[derive(Debug, Clone, Copy)]
pub struct Site {
    /// The address to listen on.
    pub address: IpAddr,
    /// The port; None: [`USUAL_PORT`], or a free one where that is taken.
    pub port: Option<u16>,
    /// Whether a browser must first show a key.
    pub keyed: bool,
}

impl Site {
    /// This machine alone.
    pub const LOOPBACK: Self = Self {
        address: IpAddr::V4(Ipv4Addr::LOCALHOST),
        port: None,
        keyed: false,
    };
}

/// Where the page can be opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invitation {
    /// The address, with the key if one is needed.
    pub url: String,
    /// Whether the address holds a key, which opens the page once: the next browser gets the next invitation.
    pub keyed: bool,
}

/// What all requests share.
struct Shared {
    rooms: Rooms,
    door: Door,
    benches: Benches,
}

/// The address of this machine on the local network, as the system would choose it. Nothing is sent.
pub fn lan_address() -> Option<IpAddr> {
    // An address set aside for documentation: connecting a UDP socket only looks up the way there.
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    let address = socket.local_addr().ok()?.ip();
    (!address.is_loopback() && !address.is_unspecified()).then_some(address)
}

/// Serves the page until SIGINT or SIGTERM. `invite` is told where it can be opened, and anew when a key is spent.
///
/// # Errors
/// [`Error::Argument`] for a port that is taken or an address that is not this machine's; [`Error::Write`] without a
/// temporary folder.
pub fn serve(site: &Site, invite: impl Fn(&Invitation) + Send + Sync + 'static) -> Result<()> {
    let fail = |source| Error::Write {
        file: "a temporary folder".to_owned(),
        source,
    };
    let (rooms, folder) = Rooms::new().map_err(fail)?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(fail)?;
    let served = runtime.block_on(async {
        let listener = listen(site).await?;
        let address = listener.local_addr().map_err(|error| taken(site, &error))?;
        let shared = Arc::new(Shared {
            rooms,
            door: Door::new(address, site.keyed, Box::new(invite)),
            benches: Benches::new(),
        });
        shared.door.invite();
        accept(&listener, &routes(shared), ended()).await;
        Ok(())
    });
    // A scan that is still being read is not waited for.
    runtime.shutdown_timeout(Duration::ZERO);
    folder.remove().map_err(fail)?;
    served
}

async fn listen(site: &Site) -> Result<TcpListener> {
    let at = |port| TcpListener::bind(SocketAddr::new(site.address, port));
    let listener = match site.port {
        Some(port) => at(port).await,
        None => match at(USUAL_PORT).await {
            Err(error) if error.kind() == io::ErrorKind::AddrInUse => at(0).await,
            other => other,
        },
    };
    listener.map_err(|error| taken(site, &error))
}

fn taken(site: &Site, error: &io::Error) -> Error {
    let port = site.port.unwrap_or(USUAL_PORT);
    let found = format!("{}, port {port}: {error}", site.address);
    Error::argument(
        "serve",
        found,
        "an address of this machine and a --port that is free",
    )
}

fn routes(shared: Arc<Shared>) -> Router {
    let pages = assets::ALL.iter().fold(Router::new(), |router, asset| {
        router.route(asset.path, get(move || assets::send(asset)))
    });
    pages
        .route("/classes.json", get(assets::classes))
        .route("/sheets.json", get(assets::sheets))
        .route(
            "/answer",
            post(work::answer).layer(DefaultBodyLimit::max(LONGEST_FORM)),
        )
        .route(
            "/handover",
            post(bundle::send).layer(DefaultBodyLimit::max(LONGEST_FORM)),
        )
        .route(
            "/upload",
            post(upload::take).layer(DefaultBodyLimit::disable()),
        )
        .route("/forget", post(upload::forget))
        .layer(middleware::from_fn_with_state(shared.clone(), guard::guard))
        .with_state(shared)
}

/// Takes connections until `ended`, then lets those that are open come to their end.
async fn accept(listener: &TcpListener, routes: &Router, ended: impl Future<Output = ()>) {
    let (stop, stopped) = watch::channel(());
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    tokio::pin!(ended);
    loop {
        let place = tokio::select! {
            place = room.clone().acquire_owned() => place,
            () = &mut ended => break,
        };
        let connection = tokio::select! {
            connection = listener.accept() => connection,
            () = &mut ended => break,
        };
        match (connection, place) {
            (Ok((stream, _)), Ok(place)) => {
                let (routes, stopped) = (routes.clone(), stopped.clone());
                tokio::spawn(async move {
                    converse(stream, routes, stopped).await;
                    drop(place);
                });
            }
            // Out of sockets, say: what is open has to end first.
            (Err(_), _) | (_, Err(_)) => tokio::time::sleep(Duration::from_millis(50)).await,
        }
    }
    drop(stopped);
    let _ = stop.send(());
    let _ = tokio::time::timeout(GRACE, stop.closed()).await;
}

/// One connection. An error in it is the browser's to see.
async fn converse(stream: TcpStream, routes: Router, mut stopped: watch::Receiver<()>) {
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(PATIENCE)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(routes));
    tokio::pin!(connection);
    tokio::select! {
        _ = connection.as_mut() => {}
        _ = stopped.changed() => {
            connection.as_mut().graceful_shutdown();
            let _ = connection.await;
        }
    }
}

/// SIGINT, or SIGTERM where there is one.
async fn ended() {
    let interrupted = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! {
                () = interrupted => {}
                _ = terminated.recv() => {}
            }
            return;
        }
    }
    interrupted.await;
}
