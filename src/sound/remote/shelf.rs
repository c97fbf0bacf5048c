//! The user's own sounds as they travel: cut into pieces by one end, put together and kept by the other.

use crate::sound::units::SampleRate;
use crate::sound::user_samples::UserSample;
use std::collections::VecDeque;
use std::sync::Arc;

/// Most bytes of one sound, four a sample: 8 MiB, 43 s at 48000 frames per second.
pub(crate) const SOUND: usize = 8 << 20;
/// Most bytes of all sounds that are kept: 32 MiB.
pub(crate) const SOUNDS: usize = 32 << 20;
/// Samples of a piece: 64 KiB.
const PIECE: usize = 1 << 14;

/// A piece of a sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece<'a> {
    pub(super) hash: u64,
    /// Frames per second.
    pub(super) hertz: u32,
    /// Samples of the whole sound, and where in it the piece begins.
    pub(super) total: u32,
    pub(super) at: u32,
    /// Four bytes a sample, little endian.
    pub(super) samples: &'a [u8],
}

/// Cuts a sound; gives where each piece begins, and its bytes.
pub(super) fn pieces(sound: &[f32]) -> impl Iterator<Item = (u32, Vec<u8>)> + '_ {
    let bytes = |piece: &[f32]| piece.iter().flat_map(|x| x.to_le_bytes()).collect();
    sound.chunks(PIECE).enumerate().map(move |(k, piece)| ((k * PIECE) as u32, bytes(piece)))
}

/// A sound of which not all has come.
#[derive(Debug)]
struct Coming {
    hash: u64,
    hertz: u32,
    total: usize,
    samples: Vec<f32>,
}

/// The sounds that have come, the one that was needed last at the end.
#[derive(Debug, Default)]
pub(super) struct Shelf {
    kept: VecDeque<(u64, SampleRate, UserSample)>,
    coming: Option<Coming>,
}

impl Shelf {
    /// Takes a piece; where that makes more than [`SOUNDS`], what was not needed for longest goes.
    ///
    /// # Errors
    /// One line, if it does not belong there or the sound is not what its hash says.
    pub(super) fn take(&mut self, piece: Piece<'_>) -> Result<(), String> {
        let total = piece.total as usize;
        if piece.at == 0 {
            if total == 0 || total > SOUND / 4 {
                self.coming = None;
                return Err(format!("found a sound of {total} samples, expected 1 to {}", SOUND / 4));
            }
            let (hash, hertz) = (piece.hash, piece.hertz);
            self.coming = Some(Coming { hash, hertz, total, samples: Vec::new() });
        }
        let more = piece.samples.len() / 4;
        let fits = |c: &Coming| {
            (c.hash, c.hertz, c.total) == (piece.hash, piece.hertz, total)
                && c.samples.len() == piece.at as usize
                && piece.samples.len().is_multiple_of(4)
                && (1..=c.total - c.samples.len()).contains(&more)
        };
        let Some(mut coming) = self.coming.take().filter(fits) else {
            return Err("a chunk of a sound that does not follow the previous one".into());
        };
        let samples = piece.samples.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        coming.samples.extend(samples);
        if coming.samples.len() < coming.total {
            self.coming = Some(coming);
            return Ok(());
        }
        let Some(rate) = SampleRate::new(coming.hertz) else {
            return Err(format!("unsupported sample rate: {} Hz", coming.hertz));
        };
        let sound = UserSample::new(coming.samples, rate);
        if sound.hash != coming.hash {
            return Err("a sound that does not match its hash".into());
        }
        self.kept.retain(|k| (k.0, k.1) != (coming.hash, rate));
        self.kept.push_back((coming.hash, rate, sound));
        while self.bytes() > SOUNDS {
            self.kept.pop_front();
        }
        Ok(())
    }

    /// The sound of a hash at a rate.
    pub(super) fn get(&mut self, hash: u64, rate: SampleRate) -> Option<Arc<[f32]>> {
        let at = self.kept.iter().position(|k| (k.0, k.1) == (hash, rate))?;
        let kept = self.kept.remove(at)?;
        let samples = Arc::clone(&kept.2.samples);
        self.kept.push_back(kept);
        Some(samples)
    }

    /// Forgets all.
    pub(super) fn clear(&mut self) {
        *self = Self::default();
    }

    fn bytes(&self) -> usize {
        self.kept.iter().map(|k| size_of_val::<[f32]>(&k.2.samples)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate::STUDIO;

    fn sound(seed: usize, n: usize) -> UserSample {
        UserSample::new((0..n).map(|k| ((k * 31 + seed * 7) % 199) as f32 / 200.0).collect(), RATE)
    }

    fn send(shelf: &mut Shelf, sound: &UserSample) {
        let (hash, total) = (sound.hash, sound.samples.len() as u32);
        for (at, samples) in pieces(&sound.samples) {
            let piece = Piece { hash, hertz: RATE.hertz(), total, at, samples: &samples };
            shelf.take(piece).expect("it follows");
        }
    }

    #[test]
    fn a_sound_comes_in_pieces_and_is_the_same() {
        let mut shelf = Shelf::default();
        for n in [1, PIECE, PIECE + 1, 3 * PIECE - 1] {
            let sound = sound(n, n);
            assert!(pieces(&sound.samples).all(|(_, b)| b.len() <= 4 * PIECE));
            send(&mut shelf, &sound);
            assert_eq!(shelf.get(sound.hash, RATE).as_deref(), Some(&*sound.samples));
            assert_eq!(shelf.get(sound.hash, SampleRate::new(44_100).expect("a rate")), None);
        }
        shelf.clear();
        assert_eq!(shelf.get(sound(1, 1).hash, RATE), None);
    }

    #[test]
    fn what_was_not_needed_for_longest_goes() {
        let n = SOUND / 4;
        let all: Vec<UserSample> = (0..5).map(|k| sound(k, n)).collect();
        let mut shelf = Shelf::default();
        all[..4].iter().for_each(|s| send(&mut shelf, s));
        assert!(shelf.get(all[0].hash, RATE).is_some());
        send(&mut shelf, &all[4]);
        let there: Vec<bool> = all.iter().map(|s| shelf.get(s.hash, RATE).is_some()).collect();
        assert_eq!(there, [true, false, true, true, true]);
    }

    #[test]
    fn pieces_that_do_not_belong_are_refused() {
        let first = Piece { hash: 1, hertz: 48_000, total: 4, at: 0, samples: &[0; 8] };
        let then = Piece { at: 2, ..first };
        let refused = |rows: &[Piece<'_>]| {
            let mut shelf = Shelf::default();
            rows.iter().map(|p| shelf.take(*p)).last().expect("a row").expect_err("refused")
        };
        for last in [
            Piece { at: 1, ..then },
            Piece { hash: 2, ..then },
            Piece { hertz: 44_100, ..then },
            Piece { total: 5, ..then },
            Piece { samples: &[0; 7], ..then },
            Piece { samples: &[0; 12], ..then },
            Piece { samples: &[], ..then },
        ] {
            assert!(refused(&[first, last]).contains("does not follow"), "{last:?}");
        }
        assert!(refused(&[then]).contains("does not follow"));
        assert!(refused(&[first, then]).contains("its hash"));
        assert!(refused(&[Piece { total: 0, ..first }]).contains("0 samples"));
        assert!(refused(&[Piece { total: u32::MAX, ..first }]).contains("expected 1 to"));
        assert!(refused(&[Piece { hertz: 0, ..first }, Piece { hertz: 0, ..then }]).contains("0 Hz"));
    }
}
