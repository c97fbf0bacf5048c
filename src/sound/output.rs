//! Output devices through rodio, and the stream that pulls samples from a render source. No other file names rodio.

use super::OutputError;
use super::channel::RenderSource;
use super::device::{OutputDevice, find_device};
use super::priority::{self, Pace};
use super::stderr_guard::StderrGuard;
use super::units::SampleRate;
use rodio::cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use rodio::cpal::{self, BufferSize, ErrorKind, FromSample, SampleFormat, SizedSample};
use std::any::Any;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::Sender;
use std::time::{Duration, Instant};

/// A reported delay of this or more is ignored.
const MAX_DELAY: Duration = Duration::from_secs(2);
/// The smoothed delay follows a change of this many seconds or more at once.
const DELAY_STEP_SECONDS: f64 = 0.05;
/// How long after the device ran dry a buffer may be asked for without counting as a gap: the reported times jitter.
const GAP_TOLERANCE: Duration = Duration::from_millis(2);
/// Seconds of the fade in when a stream begins, so that a ringing source does not start with a step.
const FADE_IN_SECONDS: f32 = 0.005;

impl From<cpal::Error> for OutputError {
    fn from(error: cpal::Error) -> Self {
        Self::new(&error.to_string())
    }
}

/// Lists the output devices. What sound libraries print is suppressed.
///
/// # Errors
/// [`OutputError`] if the system cannot list them.
pub(crate) fn outputs() -> Result<Vec<OutputDevice>, OutputError> {
    let _guard = StderrGuard::new();
    let host = cpal::default_host();
    let describe = |d: &cpal::Device, default: bool| {
        let id = d.id().ok()?.id().to_owned();
        let name = d.description().map_or_else(|_| id.clone(), |description| description.name().to_owned());
        Some(OutputDevice { name, id, default })
    };
    let default = host.default_output_device().and_then(|d| describe(&d, true));
    let is_default = |d: &OutputDevice| default.as_ref().is_some_and(|o| o.id == d.id);
    let devices = host.output_devices()?;
    let others: Vec<OutputDevice> = devices.filter_map(|d| describe(&d, false)).filter(|d| !is_default(d)).collect();
    // Some systems leave the default one out of their list.
    Ok(default.into_iter().chain(others).collect())
}

/// What a stream reports from threads of the sound library, as atomics: errors may come a million times a second.
#[derive(Debug, Default)]
pub(super) struct StreamCounters {
    pub(super) errors: AtomicU64,
    pub(super) ended: AtomicBool,
    /// The device has reported that it ran dry since a buffer was last filled.
    ran_dry: AtomicBool,
    /// Gaps in the sound since they were last taken.
    pub(super) gaps: AtomicU64,
    /// Whether the audio thread has real-time priority.
    real_time: AtomicBool,
    /// Frames from what is rendered next to what is heard now, just after a buffer was filled; 0 if unknown.
    pub(super) ahead: AtomicU64,
}

impl StreamCounters {
    /// Called on the audio thread.
    fn on_error(&self, kind: ErrorKind) {
        self.errors.fetch_add(1, Ordering::Relaxed);
        match kind {
            ErrorKind::Xrun => self.ran_dry.store(true, Ordering::Relaxed),
            // The stream may report it in a loop.
            _ => self.set_real_time(false),
        }
        if matches!(kind, ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated) {
            self.ended.store(true, Ordering::Release);
        }
    }

    /// Called on the audio thread, whose priority it changes.
    fn set_real_time(&self, wanted: bool) {
        if self.real_time.load(Ordering::Relaxed) != wanted {
            let changed = priority::set_real_time(wanted);
            self.real_time.store(wanted && changed, Ordering::Relaxed);
        }
    }
}

/// Opens streams. A stream runs until it is dropped.
pub(super) trait DeviceApi {
    /// Finds the device and returns its sample rate.
    fn find(&mut self) -> Result<SampleRate, OutputError>;
    /// Opens a stream on the found device with this buffer size in frames, or the system's default size.
    fn start(&mut self, callback: Callback, buffer: Option<u32>) -> Result<Box<dyn Any>, OutputError>;
}

pub(super) struct Devices {
    /// Name or id of the device to use; `None` for the default one.
    wanted: Option<String>,
    found: Option<(cpal::Device, cpal::SupportedStreamConfig)>,
}

impl Devices {
    pub(super) fn new(wanted: Option<&str>) -> Self {
        Self { wanted: wanted.map(str::to_owned), found: None }
    }

