//! Clicks of the written beat and of hearings, distinguished by pitch.

use super::HitParams;
use super::tools::{Filter, Noise, Sine, decay, finish, generate, playable};
use crate::rhythm::{Accent, ClickSound};

/// Pitches of hearings' clicks in hertz, at least a major third from each other and from the beat's.
const LINE_HERTZ: [f64; 6] = [1047.0, 784.0, 2637.0, 587.0, 3520.0, 440.0];

pub(super) const CLICK_TONES: u8 = LINE_HERTZ.len() as u8;

/// The click of the written beat: 1976 Hz on the downbeat (accent), 1568 Hz on other beats, quieter for a ghost.
pub(super) fn beat(rate: f64, sound: ClickSound, accent: Accent) -> Vec<f32> {
    let (hertz, level) = match accent {
        Accent::Accent => (1976.0, 0.6),
        Accent::Plain | Accent::Strong => (1568.0, 0.45),
        Accent::Ghost | Accent::Soft => (1568.0, 0.22),
    };
    click(rate, sound, hertz, 0.5, level)
}

/// The click of the `tone`th hearing.
pub(super) fn line(rate: f64, sound: ClickSound, tone: u8, hit: HitParams) -> Vec<f32> {
    click(rate, sound, LINE_HERTZ[usize::from(tone % CLICK_TONES)], 0.0, 0.75 * hit.level)
}

/// A click of this pitch; `edge` is the level of a second tone of the tick, which makes it harder.
fn click(rate: f64, sound: ClickSound, hertz: f64, edge: f64, peak: f64) -> Vec<f32> {
    let (mut low, mut high) = (Sine::new(rate, 0.2), Sine::new(rate, 0.2));
    let second = |ratio| playable(ratio * hertz, rate);
    match sound {
        ClickSound::Tick => {
            let hertz = playable(hertz, rate);
            let sound = generate(rate, 0.12, |t| {
                low.next(hertz) * decay(t, 0.011) + edge * high.next(playable(2.76 * hertz, rate)) * decay(t, 0.003)
            });
            finish(rate, sound, rate, peak)
        }
        // Lower than the other two, because a block sounds higher than it is.
        ClickSound::Block => {
            let (mut noise, mut stick) = (Noise::new(13), Filter::band_pass(rate, 3200.0, 0.8));
            let sound = generate(rate, 0.12, |t| {
                let hollow = low.next(second(0.75)) * decay(t, 0.014) + 0.5 * high.next(second(1.9)) * decay(t, 0.006);
                hollow + 0.8 * stick.next(noise.next()) * decay(t, 0.0015)
            });
            finish(rate, sound, 9000.0, 1.2 * peak)
        }
        ClickSound::Beep => {
            let hertz = playable(hertz, rate);
            let sound = generate(rate, 0.12, |t| low.next(hertz) * decay((t - 0.04).max(0.0), 0.006));
            finish(rate, sound, rate, 0.7 * peak)
        }
    }
}
