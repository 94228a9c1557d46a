//! The depot in TLS, known by its key: what an enrolled device sends to, and what it sends nothing to.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::thread::JoinHandle;

use gritbook_core::ids::Sha256Hex;
use gritbook_core::outbox::{Answer, Body, Method, Request, Transport as _, TransportFault, TransportFaultKind};
use gritbook_depot::client::HttpTransport;
use gritbook_depot::key::key_sha256;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use serde_json::Value;
use tempfile::TempDir;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

/// The command `gritbook depot` as a process; killed when dropped.
struct Process {
    child: Child,
    url: String,
    key: String,
}

impl Process {
    fn start(data: &Path, arguments: &[&str]) -> Self {
        let mut command = Command::new(GRITBOOK);
        let mut child =
            command.arg("depot").args(arguments).arg("--data").arg(data).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut told = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
        let url = told.next().unwrap().strip_prefix("depot ready at ").unwrap().to_owned();
        let key = told.next().unwrap().strip_prefix("key sha256 ").unwrap().to_owned();
        Self { child, url, key }
    }

    /// On loopback, where TLS has to be asked for.
    fn here(data: &Path) -> Self {
        Self::start(data, &["--tls", "--listen", "127.0.0.1:0"])
    }

    fn port(&self) -> u16 {
        self.url.rsplit(':').next().unwrap().parse().unwrap()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn data(&self) -> PathBuf {
        self.path("data")
    }

    fn run(&self, arguments: &[&str]) -> (Option<i32>, Value) {
        let output: Output =
            Command::new(GRITBOOK).args(arguments).current_dir(self.0.path()).env_remove("GRITBOOK_FAILPOINT").output().unwrap();
        let document = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("not one JSON document: {output:?}"));
        (output.status.code(), document)
    }

    /// The enrolment of a new device, as JSON.
    fn enroll(&self, name: &str, more: &[&str]) -> Value {
        let (status, document) = self.run(&[&["enroll", "--json", "--data", "data", "--name", name], more].concat());
        assert_eq!(status, Some(0), "{document}");
        document
    }

    /// A book with a photographed check that waits to be sent.
    fn check(&self) -> Vec<u8> {
        let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../fixtures/photos/demo_sand.jpg");
        let (status, saved) = self.run(&["book", "book", "check", "--pump", "P1", "--photo", photo.to_str().unwrap(), "--json"]);
        assert_eq!(status, Some(0), "{saved}");
        std::fs::read(photo).unwrap()
    }

    fn sync(&self, url: &str, token: &str, key: Option<&str>) -> (Option<i32>, Value) {
        let mut arguments = vec!["book", "book", "sync", "--json", "--depot", url, "--token", token];
        arguments.extend(key.into_iter().flat_map(|key| ["--depot-key", key]));
        self.run(&arguments)
    }

    /// The texts of the book, oldest first.
    fn log(&self) -> Vec<String> {
        let output = Command::new(GRITBOOK).args(["book", "book", "log", "--json"]).current_dir(self.0.path()).output().unwrap();
        String::from_utf8(output.stdout).unwrap().lines().rev().map(str::to_owned).collect()
    }
}

fn text(document: &Value, name: &str) -> String {
    document[name].as_str().unwrap_or_else(|| panic!("no {name} in {document}")).to_owned()
}

fn get(transport: &HttpTransport, path: &str) -> Result<Answer, TransportFault> {
    transport.carry(&Request { method: Method::Get, path: path.into(), headers: Vec::new(), body: Body::Empty })
}

fn pinned(url: &str, key: &str) -> HttpTransport {
    HttpTransport::new(url, "a-token", Some(key.parse().unwrap())).unwrap()
}

/// A key with a certificate for `name` that was good in `years` only.
fn certificate(name: &str, years: (i32, i32)) -> (rcgen::KeyPair, rcgen::Certificate) {
    let key = rcgen::KeyPair::generate().unwrap();
    let mut params = rcgen::CertificateParams::new(vec![name.to_owned()]).unwrap();
    params.not_before = rcgen::date_time_ymd(years.0, 1, 1);
    params.not_after = rcgen::date_time_ymd(years.1, 1, 1);
    let made = params.self_signed(&key).unwrap();
    (key, made)
}

/// Shows a certificate whether it has the key or not.
#[derive(Debug)]
struct Shows(Arc<CertifiedKey>);

