//! The two fluxes of a whole sound, and their peaks.

use super::flux::{Flux, FluxFrame, FluxParams};
use super::progress::Progress;
use super::signal::Signal;

/// Frames per second.
pub(super) const FRAME_RATE: f64 = 200.0;
/// Length of the long window in seconds, rounded to a power of two of samples; the short one is a quarter of it.
const LONG_WINDOW: f64 = 0.0464;
/// Frames before and after of the moving mean.
const MEAN_BEFORE: usize = 20;
const MEAN_AFTER: usize = 14;
/// How much a peak rises above the moving mean, and the frames on either side than which it is not lower.
const LONG_RISE: f64 = 0.005;
const LONG_RADIUS: usize = 5;
const SHORT_RISE: f64 = 0.02;
const SHORT_RADIUS: usize = 3;
/// A peak of the long window adds nothing if one of the short window is at most so many frames away.
const SAME_PEAK: usize = 4;

/// Length of the long window in samples.
pub(super) fn long_size(rate: f64) -> usize {
    (LONG_WINDOW * rate).log2().round_ties_even().exp2() as usize
}

/// The flux with one window at every frame, and its moving mean.
#[derive(Debug, Default)]
pub(super) struct Curve {
    pub(super) frames: Vec<FluxFrame>,
    pub(super) means: Vec<f64>,
}

impl Curve {
    fn new(frames: Vec<FluxFrame>) -> Self {
        let mut sums = Vec::with_capacity(frames.len() + 1);
        sums.push(0.0);
        let mut sum = 0.0;
        for frame in &frames {
            sum += f64::from(frame.all);
            sums.push(sum);
        }
        let mean = |i: usize| {
            let (from, to) = (i.saturating_sub(MEAN_BEFORE), (i + MEAN_AFTER + 1).min(frames.len()));
            (sums[to] - sums[from]) / (to - from) as f64
        };
        let means = (0..frames.len()).map(mean).collect();
        Self { frames, means }
    }

    /// Greatest value of a quantity over the frames from `from` up to `to`, which may lie outside of the sound; 0 of none.
    pub(super) fn maximum(&self, from: i64, to: i64, of: fn(&FluxFrame) -> f32) -> f64 {
        let inside = |i: i64| i.clamp(0, self.frames.len() as i64) as usize;
        let (from, to) = (inside(from), inside(to));
        self.frames[from..to.max(from)].iter().map(of).fold(0.0, f32::max).into()
    }

    /// How far `value` is above the moving mean at a frame; 0 if it is below.
    pub(super) fn rise(&self, value: f64, frame: i64) -> f64 {
        let mean = self.means[frame.clamp(0, self.means.len() as i64 - 1) as usize];
        (value - mean).max(0.0)
    }

    fn peaks(&self, radius: usize, rise: f64) -> Vec<usize> {
        let is_peak = |i: &usize| {
            let value = self.frames[*i].all;
            let around = &self.frames[i.saturating_sub(radius)..(i + radius + 1).min(self.frames.len())];
            f64::from(value) - self.means[*i] >= rise && around.iter().all(|f| f.all <= value)
        };
        (0..self.frames.len()).filter(is_peak).collect()
    }
}

/// The window in which a peak was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Window {
    Long,
    Short,
}

/// A peak of one of the fluxes: an onset is looked for around it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seed {
    pub(super) frame: usize,
    pub(super) window: Window,
}

/// The fluxes of a sound.
#[derive(Debug, Default)]
pub(super) struct Curves {
    pub(super) long: Curve,
    pub(super) short: Curve,
}

