//! A groove as the loop that is looked for in a recording, and what was found as anchors of the groove.

use super::fit;
use super::fit::align::{Alignment, ScoreAttack, ScoreLayer, ScoreLoop};
use super::onsets::Onset;
use crate::analysis::Clock;
use crate::analysis::attacks::LayerAttacks;
use crate::rhythm::bounds::ANCHOR_PASS;
use crate::rhythm::{Accent, Anchor, Fraction, GridPlace, Groove, Micros, Voice};

/// Weight of an accent (ours, no source).
fn weight(accent: Accent) -> f64 {
    match accent {
        Accent::Ghost => 0.25,
        Accent::Soft => 0.4,
        Accent::Plain => 0.6,
        Accent::Strong => 0.8,
        Accent::Accent => 1.0,
    }
}

/// Strength of an instrument in the low, middle and high band, in dB below that of the onset; `None` where it depends on the pitch.
///
/// Measured with the onset detector on single strokes: means of this program's voices and of the instruments of two General MIDI
/// soundfonts. They guide the alignment only as far as the recording agrees with them.
fn decibels(voice: Voice) -> Option<[f64; 3]> {
    Some(match voice {
        Voice::Kick => [0.0, -19.0, -30.0],
        Voice::Snare => [-10.0, -2.0, -8.0],
        Voice::Hat | Voice::OpenHat => [-36.0, -18.0, 0.0],
        Voice::Ride => [-45.0, -11.0, -1.0],
        Voice::Crash => [-45.0, -2.0, -5.0],
        Voice::Rim => [-39.0, -3.0, -7.0],
        Voice::Clap => [-29.0, -1.0, -7.0],
        Voice::Tom | Voice::LowTom => [-1.0, -16.0, -35.0],
        Voice::Wood | Voice::Cowbell => [-50.0, -1.0, -12.0],
        Voice::Shaker => [-45.0, -23.0, 0.0],
        Voice::Bass => [-1.0, -9.0, -30.0],
        Voice::Bell | Voice::Pluck => return None,
    })
}

fn bands(voice: Voice) -> Option<[f64; 3]> {
    decibels(voice).map(|bands| bands.map(|db| 10_f64.powf(db / 20.0)))
}

/// The loop of these layers. Its bars are those of a pass in playing order, and its score time is that of the written tempos.
pub fn score_loop(groove: &Groove, layers: &[usize]) -> ScoreLoop {
    let clock = Clock::new(groove);
    let attacks = LayerAttacks::new(groove, &clock);
    let layer = |layer: &usize| ScoreLayer {
        attacks: attacks
            .layer(*layer)
            .iter()
            .map(|a| ScoreAttack { seconds: a.seconds, weight: weight(a.accent) })
            .collect(),
        bands: bands(groove.layers()[*layer].voice),
    };
    let (mut bars, mut beats) = (Vec::new(), Vec::new());
    for (section, pass) in clock.passes() {
        let Some(s) = groove.sections().get(section) else { continue };
        let at = |length, k| clock.seconds_after(section, pass, length, k);
        bars.extend((0..usize::from(s.bars)).filter_map(|k| at(s.meter.bar(), k)));
        beats.extend((0..s.beats()).filter_map(|k| at(s.meter.beat(), k)));
    }
    ScoreLoop { layers: layers.iter().map(layer).collect(), length: clock.total(), bars, beats }
}

/// Detected onsets with linear strengths.
pub fn linear_onsets(onsets: &[Onset]) -> Vec<fit::Onset> {
    let linear = |decibels: f32| 10_f64.powf(f64::from(decibels) / 20.0);
    let onset = |o: &Onset| fit::Onset {
        seconds: o.seconds,
        strength: linear(o.strength_db),
        low: linear(o.low_db),
        mid: linear(o.mid_db),
        high: linear(o.high_db),
        timbre: o.timbre,
    };
    onsets.iter().map(onset).collect()
}

/// The anchors of the groove's bar lines, as far as the recording has them.
pub fn anchors(alignment: &Alignment) -> Vec<Anchor> {
    let mut anchors: Vec<Anchor> = Vec::with_capacity(alignment.anchors.len());
    for found in &alignment.anchors {
        let at = Micros((found.seconds * 1e6).round() as i64);
        let is_inside = at.checked().is_ok() && ANCHOR_PASS.check(found.pass as i64 + 1).is_ok();
        if is_inside && anchors.last().is_none_or(|last| last.at < at) {
            let place = GridPlace { pass: found.pass as u32, bar: found.bar as u32, beat: Fraction::ZERO };
            anchors.push(Anchor { place, at });
        }
    }
    anchors
}
