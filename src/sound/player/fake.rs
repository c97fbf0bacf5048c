//! A device that the tests play by handle.

use super::super::OutputError;
use super::super::output::{Callback, DeviceApi, SourceLease, StreamCounters};
use super::super::stderr_guard::StderrGuard;
use super::super::units::SampleRate;
use super::Player;
use std::any::Any;
use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

/// A device that is there when the test says so, and whose buffers the test fills.
#[derive(Default)]
pub(crate) struct World {
    pub(super) rate: Option<u32>,
    /// Whether streams can be opened, and only of the system's own buffer size.
    pub(super) broken: bool,
    pub(super) choosy: bool,
    pub(super) attempts: usize,
    pub(super) pull: Option<Callback>,
    pub(super) signs: Arc<StreamCounters>,
}

#[derive(Clone, Default)]
pub(crate) struct Fake(pub(super) Rc<RefCell<World>>);

/// Takes the source away when it is dropped, as a stream does.
struct FakeStream(Fake);

impl Drop for FakeStream {
    fn drop(&mut self) {
        self.0.0.borrow_mut().pull = None;
    }
}

impl DeviceApi for Fake {
    fn find(&mut self) -> Result<SampleRate, OutputError> {
        let mut world = self.0.borrow_mut();
        world.attempts += 1;
        world.rate.and_then(SampleRate::new).ok_or_else(|| OutputError::new("unplugged"))
    }

    fn start(
        &mut self,
        lent: SourceLease,
        signs: &Arc<StreamCounters>,
        buffer: Option<u32>,
    ) -> Result<Box<dyn Any>, OutputError> {
        let mut world = self.0.borrow_mut();
        if world.broken || (world.choosy && buffer.is_some()) {
            return Err(OutputError::new("busy"));
        }
        world.signs = Arc::clone(signs);
        world.pull = Some(Callback::new(lent, Arc::clone(signs), world.rate.unwrap_or(48_000)));
        Ok(Box::new(FakeStream(self.clone())))
    }
}

impl Fake {
    /// One that is there and runs at this rate.
    pub(crate) fn at(hertz: u32) -> Self {
        let fake = Self::default();
        fake.0.borrow_mut().rate = Some(hertz);
        fake
    }

    /// A player on it.
    pub(crate) fn player(&self) -> Result<Player, OutputError> {
        Player::with(Box::new(self.clone()), StderrGuard::new())
    }

    /// So many frames as the device takes them; their greatest magnitude and step.
    pub(crate) fn takes(&self, frames: usize) -> (f32, f32) {
        let mut out = vec![0.0_f32; 2 * frames];
        let mut world = self.0.borrow_mut();
        let pull = world.pull.as_mut().expect("a stream");
        out.chunks_mut(2048).for_each(|b| pull.fill(b, 2, Some(Duration::from_millis(20)), |x| x));
        let step = out.windows(3).map(|w| (w[2] - w[0]).abs()).fold(out[0].abs(), f32::max);
        (out.iter().fold(0.0, |m, x| m.max(x.abs())), step)
    }
}
