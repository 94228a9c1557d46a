//! Codes that let a device in once: who shows one, who shows it again, and what an owner sees of it.

use std::sync::atomic::{AtomicI64, Ordering};

use axum::body::Body;
use axum::http::Request;
use chrono::{DateTime, TimeDelta, Utc};
use gritbook_core::ids::Sha256Hex;
use gritbook_depot::server::Settings;
use gritbook_depot::server::archive::devices::NewDevice;
use gritbook_depot::server::archive::people::{Actor, Deed, Reached, Role};
use gritbook_depot::server::{make_token, token_hash};
use gritbook_system_tests::browser::{Browser, add};
use gritbook_system_tests::depot::{Reply, TestDepot, now};

/// Lets `name` in with this code, and with the token where one is given.
async fn let_in(depot: &TestDepot, name: &str, code: &str, token: Option<&str>, first_use_by: Option<DateTime<Utc>>) {
    let (token_hash, code_hash) = (token.map(token_hash), Some(Sha256Hex::of(code.as_bytes())));
    let deed = Deed { at: now(), by: Actor::Command, what: "device_enrolled", about: None, reached: Reached::ThisMachine };
    depot.depot.archive().let_in(NewDevice { name: name.into(), token_hash, code_hash, first_use_by }, deed).await.unwrap();
}

async fn post(depot: &TestDepot, token: Option<&str>, body: impl Into<Body>) -> Reply {
    let request = Request::post("/v1/enrolment").header("content-type", "application/json");
    let request = token.into_iter().fold(request, |request, token| request.header("authorization", format!("Bearer {token}")));
    depot.send(request.body(body.into()).unwrap()).await
}

