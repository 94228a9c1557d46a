//! The depot behind a real socket: bad links, killed processes, full disks, the command itself.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use gritbook_core::ids::{DeviceId, PumpId, Sha256Hex};
use gritbook_core::outbox::{Answer, Body, Method, Request, Transport as _, TransportFaultKind};
use gritbook_core::wire::v1::{VerdictOutcome, Verdicts};
use gritbook_depot::client::{HttpTransport, Patience};
use gritbook_depot::server::{Settings, start};
use gritbook_system_tests::depot::{batch, box_check, metadata, now, photo_like};
use gritbook_system_tests::fault_proxy::{Fault, FaultProxy, Link};
use serde_json::Value;
use tempfile::TempDir;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

/// The command `gritbook depot` as a process; killed when dropped.
struct Process {
    child: Child,
    address: SocketAddr,
}

impl Process {
    fn start(data: &Path) -> Self {
        Self::from(Command::new(GRITBOOK).args(["depot", "--listen", "127.0.0.1:0", "--data"]).arg(data))
    }

    fn from(command: &mut Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("depot ready at http://").unwrap_or_else(|| panic!("said `{line}`")).parse().unwrap();
        Self { child, address }
    }

    fn url(&self) -> String {
        format!("http://{}", self.address)
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // SIGKILL: no chance to tidy up.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn enroll(data: &Path, name: &str) -> String {
    let output = Command::new(GRITBOOK).args(["enroll", "--json", "--name", name, "--data"]).arg(data).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    let document: Value = serde_json::from_slice(&output.stdout).unwrap();
    document["token"].as_str().unwrap().to_owned()
}

fn quick() -> Patience {
    Patience { connect: Duration::from_secs(2), silence: Duration::from_millis(700), answer: Duration::from_secs(5) }
}

fn carrier(url: &str, token: &str) -> HttpTransport {
    HttpTransport::with_patience(url, token, None, quick()).unwrap()
}

fn tus(method: Method, path: &str, headers: &[(&str, String)], body: Body) -> Request {
    let mut all = vec![("Tus-Resumable".to_owned(), "1.0.0".to_owned())];
    all.extend(headers.iter().map(|(name, value)| ((*name).to_owned(), value.clone())));
    Request { method, path: path.into(), headers: all, body }
}

fn create(transport: &HttpTransport, photo: &[u8], id: &str) -> String {
    let headers = [("Upload-Length", photo.len().to_string()), ("Upload-Metadata", metadata(photo, id))];
    let answer = transport.carry(&tus(Method::Post, "/v1/photos", &headers, Body::Empty)).unwrap();
    assert_eq!(answer.status, 201, "{}", String::from_utf8_lossy(&answer.body));
    answer.header("location").unwrap().to_owned()
}

fn offset(transport: &HttpTransport, at: &str) -> u64 {
    let answer = transport.carry(&tus(Method::Head, at, &[], Body::Empty)).unwrap();
    assert_eq!(answer.status, 200, "{at}");
    answer.header("upload-offset").unwrap().parse().unwrap()
}

fn patch(at: &str, file: &Path, from: u64, to: u64) -> Request {
    let headers = [("Upload-Offset", from.to_string()), ("Content-Type", "application/offset+octet-stream".to_owned())];
    tus(Method::Patch, at, &headers, Body::File { path: file.into(), offset: from, length: to - from })
}

fn get(transport: &HttpTransport, path: &str) -> Answer {
    transport.carry(&Request { method: Method::Get, path: path.into(), headers: Vec::new(), body: Body::Empty }).unwrap()
}

fn put(body: &str) -> Request {
    let headers = vec![("Content-Type".into(), "application/json".into())];
    Request { method: Method::Put, path: "/v1/entries".into(), headers, body: Body::Bytes(body.as_bytes().to_vec()) }
}

/// Sends the rest from where the depot stands until all is there; gives how many tries that took.
fn push_on(transport: &HttpTransport, at: &str, file: &Path, length: u64) -> u32 {
    let mut last = None;
    for tries in 1..1000 {
        let Ok(head) = transport.carry(&tus(Method::Head, at, &[], Body::Empty)) else { continue };
        assert_eq!(head.status, 200, "after {last:?}");
        let from: u64 = head.header("upload-offset").unwrap().parse().unwrap();
        if from == length {
            return tries;
        }
        last = Some((from, transport.carry(&patch(at, file, from, length)).map(|answer| answer.status)));
        if matches!(last, Some((_, Ok(423)))) {
            std::thread::sleep(Duration::from_millis(10));
        }
    }
    panic!("the photo never arrived: {last:?}");
}

struct Scene {
    folder: TempDir,
    photo: Vec<u8>,
    file: std::path::PathBuf,
}

impl Scene {
    fn new(length: usize, seed: u64) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let photo = photo_like(length, seed);
        let file = folder.path().join("photo.jpg");
        std::fs::write(&file, &photo).unwrap();
        Self { folder, photo, file }
    }

