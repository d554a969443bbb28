//! The samples of a recording, one channel at the working rate, whatever its file is.

use super::{
    RATE, SoundProblem,
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
pub fn decode(mut source: Box<dyn MediaSource>) -> Result<Vec<f32>, SoundProblem> {
    let mut head = [0; 64];
    let read = read_up_to(source.as_mut(), &mut head).map_err(|error| unreadable(&error))?;
    let kind = Kind::of(&head[..read]);
    if let Some(problem) = kind.problem() {
        return Err(problem);
    }
    let priming = if kind == Kind::Mp4 {
        priming::of_mp4(source.as_mut())
    } else {
        Priming::default()
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
            if mean.is_finite() { mean.clamp(-8.0, 8.0) } else { 0.0 }
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

fn read_up_to(source: &mut dyn MediaSource, into: &mut [u8]) -> std::io::Result<usize> {
    source.seek(SeekFrom::Start(0))?;
    let mut read = 0;
    while read < into.len() {
        match source.read(&mut into[read..])? {
            0 => break,
            more => read += more,
        }
    }
    Ok(read)
}

/// What the first bytes of a file say of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// An ISO base media file: m4a, mp4, mov (ISO/IEC 14496-12: a box `ftyp`, or older QuickTime boxes).
    Mp4,
    /// Opus in Ogg (RFC 7845, section 5.1).
    Opus,
    /// Matroska or WebM (RFC 9559: the EBML head).
    Matroska,
    /// Windows Media (the GUID of an ASF header).
    WindowsMedia,
    /// AMR speech of older phones (RFC 4867, section 5).
    Amr,
    /// Something else: the decoder says whether it can read it.
    Other,
    /// No bytes at all.
    Empty,
}

impl Kind {
    /// The kind of a file by its first 64 bytes.
    pub fn of(head: &[u8]) -> Kind {
        let boxed = head.get(4..8);
        match head {
            [] => Kind::Empty,
            [0x1a, 0x45, 0xdf, 0xa3, ..] => Kind::Matroska,
            [0x30, 0x26, 0xb2, 0x75, 0x8e, 0x66, ..] => Kind::WindowsMedia,
            _ if head.starts_with(b"#!AMR") => Kind::Amr,
            _ if head.starts_with(b"OggS") && head.windows(8).any(|eight| eight == b"OpusHead") => Kind::Opus,
            _ if [&b"ftyp"[..], b"moov", b"mdat", b"wide", b"free"].iter().any(|&name| boxed == Some(name)) => Kind::Mp4,
            _ => Kind::Other,
        }
    }

    fn problem(self) -> Option<SoundProblem> {
        Some(match self {
            Kind::Opus => SoundProblem::Unread("Opus"),
            Kind::Matroska => SoundProblem::Unread("a Matroska or WebM file"),
            Kind::WindowsMedia => SoundProblem::Unread("Windows Media"),
            Kind::Amr => SoundProblem::Unread("AMR"),
            Kind::Empty => SoundProblem::NoSound,
            Kind::Mp4 | Kind::Other => return None,
        })
    }
}
