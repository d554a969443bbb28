//! The practice page: one file that a student opens to read, hear, slow down and play along.
//!
//! Everything is engraved here, in every key that the page offers; the page's script only shows, plays and
//! points. Each key is packed (JSON, deflated, base64) and unpacked when it is asked for. Texts of the chart
//! reach the page as escaped text or as JSON without `<`, so they never become markup or script.

pub mod data;

use super::{staves, xml::legal};
use crate::{
    failure::Failure,
    outputs::{
        html::{filled, head},
        marks::LEGEND,
        reading::chorus_words,
    },
    performance::{
        arrangement::ArrangeOptions,
        practice::{self, BarRange, KeyOrder},
        session::{Session, Wishes},
    },
    players::swing::{Swing, ratio_by_tempo},
};
use base64::{Engine, engine::general_purpose::STANDARD};
use data::KeyData;
use endpin_theory::Chart;
use flate2::{Compression, write::DeflateEncoder};
use quick_xml::escape::escape;
use serde::Serialize;
use std::io::Write;

const TEMPLATE: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");
const SCRIPTS: [&str; 3] = [SOUND, PLAYER, include_str!("page.js")];
/// The script that makes sounds in a browser.
pub const SOUND: &str = include_str!("sound.js");
/// The script that plays the music of a page in time.
pub const PLAYER: &str = include_str!("player.js");

/// Most bars of all choruses together that a page holds.
const MOST_BARS: usize = 4_000;
/// Most bars, counted in every key, that are engraved in twelve keys rather than in one.
const MOST_BARS_IN_ALL_KEYS: usize = 9_000;

/// A script without indentation and lines of comment, which a page need not carry.
fn bare(script: &str) -> String {
    let lines = script.lines().map(str::trim);
    let lines = lines.filter(|line| !line.is_empty() && !line.starts_with("//"));
    lines.flat_map(|line| [line, "\n"]).collect()
}

/// What the script needs to know before it unpacks a key.
#[derive(Serialize)]
struct Settings {
    /// The first key to show.
    home: String,
    /// Quarter notes a minute.
    tempo: f64,
    /// Long to short eighths of ride and line at 20, 30, … 400 quarter notes a minute.
    swing: Vec<f64>,
    /// Parts that are silent at first.
    muted: Vec<String>,
}

/// Whether a page holds the choruses asked for; known before any line is made.
///
/// # Errors
/// Choruses beyond what a page holds.
pub fn fits(chart: &Chart, wishes: &Wishes) -> Result<(), Failure> {
    let all = || chart.chorus().bars.len();
    let bars = wishes.bars.map_or_else(all, BarRange::bars) * wishes.choruses.len();
    match bars {
        0..=MOST_BARS => Ok(()),
        _ => Err(Failure::input(format!(
            "a page holds at most {MOST_BARS} bars, and these choruses have {bars}; ask for fewer with --choruses or --bars-range"
        ))),
    }
}

/// Makes the page of a session that [`fits`]; `about` is a sentence under the title.
///
/// # Errors
/// More choruses than there are.
pub fn write(session: &Session, about: &str) -> Result<Vec<u8>, Failure> {
    let bars = session.chorus(1).bars.len() * session.wishes().choruses.len();
    let mut keys = vec![KeyData::new(session)?];
    keys.extend(other_keys(session, bars));
    let packed = |key: &KeyData| {
        format!(
            "<script type=\"text/plain\" data-key=\"{}\">{}</script>\n",
            key.key,
            pack(key)
        )
    };
    let chart = session.chart();
    let arrange = &session.wishes().arrange;
    let settings = Settings {
        home: chart.key.to_string(),
        tempo: chart.tempo,
        swing: swing(arrange),
        muted: arrange
            .mute
            .iter()
            .map(|part| part.to_string().to_lowercase())
            .collect(),
    };
    let title = escape(legal(&chart.title));
    let fill = |name: &str| match name {
        "head" => head(&title, &chart.title, &[staves::STYLE, STYLE].concat()),
        "title" => title.clone().into_owned(),
        // The script names another key there when one is chosen.
        "about" => {
            let key = chart.key.to_string();
            let about = about.replacen(&format!("In {key}"), &format!("In {}", signs(&key)), 1);
            escape(&about).into_owned()
        }
        "signs" => staves::signs(),
        "legend" => legend(),
        "first" => keys[0].first_chorus(),
        "keys" => key_options(&keys),
        "choruses" => chorus_options(&keys[0]),
        "settings" => json_for_script(&settings),
        "music" => keys.iter().map(packed).collect(),
        "script" => SCRIPTS.map(bare).concat(),
        _ => String::new(),
    };
    Ok(filled(TEMPLATE, fill).into_bytes())
}