    fn data(&self) -> std::path::PathBuf {
        self.folder.path().join("data")
    }

    fn name(&self) -> String {
        Sha256Hex::of(&self.photo).to_string()
    }
}

#[test]
fn photo_and_entries_go_over_a_real_socket() {
    let scene = Scene::new(3_000_000, 1);
    let depot = Process::start(&scene.data());
    let transport = carrier(&depot.url(), &enroll(&scene.data(), "phone"));
    let at = create(&transport, &scene.photo, "a");
    let answer = transport.carry(&patch(&at, &scene.file, 0, 1_000_000)).unwrap();
    assert_eq!((answer.status, answer.header("upload-offset")), (204, Some("1000000")));
    let answer = transport.carry(&patch(&at, &scene.file, 1_000_000, 3_000_000)).unwrap();
    assert_eq!((answer.status, answer.header("upload-offset")), (204, Some("3000000")));
    assert_eq!(get(&transport, &format!("/v1/photos/{}", scene.name())).body, scene.photo);
    let text = box_check(DeviceId::new(now()), 1, PumpId::new(now()), &[]);
    assert_eq!(transport.carry(&put(&batch(&[text]))).unwrap().status, 200);
    // An error status is an answer, not a fault, also while a large body is on its way.
    let answer = transport.carry(&patch(&at, &scene.file, 0, 3_000_000)).unwrap();
    assert_eq!(answer.status, 409);
    let stranger = carrier(&depot.url(), "stranger");
    assert_eq!(stranger.carry(&patch(&at, &scene.file, 0, 3_000_000)).unwrap().status, 401);
    assert_eq!(stranger.carry(&put(&" ".repeat(1_500_000))).unwrap().status, 401);
    assert_eq!(transport.carry(&put(&" ".repeat(4_000_000))).unwrap().status, 413);
}

#[test]
fn link_cut_on_the_way_up_at_many_places_loses_nothing() {
    let scene = Scene::new(60_000, 2);
    let depot = start(&scene.data(), "127.0.0.1:0".parse().unwrap(), Settings::default(), false).unwrap();
    let token = enroll(&scene.data(), "phone");
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let at = create(&carrier(&depot.url(), &token), &scene.photo, "a");
    let mut last = 0;
    // Inside the head, at its end, inside the body; each connection is new and counts from its own start.
    for cut in [1, 50, 200, 350, 400, 500, 1000, 5000, 16_384, 20_000] {
        proxy.set(Link { up: Fault::Cut(cut), ..Link::default() });
        let fault = carrier(&proxy.url(), &token).carry(&patch(&at, &scene.file, last, 60_000)).unwrap_err();
        assert_eq!(fault.kind, TransportFaultKind::Cut, "{cut}: {fault}");
        let stands = settled_offset(&carrier(&depot.url(), &token), &at, last);
        assert!(stands >= last && stands <= last + cut, "{cut}: from {last} to {stands}");
        if cut >= 1000 {
            assert!(stands > last, "{cut}: what came before the cut is kept");
        }
        last = stands;
    }
    proxy.set(Link::default());
    push_on(&carrier(&proxy.url(), &token), &at, &scene.file, 60_000);
    assert_eq!(std::fs::read(scene.data().join("photos").join(format!("{}.jpg", scene.name()))).unwrap(), scene.photo);
}

