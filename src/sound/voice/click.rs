//! Clicks of the written beat and of hearings, distinguished by pitch.

use super::HitParams;
use super::tools::{Sine, decay, finish, generate, playable};
use crate::rhythm::Accent;

/// Pitches of hearings' clicks in hertz, at least a major third from each other and from the beat's.
const LINE_HERTZ: [f64; 6] = [1047.0, 784.0, 2637.0, 587.0, 3520.0, 440.0];

pub(super) const CLICK_TONES: u8 = LINE_HERTZ.len() as u8;

/// The click of the written beat: 1976 Hz on the downbeat (accent), 1568 Hz on other beats, quieter for a ghost.
pub(super) fn beat(rate: f64, accent: Accent) -> Vec<f32> {
    let (hertz, level) = match accent {
        Accent::Accent => (1976.0, 0.6),
        Accent::Plain => (1568.0, 0.45),
        Accent::Ghost => (1568.0, 0.22),
    };
    tick(rate, hertz, 0.5, level)
}

/// The click of the `tone`th hearing.
pub(super) fn line(rate: f64, tone: u8, hit: HitParams) -> Vec<f32> {
    tick(rate, LINE_HERTZ[usize::from(tone % CLICK_TONES)], 0.0, 0.75 * hit.level)
}

fn tick(rate: f64, hertz: f64, edge: f64, peak: f64) -> Vec<f32> {
    let hertz = playable(hertz, rate);
    let (mut low, mut high) = (Sine::new(rate, 0.2), Sine::new(rate, 0.2));
    let sound = generate(rate, 0.12, |t| {
        low.next(hertz) * decay(t, 0.011) + edge * high.next(playable(2.76 * hertz, rate)) * decay(t, 0.003)
    });
    finish(rate, sound, rate, peak)
}
