//! Taking in: a MIDI file or a recording that a student brings, judged over the chart on the desk.

use super::{
    Desk,
    came_back::{self, CameBack},
    folder::named_after,
    hand_out,
    line_view::{LineWishes, json},
};
use crate::{
    failure::{Failure, printable_line},
    inputs::{class_list, take::file::TakeFile},
    outputs::ear::record::now,
    outputs::verdict::{Bench, json::CheckReport, page},
};
use endpin_theory::{Chart, Key};
use serde::Deserialize;

/// Most bytes of a take.
pub const MOST_BYTES: usize = 96 << 20;

/// What the take is judged over.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Over {
    line: LineWishes,
    /// The name of the file that was brought.
    file: String,
    /// Who played it; may be empty.
    student: String,
    /// The beats that the player heard while it was recorded, in milliseconds of the file.
    #[serde(default)]
    beats: Vec<u32>,
}

/// Judges a take: a line of JSON says over what, the bytes of the file follow it. As JSON: the page of the verdict
/// and the verdict itself (`endpin-check`).
///
/// # Errors
/// A chart with a fault, a file that is no take, or a page that cannot be written.
pub fn judge(desk: &Desk, question: &[u8]) -> Result<Vec<u8>, Failure> {
    let line_end = question.iter().position(|&byte| byte == b'\n');
    let line_end = line_end.ok_or_else(|| Failure::input("no file was sent"))?;
    let mut over: Over = serde_json::from_slice(&question[..line_end])
        .map_err(|error| Failure::input(format!("this request cannot be read: {error}")))?;
    over.line.read_manner(&desk.folder)?;
    let (chart, range) = played(desk, &over)?;
    let bench = Bench::new(chart, range);
    let name = printable_line(&over.file);
    let mut file = take(&name, question[line_end + 1..].to_vec())?;
    if !over.beats.is_empty() {
        file.add_click(&over.beats);
    }
    let judged = bench
        .judge_file(name.clone(), &file, None)
        .map_err(|problem| Failure::input(format!("{name}: {problem}")))?;
    let title = bench.chart.title.clone();
    let chart_name = format!("{}.toml", named_after(&title));
    let judged = [judged];
    let stem = match named_after(&over.student).as_str() {
        "chart" => format!("{}-verdict", named_after(&title)),
        student => format!("{}-{student}-verdict", named_after(&title)),
    };
    let folder = hand_out::folder(desk)?;
    let page_name = folder.free_name(&stem, ".html");
    let html = page::report(&bench, &judged, &chart_name, None);
    folder.write(&page_name, html.as_bytes())?;
    let verdicts = judged.iter().flat_map(|take| &take.judgement.verdicts);
    let stand = verdicts.clone().filter(|verdict| verdict.stands());
    let (right, of) = (stand.count(), verdicts.count());
    let one = CameBack {
        when: now(),
        student: printable_line(over.student.trim()),
        what: title,
        right,
        of,
        counted: "notes".to_owned(),
        page: Some(page_name.clone()),
    };
    came_back::keep(&folder, one)?;
    json(&serde_json::json!({
        "page": page_name,
        "verdict": CheckReport::new(&bench, &chart_name, &judged),
    }))
}

/// The chart and the range as the student plays them: in the key and on the instrument of the class, if the name is
/// in it.
fn played(desk: &Desk, over: &Over) -> Result<(Chart, (u8, u8)), Failure> {
    let class = desk.folder.read(hand_out::CLASS).unwrap_or_default();
    let class = class_list::read(&String::from_utf8_lossy(&class))?;
    let named =
        |student: &class_list::Student| student.name.eq_ignore_ascii_case(over.student.trim());
    let student = class.into_iter().find(named).unwrap_or_default();
    let chart = over.line.chart()?;
    let key = student.key.map(|key| Key {
        mode: chart.key.mode,
        ..key
    });
    let range = match student.instrument {
        Some(instrument) => instrument.range,
        None => over.line.range()?,
    };
    Ok((
        key.map_or_else(|| chart.clone(), |key| chart.in_key(key)),
        range,
    ))
}

#[cfg(feature = "sound")]
fn take(name: &str, bytes: Vec<u8>) -> Result<TakeFile, Failure> {
    use crate::inputs::sound::{self, decode::FileKind};
    let problem = |problem: &dyn std::fmt::Display| Failure::input(format!("{name}: {problem}"));
    match FileKind::of(&bytes[..bytes.len().min(64)]) {
        FileKind::Other | FileKind::Empty => TakeFile::read(&bytes).map_err(|why| problem(&why)),
        _ => {
            let heard = sound::hear_file(Box::new(std::io::Cursor::new(bytes)));
            let heard = heard.map_err(|why| problem(&why))?;
            TakeFile::of_hearing(&heard).map_err(|why| problem(&why))
        }
    }
}

#[cfg(not(feature = "sound"))]
fn take(name: &str, bytes: Vec<u8>) -> Result<TakeFile, Failure> {
    TakeFile::read(&bytes).map_err(|why| Failure::input(format!("{name}: {why}")))
}