/// The depot notices a cut a moment after the client: waits until the upload is free and its offset stands still.
fn settled_offset(transport: &HttpTransport, at: &str, before: u64) -> u64 {
    let mut last = before;
    for _ in 0..40 {
        std::thread::sleep(Duration::from_millis(20));
        let now = offset(transport, at);
        if now > before && now == last {
            break;
        }
        last = now;
    }
    last
}

#[test]
fn answer_cut_on_the_way_down_at_every_byte_doubles_nothing() {
    let scene = Scene::new(4000, 3);
    let depot = start(&scene.data(), "127.0.0.1:0".parse().unwrap(), Settings::default(), false).unwrap();
    let token = enroll(&scene.data(), "phone");
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let whole = carrier(&depot.url(), &token);
    let texts: Vec<_> = (1..=3).map(|seq| box_check(device, seq, pump, &[])).collect();
    let mut cut = 1;
    let mut cuts = 0;
    loop {
        proxy.set(Link { down: Fault::Cut(cut), ..Link::default() });
        match carrier(&proxy.url(), &token).carry(&put(&batch(&texts))) {
            Err(fault) => assert_eq!(fault.kind, TransportFaultKind::Cut, "{cut}"),
            Ok(answer) => {
                assert_eq!(answer.status, 200);
                let verdicts: Verdicts = serde_json::from_slice(&answer.body).unwrap();
                assert!(verdicts.verdicts.iter().all(|verdict| verdict.outcome == VerdictOutcome::AlreadyThere));
                break;
            }
        }
        cuts += 1;
        cut += 13;
    }
    assert!(cuts > 20, "only {cuts} cuts");
    let page: Value = serde_json::from_slice(&get(&whole, "/v1/entries").body).unwrap();
    assert_eq!(page["entries"].as_array().unwrap().len(), 3);
    // The same for making an upload: the answer is lost, the upload is found again.
    proxy.set(Link { down: Fault::Cut(10), ..Link::default() });
    let headers = [("Upload-Length", "4000".to_owned()), ("Upload-Metadata", metadata(&scene.photo, "a"))];
    for _ in 0..3 {
        assert!(carrier(&proxy.url(), &token).carry(&tus(Method::Post, "/v1/photos", &headers, Body::Empty)).is_err());
    }
    assert_eq!(create(&whole, &scene.photo, "a"), "/v1/photos/a");
}

#[test]
fn slow_stalled_and_half_closed_links_end_in_a_fault_and_keep_what_came() {
    let scene = Scene::new(200_000, 4);
    let settings = Settings { body_idle: Duration::from_millis(300), ..Settings::default() };
    let depot = start(&scene.data(), "127.0.0.1:0".parse().unwrap(), settings, false).unwrap();
    let token = enroll(&scene.data(), "phone");
    let proxy = FaultProxy::start(depot.address()).unwrap();
    let at = create(&carrier(&depot.url(), &token), &scene.photo, "a");
    let mut last = 0;
    for fault in [Fault::Stall(30_000), Fault::HalfClose(30_000)] {
        proxy.set(Link { up: fault, ..Link::default() });
        let outcome = carrier(&proxy.url(), &token).carry(&patch(&at, &scene.file, last, 200_000));
        // Silence is answered by the depot, if the answer still finds a client.
        assert!(outcome.as_ref().is_err_or(|answer| answer.status == 408), "{outcome:?}");
        let stands = settled_offset(&carrier(&depot.url(), &token), &at, last);
        assert!(stands > last && stands <= last + 30_000, "from {last} to {stands}");
        last = stands;
    }
    // The way back is silent: the client gives up, the depot has it all.
    proxy.set(Link { down: Fault::Stall(0), ..Link::default() });
    let patience = Patience { answer: Duration::from_millis(500), ..quick() };
    let impatient = HttpTransport::with_patience(&proxy.url(), &token, None, patience).unwrap();
    assert_eq!(impatient.carry(&patch(&at, &scene.file, last, 200_000)).unwrap_err().kind, TransportFaultKind::Cut);
    assert_eq!(settled_offset(&carrier(&depot.url(), &token), &at, last), 200_000);
    // Late is not lost.
    proxy.set(Link { delay: Duration::from_millis(50), ..Link::default() });
    assert_eq!(get(&carrier(&proxy.url(), &token), &format!("/v1/photos/{}", scene.name())).body, scene.photo);
}

