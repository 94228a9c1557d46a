//! A depot as a process of its own on one address, to be killed and started again.

// Helpers of tests may fail loudly like the tests themselves.
#![allow(clippy::unwrap_used, clippy::missing_panics_doc)]

use std::ffi::OsString;
use std::io::{BufRead as _, BufReader};
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use gritbook_depot::client::{HttpTransport, Patience};
use gritbook_depot::server::{Depot, Settings, make_token, token_hash};

use crate::draws::Draws;

/// See the module. Killed when dropped.
pub struct DepotProcess {
    program: PathBuf,
    data: PathBuf,
    address: SocketAddr,
    child: Mutex<Option<Child>>,
    /// Loaded into it, with its settings.
    environment: Vec<(OsString, OsString)>,
}

/// Enrolls a device and gives its token. The depot must not run yet.
pub fn enroll(data: &Path, name: &str) -> String {
    let depot = Depot::open(data, Settings::default()).unwrap();
    let token = make_token().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let now = (Settings::default().now)();
    runtime.block_on(depot.archive().enroll(name.to_owned(), token_hash(&token), now)).unwrap();
    token
}

impl DepotProcess {
    /// Starts `program` (the command `gritbook`) as a depot on `data`.
    pub fn start(program: &Path, data: &Path) -> Self {
        Self::start_with(program, data, |_| {})
    }

    /// The same with what `prepare` sets in its environment.
    pub fn start_with(program: &Path, data: &Path, prepare: impl FnOnce(&mut Command)) -> Self {
        let mut prepared = Command::new(program);
        prepare(&mut prepared);
        let environment = prepared.get_envs().filter_map(|(name, value)| Some((name.to_owned(), value?.to_owned()))).collect();
        // Free now; taken in a moment. Nobody else on this machine asks for it in between but by bad luck, which fails loudly.
        let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let depot = Self { program: program.to_owned(), data: data.to_owned(), address, child: Mutex::new(None), environment };
        depot.start_again();
        depot
    }

    /// Starts it again on the same address. Returns once it listens.
    pub fn start_again(&self) {
        let mut child = Command::new(&self.program)
            .args(["depot", "--listen", &self.address.to_string(), "--data"])
            .arg(&self.data)
            .env_remove("GRITBOOK_FAILPOINT")
            .envs(self.environment.iter().map(|(name, value)| (name, value)))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        assert!(line.starts_with("depot ready at "), "the depot said `{line}`");
        *self.child.lock().unwrap_or_else(PoisonError::into_inner) = Some(child);
    }

    /// SIGKILL: no chance to tidy up.
    pub fn kill(&self) {
        if let Some(mut child) = self.child.lock().unwrap_or_else(PoisonError::into_inner).take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// A token made by another process beside the running depot.
    pub fn enroll(&self, name: &str) -> String {
        let mut command = Command::new(&self.program);
        command.args(["enroll", "--json", "--name", name, "--data"]).arg(&self.data);
        let output = command.envs(self.environment.iter().map(|(name, value)| (name, value))).output().unwrap();
        let document: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        document["token"].as_str().unwrap().to_owned()
    }

    /// The process's id, while it runs.
    pub fn pid(&self) -> Option<u32> {
        self.child.lock().unwrap_or_else(PoisonError::into_inner).as_ref().map(Child::id)
    }

    /// Where it answers.
    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// A carrier to it.
    pub fn carrier(&self, token: &str) -> HttpTransport {
        carrier(&self.url(), token)
    }
}

/// A carrier that gives up soon: here a depot that does not answer is dead.
pub fn carrier(url: &str, token: &str) -> HttpTransport {
    let patience = Patience { connect: Duration::from_secs(2), silence: Duration::from_secs(5), answer: Duration::from_secs(10) };
    HttpTransport::with_patience(url, token, None, patience).unwrap()
}

impl Drop for DepotProcess {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Kills a depot at seeded moments and starts it again, until it is dropped.
pub struct Killer {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<u32>>,
}

impl Killer {
    /// Begins at once; it lives `longest` at most each time.
    pub fn begin(depot: Arc<DepotProcess>, seed: u64, longest: Duration) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            let mut draws = Draws::new(seed);
            let mut kills = 0;
            while !stopped.load(Ordering::SeqCst) {
                std::thread::sleep(draws.wait(longest));
                depot.kill();
                kills += 1;
                depot.start_again();
            }
            kills
        });
        Self { stop, thread: Some(thread) }
    }

    /// Ends; the depot runs. Gives how often it was killed.
    pub fn end(mut self) -> u32 {
        self.stop.store(true, Ordering::SeqCst);
        self.thread.take().unwrap().join().unwrap()
    }
}

impl Drop for Killer {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
