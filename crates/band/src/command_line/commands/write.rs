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
        json::to_json,
        midi_file::{self, TrackLayout},
        origin::signed_sound,
        report::LineReport,
    },
    performance::score::PartName,
};
use indicatif::{ProgressBar, ProgressStyle};
use std::{
    cell::Cell,
    io::{self, IsTerminal},
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
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// The sound font for .wav and .flac [default: the one of this machine]
    #[arg(long, value_name = "FILE", requires = "output")]
    sound_font: Option<PathBuf>,
    /// A file for each part, in this folder: MIDI in place of one file, or sound beside -o NAME.wav
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
    if let (Some(_), Some(file), None) = (&args.split, &args.output, sound) {
        return Err(Failure::input(format!(
            "--split writes a MIDI file a part in its folder, and {} would be one more; leave -o out, or name a \
             sound file",
            shown(file)
        )));
    }
    let chart = args.chart.as_deref();
    let file = args.output.clone();
    let file = file.unwrap_or_else(|| destination::named_after(chart, ".mid"));
    destination::report_apart(args.report.as_deref(), [chart, Some(&file)])?;
    let session = args.performance.session(chart)?.showing_progress(1);
    let part_file = |folder: &Path, part: PartName| match sound {
        Some(format) => folder.join(part_name(&file, part, format)),
        None => {
            let ending = format!("-{}.mid", part.to_string().to_lowercase());
            folder.join(destination::named_after(chart, &ending))
        }
    };
    let parts = args.split.iter();
    let mut files: Vec<PathBuf> = parts
        .flat_map(|folder| PartName::ALL.map(|part| part_file(folder, part)))
        .collect();
    if args.split.is_none() || sound.is_some() {
        files.push(file.clone());
    }
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
    let written = match (&args.split, sound) {
        (split, Some(format)) => {
            let studio = Studio::of_machine(args.sound_font.as_deref(), format);
            let studio = studio.map_err(Failure::input)?;
            let mut jobs = vec![(file.clone(), score.clone())];
            if let Some(folder) = split {
                destination::make_folder(folder)?;
                let parts = score.parts.iter().map(|part| part.name);
                jobs.extend(parts.map(|part| (part_file(folder, part), score.only(part))));
            }
            let progress = Progress::of(jobs.len());
            let mut names = Vec::new();
            for (file, score) in jobs {
                let bytes = midi_file::bytes(&score, layout);
                let done = progress.begin(&shown(&file));
                let rendered = studio.render(&bytes, &done).map_err(Failure::output)?;
                destination::write(&file, &signed_sound(rendered, &score.title))?;
                names.push(shown(&file));
            }
            progress.end();
            names.join(", ")
        }
        (Some(folder), None) => {
            destination::make_folder(folder)?;
            let mut names = Vec::new();
            for (part, bytes) in midi_file::split(&score, layout) {
                let file = part_file(folder, part);
                destination::write(&file, &bytes)?;
                names.push(shown(&file));
            }
            names.join(", ")
        }
        (None, None) => {
            destination::write(&file, &midi_file::bytes(&score, layout))?;
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

/// The name of the sound of one part beside that of all: `blues-bass.wav`.
fn part_name(file: &Path, part: PartName, format: AudioFormat) -> String {
    let name = match file.file_stem() {
        Some(stem) if file.as_os_str() != "-" => stem.to_string_lossy().into_owned(),
        _ => "sound".to_owned(),
    };
    let part = part.to_string().to_lowercase();
    format!("{name}-{part}.{}", format.suffix())
}

/// How far the rendering is: a bar on a terminal, else a line a file.
struct Progress {
    bar: Option<ProgressBar>,
    files: usize,
    begun: Cell<usize>,
}

impl Progress {
    fn of(files: usize) -> Progress {
        let bar = io::stderr().is_terminal().then(|| {
            let style = ProgressStyle::with_template("{msg} {wide_bar} {percent}%");
            let style = style.unwrap_or_else(|_| ProgressStyle::default_bar());
            ProgressBar::new(1000).with_style(style)
        });
        Progress {
            bar,
            files,
            begun: Cell::new(0),
        }
    }

    /// Begins a file; what it gives takes the share of it that is done.
    fn begin<'a>(&'a self, file: &str) -> impl Fn(f64) + use<'a> {
        let number = self.begun.get() + 1;
        self.begun.set(number);
        let words = format!("rendering {file} ({number} of {})", self.files);
        match &self.bar {
            Some(bar) => bar.set_message(words),
            None => eprintln!("{words}"),
        }
        let files = self.files as f64;
        move |share: f64| {
            if let Some(bar) = &self.bar {
                bar.set_position((1000.0 * ((number - 1) as f64 + share) / files) as u64);
            }
        }
    }

    fn end(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
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