trait IsErrOr<T> {
    fn is_err_or(&self, check: impl Fn(&T) -> bool) -> bool;
}

impl<T, E> IsErrOr<T> for Result<&T, &E> {
    fn is_err_or(&self, check: impl Fn(&T) -> bool) -> bool {
        match self {
            Ok(value) => check(value),
            Err(_) => true,
        }
    }
}

#[test]
fn client_that_returns_before_the_depot_notices_the_cut_gets_on() {
    let scene = Scene::new(100_000, 5);
    let depot = start(&scene.data(), "127.0.0.1:0".parse().unwrap(), Settings::default(), false).unwrap();
    let token = enroll(&scene.data(), "phone");
    let at = create(&carrier(&depot.url(), &token), &scene.photo, "a");
    // A connection that dies silently: half a body, then nothing, and never closed.
    let mut dead = TcpStream::connect(depot.address()).unwrap();
    write!(
        dead,
        "PATCH {at} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\ntus-resumable: 1.0.0\r\nupload-offset: 0\r\n\
         content-type: application/offset+octet-stream\r\ncontent-length: 100000\r\n\r\n"
    )
    .unwrap();
    dead.write_all(&scene.photo[..40_000]).unwrap();
    while !scene.data().join("incoming/a.part").exists() {
        std::thread::sleep(Duration::from_millis(5));
    }
    std::thread::sleep(Duration::from_millis(50));
    let started = Instant::now();
    push_on(&carrier(&depot.url(), &token), &at, &scene.file, 100_000);
    // Well before the 30 s after which a silent body is given up.
    assert!(started.elapsed() < Duration::from_secs(5), "{:?}", started.elapsed());
    assert_eq!(get(&carrier(&depot.url(), &token), &format!("/v1/photos/{}", scene.name())).body, scene.photo);
}

#[test]
fn depot_killed_between_parts_goes_on_from_what_it_acknowledged() {
    let scene = Scene::new(2_000_000, 6);
    let token = enroll(&scene.data(), "phone");
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let mut from = 0;
    let mut at = None;
    for seq in 1..=6_u64 {
        let depot = Process::start(&scene.data());
        let transport = carrier(&depot.url(), &token);
        let at = at.get_or_insert_with(|| create(&transport, &scene.photo, "a"));
        assert_eq!(offset(&transport, at), from);
        let to = (from + 350_000).min(2_000_000);
        assert_eq!(transport.carry(&patch(at, &scene.file, from, to)).unwrap().status, 204);
        from = to;
        let text = box_check(device, seq, pump, &[Sha256Hex::of(&scene.photo)]);
        assert_eq!(transport.carry(&put(&batch(&[text]))).unwrap().status, 200);
        drop(depot); // kill -9
    }
    let depot = Process::start(&scene.data());
    let transport = carrier(&depot.url(), &token);
    assert_eq!(get(&transport, &format!("/v1/photos/{}", scene.name())).body, scene.photo);
    let page: Value = serde_json::from_slice(&get(&transport, "/v1/entries").body).unwrap();
    assert_eq!(page["entries"].as_array().unwrap().len(), 6);
}