impl Curves {
    /// `None` if cancelled. There are no frames if the sample rate is too low for any band.
    pub(super) fn new(signal: &mut Signal, progress: &mut Progress) -> Option<Self> {
        let rate = signal.rate();
        let size = long_size(rate);
        if size < 8 {
            return Some(Self::default());
        }
        let params = FluxParams { size, bands_per_octave: 24.0, compression: 1e4 };
        let mut long = Flux::new(rate, &params);
        let params = FluxParams { size: size / 4, bands_per_octave: 12.0, compression: 1e3 };
        let mut short = Flux::new(rate, &params);
        if long.is_empty() || short.is_empty() {
            return Some(Self::default());
        }
        let hop = rate / FRAME_RATE;
        let count = (signal.len() as f64 / hop) as usize + 1;
        let (mut long_frames, mut short_frames) = (Vec::with_capacity(count + 1), Vec::with_capacity(count + 1));
        let centre = |i: usize| (i as f64 * hop).round_ties_even() as i64;
        let margin = (size - short.size()) / 2;
        for i in (0..count).step_by(2) {
            progress.report(i, count)?;
            let step = (centre(i + 1) - centre(i)) as usize;
            let both = signal.samples(centre(i) - (size / 2) as i64, size + step);
            let frames = [&both[..size], &both[step..]];
            long_frames.extend(long.next_two(frames));
            short_frames.extend(short.next_two(frames.map(|frame| &frame[margin..margin + short.size()])));
        }
        long_frames.truncate(count);
        short_frames.truncate(count);
        Some(Self { long: Curve::new(long_frames), short: Curve::new(short_frames) })
    }

    /// All peaks of the short window, and those of the long window that are not near one, in order of time.
    pub(super) fn seeds(&self) -> Vec<Seed> {
        let short = self.short.peaks(SHORT_RADIUS, SHORT_RISE);
        let is_new = |frame: &usize| {
            let next = short.partition_point(|s| s < frame);
            let near = |at: Option<&usize>| at.is_some_and(|s| s.abs_diff(*frame) <= SAME_PEAK);
            !near(short.get(next)) && !near(next.checked_sub(1).and_then(|i| short.get(i)))
        };
        let long = self.long.peaks(LONG_RADIUS, LONG_RISE).into_iter().filter(is_new);
        let mut seeds: Vec<Seed> = long.map(|frame| Seed { frame, window: Window::Long }).collect();
        seeds.extend(short.iter().map(|&frame| Seed { frame, window: Window::Short }));
        seeds.sort_by_key(|s| s.frame);
        seeds
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(values: &[f32]) -> Curve {
        Curve::new(values.iter().map(|&all| FluxFrame { all, ..FluxFrame::default() }).collect())
    }

    #[test]
    fn the_moving_mean_is_shorter_at_the_ends() {
        let mut values = vec![0.0; 100];
        values[0] = 3.0;
        let curve = curve(&values);
        assert_eq!((curve.means[0], curve.means[20], curve.means[21]), (3.0 / 15.0, 3.0 / 35.0, 0.0));
        assert_eq!((curve.rise(1.0, -5), curve.rise(0.1, 0), curve.rise(1.0, 500)), (0.8, 0.0, 1.0));
        assert_eq!(curve.maximum(-9, 1, |f| f.all), 3.0);
        assert_eq!((curve.maximum(-9, 0, |f| f.all), curve.maximum(99, 400, |f| f.all)), (0.0, 0.0));
    }

    #[test]
    fn a_peak_of_the_long_window_near_one_of_the_short_window_is_left_out() {
        let (mut long, mut short) = (vec![0.0; 200], vec![0.0; 200]);
        for i in [50, 54, 105, 150] {
            long[i] = 0.5;
        }
        for i in [50, 100] {
            short[i] = 0.5;
        }
        // Within five frames, the higher peak stays.
        long[53] = 0.6;
        let seeds = Curves { long: curve(&long), short: curve(&short) }.seeds();
        let found: Vec<(usize, Window)> = seeds.iter().map(|s| (s.frame, s.window)).collect();
        let expected = [(50, Window::Short), (100, Window::Short), (105, Window::Long), (150, Window::Long)];
        assert_eq!(found, expected);
    }
}
