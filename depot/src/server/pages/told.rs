//! Problems as a person reads them: where a browser asked for a page, it gets a page instead of a document.

use askama::Template;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, header};
use axum::middleware::Next;
use axum::response::Response;

use super::super::Depot;
use super::super::people::session::language;
use super::super::problem::Told;
use super::door;
use super::frame::{Frame, html};
use super::shown::Shown;
use super::words;

#[derive(Template)]
#[template(path = "problem.html")]
struct Page {
    frame: Frame,
    reason: String,
    advice: String,
}

fn wants_a_page(headers: &HeaderMap) -> bool {
    headers.get_all(header::ACCEPT).iter().filter_map(|accept| accept.to_str().ok()).any(|accept| accept.contains("text/html"))
}

/// What a problem's own answer says beside its body.
const KEPT: [HeaderName; 4] = [header::RETRY_AFTER, header::WWW_AUTHENTICATE, header::ALLOW, HeaderName::from_static("ratelimit")];

/// Middleware around the pages.
pub(in crate::server) async fn as_page(State(depot): State<Depot>, request: Request, next: Next) -> Response {
    let headers = request.headers().clone();
    let at = request.uri().path_and_query().map_or("/", |at| at.as_str()).to_owned();
    let reads = request.method().is_safe();
    let response = next.run(request).await;
    let Some(told) = response.extensions().get::<Told>().filter(|_| wants_a_page(&headers)).cloned() else { return response };
    let made = if response.status() == 401 {
        // With nobody who could sign in, a device's token is asked for as before.
        let nobody = !depot.archive().any_person().await.unwrap_or(true);
        let asked = door::ask(&depot, &headers, response.status(), "", if reads { &at } else { "/" }, String::new()).await;
        asked.map(|page| if nobody { page } else { door::challenged(page) })
    } else {
        let shown = Shown { language: language(&headers, &depot), ..Shown::default() };
        let (reason, advice) = words::problem(&told, shown.language);
        html(response.status(), &Page { frame: Frame::plain(shown), reason, advice })
    };
    let Ok(mut made) = made else { return response };
    for name in KEPT {
        if let Some(value) = response.headers().get(&name)
            && !made.headers().contains_key(&name)
        {
            made.headers_mut().insert(name, value.clone());
        }
    }
    made
}