#[test]
fn depot_killed_in_the_middle_of_a_part_loses_at_most_what_it_had_not_settled() {
    let scene = Scene::new(6_000_000, 7);
    let token = enroll(&scene.data(), "phone");
    let depot = Process::start(&scene.data());
    let at = create(&carrier(&depot.url(), &token), &scene.photo, "a");
    let mut stream = TcpStream::connect(depot.address).unwrap();
    write!(
        stream,
        "PATCH {at} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\ntus-resumable: 1.0.0\r\nupload-offset: 0\r\n\
         content-type: application/offset+octet-stream\r\ncontent-length: 6000000\r\n\r\n"
    )
    .unwrap();
    stream.write_all(&scene.photo[..4_500_000]).unwrap();
    let staged = scene.data().join("incoming/a.part");
    while std::fs::metadata(&staged).map_or(0, |file| file.len()) < 4_000_000 {
        std::thread::sleep(Duration::from_millis(10));
    }
    drop(depot); // kill -9
    let depot = Process::start(&scene.data());
    let transport = carrier(&depot.url(), &token);
    let stands = offset(&transport, &at);
    assert!((2_000_000..=4_500_000).contains(&stands), "{stands}");
    push_on(&transport, &at, &scene.file, 6_000_000);
    assert_eq!(get_large(&transport, &scene), scene.photo);
}

/// Answers above 4 MiB are refused by the client, so a large photo is fetched in two ranges.
fn get_large(transport: &HttpTransport, scene: &Scene) -> Vec<u8> {
    let path = format!("/v1/photos/{}", scene.name());
    let mut whole = Vec::new();
    for range in ["bytes=0-2999999", "bytes=3000000-"] {
        let request = Request { method: Method::Get, path: path.clone(), headers: vec![("Range".into(), range.into())], body: Body::Empty };
        whole.extend(transport.carry(&request).unwrap().body);
    }
    whole
}

#[test]
fn answer_above_4_mib_is_refused_not_swallowed() {
    let scene = Scene::new(5_000_000, 8);
    let depot = start(&scene.data(), "127.0.0.1:0".parse().unwrap(), Settings::default(), false).unwrap();
    let transport = carrier(&depot.url(), &enroll(&scene.data(), "phone"));
    let at = create(&transport, &scene.photo, "a");
    push_on(&transport, &at, &scene.file, 5_000_000);
    let request = Request { method: Method::Get, path: format!("/v1/photos/{}", scene.name()), headers: Vec::new(), body: Body::Empty };
    assert!(transport.carry(&request).is_err());
}

#[test]
fn redirects_are_answers_and_never_followed() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let served = std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut head = [0; 2048];
        let _ = stream.read(&mut head).unwrap();
        stream.write_all(b"HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1:1/stolen\r\nX-Odd: Yes\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").unwrap();
    });
    let answer = get(&carrier(&format!("http://{address}"), "t"), "/v1/entries");
    assert_eq!((answer.status, answer.header("x-odd")), (302, Some("Yes")));
    served.join().unwrap();
}

#[test]
fn second_depot_on_the_same_data_is_refused_and_enrolment_works_beside_a_running_one() {
    let scene = Scene::new(10, 9);
    let depot = Process::start(&scene.data());
    let output = Command::new(GRITBOOK).args(["depot", "--listen", "127.0.0.1:0", "--data"]).arg(scene.data()).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("another depot runs on this data folder"));
    let transport = carrier(&depot.url(), &enroll(&scene.data(), "phone"));
    assert_eq!(get(&transport, "/v1/entries").status, 200);
    let again = Command::new(GRITBOOK).args(["enroll", "--json", "--name", "phone", "--data"]).arg(scene.data()).output().unwrap();
    assert_eq!(again.status.code(), Some(2));
    let document: Value = serde_json::from_slice(&again.stdout).unwrap();
    assert_eq!((&document["schema"], &document["error"]["code"]), (&"gritbook.error/1".into(), &"name_taken".into()));
    let revoked = Command::new(GRITBOOK).args(["enroll", "--revoke", "--name", "phone", "--data"]).arg(scene.data()).output().unwrap();
    assert!(revoked.status.success());
    let answer = get(&transport, "/v1/entries");
    assert_eq!(answer.status, 401);
    assert!(String::from_utf8_lossy(&answer.body).contains("urn:gritbook:problem:token_revoked"));
    // The name is free again.
    enroll(&scene.data(), "phone");
}

