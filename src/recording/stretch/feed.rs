//! Reads a source in order and prepares it: selects channels, filters, transposes.

use super::filter::Biquad;
use super::{Frames, Settings, StretchError, Voice};
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Async, FixedAsync, Resampler, SincInterpolationParameters, WindowFunction};
use std::ops::Range;
use std::sync::Arc;

/// Frames read at a time.
const BLOCK: usize = 1024;
/// Seconds read before the region so that the filters have settled at its start.
const SETTLING_SECONDS: f64 = 0.2;
/// Length of the resampling filter in samples.
const SINC_LENGTH: usize = 64;

/// Interleaved prepared frames. Frame 0 is the first one of the region; frames are transposed by resampling, so there are
/// `1 / pitch` of them per frame of the source.
pub(super) struct Feed {
    source: Arc<dyn Frames>,
    voice: Voice,
    filters: Vec<Biquad>,
    resampler: Option<Async<f32>>,
    /// The next frame of the source, and the end of what is read from it.
    next: i64,
    end: i64,
    channels: usize,
    /// Prepared frames that are kept, and the number of the first one.
    kept: Vec<f32>,
    first: i64,
    raw: Vec<f32>,
    mixed: Vec<f32>,
    resampled: Vec<f32>,
}

impl Feed {
    pub(super) fn new(source: Arc<dyn Frames>, region: &Range<u64>, settings: &Settings) -> Result<Self, StretchError> {
        let (rate, pitch) = (f64::from(source.rate()), settings.pitch(source.rate()));
        let channels = settings.voice.channels(source.channels());
        let filters = settings.band.map_or_else(Vec::new, |band| {
            let pair = [Biquad::high_pass(band.low, rate), Biquad::low_pass(band.high, rate)];
            std::iter::repeat_n(pair, channels).flatten().collect()
        });
        let resampler = if pitch == 1.0 { None } else { Some(resampler(1.0 / pitch, channels)?) };
        let delay = resampler.as_ref().map_or(0, Resampler::output_delay) as i64;
        let settling = ((SETTLING_SECONDS * rate / pitch) as i64).max(1);
        // A whole number of prepared frames before the region, to the nearest frame of the source.
        let lead = ((settling as f64) * pitch).round() as i64;
        let resampled = vec![0.0; resampler.as_ref().map_or(0, Resampler::output_frames_max) * channels];
        let raw = vec![0.0; BLOCK * source.channels()];
        Ok(Self {
            source,
            voice: settings.voice,
            filters,
            resampler,
            next: region.start as i64 - lead,
            end: region.end as i64,
            channels,
            kept: Vec::new(),
            first: -settling - delay,
            raw,
            mixed: Vec::with_capacity(BLOCK * channels),
            resampled,
        })
    }

    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// The number of the frame after the last one prepared.
    pub(super) fn end(&self) -> i64 {
        self.first + (self.kept.len() / self.channels) as i64
    }

    /// A prepared frame; silence if it is not kept.
    pub(super) fn frame(&self, at: i64) -> &[f32] {
        const SILENCE: [f32; 2] = [0.0; 2];
        usize::try_from(at - self.first)
            .ok()
            .and_then(|k| self.kept.get(k * self.channels..(k + 1) * self.channels))
            .unwrap_or(&SILENCE[..self.channels])
    }

    /// Prepares frames until there are those before `end`.
    pub(super) fn prepare(&mut self, end: i64) -> Result<(), StretchError> {
        while self.end() < end {
            self.read_block()?;
        }
        Ok(())
    }

    /// Forgets the frames before `at`.
    pub(super) fn forget(&mut self, at: i64) {
        let count = (at - self.first).clamp(0, (self.kept.len() / self.channels) as i64);
        // Moving what is kept costs as much as reading it, so it is done rarely.
        if count > 16 * BLOCK as i64 {
            self.kept.drain(..count as usize * self.channels);
            self.first += count;
        }
    }

    fn read_block(&mut self) -> Result<(), StretchError> {
        self.raw.fill(0.0);
        let width = self.source.channels();
        let from = self.next.max(0);
        let until = (self.next + BLOCK as i64).min(self.end.max(0));
        if from < until {
            let offset = (from - self.next) as usize * width;
            let length = (until - from) as usize * width;
            self.source.read(from as u64, &mut self.raw[offset..offset + length]).map_err(StretchError::Source)?;
        }
        self.next += BLOCK as i64;
        self.mixed.clear();
        self.voice.mix(&self.raw, width, &mut self.mixed);
        if !self.filters.is_empty() {
            for frame in self.mixed.chunks_exact_mut(self.channels) {
                for (x, pair) in frame.iter_mut().zip(self.filters.chunks_exact_mut(2)) {
                    *x = pair.iter_mut().fold(*x, |x, filter| filter.next(x));
                }
            }
        }
        let Some(resampler) = &mut self.resampler else {
            self.kept.extend_from_slice(&self.mixed);
            return Ok(());
        };
        let capacity = self.resampled.len() / self.channels;
        let failed = |_| StretchError::Transposition;
        let input = InterleavedSlice::new(&self.mixed, self.channels, BLOCK).map_err(failed)?;
        let mut output = InterleavedSlice::new_mut(&mut self.resampled, self.channels, capacity).map_err(failed)?;
        let (_, written) =
            resampler.process_into_buffer(&input, &mut output, None).map_err(|_| StretchError::Transposition)?;
        self.kept.extend_from_slice(&self.resampled[..written * self.channels]);
        Ok(())
    }
}

fn resampler(ratio: f64, channels: usize) -> Result<Async<f32>, StretchError> {
    let parameters = SincInterpolationParameters::new(SINC_LENGTH, WindowFunction::BlackmanHarris2);
    Async::new_sinc(ratio, 1.0, &parameters, BLOCK, channels, FixedAsync::Input)
        .map_err(|_| StretchError::Transposition)
}
