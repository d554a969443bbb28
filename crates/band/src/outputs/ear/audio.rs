//! Questions as sound: rendered from a sound font, written as WAV or FLAC.
//!
//! A file's length follows from its tempo and bars. FLAC files compress what they hold, so that their size
//! could tell something of it; they are padded to whole steps of [`FLAC_STEP`] bytes.

use endpin_theory::did_you_mean;
use flacenc::{
    component::{BitRepr, MetadataBlockData},
    error::Verify,
};
use midly::{MidiMessage, Smf, TrackEventKind, num::u28};
use rustysynth::{MidiFile, MidiFileSequencer, SoundFont, Synthesizer, SynthesizerSettings};
use std::{
    fs,
    io::{BufReader, Cursor},
    path::{Path, PathBuf},
    str::FromStr,
    sync::Arc,
};

/// Samples a second.
pub const SAMPLE_RATE: u32 = 44_100;
/// Seconds after the last bar line, in which the last notes die away.
const TAIL: f64 = 1.0;
/// The loudest a sample may be; a louder file is made softer as a whole.
const PEAK: f32 = 0.89;
/// How much louder than the synthesizer's own the sound is: one gain for all files, so that loudness says
/// nothing.
const GAIN: f32 = 1.5;
/// Samples rendered between two words about it: whole blocks of the synthesizer, so that cutting changes nothing.
const STRETCH: usize = 64 * 1024;
/// FLAC files are so many bytes long, or a multiple.
pub const FLAC_STEP: usize = 256 * 1024;

/// How sound is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AudioFormat {
    /// 16 bit PCM.
    Wav,
    /// The same without loss in less space.
    Flac,
}

impl AudioFormat {
    /// The end of its file names.
    pub fn suffix(self) -> &'static str {
        match self {
            AudioFormat::Wav => "wav",
            AudioFormat::Flac => "flac",
        }
    }
}

impl FromStr for AudioFormat {
    type Err = String;

    fn from_str(text: &str) -> Result<AudioFormat, String> {
        match text {
            "wav" => Ok(AudioFormat::Wav),
            "flac" => Ok(AudioFormat::Flac),
            _ => Err(format!(
                "write wav or flac{}",
                did_you_mean(text, ["wav", "flac"])
            )),
        }
    }
}

/// Why there is no sound.
#[derive(Debug, thiserror::Error)]
pub enum AudioError {
    /// No sound font on this machine.
    #[error(
        "no sound font (.sf2) in {0}; install one (Debian and Ubuntu: timgm6mb-soundfont or fluid-soundfont-gm, \
         Fedora: fluid-soundfont-gm, Arch: soundfont-fluid) or name one with --sound-font FILE"
    )]
    NoFont(String),
    /// A sound font that cannot be read.
    #[error("cannot use the sound font {}: {why}", path.display())]
    Font {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// The renderer or the encoder failed.
    #[error("cannot render: {0}")]
    Render(String),
}

/// Folders in which systems keep sound fonts (from memory).
const FOLDERS: [&str; 5] = [
    "/usr/share/sounds/sf2",
    "/usr/share/soundfonts",
    "/usr/local/share/soundfonts",
    "/usr/local/share/sounds/sf2",
    "/opt/homebrew/share/soundfonts",
];

/// The sound font of this machine: the system's default if it has one, else the first by name.
///
/// # Errors
/// [`AudioError::NoFont`], which says what to install.
fn find_font() -> Result<PathBuf, AudioError> {
    let fonts_in = |folder: &str| -> Vec<PathBuf> {
        let entries = fs::read_dir(folder).into_iter().flatten().flatten();
        let mut fonts: Vec<PathBuf> = entries
            .map(|entry| entry.path())
            .filter(|path| {
                path.extension()
                    .is_some_and(|end| end.eq_ignore_ascii_case("sf2"))
            })
            .filter(|path| path.is_file())
            .collect();
        fonts.sort_by_key(|path| {
            let default = path
                .file_stem()
                .is_some_and(|name| name.to_string_lossy().starts_with("default"));
            (!default, path.clone())
        });
        fonts
    };
    FOLDERS
        .iter()
        .find_map(|folder| fonts_in(folder).into_iter().next())
        .ok_or_else(|| AudioError::NoFont(FOLDERS.join(", ")))
}

/// A sound font, ready to render.
#[derive(Debug)]
pub struct Studio {
    font: Arc<SoundFont>,
    format: AudioFormat,
    /// What the rendering depends on besides the MIDI file: the font's name and size, and the format.
    pub label: String,
}

impl Studio {
    /// Loads this sound font, or else the one of this machine.
    ///
    /// # Errors
    /// No font, or one that cannot be read.
    pub fn of_machine(font: Option<&Path>, format: AudioFormat) -> Result<Studio, AudioError> {
        let font = font.map_or_else(find_font, |font| Ok(font.to_owned()))?;
        Studio::open(&font, format)
    }

