//! What the sound thread tells of itself, read from other threads: one writer that never waits, readers that look again when
//! they came in between. It must not know what the numbers mean to others.

use std::sync::atomic::{AtomicU64, Ordering, fence};
use std::time::{Duration, Instant};

/// Tries of a reader; a write takes less than one of them.
const TRIES: usize = 64;

/// What is told after every block.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct RenderStatus {
    pub(super) playing: bool,
    /// Segment that is played, and which sending of it.
    pub(super) id: u64,
    pub(super) generation: u64,
    /// Frame of the loop that is rendered next, and passes completed.
    pub(super) frame: i64,
    pub(super) pass: u64,
    /// Frames rendered since the segment began.
    pub(super) since: i64,
    /// Where the segment before ended; generation 0 if there was none.
    pub(super) before_id: u64,
    pub(super) before_generation: u64,
    pub(super) before_frame: i64,
    pub(super) before_pass: u64,
    /// Segment with which playing ended by itself.
    pub(super) ended: u64,
    /// When this was written, in nanoseconds since the board was made.
    pub(super) written_at: u64,
}

const WORDS: usize = 12;

impl RenderStatus {
    fn words(&self) -> [u64; WORDS] {
        [
            u64::from(self.playing),
            self.id,
            self.generation,
            self.frame.cast_unsigned(),
            self.pass,
            self.since.cast_unsigned(),
            self.before_id,
            self.before_generation,
            self.before_frame.cast_unsigned(),
            self.before_pass,
            self.ended,
            self.written_at,
        ]
    }

    fn of(words: [u64; WORDS]) -> Self {
        let [
            playing,
            id,
            generation,
            frame,
            pass,
            since,
            before_id,
            before_generation,
            before_frame,
            before_pass,
            ended,
            written_at,
        ] = words;
        Self {
            playing: playing != 0,
            id,
            generation,
            frame: frame.cast_signed(),
            pass,
            since: since.cast_signed(),
            before_id,
            before_generation,
            before_frame: before_frame.cast_signed(),
            before_pass,
            ended,
            written_at,
        }
    }
}

/// The board. All numbers of one writing are read together.
#[derive(Debug)]
pub(super) struct SharedStatus {
    /// Odd while a writing is under way.
    writings: AtomicU64,
    words: [AtomicU64; WORDS],
    /// Blocks rendered.
    pub(super) blocks: AtomicU64,
    epoch: Instant,
}

impl SharedStatus {
    pub(super) fn new() -> Self {
        Self {
            writings: AtomicU64::new(0),
            words: [const { AtomicU64::new(0) }; WORDS],
            blocks: AtomicU64::new(0),
            epoch: Instant::now(),
        }
    }

    /// Nanoseconds from when the board was made to an instant; 0 for one before that.
    pub(super) fn nanos_at(&self, at: Instant) -> i64 {
        at.saturating_duration_since(self.epoch).as_nanos() as i64
    }

    /// The instant so many nanoseconds after the board was made.
    pub(super) fn instant(&self, nanos: u64) -> Instant {
        self.epoch + Duration::from_nanos(nanos)
    }

    /// Nanoseconds since the board was made.
    pub(super) fn nanos(&self) -> u64 {
        u64::try_from(self.epoch.elapsed().as_nanos()).unwrap_or(u64::MAX)
    }

    /// Writes; only one thread may.
    pub(super) fn write(&self, news: RenderStatus) {
        let writings = self.writings.load(Ordering::Relaxed);
        self.writings.store(writings + 1, Ordering::Relaxed);
        fence(Ordering::Release);
        for (word, value) in self.words.iter().zip(RenderStatus { written_at: self.nanos(), ..news }.words()) {
            word.store(value, Ordering::Relaxed);
        }
        self.writings.store(writings + 2, Ordering::Release);
        self.blocks.fetch_add(1, Ordering::Release);
    }

    /// Reads; `None` if the writer was stopped by the system in the middle of a writing.
    pub(super) fn read(&self) -> Option<RenderStatus> {
        for _ in 0..TRIES {
            let before = self.writings.load(Ordering::Acquire);
            let mut words = [0; WORDS];
            for (word, value) in self.words.iter().zip(&mut words) {
                *value = word.load(Ordering::Relaxed);
            }
            fence(Ordering::Acquire);
            if before.is_multiple_of(2) && before == self.writings.load(Ordering::Relaxed) {
                return Some(RenderStatus::of(words));
            }
            std::hint::spin_loop();
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;
    use std::sync::atomic::AtomicBool;

    #[test]
    fn what_is_read_was_written_together() {
        let board = Arc::new(SharedStatus::new());
        let writer = Arc::clone(&board);
        let all = |n: u64| RenderStatus {
            id: n,
            generation: n,
            frame: -(n as i64),
            since: n as i64,
            ended: n,
            ..RenderStatus::default()
        };
        // On a busy machine either thread may stand still for long; the writer goes on until enough was seen.
        let enough = Arc::new(AtomicBool::new(false));
        let seen_enough = Arc::clone(&enough);
        let work = std::thread::spawn(move || {
            let going = || !seen_enough.load(Ordering::Relaxed);
            (1_u64..).take_while(|n| *n < 200_000 || going()).inspect(|n| writer.write(all(*n))).last()
        });
        let (mut last, mut seen) = (0, 0);
        while seen < 100 || !work.is_finished() {
            if let Some(news) = board.read() {
                assert_eq!(news, RenderStatus { written_at: news.written_at, ..all(news.id) });
                assert!(news.id >= last);
                (last, seen) = (news.id, seen + u64::from(news.id != last));
            }
            enough.store(seen >= 100, Ordering::Relaxed);
        }
        assert_eq!(board.read().map(|n| n.id), work.join().expect("ends"));
    }
}