#[test]
fn enrolment_code_names_depot_and_a_code_good_once_and_can_be_read_off_its_picture() {
    let scene = Scene::new(10, 10);
    let depot = Process::start(&scene.data());
    for (file, name) in [("code.png", "one"), ("code.svg", "two")] {
        let file = scene.folder.path().join(file);
        let output = Command::new(GRITBOOK)
            .args(["enroll", "--json", "--name", name, "--qr"])
            .arg(&file)
            .arg("--data")
            .arg(scene.data())
            .output()
            .unwrap();
        assert!(output.status.success());
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(document["depot"], depot.url());
        let payload: Value = serde_json::from_str(document["code"].as_str().unwrap()).unwrap();
        assert_eq!((&payload["gritbook"], &payload["token"]), (&"enrolment/2".into(), &Value::Null));
        let token = document["token"].as_str().unwrap();
        assert!(
            payload["code"].as_str().unwrap().len() >= 43 && !document["code"].as_str().unwrap().contains(token),
            "the code holds no token"
        );
        assert!(std::fs::metadata(&file).unwrap().len() > 500);
        if file.extension().unwrap() == "png" {
            let picture = image::open(&file).unwrap().to_luma8();
            let mut found = rqrr::PreparedImage::prepare_from_greyscale(picture.width() as usize, picture.height() as usize, |x, y| {
                picture.get_pixel(x as u32, y as u32).0[0]
            });
            let (_, text) = found.detect_grids()[0].decode().unwrap();
            assert_eq!(text, document["code"].as_str().unwrap());
        }
    }
    let refused =
        Command::new(GRITBOOK).args(["enroll", "--name", "three", "--qr", "code.gif", "--data"]).arg(scene.data()).output().unwrap();
    assert_eq!(refused.status.code(), Some(2));
    let shown = Command::new(GRITBOOK).args(["enroll", "--name", "three", "--data"]).arg(scene.data()).output().unwrap();
    let shown = String::from_utf8(shown.stdout).unwrap();
    assert!(shown.contains("token  ") && shown.contains(&depot.url()) && shown.contains('█'));
}

