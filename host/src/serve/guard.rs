//! Who may ask, and what an answer may do in a browser.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse as _, Response};
use maud::html;

use super::{Office, pages};

/// Nothing but our own words, style and drawings; no script at all, in nobody's frame.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

// A browser names the origin of a form only to those that it would also name the page to: with
// "no-referrer" it would say "null" of our own forms.

/// Lets a request through to the pages, or not, and puts the rules on the answer.
pub(super) async fn guard(
    State(office): State<Arc<Office>>,
    request: Request,
    next: Next,
) -> Response {
    let mut response = if is_ours(&office, &request) {
        next.run(request).await
    } else {
        let words = office.language.office();
        let page = pages::shell(
            office.language,
            words.name,
            &html! { p { (words.refused) } },
        );
        (StatusCode::FORBIDDEN, Html(page.into_string())).into_response()
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn is_ours(office: &Office, request: &Request) -> bool {
    let header = |name: header::HeaderName| {
        request
            .headers()
            .get(name)
            .and_then(|value| value.to_str().ok())
    };
    let host = header(header::HOST);
    let is_host = host.is_some_and(|host| office.hosts.iter().any(|ours| ours == host));
    // A browser names the page that a form was sent from.
    let is_form_ours = match request.method() {
        &Method::GET | &Method::HEAD => true,
        _ => header(header::ORIGIN)
            .and_then(|origin| origin.strip_prefix("http://"))
            .is_some_and(|origin| Some(origin) == host),
    };
    is_host && is_form_ours
}
