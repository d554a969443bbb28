//! What can be asked of the desk.

use super::{
    Desk, came_back,
    chart_view::{self, ChartView},
    hand_out::{self, HandOut},
    handed_files,
    line_view::{self, LineWishes, json},
    take_in,
};
use crate::{
    failure::Failure,
    outputs::sheet::{
        page::{PLAYER, SOUND},
        staves,
    },
};
use axum::{
    body::{Body, to_bytes},
    http::{
        HeaderName, HeaderValue, Method, Request, StatusCode,
        header::{
            CACHE_CONTROL, CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE, LOCATION,
            REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
        },
    },
    response::Response,
};
use endpin_walker::Liberty;
use serde::{Deserialize, de::DeserializeOwned};
use serde_json::json as object;
use std::sync::Arc;

/// Most bytes of a question to the desk.
const MOST_QUESTION: usize = super::folder::MOST_CHART * 2;
/// What the page may do: load its own files, ask its own server, nothing else.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; \
                           connect-src 'self'; img-src data:; media-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What a page that was handed out may do: what stands in it, apart from the desk and from all else.
const SANDBOX_POLICY: &str = "sandbox allow-scripts; default-src 'none'; script-src 'unsafe-inline'; \
                              style-src 'unsafe-inline'; font-src data:; img-src data:; media-src data:";
/// Where takes are brought.
const TAKE: &str = "/take";

const HTML: &str = "text/html; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const JSON: &str = "application/json";
const BYTES: &str = "application/octet-stream";
const TEXT: &str = "text/plain; charset=utf-8";
const FONT: &str = "font/woff2";
const PDF: &str = "application/pdf";

/// An answer before it is sent.
struct Answer {
    status: StatusCode,
    kind: &'static str,
    body: Vec<u8>,
    more: Vec<(HeaderName, String)>,
}

impl Answer {
    fn new(status: StatusCode, kind: &'static str, body: impl Into<Vec<u8>>) -> Answer {
        Answer {
            status,
            kind,
            body: body.into(),
            more: Vec::new(),
        }
    }

    fn ok(kind: &'static str, body: impl Into<Vec<u8>>) -> Answer {
        Answer::new(StatusCode::OK, kind, body)
    }

    /// What went wrong, in one sentence.
    fn problem(status: StatusCode, words: &str) -> Answer {
        let body = object!({ "problem": words }).to_string();
        Answer::new(status, JSON, body)
    }

    fn send(self) -> Response {
        let mut response = Response::new(Body::from(self.body));
        *response.status_mut() = self.status;
        let headers = response.headers_mut();
        let always = [
            (CONTENT_TYPE, self.kind),
            (CONTENT_SECURITY_POLICY, PAGE_POLICY),
            (X_CONTENT_TYPE_OPTIONS, "nosniff"),
            (REFERRER_POLICY, "no-referrer"),
            (CACHE_CONTROL, "no-store"),
            (
                HeaderName::from_static("cross-origin-resource-policy"),
                "same-origin",
            ),
            (
                HeaderName::from_static("cross-origin-opener-policy"),
                "same-origin",
            ),
        ];
        for (name, value) in always {
            headers.insert(name, HeaderValue::from_static(value));
        }
        for (name, value) in self.more {
            if let Ok(value) = HeaderValue::from_str(&value) {
                headers.insert(name, value);
            }
        }
        response
    }
}

/// Answers one request.
pub async fn answer(desk: Arc<Desk>, request: Request<Body>) -> Response {
    answered(desk, request).await.send()
}