    fn device(&self) -> Result<cpal::Device, OutputError> {
        let host = cpal::default_host();
        let default = host.default_output_device();
        let Some(wanted) = &self.wanted else {
            return default.ok_or_else(|| OutputError::new("no output device found"));
        };
        let devices = outputs()?;
        let none = || OutputError::new(&format!("no output device matches '{wanted}'"));
        let id = &devices[find_device(wanted, &devices).ok_or_else(none)?].id;
        let matches = |d: &cpal::Device| d.id().is_ok_and(|i| i.id() == id);
        if let Some(device) = default.filter(matches) {
            return Ok(device);
        }
        host.output_devices()?.find(matches).ok_or_else(none)
    }
}

impl DeviceApi for Devices {
    fn find(&mut self) -> Result<SampleRate, OutputError> {
        let device = self.device()?;
        let config = device.default_output_config()?;
        let hertz = config.sample_rate();
        let rate = SampleRate::new(hertz)
            .ok_or_else(|| OutputError::new(&format!("unsupported sample rate of the device: {hertz} Hz")))?;
        self.found = Some((device, config));
        Ok(rate)
    }

    fn start(&mut self, callback: Callback, buffer: Option<u32>) -> Result<Box<dyn Any>, OutputError> {
        let Some((device, supported)) = &self.found else { return Err(OutputError::new("no output device found")) };
        let mut config = supported.config();
        config.buffer_size = buffer.map_or(BufferSize::Default, BufferSize::Fixed);
        let stream = match supported.sample_format() {
            SampleFormat::I8 => open::<i8>(device, config, callback),
            SampleFormat::I16 => open::<i16>(device, config, callback),
            SampleFormat::I24 => open::<cpal::I24>(device, config, callback),
            SampleFormat::I32 => open::<i32>(device, config, callback),
            SampleFormat::U8 => open::<u8>(device, config, callback),
            SampleFormat::U16 => open::<u16>(device, config, callback),
            SampleFormat::U32 => open::<u32>(device, config, callback),
            SampleFormat::F32 => open::<f32>(device, config, callback),
            SampleFormat::F64 => open::<f64>(device, config, callback),
            other => return Err(OutputError::new(&format!("unsupported sample format of the device: {other}"))),
        };
        let stream = stream.and_then(|s| s.play().map(|()| s))?;
        Ok(Box::new(stream))
    }
}

fn open<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    mut callback: Callback,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels);
    let counters = Arc::clone(&callback.counters);
    device.build_output_stream(
        config,
        move |out: &mut [T], info: &cpal::OutputCallbackInfo| {
            let time = info.timestamp();
            let delay = time.playback.checked_duration_since(time.callback);
            if let Some(waits) = callback.fill(out, channels, (Instant::now(), delay), T::from_sample) {
                callback.counters.set_real_time(waits);
            }
        },
        move |error| counters.on_error(error.kind()),
        None,
    )
}

/// Fills the device's buffers from the source on the audio thread, where it neither allocates nor waits. When it is dropped, the
/// source returns to its owner.
pub(super) struct Callback {
    source: Option<RenderSource>,
    owner: Sender<RenderSource>,
    pub(super) counters: Arc<StreamCounters>,
    rate: f64,
    /// Gain of the fade in.
    gain: f32,
    step: f32,
    /// The smoothed delay from render to playback in frames.
    delay: f64,
    pace: Pace,
    /// When the device has played everything that it has, if it reports its delay.
    dry_at: Option<Instant>,
}

impl Callback {
    pub(super) fn new(
        source: RenderSource,
        owner: Sender<RenderSource>,
        counters: Arc<StreamCounters>,
        rate: SampleRate,
    ) -> Self {
        let (source, rate) = (Some(source), f64::from(rate.hertz()));
        let (gain, step) = (0.0, 1.0 / (FADE_IN_SECONDS * rate as f32).max(1.0));
        Self { source, owner, counters, rate, gain, step, delay: 0.0, pace: Pace::default(), dry_at: None }
    }

