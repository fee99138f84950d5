//! The live page and its interface, on a runtime of its own.
//!
//! It only reads what the core thread publishes and hands marks to the ingest; nothing it does,
//! however slow its readers, can hold up the sample path.

mod access;
mod api;
mod assets;
mod changes;
pub mod fuzz;
mod metrics;
mod seats;
mod socket;
mod stream;

use crate::outputs::Horn;
use crate::progress::count;
use crate::publish::Published;
use access::{Access, Refusal};
use axum::Router;
use axum::body::{Bytes, HttpBody};
use axum::extract::connect_info::Connected;
use axum::extract::{ConnectInfo, FromRequestParts, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header, request::Parts};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::serve::IncomingStream;
use kerfwatch::input::Mark;
use seats::Seat;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{broadcast, mpsc, watch};
use tokio_util::sync::CancellationToken;

/// How long a reader may take nothing, or ask for nothing, before its connection is closed.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// Shortest token taken: 16 random characters cannot be guessed at ten tries in ten seconds.
pub const TOKEN_CHARS_MIN: usize = 16;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
     connect-src 'self'; font-src 'self'; manifest-src 'self'; base-uri 'none'; \
     form-action 'none'; frame-ancestors 'none'";

/// What a page needs.
#[derive(Debug)]
pub struct PageConfig {
    /// Address to listen on; port 0 takes any free one.
    pub listen: String,
    /// Token for changes, and for reading from elsewhere than loopback.
    pub token: Option<String>,
    /// Host names of a reverse proxy that are ours.
    pub names: Vec<String>,
    /// How long a reader may take nothing, or ask for nothing, before its connection is closed.
    pub patience: Duration,
}

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PageError {
    /// Not an address.
    #[error("page: `{listen}` is not an address to listen on; write for instance 127.0.0.1:8760")]
    Address {
        /// As given.
        listen: String,
    },
    /// Beyond loopback without a token.
    #[error(
        "page: {listen} can be reached from other machines, which needs a token: set `token_env` in [page] and that variable, or listen on 127.0.0.1"
    )]
    NoToken {
        /// As given.
        listen: SocketAddr,
    },
    /// Behind a reverse proxy without a token: nobody could look at it.
    #[error(
        "page: --name {name} is for readers on other machines, which need a token: set `token_env` in [page] and that variable, or leave --name out"
    )]
    NameWithoutToken {
        /// As given.
        name: String,
    },
    /// Too easy to guess.
    #[error(
        "page: the token has {chars} characters, at least {TOKEN_CHARS_MIN} are needed; make one with: openssl rand -hex 16"
    )]
    ShortToken {
        /// How many it has.
        chars: usize,
    },
    /// The port is taken, or the address is not ours.
    #[error("page: cannot listen on {listen}: {source}; {}", what_to_do(*listen, source.kind()))]
    Bind {
        /// As given.
        listen: SocketAddr,
        /// Why.
        source: std::io::Error,
    },
}

/// The remedy where the page cannot listen. A daemon that was left running is the likeliest reason, and a second
/// one on the same instruments the wrong answer to it.
fn what_to_do(listen: SocketAddr, kind: std::io::ErrorKind) -> String {
    match kind {
        std::io::ErrorKind::AddrInUse => format!(
            "look at http://{listen}/ whether kerfwatchd runs already (`pgrep -a kerfwatchd` names it, `kill` ends it in order); else choose another port with --listen"
        ),
        _ => "choose another address with --listen".to_owned(),
    }
}

/// Shared by all requests.
#[derive(Debug)]
pub(crate) struct Server {
    pub(crate) published: Arc<Published>,
    pub(crate) access: Access,
    pub(crate) events: broadcast::Sender<Bytes>,
    pub(crate) marks: mpsc::Sender<Mark>,
    /// The overpull guard speaks here first.
    pub(crate) horn: watch::Receiver<Horn>,
    pub(crate) stop: CancellationToken,
}

impl Server {
    fn send(&self, event: Bytes) {
        // No reader is no fault.
        let _ = self.events.send(event);
    }

    fn may_change(&self, peer: SocketAddr, headers: &HeaderMap) -> Result<(), Box<Response>> {
        self.access
            .may_change(peer, headers)
            .map_err(|refusal| Box::new(self.refuse(peer, refusal)))
    }

    fn refuse(&self, peer: SocketAddr, refusal: Refusal) -> Response {
        count(&self.published.progress.refused);
        tracing::warn!(target: "kerfwatchd::audit", %peer, %refusal, "refused");
        let status = match refusal {
            Refusal::Missing | Refusal::Wrong => StatusCode::UNAUTHORIZED,
            Refusal::NoToken | Refusal::Origin => StatusCode::FORBIDDEN,
            Refusal::Host => StatusCode::MISDIRECTED_REQUEST,
            Refusal::Rate => StatusCode::TOO_MANY_REQUESTS,
        };
        failure(status, &refusal.to_string())
    }
}

/// An error as JSON: `{"error": "what, and what to do"}`.
fn failure(status: StatusCode, text: &str) -> Response {
    (status, axum::Json(serde_json::json!({"error": text}))).into_response()
}

/// The connection that a request came by.
#[derive(Debug, Clone)]
pub(crate) struct Connection {
    peer: SocketAddr,
    pub(crate) seat: Arc<Seat>,
}

impl Connected<IncomingStream<'_, socket::PatientListener>> for Connection {
    fn connect_info(stream: IncomingStream<'_, socket::PatientListener>) -> Self {
        Self {
            peer: *stream.remote_addr(),
            seat: stream.io().seat(),
        }
    }
}