async fn answered(desk: Arc<Desk>, request: Request<Body>) -> Answer {
    let (parts, body) = request.into_parts();
    let refused =
        |refusal: super::door::Refusal| Answer::new(refusal.status(), TEXT, refusal.words());
    if let Err(refusal) = desk.door.greet(&parts.method, &parts.headers) {
        return refused(refusal);
    }
    let (path, query) = (parts.uri.path(), parts.uri.query().unwrap_or(""));
    let key = query.split('&').find_map(|part| part.strip_prefix("key="));
    let is_entry = path == "/" && parts.method == Method::GET;
    if is_entry && key.is_some_and(|key| desk.door.opens(key)) {
        return let_in(&desk, query);
    }
    if let Err(refusal) = desk.door.check_cookie(&parts.headers) {
        return refused(refusal);
    }
    match parts.method {
        Method::GET => match path.strip_prefix("/out/") {
            Some(name) => handed_out(&desk, name),
            None => file(path),
        },
        Method::POST => {
            // Neither kind may be sent by a page of another site without asking first.
            let (kind, most) = match path == TAKE {
                true => (BYTES, take_in::MOST_BYTES),
                false => (JSON, MOST_QUESTION),
            };
            let found = parts.headers.get(CONTENT_TYPE);
            if found.and_then(|found| found.to_str().ok()) != Some(kind) {
                let words = format!("this request must be sent as {kind}");
                return Answer::problem(StatusCode::UNSUPPORTED_MEDIA_TYPE, &words);
            }
            let Ok(question) = to_bytes(body, most).await else {
                return Answer::problem(StatusCode::PAYLOAD_TOO_LARGE, "this is too long");
            };
            let path = path.to_owned();
            let work = move || ask(&desk, &path, &question);
            match tokio::task::spawn_blocking(work).await {
                Ok(answer) => answer,
                Err(_) => Answer::problem(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "endpin made a mistake; please report it, with the chart",
                ),
            }
        }
        _ => Answer::problem(
            StatusCode::METHOD_NOT_ALLOWED,
            "the desk answers GET and POST only",
        ),
    }
}

/// Takes the key out of the address and gives the cookie for it.
fn let_in(desk: &Desk, query: &str) -> Answer {
    let rest: Vec<&str> = query
        .split('&')
        .filter(|part| !part.starts_with("key="))
        .collect();
    let place = match rest.is_empty() {
        true => "/".to_owned(),
        false => format!("/?{}", rest.join("&")),
    };
    Answer {
        more: vec![(LOCATION, place), (SET_COOKIE, desk.door.set_cookie())],
        ..Answer::new(StatusCode::SEE_OTHER, TEXT, "")
    }
}

/// The files of the page.
fn file(path: &str) -> Answer {
    match path {
        "/" => {
            let page = include_str!("page/desk.html");
            Answer::ok(HTML, page.replace("{{signs}}", &staves::signs()))
        }
        "/desk.css" => Answer::ok(
            STYLE,
            [staves::STYLE, include_str!("page/desk.css")].concat(),
        ),
        "/desk.js" => Answer::ok(SCRIPT, include_str!("page/desk.js")),
        "/server.js" => Answer::ok(SCRIPT, include_str!("page/server.js")),
        "/chart.js" => Answer::ok(SCRIPT, include_str!("page/chart.js")),
        "/line.js" => Answer::ok(SCRIPT, include_str!("page/line.js")),
        "/hand.js" => Answer::ok(SCRIPT, include_str!("page/hand.js")),
        "/record.js" => Answer::ok(SCRIPT, include_str!("page/record.js")),
        "/recorder.js" => Answer::ok(SCRIPT, include_str!("page/recorder.js")),
        "/hear.js" => Answer::ok(SCRIPT, include_str!("page/hear.js")),
        "/band.js" => Answer::ok(
            SCRIPT,
            format!("{SOUND}\n{PLAYER}\nexport {{ Band, Player }};\n"),
        ),
        "/text-regular.woff2" => Answer::ok(
            FONT,
            include_bytes!("../outputs/sheet/assets/text-regular.woff2"),
        ),
        "/text-semibold.woff2" => Answer::ok(
            FONT,
            include_bytes!("../outputs/sheet/assets/text-semibold.woff2"),
        ),
        _ => Answer::problem(StatusCode::NOT_FOUND, "there is no such page on this desk"),
    }
}

