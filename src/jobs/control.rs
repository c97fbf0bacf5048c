//! Looking after long work: how far it is, and whether it is still wanted. It must not know what is made.

use std::cell::Cell;
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Least time between two words on how far the work is.
const PAUSE: Duration = Duration::from_millis(100);

/// Work that can be called off and says how far it is.
pub struct Watch {
    off: Arc<AtomicBool>,
    tell: Box<dyn Fn(u8) + Send>,
    /// The part of the whole that is made now, from 0 to 1.
    part: Cell<(f64, f64)>,
    told: Cell<Option<(Instant, u8)>>,
}

impl Watch {
    /// Work that is called off by this switch and says how many percent of it are done.
    pub fn new(off: Arc<AtomicBool>, tell: impl Fn(u8) + Send + 'static) -> Self {
        Self { off, tell: Box::new(tell), part: Cell::new((0.0, 1.0)), told: Cell::new(None) }
    }

    /// Work that nobody looks after.
    pub fn none() -> Self {
        Self::new(Arc::default(), |_| {})
    }

    /// Whether the work is not wanted any more.
    pub fn is_off(&self) -> bool {
        self.off.load(Ordering::Relaxed)
    }

    /// What is made now is the part of this number, from 0, of so many equal ones.
    pub fn part(&self, number: usize, of: usize) {
        let of = of.max(1) as f64;
        self.part.set((number as f64 / of, (number + 1) as f64 / of));
    }

    /// A WAV stream that is looked after on its way into `out`. Once the work is called off it takes nothing more: its error is then
    /// of the kind [`io::ErrorKind::Other`].
    pub fn sink<'a>(&'a self, out: &'a mut dyn Write) -> Sink<'a> {
        Sink { watch: self, out, total: None, done: 0 }
    }

    fn tell(&self, share: f64) {
        let (from, to) = self.part.get();
        let percent = (100.0 * (from + (to - from) * share.clamp(0.0, 1.0))) as u8;
        let again = self.told.get().is_none_or(|(at, before)| at.elapsed() >= PAUSE && before != percent);
        if again {
            self.told.set(Some((Instant::now(), percent)));
            (self.tell)(percent);
        }
    }
}

/// A WAV stream that is looked after.
pub struct Sink<'a> {
    watch: &'a Watch,
    out: &'a mut dyn Write,
    /// Bytes of the stream, as its header says.
    total: Option<u64>,
    done: u64,
}

impl Write for Sink<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.watch.is_off() {
            return Err(io::Error::other("called off"));
        }
        if let (None, [b'R', b'I', b'F', b'F', a, b, c, d, ..]) = (self.total, bytes) {
            self.total = Some(u64::from(u32::from_le_bytes([*a, *b, *c, *d])) + 8);
        }
        let written = self.out.write(bytes)?;
        self.done += written as u64;
        if let Some(total) = self.total {
            self.watch.tell(self.done as f64 / total.max(1) as f64);
        }
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn percent_are_those_of_the_header_and_nothing_is_taken_once_the_work_is_called_off() {
        let (off, told) = (Arc::new(AtomicBool::new(false)), Arc::new(Mutex::new(Vec::new())));
        let seen = told.clone();
        let watch = Watch::new(off.clone(), move |p| seen.lock().expect("a lock").push(p));
        watch.part(1, 2);
        let mut bytes = Vec::new();
        let mut sink = watch.sink(&mut bytes);
        // 92 bytes after the first eight: half of it is written, which is three quarters of the second half.
        sink.write_all(b"RIFF\x5c\0\0\0").expect("a vector");
        std::thread::sleep(PAUSE);
        sink.write_all(&[0; 42]).expect("a vector");
        // At once again: not told.
        sink.write_all(&[0; 10]).expect("a vector");
        off.store(true, Ordering::Relaxed);
        assert_eq!(sink.write_all(&[0; 40]).expect_err("called off").kind(), io::ErrorKind::Other);
        assert_eq!(*told.lock().expect("a lock"), [54, 75]);
        assert_eq!(bytes.len(), 60);
    }
}
