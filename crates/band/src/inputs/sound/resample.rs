//! From the rate of a recording to the working rate, a block at a time.

use super::SoundProblem;
use rubato::{Fft, FixedSync, Resampler as _, audioadapter_buffers::direct::SequentialSlice};

/// Frames that are resampled at a time.
const BLOCK: usize = 4096;

/// A stream of samples on its way to another rate.
pub struct Resampler {
    from: u32,
    inner: Option<Fft<f32>>,
    waiting: Vec<f32>,
    block: Vec<f32>,
    /// Samples of the resampler's own delay that are still to be dropped.
    drop: usize,
    /// Samples in and out so far, to end at the right one.
    taken: u64,
    given: u64,
    ratio: f64,
}

impl Resampler {
    /// # Errors
    /// A rate outside 4 to 384 kHz, which no recording has.
    pub fn new(from: u32, to: u32) -> Result<Resampler, SoundProblem> {
        if !(4_000..=384_000).contains(&from) {
            return Err(SoundProblem::Damaged(format!(
                "its sample rate is {from} Hz"
            )));
        }
        let inner = (from != to)
            .then(|| {
                Fft::new_custom(
                    from as usize,
                    to as usize,
                    BLOCK,
                    4,
                    1,
                    rubato::WindowFunction::BlackmanHarris2,
                    FixedSync::Input,
                )
            })
            .transpose()
            .map_err(failed)?;
        Ok(Resampler {
            from,
            waiting: Vec::new(),
            block: inner
                .as_ref()
                .map_or_else(Vec::new, |inner| vec![0.0; inner.output_frames_max()]),
            drop: inner.as_ref().map_or(0, |inner| inner.output_delay()),
            inner,
            taken: 0,
            given: 0,
            ratio: f64::from(to) / f64::from(from),
        })
    }

    /// The rate that it takes, in hertz.
    pub fn from(&self) -> u32 {
        self.from
    }

    /// Takes samples in, and adds those that are ready to `out`.
    ///
    /// # Errors
    /// None that is known: the library's, should it have one.
    pub fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) -> Result<(), SoundProblem> {
        self.taken += samples.len() as u64;
        self.feed(samples, out)
    }

    /// Gives what is still inside.
    ///
    /// # Errors
    /// As [`Resampler::push`].
    pub fn finish(&mut self, out: &mut Vec<f32>) -> Result<(), SoundProblem> {
        let wanted = (self.taken as f64 * self.ratio).round() as u64;
        let silence = vec![0.0; BLOCK];
        while self.given < wanted && self.inner.is_some() {
            self.feed(&silence, out)?;
        }
        out.truncate(out.len() - (self.given.saturating_sub(wanted)) as usize);
        Ok(())
    }

    fn feed(&mut self, samples: &[f32], out: &mut Vec<f32>) -> Result<(), SoundProblem> {
        let Some(inner) = &mut self.inner else {
            out.extend_from_slice(samples);
            self.given += samples.len() as u64;
            return Ok(());
        };
        self.waiting.extend_from_slice(samples);
        let mut at = 0;
        loop {
            let needed = inner.input_frames_next();
            let Some(block) = self.waiting.get(at..at + needed) else {
                break;
            };
            let input = SequentialSlice::new(block, 1, needed).map_err(failed)?;
            let room = self.block.len();
            let mut output = SequentialSlice::new_mut(&mut self.block, 1, room).map_err(failed)?;
            let (_, written) = inner
                .process_into_buffer(&input, &mut output, None)
                .map_err(failed)?;
            let dropped = self.drop.min(written);
            self.drop -= dropped;
            out.extend_from_slice(&self.block[dropped..written]);
            self.given += (written - dropped) as u64;
            at += needed;
        }
        self.waiting.drain(..at);
        Ok(())
    }
}

fn failed(error: impl std::fmt::Display) -> SoundProblem {
    SoundProblem::Damaged(error.to_string())
}
