//! `gritbook people` beside a running depot, and its pages over a real socket.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail loudly, as the tests do")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::Value;

const GRITBOOK: &str = env!("CARGO_BIN_EXE_gritbook-under-test");

struct Scene(tempfile::TempDir);

impl Scene {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn data(&self) -> PathBuf {
        self.0.path().join("data")
    }

    /// Exit status and the one document that was printed.
    fn people(&self, verb: &str, arguments: &[&str], stdin: &str) -> (Option<i32>, Value) {
        let mut child = Command::new(GRITBOOK)
            .args(["people", verb, "--json", "--dir"])
            .arg(self.data())
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // A command that takes no password may be gone already.
        let _ = child.stdin.take().unwrap().write_all(stdin.as_bytes());
        let output = child.wait_with_output().unwrap();
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        fits_its_schema(&document);
        (output.status.code(), document)
    }
}

fn fits_its_schema(document: &Value) {
    let thing = document["schema"].as_str().unwrap().trim_start_matches("gritbook.").trim_end_matches("/1").to_owned();
    let output = Command::new(GRITBOOK).args(["schema", &thing]).output().unwrap();
    let schema: Value = serde_json::from_slice(&output.stdout).unwrap();
    let errors: Vec<_> = jsonschema::validator_for(&schema).unwrap().iter_errors(document).map(|error| error.to_string()).collect();
    assert_eq!(errors, Vec::<String>::new(), "{document}");
}

/// The command `gritbook depot`; killed when dropped.
struct Process(Child, SocketAddr);

impl Process {
    fn start(data: &Path) -> Self {
        Self::logging_to(data, Stdio::null())
    }

    fn logging_to(data: &Path, log: Stdio) -> Self {
        let mut command = Command::new(GRITBOOK);
        command.args(["depot", "--listen", "127.0.0.1:0", "--data"]).arg(data).stdout(Stdio::piped()).stderr(log);
        let mut child = command.env("GRITBOOK_LOG", "debug").spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("depot ready at http://").unwrap().parse().unwrap();
        Self(child, address)
    }

