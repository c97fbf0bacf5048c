//! A source that counts how far it has been read.

use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use symphonia::core::io::MediaSource;

pub(super) struct Counted<R> {
    source: R,
    length: u64,
    position: Arc<AtomicU64>,
}

impl<R: Read + Seek> Counted<R> {
    /// Wraps a source that is `length` bytes long and stands at its beginning; the position is shared with the caller.
    pub(super) fn new(source: R, length: u64) -> (Self, Arc<AtomicU64>) {
        let position = Arc::new(AtomicU64::new(0));
        (Self { source, length, position: Arc::clone(&position) }, position)
    }
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let read = self.source.read(into)?;
        self.position.fetch_add(read as u64, Ordering::Relaxed);
        Ok(read)
    }
}

impl<R: Seek> Seek for Counted<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let position = self.source.seek(to)?;
        self.position.store(position, Ordering::Relaxed);
        Ok(position)
    }
}

impl<R: Read + Seek + Send + Sync> MediaSource for Counted<R> {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}