impl<S: Sync> FromRequestParts<S> for Connection {
    type Rejection = StatusCode;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, StatusCode> {
        parts
            .extensions
            .get::<ConnectInfo<Self>>()
            .map(|info| info.0.clone())
            .ok_or(StatusCode::INTERNAL_SERVER_ERROR)
    }
}

/// The other end of the connection.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Peer(pub(crate) SocketAddr);

impl<S: Sync> FromRequestParts<S> for Peer {
    type Rejection = StatusCode;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, StatusCode> {
        let connection = Connection::from_request_parts(parts, state).await?;
        Ok(Self(connection.peer))
    }
}

impl PageConfig {
    /// The address to listen on, if the rules allow it: what can be reached from elsewhere needs a token. Opens nothing.
    pub async fn allowed(&self) -> Result<SocketAddr, PageError> {
        let listen = tokio::net::lookup_host(&self.listen)
            .await
            .ok()
            .and_then(|mut found| found.next())
            .ok_or_else(|| PageError::Address {
                listen: self.listen.clone(),
            })?;
        match &self.token {
            Some(token) if token.trim().chars().count() < TOKEN_CHARS_MIN => {
                return Err(PageError::ShortToken {
                    chars: token.trim().chars().count(),
                });
            }
            None if !access::is_loopback(listen.ip()) => {
                return Err(PageError::NoToken { listen });
            }
            None => {
                if let Some(name) = self.names.first() {
                    return Err(PageError::NameWithoutToken { name: name.clone() });
                }
            }
            Some(_) => {}
        }
        Ok(listen)
    }
}

/// A page that listens but does not answer yet.
#[derive(Debug)]
pub struct Page {
    listener: std::net::TcpListener,
    config: PageConfig,
    /// Where it listens.
    pub address: SocketAddr,
}

impl Page {
    /// Checks the rules and opens the port. Nothing is served before [`Page::serve`].
    pub async fn bind(config: PageConfig) -> Result<Self, PageError> {
        let listen = config.allowed().await?;
        let failed = |source| PageError::Bind { listen, source };
        // A plain socket: the page is served by the runtime of another thread.
        let listener = TcpListener::bind(listen)
            .await
            .and_then(TcpListener::into_std)
            .map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        Ok(Self {
            listener,
            config,
            address,
        })
    }

    /// Serves until `stop`.
    pub async fn serve(
        self,
        published: Arc<Published>,
        marks: mpsc::Sender<Mark>,
        horn: watch::Receiver<Horn>,
        stop: CancellationToken,
    ) -> std::io::Result<()> {
        let progress = Arc::clone(&published.progress);
        let server = Arc::new(Server {
            published,
            access: Access::new(self.config.token.as_deref(), self.config.names),
            events: broadcast::Sender::new(stream::BACKLOG),
            marks,
            horn,
            stop: stop.clone(),
        });
        let broadcaster = tokio::spawn(stream::broadcaster(Arc::clone(&server), stop.clone()));
        let listener = TcpListener::from_std(self.listener)?;
        let listener = socket::PatientListener::new(listener, progress, self.config.patience);
        let service = routes(server).into_make_service_with_connect_info::<Connection>();
        let ended = stop.clone();
        let serving = axum::serve(listener, service)
            .with_graceful_shutdown(async move { ended.cancelled().await });
        tokio::select! {
            result = serving.into_future() => result?,
            // A reader that takes nothing must not hold up the end of the run.
            () = async { stop.cancelled().await; tokio::time::sleep(Duration::from_millis(500)).await } => {}
        }
        broadcaster.abort();
        Ok(())
    }
}

fn routes(server: Arc<Server>) -> Router {
    let api = Router::new()
        .route("/api/v1/job", get(api::job))
        .route("/api/v1/snapshot", get(api::snapshot))
        .route("/api/v1/result", get(api::result))
        .route("/api/v1/history", get(api::history))
        .route("/api/v1/stream", get(api::stream))
        .route("/api/v1/marks", get(api::marks).post(changes::post_mark))
        .route("/api/v1/alarms", get(api::alarms))
        .route("/api/v1/alarms/{kind}/{action}", post(changes::alarm))
        .route("/metrics", get(metrics::metrics))
        .layer(middleware::from_fn_with_state(
            Arc::clone(&server),
            may_look,
        ));
    Router::new()
        .merge(api)
        .route(
            "/api/v1/session",
            post(changes::sign_in).delete(changes::sign_out),
        )
        .route("/healthz", get(api::healthz))
        .route("/openapi.json", get(api::openapi))
        .fallback(get(assets::serve))
        .layer(axum::extract::DefaultBodyLimit::max(16 * 1024))
        .layer(middleware::from_fn(security_headers))
        .layer(middleware::from_fn(seated))
        .with_state(server)
}

async fn may_look(
    State(server): State<Arc<Server>>,
    peer: Peer,
    request: Request,
    next: Next,
) -> Response {
    match server.access.may_look(peer.0, request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refusal) => server.refuse(peer.0, refusal),
    }
}

/// Tells the connection what it is doing.
async fn seated(connection: Connection, request: Request, next: Next) -> Response {
    connection.seat.is_asked(request.body().is_end_stream());
    let response = next.run(request).await;
    connection.seat.has_answered();
    response
}

async fn security_headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let mut set = |name, value| headers.insert(name, HeaderValue::from_static(value));
    set(header::CONTENT_SECURITY_POLICY, POLICY);
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::X_FRAME_OPTIONS, "DENY");
    set(header::REFERRER_POLICY, "no-referrer");
    let same = HeaderValue::from_static("same-origin");
    headers.insert("cross-origin-opener-policy", same.clone());
    headers.insert("cross-origin-resource-policy", same);
    response
}