/// A file that was handed out.
fn handed_out(desk: &Desk, name: &str) -> Answer {
    let kinds = [
        (".html", HTML),
        (".pdf", PDF),
        (".mid", "audio/midi"),
        (".flac", "audio/flac"),
        (hand_out::KEY, JSON),
        (".musicxml", "application/vnd.recordare.musicxml+xml"),
    ];
    let kind = kinds.into_iter().find(|(ending, _)| name.ends_with(ending));
    let missing = || Answer::problem(StatusCode::NOT_FOUND, "there is no such file on this desk");
    let Some((_, kind)) = kind else {
        return missing();
    };
    match hand_out::folder(desk).and_then(|folder| folder.read(name)) {
        Ok(bytes) => Answer {
            more: match kind {
                HTML => vec![(CONTENT_SECURITY_POLICY, SANDBOX_POLICY.to_owned())],
                PDF => Vec::new(),
                _ => vec![(CONTENT_DISPOSITION, "attachment".to_owned())],
            },
            ..Answer::ok(kind, bytes)
        },
        Err(_) => missing(),
    }
}

/// A chart to be kept.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KeepChart {
    name: Option<String>,
    text: String,
    /// What it was changed from.
    base: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OpenChart {
    name: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OfText {
    text: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MoveChart {
    text: String,
    key: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DrawLine {
    /// The name of the chart's file, for the command that does the same.
    name: Option<String>,
    line: LineWishes,
}

fn ask(desk: &Desk, path: &str, question: &[u8]) -> Answer {
    let answered = match path {
        "/charts" => json(&object!({
            "charts": desk.folder.charts(),
            "manners": desk.folder.manners(),
            "liberties": Liberty::ALL.map(|liberty| object!({ "name": liberty.name(), "words": liberty.words() })),
            "forms": chart_view::FORMS.map(|(name, text)| object!({ "name": name, "text": text })),
        })),
        "/chart/open" => with(question, |OpenChart { name }| {
            json(&object!({ "text": desk.folder.chart(&name)? }))
        }),
        "/chart/read" => with(question, |OfText { text }| json(&ChartView::of(&text))),
        "/chart/keep" => with(question, |KeepChart { name, text, base }| {
            let title = ChartView::title(&text);
            json(&desk.folder.keep(name.as_deref(), &title, &text, &base)?)
        }),
        "/chart/move" => with(question, |MoveChart { text, key }| {
            json(&object!({ "text": chart_view::moved(&text, &key)? }))
        }),
        "/line" => with(question, |DrawLine { name, mut line }| {
            line.read_manner(&desk.folder)?;
            line_view::draw(&line, name.as_deref().unwrap_or("CHART"))
        }),
        "/line/count" => with(question, |mut line: LineWishes| {
            line.read_manner(&desk.folder)?;
            line_view::count(&line)
        }),
        "/changes" => with(question, |asked: LineWishes| {
            json(&handed_files::steps(asked.chart()?, asked.seed).report())
        }),
        "/handed-out" => hand_out::shown(desk),
        "/class" => with(question, |OfText { text }| {
            hand_out::keep_class(desk, &text)
        }),
        "/answers" => with(question, |OfText { text }| came_back::answers(desk, &text)),
        "/hand-out" => with(question, |mut asked: HandOut| {
            asked.line.read_manner(&desk.folder)?;
            hand_out::make(desk, &asked)
        }),
        TAKE => take_in::judge(desk, question),
        _ => {
            return Answer::problem(StatusCode::NOT_FOUND, "the desk does not know this request");
        }
    };
    match answered {
        Ok(body) => Answer::ok(JSON, body),
        Err(Failure::Input(words)) => Answer::problem(StatusCode::UNPROCESSABLE_ENTITY, &words),
        Err(Failure::Output(words)) => Answer::problem(StatusCode::INTERNAL_SERVER_ERROR, &words),
    }
}

/// Reads a question and answers it.
fn with<Q: DeserializeOwned>(
    question: &[u8],
    answer: impl FnOnce(Q) -> Result<Vec<u8>, Failure>,
) -> Result<Vec<u8>, Failure> {
    let question = serde_json::from_slice(question)
        .map_err(|error| Failure::input(format!("this request cannot be read: {error}")))?;
    answer(question)
}
