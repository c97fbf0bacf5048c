//! A device for tests, whose buffers the test fills.

use super::super::OutputError;
use super::super::output::{Callback, DeviceApi, StreamCounters};
use super::super::stderr_guard::StderrGuard;
use super::super::units::SampleRate;
use super::Player;
use std::any::Any;
use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;
use std::time::{Duration, Instant};

#[derive(Default)]
pub(crate) struct FakeState {
    /// Sample rate; `None` if the device is missing.
    pub(super) rate: Option<u32>,
    pub(super) fails: bool,
    /// Whether streams open only with the default buffer size.
    pub(super) default_buffer_only: bool,
    pub(super) attempts: usize,
    pub(super) callback: Option<Callback>,
    pub(super) counters: Arc<StreamCounters>,
    /// The time of its next buffer, by its own clock.
    clock: Option<Instant>,
}

#[derive(Clone, Default)]
pub(crate) struct FakeDevice(pub(super) Rc<RefCell<FakeState>>);

/// Drops the callback, as a stream does.
struct FakeStream(FakeDevice);

impl Drop for FakeStream {
    fn drop(&mut self) {
        self.0.0.borrow_mut().callback = None;
    }
}

impl DeviceApi for FakeDevice {
    fn find(&mut self) -> Result<SampleRate, OutputError> {
        let mut state = self.0.borrow_mut();
        state.attempts += 1;
        state.rate.and_then(SampleRate::new).ok_or_else(|| OutputError::new("unplugged"))
    }

    fn start(&mut self, callback: Callback, buffer: Option<u32>) -> Result<Box<dyn Any>, OutputError> {
        let mut state = self.0.borrow_mut();
        if state.fails || (state.default_buffer_only && buffer.is_some()) {
            return Err(OutputError::new("busy"));
        }
        state.counters = Arc::clone(&callback.counters);
        state.callback = Some(callback);
        Ok(Box::new(FakeStream(self.clone())))
    }
}

impl FakeDevice {
    pub(crate) fn new(hertz: u32) -> Self {
        let fake = Self::default();
        fake.0.borrow_mut().rate = Some(hertz);
        fake
    }

    pub(crate) fn player(&self) -> Result<Player, OutputError> {
        Player::open_device(Box::new(self.clone()), StderrGuard::new())
    }

    /// Lets time pass in which no buffer is filled.
    pub(crate) fn stall(&self, time: Duration) {
        if let Some(clock) = &mut self.0.borrow_mut().clock {
            *clock += time;
        }
    }

    /// Pulls frames; returns their greatest magnitude and step.
    pub(crate) fn pull(&self, frames: usize) -> (f32, f32) {
        let mut out = vec![0.0_f32; 2 * frames];
        let mut state = self.0.borrow_mut();
        let FakeState { callback, clock, rate, .. } = &mut *state;
        let (callback, rate) = (callback.as_mut().expect("a stream"), f64::from(rate.unwrap_or(48_000)));
        for buffer in out.chunks_mut(2048) {
            let now = clock.get_or_insert_with(Instant::now);
            callback.fill(buffer, 2, (*now, Some(Duration::from_millis(20))), |x| x);
            *now += Duration::from_secs_f64(buffer.len() as f64 / 2.0 / rate);
        }
        let step = out.windows(3).map(|w| (w[2] - w[0]).abs()).fold(out[0].abs(), f32::max);
        (out.iter().fold(0.0, |m, x| m.max(x.abs())), step)
    }
}