async fn show(depot: &TestDepot, code: &str, token: &str) -> Reply {
    post(depot, Some(token), format!(r#"{{"schema":"gritbook.code/1","code":"{code}"}}"#)).await
}

async fn entries_with(depot: &TestDepot, token: &str) -> u16 {
    let request = Request::get("/v1/entries").header("authorization", format!("Bearer {token}"));
    depot.send(request.body(Body::empty()).unwrap()).await.status
}

fn tokens() -> (String, String) {
    (make_token().unwrap(), make_token().unwrap())
}

#[tokio::test]
async fn code_lets_the_first_in_as_often_as_it_asks_and_nobody_else() {
    let depot = TestDepot::new().await;
    add(&depot, "Rosa", Role::Owner, Vec::new()).await;
    let (mine, other) = tokens();
    let_in(&depot, "north", "a-code", None, None).await;
    assert_eq!(entries_with(&depot, "a-code").await, 401, "a code is no token");
    for turn in ["first", "its answer was lost"] {
        let reply = show(&depot, "a-code", &mine).await;
        assert_eq!((reply.status, reply.header("cache-control")), (200, "no-store"), "{turn}");
        assert_eq!(reply.json(), serde_json::json!({ "schema": "gritbook.let_in/1", "name": "north" }), "{turn}");
        assert_eq!(entries_with(&depot, &mine).await, 200, "{turn}");
    }
    let mut rosa = Browser::signed_in(&depot, "Rosa").await;
    rosa.get("/devices").await;
    assert!(!rosa.page.contains("showed its code too"), "{}", rosa.page);
    for _ in 0..3 {
        let reply = show(&depot, "a-code", &other).await;
        assert_eq!((reply.status, reply.problem().as_str()), (409, "code_used"));
    }
    assert_eq!((entries_with(&depot, &mine).await, entries_with(&depot, &other).await), (200, 401));
    rosa.get("/devices").await;
    assert!(rosa.page.contains("another device showed its code too"), "{}", rosa.page);
    rosa.get("/audit").await;
    assert_eq!(rosa.page.matches("showed the spent code of").count(), 1, "once, however often it is tried: {}", rosa.page);
    assert_eq!(rosa.page.matches("used the code of").count(), 1, "{}", rosa.page);
    rosa.get("/me").await;
    rosa.post("/me/choice", &[("language", "es")]).await;
    rosa.get("/devices").await;
    assert!(rosa.page.contains("otro equipo también mostró su código"), "{}", rosa.page);
}

#[tokio::test]
async fn token_and_code_of_one_device_end_each_other() {
    let depot = TestDepot::new().await;
    let (mine, other) = tokens();
    let (given, given_too) = tokens();
    let_in(&depot, "phone", "code-1", Some(&given), None).await;
    assert_eq!(show(&depot, "code-1", &mine).await.status, 200);
    assert_eq!((entries_with(&depot, &mine).await, entries_with(&depot, &given).await), (200, 401));
    let_in(&depot, "program", "code-2", Some(&given_too), None).await;
    assert_eq!(entries_with(&depot, &given_too).await, 200);
    assert_eq!(show(&depot, "code-2", &other).await.problem(), "code_used");
    assert_eq!((entries_with(&depot, &given_too).await, entries_with(&depot, &other).await), (200, 401));
}

#[tokio::test]
async fn code_that_is_unknown_too_late_or_of_a_device_that_was_shut_out_lets_nobody_in() {
    static LATER: AtomicI64 = AtomicI64::new(0);
    let clock: fn() -> DateTime<Utc> = || now() + TimeDelta::minutes(LATER.load(Ordering::SeqCst));
    let depot = TestDepot::with(Settings { now: clock, ..Settings::default() }).await;
    let (mine, other) = tokens();
    let by = now() + TimeDelta::hours(1);
    let_in(&depot, "north", "code-1", None, Some(by)).await;
    let_in(&depot, "south", "code-2", None, Some(by)).await;
    assert_eq!(show(&depot, "code-9", &mine).await.problem(), "unknown_code");
    assert_eq!(show(&depot, "code-1", &mine).await.status, 200);
    assert_eq!(show(&depot, "code-2", &mine).await.problem(), "token_taken");
    LATER.store(61, Ordering::SeqCst);
    assert_eq!(show(&depot, "code-2", &other).await.problem(), "code_too_late");
    assert_eq!(show(&depot, "code-1", &mine).await.status, 200, "it is in: the hour was for the first time");
    depot.depot.archive().revoke("north".into(), now()).await.unwrap();
    assert_eq!(show(&depot, "code-1", &mine).await.problem(), "code_revoked");
    assert_eq!(entries_with(&depot, &mine).await, 401);
}

#[tokio::test]
async fn body_that_is_no_code_and_token_that_could_be_guessed_are_refused() {
    let depot = TestDepot::new().await;
    let (mine, _) = tokens();
    let_in(&depot, "north", "a-code", None, None).await;
    for (token, body, status, problem) in [
        (None, r#"{"schema":"gritbook.code/1","code":"a-code"}"#.to_owned(), 401, "no_token"),
        (Some("short"), r#"{"schema":"gritbook.code/1","code":"a-code"}"#.to_owned(), 400, "bad_token"),
        (Some(mine.as_str()), r#"{"schema":"gritbook.code/9","code":"a-code"}"#.to_owned(), 400, "wrong_schema"),
        (Some(mine.as_str()), r#"{"code":"a-code"}"#.to_owned(), 400, "wrong_shape"),
        (Some(mine.as_str()), "a-code".to_owned(), 400, "wrong_shape"),
        (Some(mine.as_str()), String::new(), 400, "wrong_shape"),
        (Some(mine.as_str()), format!(r#"{{"schema":"gritbook.code/1","code":"{}"}}"#, "x".repeat(5000)), 413, "too_large"),
    ] {
        let reply = post(&depot, token, body.clone()).await;
        assert_eq!((reply.status, reply.problem().as_str()), (status, problem), "{body}");
    }
    assert_eq!(show(&depot, "a-code", &mine).await.status, 200, "none of it spent the code");
}
