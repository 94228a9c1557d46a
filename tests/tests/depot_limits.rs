//! A real depot under clients that ask too much, too long or too slowly, over real sockets.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use gritbook_depot::server::{Settings, start};
use gritbook_system_tests::depot::{metadata, photo_like};
use serde_json::Value;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

struct Process(Child, SocketAddr);

impl Process {
    fn start(data: &Path, more: &[&str]) -> Self {
        let mut command = Command::new(GRITBOOK);
        command.args(["depot", "--listen", "127.0.0.1:0", "--data"]).arg(data).args(more).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("depot ready at http://").unwrap().parse().unwrap();
        Self(child, address)
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn enroll(data: &Path, name: &str) -> String {
    let output = Command::new(GRITBOOK).args(["enroll", "--json", "--name", name, "--data"]).arg(data).output().unwrap();
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    document["token"].as_str().unwrap().to_owned()
}

fn connect(address: SocketAddr) -> TcpStream {
    let stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
    stream
}

/// The whole answer to a text on a connection of its own; empty where the depot just closed it.
fn exchange(address: SocketAddr, text: &str) -> String {
    let mut stream = connect(address);
    // The depot may answer and close before it has read everything.
    let _ = stream.write_all(text.as_bytes());
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn get(address: SocketAddr, path: &str, token: &str) -> String {
    exchange(address, &format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\nConnection: close\r\n\r\n"))
}

fn status(answer: &str) -> u16 {
    answer.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0)
}

fn header<'a>(answer: &'a str, name: &str) -> &'a str {
    let prefix = format!("{name}: ");
    answer.lines().find_map(|line| line.strip_prefix(&prefix)).unwrap_or_default()
}

#[test]
fn token_that_asks_too_often_is_told_to_wait_and_others_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let depot = Process::start(folder.path(), &["--requests-per-minute", "60"]);
    let (busy, calm) = (enroll(folder.path(), "busy"), enroll(folder.path(), "calm"));
    let begun = Instant::now();
    let mut answered = 0;
    let refused = loop {
        let answer = get(depot.1, "/v1/entries", &busy);
        if status(&answer) == 429 {
            break answer;
        }
        assert_eq!(status(&answer), 200);
        assert_eq!(header(&answer, "ratelimit-policy"), "\"token\";q=60;w=60");
        answered += 1;
    };
    // The bucket fills by one drop a second while it is emptied.
    let filled = begun.elapsed().as_secs() + 1;
    assert!((60..=60 + filled).contains(&answered), "{answered} in {filled} s");
    assert_eq!(header(&refused, "content-type"), "application/problem+json");
    assert_eq!((header(&refused, "retry-after"), header(&refused, "ratelimit")), ("1", "\"token\";r=0;t=1"));
    assert!(refused.contains("urn:gritbook:problem:too_many_requests"));
    assert_eq!(status(&get(depot.1, "/v1/entries", &calm)), 200);
    assert_eq!(status(&get(depot.1, "/healthz", &busy)), 200, "a watcher goes on seeing it alive");
    std::thread::sleep(Duration::from_millis(1100));
    assert_eq!(status(&get(depot.1, "/v1/entries", &busy)), 200, "after the told wait");
}

#[test]
fn address_that_makes_up_tokens_runs_into_its_own_limit() {
    let folder = tempfile::tempdir().unwrap();
    let depot = Process::start(folder.path(), &["--requests-per-minute", "30"]);
    let token = enroll(folder.path(), "calm");
    let statuses: Vec<u16> = (0..150).map(|number| status(&get(depot.1, "/v1/entries", &format!("made-up-{number}")))).collect();
    let refused = statuses.iter().filter(|status| **status == 429).count();
    assert!(statuses[..120].iter().all(|status| *status == 401), "four times as many as a token: {statuses:?}");
    assert!(refused >= 10, "{refused}");
    let answer = get(depot.1, "/v1/entries", &token);
    assert!(status(&answer) == 429 && header(&answer, "ratelimit-policy") == "\"address\";q=120;w=60", "{answer}");
}

