//! The document of the requests against what is answered.

use std::collections::BTreeSet;

use axum::body::Body;
use axum::http::Request;
use gritbook_depot::server::addresses;
use gritbook_system_tests::depot::TestDepot;
use serde_json::{Value, json};

async fn document(depot: &TestDepot) -> Value {
    let reply = depot.send(Request::get("/openapi.json").body(Body::empty()).unwrap()).await;
    assert_eq!((reply.status, reply.header("content-type")), (200, "application/json"));
    reply.json()
}

/// Path, method in capitals, operation.
fn operations(document: &Value) -> Vec<(String, String, &Value)> {
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap().iter().filter(|(name, _)| *name != "parameters") {
            all.push((path.clone(), method.to_uppercase(), operation));
        }
    }
    all
}

#[tokio::test]
async fn document_names_every_request_that_is_answered_and_no_other() {
    let depot = TestDepot::new().await;
    let document = document(&depot).await;
    assert_eq!(document["openapi"], "3.1.0");
    let documented: BTreeSet<(String, String)> = operations(&document).into_iter().map(|(path, method, _)| (path, method)).collect();
    let answered: BTreeSet<(String, String)> = addresses(&depot.depot).into_iter().map(|one| (one.path, one.method)).collect();
    assert_eq!(documented.difference(&answered).collect::<Vec<_>>(), Vec::<&(String, String)>::new(), "documented, not answered");
    assert_eq!(answered.difference(&documented).collect::<Vec<_>>(), Vec::<&(String, String)>::new(), "answered, not documented");
    assert!(answered.len() > 40, "{}", answered.len());
}

#[tokio::test]
async fn every_documented_request_is_there_and_open_only_where_the_document_says_so() {
    let depot = TestDepot::new().await;
    let document = document(&depot).await;
    for (path, method, operation) in operations(&document) {
        let at = path.replace("{id}", "x").replace("{sha256}", "x");
        let reply = depot.send(Request::builder().method(method.as_str()).uri(&at).body(Body::empty()).unwrap()).await;
        let open = operation["security"] == json!([]);
        // A form without its fields is refused as the document says.
        let expected = match (open, method.as_str()) {
            (false, _) => 401,
            (true, "POST") => 415,
            (true, _) => 200,
        };
        assert_eq!(reply.status, expected, "{method} {path}");
        assert!(operation["responses"].as_object().unwrap().contains_key(&reply.status.to_string()), "{method} {path}");
    }
}

#[tokio::test]
async fn other_methods_are_refused_with_the_list_of_those_that_are_taken() {
    let depot = TestDepot::new().await;
    let known = addresses(&depot.depot);
    let paths: BTreeSet<&str> = known.iter().map(|one| one.path.as_str()).collect();
    for path in paths {
        let taken: BTreeSet<&str> = known.iter().filter(|one| one.path == path).map(|one| one.method.as_str()).collect();
        let at = path.replace("{id}", "x").replace("{sha256}", "x");
        for method in ["GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE", "TRACE", "BREW"] {
            if taken.contains(method) || (method == "HEAD" && taken.contains("GET")) {
                continue;
            }
            let reply = depot.send(depot.ask(method, &at).body(Body::empty()).unwrap()).await;
            assert_eq!(reply.status, 405, "{method} {path}");
            let allowed: BTreeSet<&str> = reply.header("allow").split(',').map(str::trim).filter(|name| *name != "HEAD").collect();
            let taken: BTreeSet<&str> = taken.iter().copied().filter(|name| *name != "HEAD").collect();
            assert_eq!(allowed, taken, "{method} {path}");
        }
    }
}

#[tokio::test]
async fn whatever_answers_get_answers_head_alike_and_without_a_body() {
    let depot = TestDepot::new().await;
    for one in addresses(&depot.depot).iter().filter(|one| one.method == "GET" && !one.path.contains('{')) {
        let get = depot.get(&one.path).await;
        let head = depot.send(depot.ask("HEAD", &one.path).body(Body::empty()).unwrap()).await;
        assert_eq!((head.status, head.header("content-type")), (get.status, get.header("content-type")), "{}", one.path);
        assert!(head.body.is_empty(), "{}", one.path);
    }
}

#[tokio::test]
async fn every_reference_of_the_document_leads_somewhere_and_no_name_stands_twice() {
    let depot = TestDepot::new().await;
    let document = document(&depot).await;
    let text = document.to_string();
    for reference in text.split("\"$ref\":\"#").skip(1).map(|rest| rest.split('"').next().unwrap()) {
        assert!(document.pointer(reference).is_some(), "{reference}");
    }
    let mut names = BTreeSet::new();
    for (path, method, operation) in operations(&document) {
        assert!(names.insert(operation["operationId"].as_str().unwrap()), "{method} {path}");
        assert!(operation["responses"].get("default").is_none(), "{method} {path}: under `default` any status would pass");
    }
}