/// The same session in the other eleven keys, by half steps up. A key in which the line cannot be walked is
/// left out, and so are all of them where notes are pinned or the page would grow out of hand.
fn other_keys(session: &Session, bars: usize) -> Vec<KeyData> {
    let wishes = session.wishes();
    let fixed = !wishes.line.pins.is_empty() || !wishes.line.avoid.is_empty();
    if fixed || bars * 12 > MOST_BARS_IN_ALL_KEYS {
        return Vec::new();
    }
    let home = session.chart().key;
    let in_key = |number: u32| {
        let key = practice::key(home, KeyOrder::HalfSteps, number, wishes.seed);
        let session = Session::new(session.chart().in_key(key), wishes.clone()).ok()?;
        KeyData::new(&session).ok()
    };
    (2..=12).filter_map(in_key).collect()
}

/// Swing ratios by tempo, as the band plays.
pub fn swing(arrange: &ArrangeOptions) -> Vec<f64> {
    let ratio = |tens: u32| match arrange.swing {
        Swing::Straight => 1.0,
        Swing::Ratio(ratio) => ratio,
        Swing::ByTempo => ratio_by_tempo(f64::from(tens) * 10.0),
    };
    (2..=40).map(ratio).collect()
}

fn option(value: &str, text: &str, chosen: bool) -> String {
    let chosen = if chosen { " selected" } else { "" };
    format!(
        "<option value=\"{}\"{chosen}>{}</option>",
        escape(value),
        escape(text)
    )
}

/// The name of a key with real signs.
fn signs(key: &str) -> String {
    key.replace('b', "♭").replace('#', "♯")
}

/// The keys to choose from, the first chosen.
fn key_options(keys: &[KeyData]) -> String {
    let options = keys.iter().enumerate();
    options
        .map(|(index, key)| option(&key.key, &signs(&key.key), index == 0))
        .collect()
}

fn chorus_options(key: &KeyData) -> String {
    let options = key.numbers().enumerate();
    options
        .map(|(index, number)| option(&index.to_string(), &chorus_words(number), index == 0))
        .collect()
}

fn legend() -> String {
    LEGEND.map(|line| format!("<p>{line}</p>")).concat()
}

/// JSON that may stand inside a script element.
fn json_for_script(value: &impl Serialize) -> String {
    json(value).replace('<', "\\u003c")
}

#[expect(
    clippy::expect_used,
    reason = "plain structs with text keys always serialise"
)]
fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).expect("plain structs with text keys")
}

/// A key as the page holds it: numbers as JSON, then the markup of each chorus, with the record separator of
/// ASCII before each; all deflated and in base64. (As JSON strings, markup would pack a third worse.)
#[expect(clippy::expect_used, reason = "writing into a vector does not fail")]
fn pack(key: &KeyData) -> String {
    let mut text = json(key);
    for html in key.markup() {
        text.push('\u{1e}');
        text.push_str(html);
    }
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
    let deflated = encoder
        .write_all(text.as_bytes())
        .and_then(|()| encoder.finish());
    STANDARD.encode(deflated.expect("a vector takes every byte"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_never_closes_its_script() {
        assert_eq!(
            json_for_script(&"</script><!--"),
            r#""\u003c/script>\u003c!--""#
        );
    }

    #[test]
    fn every_place_of_the_template_is_known() {
        let known = [
            "head", "title", "about", "signs", "legend", "first", "keys", "choruses", "settings",
            "music", "script",
        ];
        for part in TEMPLATE.split("{{").skip(1) {
            let name = part.split_once("}}").unwrap().0;
            assert!(known.contains(&name), "{name}");
        }
    }
}