#[test]
fn floods_of_headers_are_refused_and_the_depot_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let depot = Process::start(folder.path(), &[]);
    let many: String = (0..65).map(|number| format!("X-{number}: 1\r\n")).collect();
    let long = "a".repeat(200_000);
    for (what, head) in [
        ("many", format!("GET /healthz HTTP/1.1\r\nHost: x\r\n{many}\r\n")),
        ("long", format!("GET /healthz HTTP/1.1\r\nHost: x\r\nX: {long}\r\n\r\n")),
        ("without end", format!("GET /healthz HTTP/1.1\r\nHost: x\r\n{}", format!("X: {}\r\n", "b".repeat(1000)).repeat(2000))),
        ("a long address", format!("GET /{long} HTTP/1.1\r\nHost: x\r\n\r\n")),
    ] {
        let answer = exchange(depot.1, &head);
        assert!(answer.is_empty() || [400, 414, 431].contains(&status(&answer)), "{what}: {}", &answer[..answer.len().min(200)]);
        assert_eq!(status(&get(depot.1, "/healthz", "")), 200, "after {what}");
    }
    let few: String = (0..50).map(|number| format!("X-{number}: 1\r\n")).collect();
    assert_eq!(status(&exchange(depot.1, &format!("GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n{few}\r\n"))), 200);
}

#[test]
fn head_that_drips_in_is_cut_off_after_twenty_seconds() {
    let folder = tempfile::tempdir().unwrap();
    let depot = Process::start(folder.path(), &[]);
    let mut stream = connect(depot.1);
    let begun = Instant::now();
    stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: x\r\nX: ").unwrap();
    while stream.write_all(b"a").is_ok() {
        assert!(begun.elapsed() < Duration::from_secs(35), "the head may drip for ever");
        std::thread::sleep(Duration::from_millis(250));
    }
    assert!(begun.elapsed() > Duration::from_secs(15), "{:?}", begun.elapsed());
}

#[test]
fn body_that_drips_in_is_given_up_and_what_came_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { body_idle: Duration::from_millis(500), ..Settings::default() };
    let depot = start(folder.path(), SocketAddr::from(([127, 0, 0, 1], 0)), settings, false).unwrap();
    let (address, token) = (depot.address(), enroll(folder.path(), "slow"));
    let photo = photo_like(100_000, 5);
    let with = format!("Host: {address}\r\nAuthorization: Bearer {token}\r\nTus-Resumable: 1.0.0");
    let made = exchange(
        address,
        &format!(
            "POST /v1/photos HTTP/1.1\r\n{with}\r\nConnection: close\r\nContent-Length: 0\r\nUpload-Length: {}\r\nUpload-Metadata: {}\r\n\r\n",
            photo.len(),
            metadata(&photo, "p")
        ),
    );
    let at = header(&made, "location").to_owned();
    let mut stream = connect(address);
    let head = format!(
        "PATCH {at} HTTP/1.1\r\n{with}\r\nUpload-Offset: 0\r\nContent-Type: application/offset+octet-stream\r\nContent-Length: 100000\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).unwrap();
    let begun = Instant::now();
    let mut sent = 0;
    // A byte in time, again and again: never silent, and never done.
    stream.set_read_timeout(Some(Duration::from_millis(50))).unwrap();
    let mut answer = vec![0; 2000];
    let count = loop {
        assert!(begun.elapsed() < Duration::from_secs(10), "the body may drip for ever");
        let _ = stream.write_all(&photo[sent..=sent]);
        sent += 1;
        if let Ok(count) = stream.read(&mut answer) {
            break count;
        }
    };
    let answer = String::from_utf8_lossy(&answer[..count]).into_owned();
    assert_eq!(status(&answer), 408, "{answer}");
    assert!(answer.contains("urn:gritbook:problem:silent"));
    let head = exchange(address, &format!("HEAD {at} HTTP/1.1\r\n{with}\r\nConnection: close\r\n\r\n"));
    let offset: usize = header(&head, "upload-offset").parse().unwrap();
    assert!(offset > 0 && offset <= sent, "{offset} of {sent}");
}

#[test]
fn connections_of_one_address_are_bounded_and_free_again_when_closed() {
    let folder = tempfile::tempdir().unwrap();
    let depot = Process::start(folder.path(), &[]);
    let mut held: Vec<TcpStream> = (0..256).map(|_| connect(depot.1)).collect();
    // Each is taken, in order: the last one answers.
    let last = held.last_mut().unwrap();
    last.write_all(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n").unwrap();
    assert!(last.read(&mut [0; 200]).unwrap() > 0);
    assert_eq!(get(depot.1, "/healthz", ""), "", "one too many is closed without a word");
    drop(held);
    let begun = Instant::now();
    while status(&get(depot.1, "/healthz", "")) != 200 {
        assert!(begun.elapsed() < Duration::from_secs(5));
        std::thread::sleep(Duration::from_millis(20));
    }
}
