//! The samples of a recording, one channel at the working rate, whatever its file is.

use super::{
    RATE, SoundProblem,
    guard::guarded,
    priming::{self, Priming},
    resample::Resampler,
};
use std::io::SeekFrom;
use symphonia::core::{
    codecs::audio::AudioDecoderOptions,
    errors::Error,
    formats::{FormatOptions, FormatReader, TrackType, probe::Hint},
    io::{MediaSource, MediaSourceStream},
    meta::MetadataOptions,
};

/// The longest recording that is read, in seconds.
pub const LONGEST: usize = 3 * 60 * 60;

/// Reads a recording: WAV, AIFF, FLAC, MP3, AAC or ALAC in MP4 or MOV, Vorbis in Ogg. Channels are averaged.
/// The result has [`RATE`] samples a second; its first is the first that the encoder was given, where the
/// file tells the delay of its encoder.
///
/// # Errors
/// A file of another kind, a damaged one, one without sound, or one beyond [`LONGEST`].
pub fn decode(source: Box<dyn MediaSource>) -> Result<Vec<f32>, SoundProblem> {
    guarded(|| read(source))
        .unwrap_or_else(|| Err(SoundProblem::Damaged("the decoder failed on it".to_owned())))
}

fn read(mut source: Box<dyn MediaSource>) -> Result<Vec<f32>, SoundProblem> {
    let priming = match FileKind::of_source(source.as_mut()) {
        FileKind::Empty => return Err(SoundProblem::NoSound),
        FileKind::Unread(kind) => return Err(SoundProblem::Unread(kind)),
        FileKind::Other => return Err(SoundProblem::Kind),
        FileKind::Mp4 => priming::of_mp4(source.as_mut()),
        FileKind::Sound => Priming::default(),
    };
    source
        .seek(SeekFrom::Start(0))
        .map_err(|error| unreadable(&error))?;
    let stream = MediaSourceStream::new(source, Default::default());
    let format = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .map_err(|error| match error {
            Error::Unsupported(_) | Error::IoError(_) => SoundProblem::Kind,
            other => SoundProblem::Damaged(other.to_string()),
        })?;
    samples(format, priming)
}

fn samples(mut format: Box<dyn FormatReader>, priming: Priming) -> Result<Vec<f32>, SoundProblem> {
    let track = format
        .first_track_known_codec(TrackType::Audio)
        .or_else(|| format.default_track(TrackType::Audio))
        .ok_or(SoundProblem::NoSound)?;
    let id = track.id;
    let parameters = track
        .codec_params
        .as_ref()
        .and_then(|parameters| parameters.audio())
        .ok_or(SoundProblem::Codec)?;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        .map_err(|_| SoundProblem::Codec)?;

    let mut out = Vec::new();
    let mut resampler: Option<Resampler> = None;
    let (mut interleaved, mut mono) = (Vec::<f32>::new(), Vec::new());
    let mut last_error = None;
    loop {
        let packet = match format.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) => break,
            // A recording that breaks off is heard as far as it goes.
            Err(error) => {
                last_error = Some(error.to_string());
                break;
            }
        };
        if packet.track_id != id {
            continue;
        }
        let buffer = match decoder.decode(&packet) {
            Ok(buffer) => buffer,
            Err(Error::DecodeError(what)) => {
                last_error = Some(what.to_owned());
                continue;
            }
            Err(error) => {
                last_error = Some(error.to_string());
                break;
            }
        };
        let (rate, planes) = (buffer.spec().rate(), buffer.num_planes());
        if planes == 0 || buffer.frames() == 0 {
            continue;
        }
        interleaved.resize(buffer.samples_interleaved(), 0.0);
        buffer.copy_to_slice_interleaved(&mut interleaved[..]);
        mono.clear();
        mono.extend(interleaved.chunks_exact(planes).map(|frame| {
            let mean = frame.iter().sum::<f32>() / planes as f32;
            if mean.is_finite() {
                mean.clamp(-8.0, 8.0)
            } else {
                0.0
            }
        }));
        let resampler = match &mut resampler {
            Some(resampler) if resampler.from() == rate => resampler,
            Some(_) => return Err(SoundProblem::Damaged("its sample rate changes".to_owned())),
            none => none.insert(Resampler::new(rate, RATE)?),
        };
        resampler.push(&mono, &mut out)?;
        if out.len() > LONGEST * RATE as usize {
            return Err(SoundProblem::Long);
        }
    }
    if let Some(mut resampler) = resampler {
        resampler.finish(&mut out)?;
    }
    if out.is_empty() {
        return Err(last_error.map_or(SoundProblem::NoSound, SoundProblem::Damaged));
    }
    let skip = (priming.seconds * f64::from(RATE)).round() as usize;
    out.drain(..skip.min(out.len()));
    Ok(out)
}