impl ResolvesServerCert for Shows {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.0))
    }
}

/// A server that is no depot: shows a certificate, signs with a key, answers `answer` to whatever comes, and tells what it could read.
struct Stranger {
    address: SocketAddr,
    heard: JoinHandle<Vec<u8>>,
}

impl Stranger {
    fn listen(shown: &rcgen::Certificate, signs_with: &rcgen::KeyPair, answer: &'static [u8]) -> Self {
        let provider = rustls::crypto::ring::default_provider();
        let key = provider.key_provider.load_private_key(PrivateKeyDer::try_from(signs_with.serialize_der()).unwrap()).unwrap();
        let shows = Shows(Arc::new(CertifiedKey::new(vec![shown.der().clone()], key)));
        let config = rustls::ServerConfig::builder_with_provider(Arc::new(provider))
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_cert_resolver(Arc::new(shows));
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let heard = std::thread::spawn(move || {
            let (mut socket, _) = listener.accept().unwrap();
            let mut connection = rustls::ServerConnection::new(Arc::new(config)).unwrap();
            let mut stream = rustls::Stream::new(&mut connection, &mut socket);
            let (mut heard, mut part) = (Vec::new(), [0; 4096]);
            while let Ok(count @ 1..) = stream.read(&mut part) {
                heard.extend_from_slice(&part[..count]);
                if heard.windows(4).any(|end| end == b"\r\n\r\n") {
                    let _ = stream.write_all(answer);
                    let _ = stream.flush();
                    break;
                }
            }
            heard
        });
        Self { address, heard }
    }

    fn url(&self) -> String {
        format!("https://{}", self.address)
    }
}

#[test]
fn device_that_knows_the_key_then_photo_and_entries_arrive_byte_for_byte() {
    let desk = Desk::new();
    let depot = Process::here(&desk.data());
    assert!(depot.url.starts_with("https://127.0.0.1:"), "{}", depot.url);
    let enrolled = desk.enroll("phone", &[]);
    assert_eq!((text(&enrolled, "depot"), text(&enrolled, "key_sha256")), (depot.url.clone(), depot.key.clone()));
    let code: Value = serde_json::from_str(&text(&enrolled, "code")).unwrap();
    assert_eq!(code["key_sha256"], depot.key.as_str());
    let photo = desk.check();
    let token = text(&enrolled, "token");
    let (status, sent) = desk.sync(&depot.url, &token, Some(&depot.key));
    assert_eq!((status, &sent["photos_sent"], &sent["waiting"]), (Some(0), &Value::from(1), &Value::from(0)), "{sent}");

    let transport = HttpTransport::new(&depot.url, &token, Some(depot.key.parse().unwrap())).unwrap();
    assert_eq!(get(&transport, &format!("/v1/photos/{}", Sha256Hex::of(&photo))).unwrap().body, photo);
    let page: gritbook_core::wire::v1::EntriesPage =
        serde_json::from_slice(&get(&transport, "/v1/entries?after=0&limit=500").unwrap().body).unwrap();
    assert_eq!(page.entries.iter().map(|entry| entry.get().to_owned()).collect::<Vec<_>>(), desk.log());
}

