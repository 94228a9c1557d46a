//! The socket: accepts connections, bounds how long a request's head may take, ends gracefully.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::Duration;

use axum::Router;
use gritbook_core::ids::Sha256Hex;
use gritbook_core::{CoreError, ErrorKind};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio_rustls::TlsAcceptor;

use super::tls::Encryption;
use super::{Depot, Settings, app, claim};

/// A client that has not sent a request's head in this time, or has not settled on a TLS key, is let go.
const HEAD_IN: Duration = Duration::from_secs(20);
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
    let thread = std::thread::Builder::new()
        .name("depot".into())
        .spawn(move || {
            runtime.block_on(run(depot, listen, encryption, until_signal, stopped, &ready));
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
    listen: SocketAddr,
    encryption: Option<Encryption>,
    until_signal: bool,
    stopped: oneshot::Receiver<()>,
    ready: &mpsc::Sender<Result<SocketAddr, CoreError>>,
) {
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
    let connections = accept(&depot, listener, encryption.map(|encryption| encryption.acceptor), until_signal, stopped).await;
    sweeper.abort();
    depot.stop();
    if tokio::time::timeout(GRACE, connections.shutdown()).await.is_err() {
        tracing::warn!("some requests were still under way at the end");
    }
}

async fn accept(
    depot: &Depot,
    listener: TcpListener,
    tls: Option<TlsAcceptor>,
    until_signal: bool,
    stopped: oneshot::Receiver<()>,
) -> GracefulShutdown {
    let app = app(depot.clone());
    let connections = GracefulShutdown::new();
    let mut server = http1::Builder::new();
    server.timer(TokioTimer::new()).header_read_timeout(HEAD_IN).max_headers(64);
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
        let stream = match accepted {
            Ok((stream, _)) => stream,
            Err(cause) => {
                // Out of file handles, for example: others will be given back.
                tracing::warn!(%cause, "a connection could not be taken");
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        let _ = stream.set_nodelay(true);
        let (server, app, watcher) = (server.clone(), app.clone(), connections.watcher());
        let Some(tls) = tls.clone() else {
            tokio::spawn(serve(server, app, watcher, stream));
            continue;
        };
        let mut stopping = depot.stopping();
        tokio::spawn(async move {
            let settled = tokio::select! {
                settled = tokio::time::timeout(HEAD_IN, tls.accept(stream)) => settled,
                _ = stopping.wait_for(|stop| *stop) => return,
            };
            match settled {
                Ok(Ok(stream)) => serve(server, app, watcher, stream).await,
                Ok(Err(cause)) => tracing::debug!(%cause, "a connection did not settle on TLS"),
                Err(_) => tracing::debug!("a connection did not settle on TLS in time"),
            }
        });
    }
}

async fn serve(server: http1::Builder, app: Router, watcher: Watcher, stream: impl AsyncRead + AsyncWrite + Unpin + Send + 'static) {
    let connection = server.serve_connection(TokioIo::new(stream), TowerToHyperService::new(app));
    if let Err(cause) = watcher.watch(connection).await {
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