    /// Fills a buffer of interleaved frames, the first of which is heard `delay` from `now`, if known. The first two of more
    /// channels are used; both are mixed into a single one. Now and then returns whether the device waits between buffers.
    pub(super) fn fill<T>(
        &mut self,
        out: &mut [T],
        channels: usize,
        (now, delay): (Instant, Option<Duration>),
        convert: impl Fn(f32) -> T,
    ) -> Option<bool> {
        let source = self.source.as_mut()?;
        let late = self.dry_at.is_some_and(|dry| now > dry + GAP_TOLERANCE);
        if self.counters.ran_dry.swap(false, Ordering::Relaxed) || late {
            self.counters.gaps.fetch_add(1, Ordering::Relaxed);
        }
        let delay = delay.filter(|d| !d.is_zero() && *d < MAX_DELAY);
        let seconds = (out.len() / channels.max(1)) as f64 / self.rate;
        self.dry_at = delay.map(|d| now + d + Duration::from_secs_f64(seconds));
        for frame in out.chunks_mut(channels.max(1)) {
            let (left, right) = (source.next().unwrap_or(0.0) * self.gain, source.next().unwrap_or(0.0) * self.gain);
            self.gain = (self.gain + self.step).min(1.0);
            match frame {
                [one] => *one = convert(f32::midpoint(left, right)),
                [l, r, rest @ ..] => {
                    (*l, *r) = (convert(left), convert(right));
                    rest.fill_with(|| convert(0.0));
                }
                [] => {}
            }
        }
        let ahead = match delay {
            None => 0,
            Some(delay) => {
                let change = delay.as_secs_f64() * self.rate - self.delay;
                // The reported delay jitters.
                let jitters = change.abs() < DELAY_STEP_SECONDS * self.rate && self.delay > 0.0;
                self.delay += change * if jitters { 1.0 / 16.0 } else { 1.0 };
                (self.delay + (out.len() / channels.max(1)) as f64).round() as u64
            }
        };
        self.counters.ahead.store(ahead, Ordering::Relaxed);
        self.pace.on_buffer(seconds, now)
    }
}

impl Drop for Callback {
    fn drop(&mut self) {
        if let Some(source) = self.source.take() {
            drop(self.owner.send(source));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::{Frame, Schedule, ScheduleOptions, Segment, render_channel};
    use std::sync::mpsc;

    #[test]
    fn buffers_of_any_shape_are_filled_and_the_delay_is_reported() {
        let groove =
            crate::sound::tests::groove(&[crate::rhythm::Voice::Rim], &[("4/4", "120", 1, None, "xxxxxxxxxxxxxxxx")]);
        for channels in [1_usize, 2, 6] {
            let (mut handle, source) = render_channel(SampleRate::STUDIO);
            let (owner, returned) = mpsc::channel();
            let counters = Arc::new(StreamCounters::default());
            let mut callback = Callback::new(source, owner, Arc::clone(&counters), SampleRate::STUDIO);
            handle.start(Segment::new(Schedule::build(&groove, &ScheduleOptions::whole(SampleRate::STUDIO))), Frame(0));
            let mut out = vec![9.0_f32; 1024 * channels];
            let delay = Duration::from_millis(20);
            for (reported, ahead) in [
                (None, 0),
                (Some(Duration::ZERO), 0),
                (Some(Duration::from_secs(3)), 0),
                (Some(delay), 960 + 1024),
                (Some(delay + Duration::from_millis(16)), 1008 + 1024),
                (Some(Duration::from_millis(200)), 9600 + 1024),
            ] {
                callback.fill(&mut out, channels, (Instant::now(), reported), |x| x);
                assert_eq!(counters.ahead.load(Ordering::Relaxed), ahead, "{reported:?}");
            }
            assert!(out.iter().all(|x| x.abs() <= 1.0));
            assert!(out.chunks(channels).any(|f| f[0] != 0.0));
            assert!(out.chunks(channels).all(|f| f.iter().skip(2).all(|x| *x == 0.0)));
            assert!(returned.try_recv().is_err());
            drop(callback);
            assert!(returned.try_recv().is_ok(), "the source is returned");
        }
    }

    #[test]
    fn a_gap_is_a_buffer_that_comes_after_the_device_ran_dry() {
        let (_handle, source) = render_channel(SampleRate::STUDIO);
        let counters = Arc::new(StreamCounters::default());
        let mut callback = Callback::new(source, mpsc::channel().0, Arc::clone(&counters), SampleRate::STUDIO);
        // Each buffer lasts 20 ms and is heard after this delay in ms; gaps after it.
        let mut out = vec![0.0_f32; 2 * 960];
        let (start, ms) = (Instant::now(), Duration::from_millis);
        let mut fill = |at: u64, delay: Option<u64>| {
            callback.fill(&mut out, 2, (start + ms(at), delay.map(ms)), |x| x);
            counters.gaps.load(Ordering::Relaxed)
        };
        assert_eq!(fill(0, Some(10)), 0);
        assert_eq!(fill(20, Some(10)), 0);
        assert_eq!(fill(50, Some(10)), 0, "just in time");
        assert_eq!(fill(100, Some(10)), 1, "20 ms late");
        assert_eq!(fill(900, None), 2, "the last delay counts");
        assert_eq!(fill(2000, Some(10)), 2, "unknown what it had");
        counters.on_error(ErrorKind::Xrun);
        counters.on_error(ErrorKind::Xrun);
        assert_eq!(fill(2090, Some(10)), 3, "reported and late: one gap");
        counters.on_error(ErrorKind::BackendError);
        assert_eq!(fill(2110, Some(10)), 3, "another error");
        assert_eq!((counters.errors.load(Ordering::Relaxed), counters.ended.load(Ordering::Relaxed)), (3, false));
    }
}
