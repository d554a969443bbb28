//! `endpin hear`: the notes of a bass in a recording.

use crate::{
    command_line::commands::write::is_midi,
    failure::{Failure, shown},
    inputs::{sound, source},
    outputs::{destination, heard, json::JsonSigns, origin::Spared},
};
use std::{path::PathBuf, process::ExitCode};

/// Arguments of `endpin hear`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin hear take.m4a -o take.mid\n\
                  One bass, alone or in front of its backing; B0 to G4. The MIDI file has every note at its time \
                  in the recording.")]
pub struct HearArgs {
    /// The recording: wav, aiff, flac, mp3, m4a, mp4, mov, ogg; - is standard input
    #[arg(value_name = "TAKE")]
    take: PathBuf,
    /// As JSON (endpin-hear/1)
    #[arg(long, value_name = "SIGNS", num_args = 0..=1, require_equals = true, default_missing_value = "unicode")]
    json: Option<JsonSigns>,
    /// Write the notes to a MIDI file (.mid)
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace files of others, too
    #[arg(long)]
    replace: bool,
}

/// Hears the recording and reports.
///
/// # Errors
/// A recording that cannot be read, or a file that cannot be written.
pub fn run(args: &HearArgs) -> Result<ExitCode, Failure> {
    destination::finish_files_at_signals()?;
    if let Some(file) = args.output.as_deref().filter(|file| !is_midi(file)) {
        return Err(Failure::input(format!(
            "hear writes MIDI files; {} needs a name that ends in .mid",
            shown(file)
        )));
    }
    let name = shown(&args.take);
    let spared = Spared {
        inputs: vec![&args.take],
        title: Some(&name),
        replace: args.replace,
    };
    spared.allow(args.output.as_deref())?;
    let recording = source::recording(&args.take)?;
    let heard = sound::hear_file(recording)
        .map_err(|problem| Failure::input(format!("{name}: {problem}")))?;
    if let Some(file) = &args.output {
        let midi = heard::midi(&heard, &name)
            .map_err(|error| Failure::output(format!("{}: {error}", shown(file))))?;
        destination::write(file, &midi)?;
    }
    let to_stdout = args
        .output
        .as_deref()
        .is_some_and(|file| file.as_os_str() == "-");
    if let Some(signs) = args.json {
        destination::print(&signs.of(&heard::HearReport::new(&heard)))?;
    } else if !to_stdout {
        destination::print(&heard::text(&name, &heard))?;
    }
    Ok(ExitCode::SUCCESS)
}
