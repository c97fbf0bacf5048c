//! The level of a recording, so that the detection does not depend on how loudly it was recorded.

use super::progress::Progress;
use super::signal::Signal;

/// Seconds over which the level is measured.
const BLOCK: f64 = 0.02;
/// Blocks quieter than this part of the loudest one do not count: they are silence.
const SILENCE: f64 = 1e-5;
/// The percentile of the levels that is brought to `LEVEL`.
const PERCENTILE: f64 = 0.95;
const LEVEL: f64 = 0.1;
/// A recording with no sample above this is silent.
const MIN_PEAK: f32 = 1e-7;

/// The gain that brings the loud blocks to a root mean square of 0.1 (-20 dB); 0 of a silent sound. `None` if cancelled.
pub(super) fn gain(signal: &mut Signal, progress: &mut Progress) -> Option<f32> {
    let size = ((BLOCK * signal.rate()) as usize).max(1);
    let blocks = signal.len() / size;
    let mut levels = Vec::with_capacity(blocks);
    let mut peak: f32 = 0.0;
    for i in 0..blocks {
        progress.report(i, blocks)?;
        let (square, most) = measure(signal.samples((i * size) as i64, size));
        levels.push((square / size as f64).sqrt());
        peak = peak.max(most);
    }
    let rest = signal.len() - blocks * size;
    peak = peak.max(measure(signal.samples((blocks * size) as i64, rest)).1);
    if peak < MIN_PEAK {
        return Some(0.0);
    }
    let loudest = levels.iter().copied().fold(1e-9, f64::max);
    levels.retain(|level| *level > SILENCE * loudest);
    Some((LEVEL / (percentile(&mut levels, PERCENTILE) + 1e-9)) as f32)
}

/// The sum of squares and the greatest magnitude.
fn measure(samples: &[f32]) -> (f64, f32) {
    let (chunks, rest) = samples.as_chunks::<8>();
    let (mut squares, mut peaks) = ([0.0_f64; 8], [0.0_f32; 8]);
    for chunk in chunks {
        for i in 0..8 {
            squares[i] += f64::from(chunk[i]) * f64::from(chunk[i]);
            let magnitude = chunk[i].abs();
            peaks[i] = if magnitude > peaks[i] { magnitude } else { peaks[i] };
        }
    }
    for (i, x) in rest.iter().enumerate() {
        squares[i] += f64::from(*x) * f64::from(*x);
        peaks[i] = peaks[i].max(x.abs());
    }
    (squares.iter().sum(), peaks.iter().copied().fold(0.0, f32::max))
}

/// A percentile, by linear interpolation between the neighbours in order; 0 of nothing.
fn percentile(values: &mut [f64], part: f64) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    let at = part * values.len().saturating_sub(1) as f64;
    let Some(low) = values.get(at as usize) else { return 0.0 };
    let high = values.get(at as usize + 1).unwrap_or(low);
    low + (high - low) * at.fract()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percentile_lies_between_neighbours() {
        let mut values = [4.0, 1.0, 3.0, 2.0, 5.0];
        assert_eq!(percentile(&mut values, 0.95), 4.8);
        assert_eq!(percentile(&mut values, 1.0), 5.0);
        assert_eq!(percentile(&mut [], 0.95), 0.0);
    }

    #[test]
    fn a_steady_sound_comes_to_the_level_and_silence_does_not_count() {
        let mut sound = vec![0.5_f32; 44_100];
        let gain_of = |sound: &Vec<f32>| gain(&mut Signal::new(sound, 44_100), &mut Progress::new(&mut |_| true));
        assert!((gain_of(&sound).expect("not cancelled") - 0.2).abs() < 1e-6);
        sound.resize(441_000, 0.0);
        assert!((gain_of(&sound).expect("not cancelled") - 0.2).abs() < 1e-6);
        assert_eq!(gain_of(&vec![1e-8; 44_100]), Some(0.0));
    }
}
