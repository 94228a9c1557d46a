//! Clients of others (tuspy, tus-js-client) against a depot: whole uploads, in parts, broken off and gone on with, the first bytes with the
//! creation, with checksums right and wrong, given up, and come back to after they expired.
//!
//! `.ci/setup` installs the clients. Where they are not there the tests say so and are left out, unless `GRITBOOK_PEERS` asks for them.

#![allow(clippy::unwrap_used, clippy::print_stderr, reason = "helpers of tests fail loudly, as the tests do, and say what they leave out")]

use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use gritbook_core::ids::Sha256Hex;
use gritbook_depot::server::{RunningDepot, Settings, start};
use gritbook_system_tests::depot::photo_like;
use gritbook_system_tests::soak::depot_process::enroll;
use serde_json::Value;

const PEERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/peers");

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Client {
    Tuspy,
    TusJs,
}

const CLIENTS: [Client; 2] = [Client::Tuspy, Client::TusJs];

impl Client {
    fn command(self) -> Command {
        let mut command = match self {
            Self::Tuspy => Command::new("python3"),
            Self::TusJs => Command::new("node"),
        };
        command.current_dir(PEERS);
        command.arg(match self {
            Self::Tuspy => "tus_upload.py",
            Self::TusJs => "tus_upload.mjs",
        });
        command
    }

    fn is_there(self) -> bool {
        let asked = match self {
            Self::Tuspy => Command::new("python3").args(["-c", "import tusclient"]).output(),
            Self::TusJs => Command::new("node").current_dir(PEERS).args(["-e", "require('tus-js-client')"]).output(),
        };
        let there = asked.is_ok_and(|output| output.status.success());
        assert!(there || std::env::var_os("GRITBOOK_PEERS").is_none(), "{self:?} is not installed: .ci/setup");
        if !there {
            eprintln!("{self:?} is not installed: left out (.ci/setup installs it)");
        }
        there
    }
}

struct Scene {
    folder: tempfile::TempDir,
    depot: RunningDepot,
    token: String,
    photo: Vec<u8>,
}

impl Scene {
    fn new(lifetime: Duration) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("depot");
        let token = enroll(&data, "peer");
        let settings = Settings { upload_lifetime: lifetime, ..Settings::default() };
        let depot = start(&data, "127.0.0.1:0".parse().unwrap(), settings, false).unwrap();
        let photo = photo_like(300_000, 7);
        std::fs::write(folder.path().join("photo.jpg"), &photo).unwrap();
        Self { folder, depot, token, photo }
    }

    fn at(&self, path: &str) -> PathBuf {
        self.folder.path().join(path)
    }

    /// What the client said.
    fn send(&self, client: Client, options: &[&str]) -> Value {
        let mut command = client.command();
        command.arg(self.depot.url()).arg(&self.token).arg(self.at("photo.jpg")).args(options);
        let output = command.output().unwrap();
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        serde_json::from_str(&said).unwrap_or_else(|_| panic!("{client:?} {options:?}: {said}{}", String::from_utf8_lossy(&output.stderr)))
    }

    fn stored(&self) -> Option<Vec<u8>> {
        std::fs::read(self.at("depot/photos").join(format!("{}.jpg", Sha256Hex::of(&self.photo)))).ok()
    }

    fn staged(&self) -> usize {
        std::fs::read_dir(self.at("depot/incoming")).unwrap().count()
    }
}

const LONG: Duration = Duration::from_secs(3600);

#[test]
fn photo_arrives_whole_in_one_part_in_many_and_after_a_break() {
    for client in CLIENTS.into_iter().filter(|client| client.is_there()) {
        for options in [&["--chunk=1000000", "--with-hash"][..], &["--chunk=50000"], &["--chunk=50000", "--break-after=100000"]] {
            let scene = Scene::new(LONG);
            let said = scene.send(client, options);
            assert_eq!(said["sha256"], Sha256Hex::of(&scene.photo).to_string());
            assert_eq!(scene.stored().unwrap(), scene.photo, "{client:?} {options:?}");
            assert_eq!(scene.staged(), 0);
        }
    }
}

#[test]
fn first_bytes_come_with_the_creation_and_patch_goes_as_post() {
    if !Client::TusJs.is_there() {
        return;
    }
    for options in [&["--chunk=50000", "--with-body"][..], &["--chunk=50000", "--with-body", "--with-hash", "--override"]] {
        let scene = Scene::new(LONG);
        let said = scene.send(Client::TusJs, options);
        // The bytes in the creation's own request count: it answers where it stands.
        assert_eq!(said["offsets"][0], 50_000, "{said}");
        assert_eq!(scene.stored().unwrap(), scene.photo, "{options:?}");
    }
}

#[test]
fn checksums_that_fit_are_taken_and_of_a_part_that_does_not_fit_no_byte_counts() {
    if !Client::Tuspy.is_there() {
        return;
    }
    let scene = Scene::new(LONG);
    let said = scene.send(Client::Tuspy, &["--chunk=50000", "--checksum", "--with-hash"]);
    assert_eq!((&said["bytes"], scene.stored().unwrap()), (&300_000.into(), scene.photo.clone()));
    let scene = Scene::new(LONG);
    let said = scene.send(Client::Tuspy, &["--chunk=50000", "--checksum", "--spoil-after=100000"]);
    assert_eq!((&said["refused"], &said["offset_after"]), (&460.into(), &100_000.into()), "{said}");
    assert!(scene.stored().is_none());
}

#[test]
fn upload_that_is_given_up_is_gone_with_its_bytes() {
    if !Client::TusJs.is_there() {
        return;
    }
    let scene = Scene::new(LONG);
    let said = scene.send(Client::TusJs, &["--chunk=50000", "--break-after=100000", "--terminate"]);
    assert_eq!((&said["terminated"], &said["status_after"]), (&204.into(), &410.into()), "{said}");
    assert_eq!((scene.staged(), scene.stored()), (0, None));
}

#[test]
fn upload_that_expired_is_gone_and_its_photo_comes_by_a_new_one() {
    for client in CLIENTS.into_iter().filter(|client| client.is_there()) {
        let scene = Scene::new(Duration::from_secs(2));
        let said = scene.send(client, &["--chunk=50000", "--break-after=100000", "--wait=3"]);
        assert!(said["expires"].as_str().is_some_and(|date| date.ends_with(" GMT")), "{said}");
        assert_eq!(said["status_after"], 410, "{client:?}: {said}");
        assert_ne!(said["location"], said["first_location"], "{client:?}: a new upload: {said}");
        assert_eq!(scene.stored().unwrap(), scene.photo, "{client:?}");
    }
}
