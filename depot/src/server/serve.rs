//! The socket: accepts connections, bounds how long a request's head may take, ends gracefully.

use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::Duration;

use axum::Router;
use axum::http::Request;
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::{mpsc as mpsc_async, oneshot, watch};
use tokio_rustls::TlsAcceptor;

use super::limits::Connections;
use super::peer::{Caller, Peer};
use super::tls::Encryption;
use super::{Depot, Settings, app, claim, on_disk};

/// A client that has not sent a request's head in this time, or has not settled on a TLS key, is let go.
const HEAD_IN: Duration = Duration::from_secs(20);
/// Most headers of a request, and most bytes of its head; hyper looks after each read, so up to twice as many get through.
const MOST_HEADERS: usize = 64;
const MOST_HEAD_BYTES: usize = 64 * 1024;
/// How long requests under way may go on once the depot is asked to stop.
const GRACE: Duration = Duration::from_secs(10);
/// How often uploads that nobody continues are looked for.
const SWEEP_EVERY: Duration = Duration::from_secs(3600);

/// A depot that runs on threads of its own until it is stopped or dropped.
#[derive(Debug)]
pub struct RunningDepot {
    address: SocketAddr,
    key_sha256: Option<Sha256Hex>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl RunningDepot {
    /// Where it answers, for example `http://127.0.0.1:8470`; https where it speaks TLS.
    pub fn url(&self) -> String {
        url_of(self.address, self.key_sha256.is_some())
    }

    /// SHA-256 of its public key, which devices learn when they are enrolled; none where it speaks plain HTTP.
    pub fn key_sha256(&self) -> Option<Sha256Hex> {
        self.key_sha256
    }

    /// The bound address.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Stops accepting, lets requests under way end (uploads save what came), and waits for that.
    pub fn stop(mut self) {
        self.end();
    }

    /// Waits until it ends by itself, which it does on Ctrl-C or SIGTERM where `until_signal` was asked for.
    pub fn wait(mut self) {
        if let Some(thread) = self.thread.take() {
            // A panic of the thread was reported by the panic hook already.
            let _ = thread.join();
        }
    }

    fn end(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Drop for RunningDepot {
    fn drop(&mut self) {
        self.end();
    }
}

fn url_of(address: SocketAddr, tls: bool) -> String {
    format!("{}://{address}", if tls { "https" } else { "http" })
}

/// Starts a depot on `data` and answers once it listens. `until_signal` ends it on Ctrl-C or SIGTERM.
///
/// # Errors
/// `data_in_use`, `address_in_use`, `bad_certificate`, and what [`Depot::open`] gives.
pub fn start(data: &Path, listen: SocketAddr, settings: Settings, until_signal: bool) -> Result<RunningDepot, CoreError> {
    let claim = claim(data)?;
    let encryption = settings.tls.prepare(data, listen.ip(), (settings.now)())?;
    let key_sha256 = encryption.as_ref().map(|encryption| encryption.key_sha256);
    let depot = Depot::open(data, settings)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(|cause| {
        CoreError::new(ErrorKind::Internal, "no_threads", "the depot's threads could not be started", "try again").because(cause)
    })?;
    let (ready, is_ready) = mpsc::channel();
    let (stop, stopped) = oneshot::channel();
    let data = data.to_owned();
    let thread = std::thread::Builder::new()
        .name("depot".into())
        .spawn(move || {
            runtime.block_on(run(depot, data, listen, encryption, until_signal, stopped, &ready));
            // Blocking work that is left (a page's small picture) must not hold the end up.
            runtime.shutdown_timeout(Duration::from_secs(2));
            drop(claim);
        })
        .map_err(|cause| {
            CoreError::new(ErrorKind::Internal, "no_threads", "the depot's thread could not be started", "try again").because(cause)
        })?;
    let address = is_ready.recv().map_err(|cause| {
        CoreError::new(ErrorKind::Internal, "no_start", "the depot ended before it listened", "look at its log").because(cause)
    })??;
    Ok(RunningDepot { address, key_sha256, stop: Some(stop), thread: Some(thread) })
}

async fn run(
    depot: Depot,
    data: PathBuf,
    listen: SocketAddr,
    encryption: Option<Encryption>,
    until_signal: bool,
    stopped: oneshot::Receiver<()>,
    ready: &mpsc::Sender<Result<SocketAddr, CoreError>>,
) {
    let hang_ups = (until_signal && encryption.is_some()).then(hang_ups);
    let bound = async {
        let listener = TcpListener::bind(listen).await.map_err(|cause| {
            CoreError::refused("address_in_use", format!("the depot cannot listen on {listen}"), "choose another address with --listen")
                .because(cause)
        })?;
        let address = listener.local_addr().map_err(|cause| {
            CoreError::new(ErrorKind::Internal, "no_address", "the depot cannot tell its address", "try again").because(cause)
        })?;
        // What enrolment codes will hold.
        let key = encryption.as_ref().map(|encryption| encryption.key_sha256.to_string());
        depot.archive().remember("address", url_of(address, key.is_some())).await?;
        depot.archive().remember("key_sha256", key.unwrap_or_default()).await?;
        depot.sweep().await?;
        if !depot.archive().any_person().await? {
            tracing::info!("nobody may sign in yet; the first owner: gritbook people add --data DIR --name NAME --role owner");
        }
        Ok((listener, address))
    };
    let listener = match bound.await {
        Ok((listener, address)) => {
            let _ = ready.send(Ok(address));
            listener
        }
        Err(error) => {
            let _ = ready.send(Err(error));
            return;
        }
    };
    let sweeper = tokio::spawn({
        let depot = depot.clone();
        async move {
            loop {
                tokio::time::sleep(SWEEP_EVERY).await;
                if let Err(error) = depot.sweep().await {
                    tracing::warn!(%error, "old uploads could not be given up");
                }
            }
        }
    });
    let (tls, in_use) = watch::channel(encryption.as_ref().map(|encryption| encryption.acceptor.clone()));
    let renewer = encryption
        .zip(hang_ups)
        .map(|(encryption, asked)| tokio::spawn(renew(depot.clone(), data, listen.ip(), encryption.key_sha256, tls, asked)));
    let connections = accept(&depot, listener, in_use, until_signal, stopped).await;
    sweeper.abort();
    if let Some(renewer) = renewer {
        renewer.abort();
    }
    depot.stop();
    if tokio::time::timeout(GRACE, connections.shutdown()).await.is_err() {
        tracing::warn!("some requests were still under way at the end");
    }
}

/// On SIGHUP: the certificate as it lies there now, for connections from then on; those that are open go on. Another key
/// would be another depot to its devices, so that one is not taken before a restart.
async fn renew(
    depot: Depot,
    data: PathBuf,
    listen: IpAddr,
    key: Sha256Hex,
    tls: watch::Sender<Option<TlsAcceptor>>,
    mut asked: mpsc_async::Receiver<()>,
) {
    while asked.recv().await.is_some() {
        let (settings, data, now) = (depot.settings().tls.clone(), data.clone(), depot.now());
        match on_disk(move || settings.prepare(&data, listen, now)).await {
            Ok(Some(fresh)) if fresh.key_sha256 == key => {
                tls.send_replace(Some(fresh.acceptor));
                tracing::info!("the certificate was read anew");
            }
            Ok(_) => tracing::warn!("the certificate is of another key: stop the depot and start it to change keys"),
            Err(error) => tracing::warn!(%error, "the certificate could not be read anew; the one of before goes on"),
        }
    }
}

/// A word for each SIGHUP from now on. Asked for before the depot says that it is ready: until then the signal would end it.
fn hang_ups() -> mpsc_async::Receiver<()> {
    let (told, asked) = mpsc_async::channel(1);
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut signals) = signal(SignalKind::hangup()) {
            tokio::spawn(async move {
                // One that comes while another waits asks for the same.
                while signals.recv().await.is_some() && !told.is_closed() {
                    let _ = told.try_send(());
                }
            });
        }
    }
    #[cfg(not(unix))]
    drop(told);
    asked
}

async fn accept(
    depot: &Depot,
    listener: TcpListener,
    tls: watch::Receiver<Option<TlsAcceptor>>,
    until_signal: bool,
    stopped: oneshot::Receiver<()>,
) -> GracefulShutdown {
    let app = app(depot.clone());
    let (connections, open) = (GracefulShutdown::new(), Connections::default());
    let mut server = http1::Builder::new();
    server.timer(TokioTimer::new()).header_read_timeout(HEAD_IN).max_headers(MOST_HEADERS).max_buf_size(MOST_HEAD_BYTES);
    let stop = async {
        tokio::select! {
            _ = stopped => {}
            () = signal(), if until_signal => {}
        }
    };
    tokio::pin!(stop);
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            () = &mut stop => return connections,
        };
        let (stream, address) = match accepted {
            Ok(accepted) => accepted,
            Err(cause) => {
                // Out of file handles, for example: others will be given back.
                tracing::warn!(%cause, "a connection could not be taken");
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        let Some(room) = open.open(of_connection(address), depot.settings().behind_proxy) else {
            // Closed without a word: an answer would cost what the limit is there to save.
            tracing::debug!("a connection too many");
            continue;
        };
        let _ = stream.set_nodelay(true);
        let (server, app, watcher) = (server.clone(), app.clone(), connections.watcher());
        let Some(tls) = tls.borrow().clone() else {
            tokio::spawn(async move {
                serve(server, app, watcher, stream, address).await;
                drop(room);
            });
            continue;
        };
        let mut stopping = depot.stopping();
        tokio::spawn(async move {
            let settled = tokio::select! {
                settled = tokio::time::timeout(HEAD_IN, tls.accept(stream)) => settled,
                _ = stopping.wait_for(|stop| *stop) => return,
            };
            match settled {
                Ok(Ok(stream)) => serve(server, app, watcher, stream, address).await,
                Ok(Err(cause)) => tracing::debug!(%cause, "a connection did not settle on TLS"),
                Err(_) => tracing::debug!("a connection did not settle on TLS in time"),
            }
            drop(room);
        });
    }
}

/// What connections are counted by.
fn of_connection(address: SocketAddr) -> String {
    Caller::at(address).key()
}

async fn serve(
    server: http1::Builder,
    app: Router,
    watcher: Watcher,
    stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static,
    address: SocketAddr,
) {
    let app = TowerToHyperService::new(app);
    let from_peer = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(Peer(address));
        app.call(request)
    });
    if let Err(cause) = watcher.watch(server.serve_connection(TokioIo::new(stream), from_peer)).await {
        tracing::debug!(%cause, "a connection ended early");
    }
}

/// Ends on Ctrl-C or SIGTERM.
async fn signal() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminate) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = terminate.recv() => {}
            }
            return;
        }
    }
    let _ = tokio::signal::ctrl_c().await;
}