#[test]
fn depot_goes_on_when_nobody_reads_what_it_says() {
    let folder = tempfile::tempdir().unwrap();
    let address = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    // On every address it has something more to say after it is ready.
    let mut child = Command::new(GRITBOOK)
        .args(["depot", "--behind-tls-proxy", "--listen", &format!("0.0.0.0:{}", address.port()), "--data"])
        .arg(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let alive = || {
        let mut stream = TcpStream::connect(address).ok()?;
        stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").ok()?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok()?;
        answer.contains("200 OK").then_some(())
    };
    let begun = Instant::now();
    while alive().is_none() {
        assert!(begun.elapsed() < Duration::from_secs(10) && child.try_wait().unwrap().is_none(), "it ended for want of a listener");
        std::thread::sleep(Duration::from_millis(20));
    }
    std::thread::sleep(Duration::from_millis(300));
    assert!(alive().is_some() && child.try_wait().unwrap().is_none());
    child.kill().unwrap();
    child.wait().unwrap();
}

#[test]
fn token_is_nowhere_in_the_data_folder() {
    let scene = Scene::new(10, 11);
    let depot = Process::start(&scene.data());
    let token = enroll(&scene.data(), "phone");
    assert_eq!(get(&carrier(&depot.url(), &token), "/v1/entries").status, 200);
    for file in ["depot.sqlite", "depot.sqlite-wal"] {
        let bytes = std::fs::read(scene.data().join(file)).unwrap_or_default();
        assert!(!bytes.windows(token.len()).any(|part| part == token.as_bytes()), "{file}");
    }
}

#[test]
fn page_behind_a_tls_proxy_asks_for_a_token_on_loopback_too() {
    let scene = Scene::new(10, 12);
    // Behind a proxy the page asks for a token even on loopback: the proxy makes it reachable.
    let depot =
        Process::from(Command::new(GRITBOOK).args(["depot", "--behind-tls-proxy", "--listen", "127.0.0.1:0", "--data"]).arg(scene.data()));
    let page = |url: &str| get(&carrier(url, "nobody"), "/").status;
    assert_eq!(page(&depot.url()), 401);
    let other = Scene::new(10, 13);
    let open = Process::start(&other.data());
    assert_eq!(page(&open.url()), 200);
}

#[cfg(unix)]
#[test]
fn sigterm_ends_the_depot_in_good_order_and_saves_an_upload_under_way() {
    let scene = Scene::new(100_000, 14);
    let mut depot = Process::start(&scene.data());
    let token = enroll(&scene.data(), "phone");
    let at = create(&carrier(&depot.url(), &token), &scene.photo, "a");
    let mut stream = TcpStream::connect(depot.address).unwrap();
    write!(
        stream,
        "PATCH {at} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\ntus-resumable: 1.0.0\r\nupload-offset: 0\r\n\
         content-type: application/offset+octet-stream\r\ncontent-length: 100000\r\n\r\n"
    )
    .unwrap();
    stream.write_all(&scene.photo[..1234]).unwrap();
    while !scene.data().join("incoming/a.part").exists() {
        std::thread::sleep(Duration::from_millis(5));
    }
    std::thread::sleep(Duration::from_millis(50));
    let started = Instant::now();
    assert!(Command::new("kill").args(["-TERM", &depot.child.id().to_string()]).status().unwrap().success());
    assert_eq!(depot.child.wait().unwrap().code(), Some(0));
    assert!(started.elapsed() < Duration::from_secs(5));
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 503"), "{answer}");
    let again = Process::start(&scene.data());
    assert_eq!(offset(&carrier(&again.url(), &token), &at), 1234);
}

/// A depot on a file system of 3 MB of its own, in a mount namespace of its own, with a carrier to it; none where this machine has no
/// such namespaces, which is said.
#[cfg(target_os = "linux")]
fn depot_on_3_mb(scene: &Scene, test: &str) -> Option<(Process, HttpTransport)> {
    std::fs::create_dir(scene.data()).unwrap();
    let mounted = "mount -t tmpfs -o size=3m none \"$1\"";
    let can = Command::new("unshare").args(["-rm", "sh", "-c", mounted, "sh"]).arg(scene.data()).output();
    if !can.is_ok_and(|output| output.status.success()) {
        // Past the capture of test output, so that it is seen.
        let _ = writeln!(std::io::stderr(), "SKIPPED {test}: no mount namespace on this machine");
        return None;
    }
    // The token is made inside, where the data folder is the small file system.
    let script = format!(
        "{mounted} && \"$2\" enroll --json --name phone --data \"$1\" >\"$3\" && exec \"$2\" depot --listen 127.0.0.1:0 --data \"$1\""
    );
    let enrolled = scene.folder.path().join("enrolled.json");
    let depot =
        Process::from(Command::new("unshare").args(["-rm", "sh", "-c", &script, "sh"]).arg(scene.data()).arg(GRITBOOK).arg(&enrolled));
    let document: Value = serde_json::from_slice(&std::fs::read(&enrolled).unwrap()).unwrap();
    let transport = carrier(&depot.url(), document["token"].as_str().unwrap());
    Some((depot, transport))
}

#[cfg(target_os = "linux")]
#[test]
fn disk_without_a_byte_left_then_an_upload_can_still_be_given_up_and_makes_room() {
    let scene = Scene::new(1_500_000, 16);
    let name = "disk_without_a_byte_left_then_an_upload_can_still_be_given_up_and_makes_room";
    let Some((depot, transport)) = depot_on_3_mb(&scene, name) else { return };
    let at = create(&transport, &scene.photo, "a");
    assert_eq!(transport.carry(&patch(&at, &scene.file, 0, 1_000_000)).unwrap().status, 204);
    // Something else on that disk takes all that is left, as seen by the depot itself (proc(5), root).
    let seen = format!("/proc/{}/root{}/other", depot.child.id(), scene.data().display());
    let mut other = std::fs::File::create(seen).unwrap();
    let full = loop {
        if let Err(cause) = other.write_all(&[1; 4096]) {
            break cause;
        }
    };
    assert_eq!(full.kind(), std::io::ErrorKind::StorageFull);
    // Entries until none fits: what SQLite has of its log is used up as well.
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let refused = (1..200_u64).find(|seq| {
        let text = box_check(device, *seq, pump, &[]);
        transport.carry(&put(&batch(&[text]))).unwrap().status == 507
    });
    assert!(refused.is_some(), "the disk never filled");
    let answer = transport.carry(&tus(Method::Delete, &at, &[], Body::Empty)).unwrap();
    assert_eq!(answer.status, 204, "{}", String::from_utf8_lossy(&answer.body));
    let text = box_check(device, 100_000, pump, &[]);
    assert_eq!(transport.carry(&put(&batch(&[text]))).unwrap().status, 200);
    assert_eq!(transport.carry(&tus(Method::Head, &at, &[], Body::Empty)).unwrap().status, 410);
}

/// A real full disk.
#[cfg(target_os = "linux")]
#[test]
fn full_disk_is_507_and_nothing_is_half_stored() {
    let scene = Scene::new(3_500_000, 15);
    let Some((_depot, transport)) = depot_on_3_mb(&scene, "full_disk_is_507_and_nothing_is_half_stored") else { return };
    let at = create(&transport, &scene.photo, "a");
    let answer = transport.carry(&patch(&at, &scene.file, 0, 3_500_000)).unwrap();
    assert_eq!(answer.status, 507, "{}", String::from_utf8_lossy(&answer.body));
    assert!(String::from_utf8_lossy(&answer.body).contains("urn:gritbook:problem:storage_full"));
    assert_eq!(get(&transport, &format!("/v1/photos/{}", scene.name())).status, 404);
    let stands = offset(&transport, &at);
    assert!(stands < 3_100_000);
    // Entries on the full disk: either durable or refused as a whole, never half.
    let (device, pump) = (DeviceId::new(now()), PumpId::new(now()));
    let mut stored = Vec::new();
    let mut full = false;
    for round in 0..60_u64 {
        let texts: Vec<_> = (1..=100).map(|seq| box_check(device, round * 100 + seq, pump, &[])).collect();
        let answer = transport.carry(&put(&batch(&texts))).unwrap();
        match answer.status {
            200 => stored.extend(texts),
            507 => {
                full = true;
                break;
            }
            status => panic!("{status}: {}", String::from_utf8_lossy(&answer.body)),
        }
    }
    assert!(full, "the disk never filled");
    assert_eq!(all_entries(&transport), stored);
    // The upload that filled the disk is given up: there is room again, and the same depot goes on.
    assert_eq!(transport.carry(&tus(Method::Delete, &at, &[], Body::Empty)).unwrap().status, 204);
    let text = box_check(device, 100_000, pump, &[]);
    assert_eq!(transport.carry(&put(&batch(std::slice::from_ref(&text)))).unwrap().status, 200);
    stored.push(text);
    assert_eq!(all_entries(&transport), stored);
}

fn all_entries(transport: &HttpTransport) -> Vec<String> {
    let (mut cursor, mut all) = (String::from("0"), Vec::new());
    loop {
        let answer = get(transport, &format!("/v1/entries?after={cursor}&limit=500"));
        let page: gritbook_core::wire::v1::EntriesPage = serde_json::from_slice(&answer.body).unwrap();
        all.extend(page.entries.iter().map(|text| text.get().to_owned()));
        cursor = page.cursor;
        if !page.more {
            return all;
        }
    }
}