fn unreadable(error: &std::io::Error) -> SoundProblem {
    SoundProblem::Damaged(error.to_string())
}

/// What the first bytes of a file say of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileKind {
    /// No bytes at all.
    Empty,
    /// An ISO base media file: m4a, mp4, mov (ISO/IEC 14496-12: a box `ftyp`, or older QuickTime boxes).
    Mp4,
    /// Another kind that is read: WAV, AIFF, FLAC, MP3, raw AAC, Ogg.
    Sound,
    /// A kind of sound file that is not read, by its name in a sentence.
    Unread(&'static str),
    /// Something else.
    Other,
}

impl FileKind {
    /// How many bytes of a file tell its kind.
    const BYTES: usize = 64;

    /// The kind of what a source holds, which is left at its beginning. What cannot be read is empty.
    pub fn of_source(source: &mut dyn MediaSource) -> FileKind {
        let mut head = [0; FileKind::BYTES];
        let mut read = || -> std::io::Result<usize> {
            source.seek(SeekFrom::Start(0))?;
            let mut read = 0;
            while read < head.len() {
                match source.read(&mut head[read..])? {
                    0 => break,
                    more => read += more,
                }
            }
            source.seek(SeekFrom::Start(0))?;
            Ok(read)
        };
        let read = read().unwrap_or(0);
        FileKind::of(&head[..read])
    }

    /// The kind of a file by its first bytes.
    pub fn of(head: &[u8]) -> FileKind {
        let at = |place: usize, word: &[u8]| {
            head.get(place..).is_some_and(|rest| rest.starts_with(word))
        };
        let boxes: [&[u8]; 5] = [b"ftyp", b"moov", b"mdat", b"wide", b"free"];
        match head {
            [] => FileKind::Empty,
            // Matroska and WebM: the EBML head (RFC 9559).
            [0x1a, 0x45, 0xdf, 0xa3, ..] => FileKind::Unread("a Matroska or WebM file"),
            // The first bytes of the GUID of an ASF header (from memory).
            [0x30, 0x26, 0xb2, 0x75, 0x8e, 0x66, ..] => FileKind::Unread("a Windows Media file"),
            // AMR speech of older phones (RFC 4867, section 5).
            _ if at(0, b"#!AMR") => FileKind::Unread("an AMR file"),
            // Opus in Ogg (RFC 7845, section 5.1).
            _ if at(0, b"OggS") && head.windows(8).any(|eight| eight == b"OpusHead") => {
                FileKind::Unread("an Opus file")
            }
            _ if boxes.iter().any(|name| at(4, name)) => FileKind::Mp4,
            _ if at(0, b"RIFF") && at(8, b"WAVE") || at(0, b"FORM") && at(8, b"AIF") => {
                FileKind::Sound
            }
            _ if at(0, b"fLaC") || at(0, b"OggS") || at(0, b"ID3") => FileKind::Sound,
            // Eleven bits that begin each frame of MPEG sound (ISO/IEC 11172-3, and 13818-7 for AAC).
            [0xff, second, ..] if second & 0xe0 == 0xe0 => FileKind::Sound,
            _ => FileKind::Other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn wav(rate: u32, samples: &[i16]) -> Vec<u8> {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: rate,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
        samples
            .iter()
            .for_each(|&sample| writer.write_sample(sample).unwrap());
        writer.finalize().unwrap();
        bytes.into_inner()
    }

    #[test]
    fn a_click_stays_in_its_place_at_every_rate() {
        for rate in [8000, 11025, 16000, 22050, 44100, 48000, 96000, 44056] {
            let mut samples = vec![0i16; 2 * rate as usize];
            samples[rate as usize] = 30000;
            let heard = decode(Box::new(Cursor::new(wav(rate, &samples)))).unwrap();
            assert!(heard.len().abs_diff(16000) <= 1, "{rate}: {}", heard.len());
            let loudest = (0..heard.len())
                .max_by(|&a, &b| heard[a].abs().total_cmp(&heard[b].abs()))
                .unwrap();
            assert!(loudest.abs_diff(8000) <= 1, "{rate}: {loudest}");
        }
    }

    #[test]
    fn what_is_not_read_is_named() {
        let said = |bytes: &[u8]| {
            decode(Box::new(Cursor::new(bytes.to_vec())))
                .unwrap_err()
                .to_string()
        };
        let mut opus = b"OggS\0\x02".to_vec();
        opus.extend([0; 22]);
        opus.extend(b"OpusHead\x01\x01");
        for (bytes, word) in [
            (&opus[..], "Opus"),
            (b"\x1a\x45\xdf\xa3 and more", "WebM"),
            (b"#!AMR\n", "AMR"),
            (b"", "no sound"),
            (b"title = \"A chart\"", "not a recording"),
            (b"MThd\0\0\0\x06", "not a recording"),
        ] {
            assert!(said(bytes).contains(word), "{}", said(bytes));
        }
    }
}