    /// Loads a sound font.
    ///
    /// # Errors
    /// A file that cannot be read or is no SoundFont 2.
    pub fn open(path: &Path, format: AudioFormat) -> Result<Studio, AudioError> {
        let cannot = |why: String| AudioError::Font {
            path: path.to_owned(),
            why,
        };
        let file = fs::File::open(path).map_err(|error| cannot(error.to_string()))?;
        let size = file.metadata().map_or(0, |found| found.len());
        let font = SoundFont::new(&mut BufReader::new(file))
            .map_err(|error| cannot(format!("{error}; it must be a SoundFont 2 file (.sf2)")))?;
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        Ok(Studio {
            font: Arc::new(font),
            format,
            label: format!("{name} {size} {}", format.suffix()),
        })
    }

    /// The sound of a MIDI file, encoded; `done` is told from time to time what share of it is rendered.
    ///
    /// # Errors
    /// A MIDI file that cannot be read, or an encoder that fails.
    pub fn render(&self, midi: &[u8], done: &dyn Fn(f64)) -> Result<Vec<u8>, AudioError> {
        let samples = self.samples(midi, done)?;
        match self.format {
            AudioFormat::Wav => wav(&samples),
            AudioFormat::Flac => flac(&samples),
        }
    }

    /// 16 bit samples, left and right in turn.
    fn samples(&self, midi: &[u8], done: &dyn Fn(f64)) -> Result<Vec<i16>, AudioError> {
        let midi = without_percussion_banks(midi).map_err(failed)?;
        let midi = Arc::new(MidiFile::new(&mut Cursor::new(midi)).map_err(failed)?);
        let settings = SynthesizerSettings::new(SAMPLE_RATE as i32);
        let synthesizer = Synthesizer::new(&self.font, &settings).map_err(failed)?;
        let mut sequencer = MidiFileSequencer::new(synthesizer);
        let length = ((midi.get_length() + TAIL) * f64::from(SAMPLE_RATE)) as usize;
        let (mut left, mut right) = (vec![0f32; length], vec![0f32; length]);
        sequencer.play(&midi, false);
        let stretches = left.chunks_mut(STRETCH).zip(right.chunks_mut(STRETCH));
        for (number, (left, right)) in stretches.enumerate() {
            sequencer.render(left, right);
            done(((number + 1) * STRETCH).min(length) as f64 / length as f64);
        }
        let loudest = left
            .iter()
            .chain(&right)
            .fold(0f32, |loudest, sample| loudest.max(sample.abs()));
        let gain = if loudest * GAIN > PEAK {
            PEAK / loudest
        } else {
            GAIN
        };
        let to_i16 = |sample: f32| (sample * gain * f32::from(i16::MAX)) as i16;
        Ok(left
            .iter()
            .zip(&right)
            .flat_map(|(l, r)| [to_i16(*l), to_i16(*r)])
            .collect())
    }
}

/// The file without bank selects on channel 10: in a sound font all kits are in one bank (SoundFont 2.04, 128), and
/// the synthesiser adds what is selected to it instead of knowing General MIDI 2's 120 for the same.
fn without_percussion_banks(midi: &[u8]) -> Result<Vec<u8>, std::io::Error> {
    let mut file = Smf::parse(midi).map_err(std::io::Error::other)?;
    for track in &mut file.tracks {
        let mut waited = u28::new(0);
        let events = std::mem::take(track).into_iter().filter_map(|mut event| {
            event.delta = u28::new(event.delta.as_int() + waited.as_int());
            let is_bank = matches!(
                event.kind,
                TrackEventKind::Midi { channel, message: MidiMessage::Controller { controller, .. } }
                    if channel == PERCUSSION && (controller == 0 || controller == 32)
            );
            waited = if is_bank { event.delta } else { u28::new(0) };
            (!is_bank).then_some(event)
        });
        *track = events.collect();
    }
    let mut bytes = Vec::new();
    file.write_std(&mut bytes)?;
    Ok(bytes)
}

/// Channel 10, counted from 0.
const PERCUSSION: u8 = 9;

fn failed(error: impl std::fmt::Display) -> AudioError {
    AudioError::Render(error.to_string())
}

fn wav(samples: &[i16]) -> Result<Vec<u8>, AudioError> {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::with_capacity(samples.len() * 2 + 64));
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(failed)?;
    for &sample in samples {
        writer.write_sample(sample).map_err(failed)?;
    }
    writer.finalize().map_err(failed)?;
    Ok(bytes.into_inner())
}

fn flac(samples: &[i16]) -> Result<Vec<u8>, AudioError> {
    let samples: Vec<i32> = samples.iter().map(|&sample| i32::from(sample)).collect();
    let config = flacenc::config::Encoder::default()
        .into_verified()
        .map_err(|(_, error)| failed(error))?;
    let source = flacenc::source::MemSource::from_samples(&samples, 2, 16, SAMPLE_RATE as usize);
    let mut stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .map_err(failed)?;
    // A padding block (type 1 of the FLAC format, RFC 9639) has a head of four bytes.
    const HEAD: usize = 4;
    let size = stream.count_bits().div_ceil(8) + HEAD;
    let padding = vec![0; size.next_multiple_of(FLAC_STEP) - size];
    stream.add_metadata_block(MetadataBlockData::new_unknown(1, &padding).map_err(failed)?);
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).map_err(failed)?;
    Ok(sink.into_inner())
}
