//! `endpin write`: one MIDI file, or its sound.

use crate::{
    command_line::{
        commands::sheet,
        options::{Performance, whole},
    },
    failure::{Failure, printable_line, shown},
    outputs::{
        destination,
        ear::audio::{AudioFormat, Studio},
        midi_file::{self, TrackLayout},
        origin::signed_sound,
        report::{LineReport, to_json},
    },
    performance::score::PartName,
};
use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

/// Arguments of `endpin write`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: endpin write scenarios/breakwater-blues.toml -o blues.mid --choruses 4"
)]
pub struct WriteArgs {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    /// The file to write, .wav or .flac for its sound; - is standard output [default: named after the chart, .mid,
    /// in this folder]
    #[arg(short, long, value_name = "FILE", conflicts_with = "split")]
    output: Option<PathBuf>,
    /// The sound font for .wav and .flac [default: the one of this machine]
    #[arg(long, value_name = "FILE", requires = "output")]
    sound_font: Option<PathBuf>,
    /// A file for each part, in this folder, in place of one file
    #[arg(long, value_name = "DIR")]
    split: Option<PathBuf>,
    /// Standard MIDI File format: 1 (a track for each part) or 0 (one track)
    #[arg(long, default_value_t = 1, value_parser = whole::<u8, 0, 1>)]
    format: u8,
    /// Write the line report (endpin-line/1) as well
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Replace files of others, too
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    performance: Performance,
}

/// Makes the choruses and writes them.
///
/// # Errors
/// A chart or options that make no line, or a file that cannot be written.
pub fn run(args: &WriteArgs) -> Result<ExitCode, Failure> {
    destination::finish_files_at_signals()?;
    let sound = args.output.as_deref().and_then(sound_of);
    let is_other = |file: &&Path| sound.is_none() && !is_midi(file);
    if let Some(file) = args.output.as_deref().filter(is_other) {
        let file_name = shown(file);
        let or_sheet = match sheet::is_sheet(file) {
            true => format!(", or use `endpin sheet ... -o {file_name}`"),
            false => String::new(),
        };
        return Err(Failure::input(format!(
            "write makes MIDI files; {file_name} needs a name that ends in .mid, or in .wav or .flac for its \
             sound{or_sheet}"
        )));
    }
    let chart = args.chart.as_deref();
    let file = args.output.clone();
    let file = file.unwrap_or_else(|| destination::named_after(chart, ".mid"));
    destination::report_apart(args.report.as_deref(), [chart, Some(&file)])?;
    let session = args.performance.session(chart)?;
    let part_file = |folder: &Path, part: PartName| {
        let ending = format!("-{}.mid", part.to_string().to_lowercase());
        folder.join(destination::named_after(chart, &ending))
    };
    let files: Vec<PathBuf> = match &args.split {
        Some(folder) => PartName::ALL.map(|part| part_file(folder, part)).into(),
        None => vec![file.clone()],
    };
    let spared = args
        .performance
        .spared(chart, &session.chart().title, args.replace);
    spared.allow(files.iter().chain(&args.report).map(PathBuf::as_path))?;
    let made = session.perform()?;
    let score = made.score().signed();
    let layout = if args.format == 0 {
        TrackLayout::Single
    } else {
        TrackLayout::Tracks
    };
    let written = match &args.split {
        Some(folder) => {
            destination::make_folder(folder)?;
            let mut names = Vec::new();
            for (part, bytes) in midi_file::split(&score, layout) {
                let file = part_file(folder, part);
                destination::write(&file, &bytes)?;
                names.push(shown(&file));
            }
            names.join(", ")
        }
        None => {
            let mut bytes = midi_file::bytes(&score, layout);
            if let Some(format) = sound {
                let studio = Studio::of_machine(args.sound_font.as_deref(), format);
                let studio = studio.map_err(Failure::input)?;
                let rendered = studio.render(&bytes).map_err(Failure::output)?;
                bytes = signed_sound(rendered, &score.title);
            }
            destination::write(&file, &bytes)?;
            shown(&file)
        }
    };
    if let Some(report) = &args.report {
        destination::write(
            report,
            to_json(&LineReport::new(&session, &made)).as_bytes(),
        )?;
    }
    if written != "-" {
        let parts: Vec<String> = score
            .parts
            .iter()
            .map(|part| part.name.to_string())
            .collect();
        let what = printable_line(&session.to_string());
        eprintln!("{what}: {} in {written}", parts.join(", "));
    }
    Ok(ExitCode::SUCCESS)
}

/// What sound is to be written there, by its name.
fn sound_of(file: &Path) -> Option<AudioFormat> {
    let ending = file.extension()?.to_str()?.to_ascii_lowercase();
    ending.parse().ok()
}

/// Whether a MIDI file may be written there, by its name: one without an ending may be anything.
pub fn is_midi(file: &Path) -> bool {
    let ending = file.extension().map(|ending| ending.to_ascii_lowercase());
    ending.is_none_or(|ending| ending == "mid" || ending == "midi")
}
