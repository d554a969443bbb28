//! Who may ask: a browser of this machine that knows the key.
//!
//! The key stands in the address that the program prints. A browser that brings it gets a cookie in its place,
//! which no other site can make it send (`SameSite=Strict`, RFC 6265bis section 5.4.7). Host and Origin are checked
//! besides, so that neither a name that points here (DNS rebinding) nor a page of another site gets through.

use crate::failure::Failure;
use axum::http::{HeaderMap, Method, StatusCode, header};

/// The key, the cookie and the names by which the desk answers.
#[derive(Debug)]
pub struct Door {
    port: u16,
    key: String,
    cookie: String,
}

/// Why somebody stays outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// Asked for by another name than its own.
    Host,
    /// Asked by a page of another site.
    Origin,
    /// Neither the key nor the cookie.
    Key,
}

impl Refusal {
    /// The status of the answer.
    pub fn status(self) -> StatusCode {
        match self {
            Refusal::Host => StatusCode::MISDIRECTED_REQUEST,
            Refusal::Origin => StatusCode::FORBIDDEN,
            Refusal::Key => StatusCode::UNAUTHORIZED,
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Refusal::Host => "This desk answers to 127.0.0.1 only.",
            Refusal::Origin => "Requests from other sites are refused.",
            Refusal::Key => {
                "Open the address that endpin printed when the desk was opened: it holds the key."
            }
        }
    }
}

impl Door {
    /// A door with a fresh key of 128 bits.
    ///
    /// # Errors
    /// A system that has no random numbers.
    pub fn new(port: u16) -> Result<Door, Failure> {
        Ok(Door {
            port,
            key: random()?,
            cookie: random()?,
        })
    }

    /// The address with the key.
    pub fn address(&self) -> String {
        format!("{}/?key={}", self.origin(), self.key)
    }

    fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    fn origin(&self) -> String {
        format!("http://{}", self.host())
    }

    /// Browsers keep cookies by host, whatever the port, so each desk names its own.
    fn cookie_name(&self) -> String {
        format!("desk-{}", self.port)
    }

    /// What sets the cookie.
    pub fn set_cookie(&self) -> String {
        format!(
            "{}={}; HttpOnly; SameSite=Strict; Path=/",
            self.cookie_name(),
            self.cookie
        )
    }

    /// Whether this is the key.
    pub fn opens(&self, key: &str) -> bool {
        same(key, &self.key)
    }

    /// Host and origin of a request.
    ///
    /// # Errors
    /// Another name, or another site.
    pub fn greet(&self, method: &Method, headers: &HeaderMap) -> Result<(), Refusal> {
        let value = |name| headers.get(name).map(|value| value.to_str().unwrap_or(""));
        let mut hosts = headers.get_all(header::HOST).iter();
        let host = hosts.next().and_then(|host| host.to_str().ok());
        if host != Some(&self.host()) || hosts.next().is_some() {
            return Err(Refusal::Host);
        }
        let origin = self.origin();
        match (value("origin"), *method == Method::GET) {
            (Some(found), _) if found == origin => {}
            (None, true) => {}
            _ => return Err(Refusal::Origin),
        }
        match value("sec-fetch-site") {
            None | Some("same-origin" | "none") => Ok(()),
            // A page of another site may link here; it gets no cookie sent and so stays outside below.
            Some(_) if *method == Method::GET => Ok(()),
            Some(_) => Err(Refusal::Origin),
        }
    }

    /// Whether a request brings the cookie.
    ///
    /// # Errors
    /// That it does not.
    pub fn check_cookie(&self, headers: &HeaderMap) -> Result<(), Refusal> {
        let name = self.cookie_name();
        let cookies = headers.get_all(header::COOKIE).iter();
        let brought = cookies
            .filter_map(|line| line.to_str().ok())
            .flat_map(|line| line.split(';'))
            .filter_map(|cookie| cookie.trim().split_once('='))
            .any(|(found, value)| found == name && same(value, &self.cookie));
        match brought {
            true => Ok(()),
            false => Err(Refusal::Key),
        }
    }
}

/// 128 random bits as 32 hexadecimal digits.
fn random() -> Result<String, Failure> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes)
        .map_err(|error| Failure::output(format!("this system has no random numbers: {error}")))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Whether two texts are the same, in a time that does not tell where they differ.
fn same(a: &str, b: &str) -> bool {
    let differs = a
        .bytes()
        .zip(b.bytes())
        .fold(0, |all, (a, b)| all | (a ^ b));
    a.len() == b.len() && differs == 0
}