#[test]
fn another_key_answers_then_nothing_is_sent_and_everything_waits() {
    let desk = Desk::new();
    let (_, enrolled_certificate) = certificate("depot.example", (2020, 2040));
    let enrolled_key = key_sha256(enrolled_certificate.der()).unwrap().to_string();
    desk.check();
    let waiting = || -> Vec<(String, String)> {
        let outbox = desk.run(&["book", "book", "outbox", "--json"]).1;
        outbox["items"].as_array().unwrap().iter().map(|item| (text(item, "id"), text(item, "state"))).collect()
    };
    let before = waiting();
    assert_eq!(before.len(), 3);
    let (other_key, other) = certificate("127.0.0.1", (2020, 2040));
    // A key of its own; and the enrolled depot's certificate, which anyone can copy, without its key.
    for shown in [&other, &enrolled_certificate] {
        let stranger = Stranger::listen(shown, &other_key, b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n");
        let (status, refused) = desk.sync(&stranger.url(), "a-secret-token", Some(&enrolled_key));
        assert_eq!(status, Some(3), "{refused}");
        let error = &refused["error"];
        assert_eq!(error["code"], "wrong_key", "{error}");
        assert!(text(error, "reason").contains("does not hold the key that was enrolled"), "{error}");
        assert!(text(error, "advice").contains("nothing was sent and everything is kept"), "{error}");
        assert_eq!(stranger.heard.join().unwrap(), b"", "not one byte of the request, nor of the token");
        assert_eq!(waiting(), before);
    }
}

#[test]
fn depot_of_the_same_address_with_a_new_key_then_it_is_refused_and_a_new_certificate_alone_is_not() {
    let desk = Desk::new();
    let depot = Process::here(&desk.data());
    let (key, listen) = (depot.key.clone(), format!("127.0.0.1:{}", depot.port()));
    let token = text(&desk.enroll("phone", &[]), "token");
    drop(depot);
    desk.check();
    std::fs::remove_file(desk.path("data/tls/certificate.pem")).unwrap();
    let depot = Process::start(&desk.data(), &["--tls", "--listen", &listen]);
    assert_eq!(depot.key, key);
    assert_eq!(desk.sync(&depot.url, &token, Some(&key)).0, Some(0));
    drop(depot);
    std::fs::remove_file(desk.path("data/tls/key.pem")).unwrap();
    let depot = Process::start(&desk.data(), &["--tls", "--listen", &listen]);
    assert_ne!(depot.key, key);
    let (status, refused) = desk.sync(&depot.url, &token, Some(&key));
    assert_eq!((status, text(&refused["error"], "code").as_str()), (Some(3), "wrong_key"));
    // Enrolled anew, the same book goes on.
    let again = desk.enroll("phone 2", &[]);
    assert_eq!(text(&again, "key_sha256"), depot.key);
    assert_eq!(desk.sync(&depot.url, &text(&again, "token"), Some(&depot.key)).0, Some(0));
}

#[test]
fn certificate_that_expired_and_names_another_then_the_right_key_is_enough() {
    let desk = Desk::new();
    let (key, made) = certificate("elsewhere.example", (1999, 2001));
    std::fs::write(desk.path("cert.pem"), made.pem()).unwrap();
    std::fs::write(desk.path("key.pem"), key.serialize_pem()).unwrap();
    let files = [desk.path("cert.pem"), desk.path("key.pem")].map(|path| path.to_str().unwrap().to_owned());
    let depot = Process::start(&desk.data(), &["--listen", "127.0.0.1:0", "--tls-cert", &files[0], "--tls-key", &files[1]]);
    assert_eq!(depot.key, key_sha256(made.der()).unwrap().to_string());
    assert!(!desk.path("data/tls").exists(), "no key of its own is made");
    let token = text(&desk.enroll("phone", &[]), "token");
    desk.check();
    assert_eq!(desk.sync(&depot.url, &token, Some(&depot.key)).0, Some(0));
    // A public authority would be asked for without the key.
    let (status, refused) = desk.sync(&depot.url, &token, None);
    assert_eq!((status, text(&refused["error"], "code").as_str()), (Some(3), "depot_not_trusted"), "{refused}");
}

#[test]
fn no_key_enrolled_and_a_certificate_of_nobody_then_nothing_is_sent() {
    let (key, made) = certificate("127.0.0.1", (2020, 2040));
    let stranger = Stranger::listen(&made, &key, b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n");
    let fault = get(&HttpTransport::new(&stranger.url(), "a-token", None).unwrap(), "/v1/entries").unwrap_err();
    assert_eq!(fault.kind, TransportFaultKind::NotTrusted, "{fault}");
    assert_eq!(stranger.heard.join().unwrap(), b"");
}

#[test]
fn redirect_from_the_right_key_then_it_is_an_answer_and_nobody_else_is_asked() {
    let (key, made) = certificate("127.0.0.1", (2020, 2040));
    let elsewhere = TcpListener::bind("127.0.0.1:0").unwrap();
    elsewhere.set_nonblocking(true).unwrap();
    let answer = format!("HTTP/1.1 307 Go\r\nLocation: http://{}/\r\nContent-Length: 0\r\n\r\n", elsewhere.local_addr().unwrap());
    let stranger = Stranger::listen(&made, &key, answer.leak().as_bytes());
    let transport = pinned(&stranger.url(), &key_sha256(made.der()).unwrap().to_string());
    assert_eq!(get(&transport, "/v1/entries").unwrap().status, 307);
    let heard = String::from_utf8(stranger.heard.join().unwrap()).unwrap();
    assert!(heard.contains("authorization: Bearer a-token"), "{heard}");
    assert!(elsewhere.accept().is_err(), "the other address was called");
}

#[test]
fn depot_that_speaks_plain_http_where_a_key_was_enrolled_then_nothing_is_sent() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("https://{}", listener.local_addr().unwrap());
    let heard = std::thread::spawn(move || {
        let (mut socket, _) = listener.accept().unwrap();
        let mut part = [0; 4096];
        let count = socket.read(&mut part).unwrap();
        socket.write_all(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n").unwrap();
        part[..count].to_vec()
    });
    let fault = get(&pinned(&url, &Sha256Hex::of(b"any").to_string()), "/v1/entries").unwrap_err();
    assert_eq!(fault.kind, TransportFaultKind::Cut, "{fault}");
    let heard = heard.join().unwrap();
    assert_eq!(heard.first(), Some(&22), "a TLS handshake record (RFC 8446 5.1)");
    assert!(!heard.windows(7).any(|part| part == b"a-token"));
}

#[test]
fn address_that_others_can_reach_then_the_depot_speaks_tls_by_itself() {
    let desk = Desk::new();
    let depot = Process::start(&desk.data(), &["--listen", "0.0.0.0:0"]);
    assert!(depot.url.starts_with("https://0.0.0.0:"), "{}", depot.url);
    // Every address is no address: the code holds the key, and the depot's address once it is given.
    assert_eq!(desk.enroll("one", &[])["depot"], Value::Null);
    let url = format!("https://127.0.0.1:{}", depot.port());
    let enrolled = desk.enroll("two", &["--depot", &url]);
    assert_eq!((text(&enrolled, "depot"), text(&enrolled, "key_sha256")), (url.clone(), depot.key.clone()));
    let transport = HttpTransport::new(&url, &text(&enrolled, "token"), Some(depot.key.parse().unwrap())).unwrap();
    assert_eq!(get(&transport, "/v1/entries").unwrap().status, 200);
    // Its page asks for a token, and plain HTTP is not answered.
    assert_eq!(get(&pinned(&url, &depot.key), "/").unwrap().status, 401);
    let mut plain = TcpStream::connect(("127.0.0.1", depot.port())).unwrap();
    plain.write_all(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n").unwrap();
    let mut said = Vec::new();
    let _ = plain.read_to_end(&mut said);
    assert!(!said.starts_with(b"HTTP"), "{}", String::from_utf8_lossy(&said));
}

#[test]
fn address_that_is_not_encrypted_then_neither_desk_nor_code_takes_it() {
    let desk = Desk::new();
    desk.check();
    for (url, key, code) in [
        ("http://192.0.2.1:8470", None, "depot_not_encrypted"),
        ("http://depot.example", None, "depot_not_encrypted"),
        ("http://127.0.0.1:8470", Some("00".repeat(32)), "bad_depot_url"),
    ] {
        let (status, refused) = desk.sync(url, "t", key.as_deref());
        assert_eq!((status, text(&refused["error"], "code").as_str()), (Some(2), code), "{url}");
    }
    let plain = desk.enroll("one", &["--depot", "http://127.0.0.1:8470"]);
    assert_eq!(plain["key_sha256"], Value::Null);
}

#[test]
fn depot_moved_behind_a_proxy_then_new_codes_hold_no_key() {
    let desk = Desk::new();
    drop(Process::here(&desk.data()));
    let mut child = Command::new(GRITBOOK)
        .args(["depot", "--behind-tls-proxy", "--listen", "127.0.0.1:0", "--data"])
        .arg(desk.data())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let enrolled = desk.enroll("phone", &["--depot", "https://depot.example"]);
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(line.starts_with("depot ready at http://127.0.0.1:"), "{line}");
    assert_eq!(enrolled["key_sha256"], Value::Null);
}

#[test]
fn certificate_shown_on_the_wire_is_the_one_that_was_announced() {
    let desk = Desk::new();
    let depot = Process::here(&desk.data());
    let pem = std::fs::read(desk.path("data/tls/certificate.pem")).unwrap();
    let announced: CertificateDer<'static> = rustls::pki_types::pem::PemObject::from_pem_slice(&pem).unwrap();
    let mut roots = rustls::RootCertStore::empty();
    roots.add(announced).unwrap();
    // As a browser that was told to trust it would: name and dates are good as well.
    let config = rustls::ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let mut connection = rustls::ClientConnection::new(Arc::new(config), "localhost".try_into().unwrap()).unwrap();
    let mut socket = TcpStream::connect(("127.0.0.1", depot.port())).unwrap();
    connection.complete_io(&mut socket).unwrap();
    assert!(!connection.is_handshaking());
    let shown = connection.peer_certificates().unwrap();
    assert_eq!(key_sha256(&shown[0]).unwrap().to_string(), depot.key);
}

/// The certificate that the depot shows to a connection made now.
fn shown(depot: &Process) -> CertificateDer<'static> {
    #[derive(Debug)]
    struct Any;
    impl rustls::client::danger::ServerCertVerifier for Any {
        fn verify_server_cert(
            &self,
            _: &CertificateDer<'_>,
            _: &[CertificateDer<'_>],
            _: &rustls::pki_types::ServerName<'_>,
            _: &[u8],
            _: rustls::pki_types::UnixTime,
        ) -> Result<rustls::client::danger::ServerCertVerified, rustls::Error> {
            Ok(rustls::client::danger::ServerCertVerified::assertion())
        }

        fn verify_tls12_signature(
            &self,
            _: &[u8],
            _: &CertificateDer<'_>,
            _: &rustls::DigitallySignedStruct,
        ) -> Result<rustls::client::danger::HandshakeSignatureValid, rustls::Error> {
            Ok(rustls::client::danger::HandshakeSignatureValid::assertion())
        }

        fn verify_tls13_signature(
            &self,
            _: &[u8],
            _: &CertificateDer<'_>,
            _: &rustls::DigitallySignedStruct,
        ) -> Result<rustls::client::danger::HandshakeSignatureValid, rustls::Error> {
            Ok(rustls::client::danger::HandshakeSignatureValid::assertion())
        }

        fn supported_verify_schemes(&self) -> Vec<rustls::SignatureScheme> {
            rustls::crypto::ring::default_provider().signature_verification_algorithms.supported_schemes()
        }
    }
    let config = rustls::ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(Any))
        .with_no_client_auth();
    let mut connection = rustls::ClientConnection::new(Arc::new(config), "localhost".try_into().unwrap()).unwrap();
    let mut socket = TcpStream::connect(("127.0.0.1", depot.port())).unwrap();
    connection.complete_io(&mut socket).unwrap();
    connection.peer_certificates().unwrap()[0].clone().into_owned()
}

#[cfg(unix)]
#[test]
fn hang_up_signal_takes_a_new_certificate_of_the_same_key_and_no_other_key() {
    let desk = Desk::new();
    let depot = Process::here(&desk.data());
    let hang_up = || {
        let told = Command::new("kill").args(["-HUP", &depot.child.id().to_string()]).status().unwrap();
        assert!(told.success());
    };
    let first = shown(&depot);
    std::fs::remove_file(desk.path("data/tls/certificate.pem")).unwrap();
    hang_up();
    let begun = std::time::Instant::now();
    let second = loop {
        let now = shown(&depot);
        if now != first {
            break now;
        }
        assert!(begun.elapsed().as_secs() < 10, "the certificate of before goes on");
        std::thread::sleep(std::time::Duration::from_millis(20));
    };
    assert_eq!(key_sha256(&second).unwrap().to_string(), depot.key);
    // Another key, and then a file that is none: the one of before goes on.
    let (key, made) = certificate("localhost", (2020, 2040));
    std::fs::write(desk.path("data/tls/key.pem"), key.serialize_pem()).unwrap();
    std::fs::write(desk.path("data/tls/certificate.pem"), made.pem()).unwrap();
    hang_up();
    std::thread::sleep(std::time::Duration::from_millis(500));
    assert_eq!(shown(&depot), second);
    std::fs::write(desk.path("data/tls/certificate.pem"), "nothing").unwrap();
    hang_up();
    std::thread::sleep(std::time::Duration::from_millis(500));
    assert_eq!(shown(&depot), second);
    let token = text(&desk.enroll("phone", &[]), "token");
    desk.check();
    assert_eq!(desk.sync(&depot.url, &token, Some(&depot.key)).0, Some(0));
}