    /// Status and whole answer of one request on a connection of its own.
    fn ask(&self, head: &str, body: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(self.1).unwrap();
        let text =
            format!("{head}\r\nHost: {}\r\nAccept: text/html\r\nConnection: close\r\nContent-Length: {}\r\n\r\n{body}", self.1, body.len());
        stream.write_all(text.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        (answer.split(' ').nth(1).unwrap().parse().unwrap(), answer)
    }

    /// The session cookie that name and password give, or the status.
    fn sign_in(&self, name: &str, password: &str) -> Result<String, u16> {
        let (_, page) = self.ask("GET /sign-in HTTP/1.1", "");
        let form = page.split("name=\"form\" value=\"").nth(1).unwrap().split('"').next().unwrap();
        let cookie = page.split("gritbook-form=").nth(1).unwrap().split(';').next().unwrap();
        let head = format!("POST /sign-in HTTP/1.1\r\nContent-Type: application/x-www-form-urlencoded\r\nCookie: gritbook-form={cookie}");
        let (status, answer) = self.ask(&head, &format!("form={form}&name={name}&password={password}&next=%2F"));
        if status != 303 {
            return Err(status);
        }
        Ok(answer.split("set-cookie: gritbook=").nth(1).unwrap().split(';').next().unwrap().to_owned())
    }

    fn page(&self, session: &str) -> u16 {
        self.ask(&format!("GET / HTTP/1.1\r\nCookie: gritbook={session}"), "").0
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn people_come_change_and_go_beside_a_running_depot() {
    let scene = Scene::new();
    let depot = Process::start(&scene.data());
    assert_eq!(depot.ask("GET / HTTP/1.1", "").0, 200, "nobody was added: open to whoever sits here");
    let (status, rosa) = scene.people("add", &["--name", "Rosa", "--role", "owner"], "");
    assert_eq!((status, &rosa["role"]), (Some(0), &Value::from("owner")));
    assert_eq!(depot.ask("GET / HTTP/1.1", "").0, 401, "from now on people sign in");
    let made = rosa["password"].as_str().unwrap().to_owned();
    let session = depot.sign_in("Rosa", &made).unwrap();
    assert_eq!(depot.page(&session), 200);

    let (status, olga) = scene.people("add", &["--name", "Olga", "--role", "office", "--password-stdin"], "twelve.words.long\n");
    assert_eq!((status, &olga["password"]), (Some(0), &Value::Null), "a password that was given is not shown");
    let olgas = depot.sign_in("Olga", "twelve.words.long").unwrap();
    let listed = scene.people("list", &[], "").1;
    let names: Vec<_> = listed["people"].as_array().unwrap().iter().map(|one| (one["name"].clone(), one["role"].clone())).collect();
    assert_eq!(names, [("Olga".into(), "office".into()), ("Rosa".into(), "owner".into())]);

    let (status, _) = scene.people("password", &["--name", "rosa", "--password-stdin"], "another.long.one\n");
    assert_eq!((status, depot.page(&session)), (Some(0), 401), "signed out everywhere");
    assert_eq!(depot.sign_in("Rosa", &made), Err(401));
    assert!(depot.sign_in("Rosa", "another.long.one").is_ok());

    for (verb, arguments) in [("remove", &["--name", "Rosa"][..]), ("role", &["--name", "Rosa", "--role", "office"])] {
        let (status, refused) = scene.people(verb, arguments, "");
        assert_eq!((status, &refused["error"]["code"]), (Some(2), &Value::from("last_owner")), "{verb}");
    }
    assert_eq!(scene.people("role", &["--name", "Olga", "--role", "owner"], "").0, Some(0));
    assert_eq!(scene.people("remove", &["--name", "Rosa"], "").0, Some(0));
    assert_eq!(depot.sign_in("Rosa", "another.long.one"), Err(401));
    assert_eq!(depot.page(&olgas), 200);
    assert_eq!(scene.people("add", &["--name", "ROSA", "--role", "mechanic"], "").0, Some(0), "a name that is free again");
}

#[test]
fn what_cannot_be_is_refused_and_passwords_stand_nowhere() {
    let scene = Scene::new();
    assert_eq!(scene.people("list", &[], "").1["error"]["code"], "no_archive");
    assert!(!scene.data().exists(), "a mistyped folder becomes no archive");
    let secret = "only.in.this.head";
    let add = ["--name", "Rosa", "--role", "owner", "--password-stdin"];
    assert_eq!(scene.people("add", &add, "too short\n").1["error"]["code"], "bad_password");
    assert_eq!(scene.people("add", &add, &format!("{secret}\n")).0, Some(0));
    assert_eq!(scene.people("add", &add, &format!("{secret}\n")).1["error"]["code"], "name_taken");
    assert_eq!(scene.people("password", &["--name", "Nobody"], "").1["error"]["code"], "no_such_person");
    assert_eq!(scene.people("role", &["--name", "Rosa", "--role", "mechanic", "--pump", "Otter"], "").1["error"]["code"], "no_such_pump");
    assert_eq!(scene.people("add", &["--name", " ", "--role", "owner"], "").1["error"]["code"], "bad_name");
    // A password in the arguments could be read off the list of processes.
    let output =
        Command::new(GRITBOOK).args(["people", "add", "--name", "X", "--role", "owner", "--password", secret, "--data", "d"]).output();
    assert_eq!(output.unwrap().status.code(), Some(2));

    let depot = Process::start(&scene.data());
    let session = depot.sign_in("Rosa", secret).unwrap();
    drop(depot);
    for file in std::fs::read_dir(scene.data()).unwrap().map(|file| file.unwrap().path()).filter(|path| path.is_file()) {
        let bytes = std::fs::read(&file).unwrap();
        for secret in [secret, &session] {
            assert!(!bytes.windows(secret.len()).any(|part| part == secret.as_bytes()), "{secret} stands in {}", file.display());
        }
    }
}

#[test]
fn log_names_no_person_no_device_no_address_and_no_secret() {
    let scene = Scene::new();
    let log = scene.0.path().join("log");
    let (secret, wrong) = ("only.in.this.head", "guessed.this.instead");
    assert_eq!(scene.people("add", &["--name", "Rosalinda", "--role", "owner", "--password-stdin"], &format!("{secret}\n")).0, Some(0));
    let depot = Process::logging_to(&scene.data(), std::fs::File::create(&log).unwrap().into());
    assert_eq!(depot.sign_in("Rosalinda", wrong), Err(401));
    let session = depot.sign_in("Rosalinda", secret).unwrap();
    let output = Command::new(GRITBOOK).args(["enroll", "--json", "--name", "northyard", "--data"]).arg(scene.data()).output().unwrap();
    let token = serde_json::from_slice::<Value>(&output.stdout).unwrap()["token"].as_str().unwrap().to_owned();
    for head in [
        format!("GET /devices HTTP/1.1\r\nCookie: gritbook={session}"),
        format!("GET /search?pump=Rosalinda&kind= HTTP/1.1\r\nCookie: gritbook={session}"),
        format!("GET /v1/entries HTTP/1.1\r\nAuthorization: Bearer {token}"),
    ] {
        assert_eq!(depot.ask(&head, "").0, 200, "{head}");
    }
    drop(depot);
    let log = std::fs::read_to_string(&log).unwrap();
    assert!(log.contains("/devices") && log.contains("/search"), "{log}");
    for hidden in ["Rosalinda", "rosalinda", "northyard", secret, wrong, &session, &token, "127.0.0.1"] {
        assert!(!log.contains(hidden), "{hidden}: {log}");
    }
}
