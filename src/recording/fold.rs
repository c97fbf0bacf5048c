//! All channels of a sound folded into one. It must not know where the sound comes from.

use symphonia::core::audio::{Channels, Position};

/// -3 dB and -6 dB.
const HALF_POWER: f32 = std::f32::consts::FRAC_1_SQRT_2;
const HALF: f32 = 0.5;

/// The factor of each channel, in the order in which the channels are interleaved.
///
/// Left and right weigh a half each, as in the mean of both; the centre and what stands behind follow the downmix of ITU-R
/// BS.775-3 (2012), annex 4, folded from two channels into one: centre 0.707, surround channels 0.354 each, a centre behind
/// 0.5, the low-frequency channel left out. Where there is one channel it is taken as it is; channels without a place weigh
/// the same.
pub(super) fn weights(channels: &Channels) -> Vec<f32> {
    let count = channels.count();
    match channels {
        Channels::Positioned(places) if count > 1 => places.iter().map(weight).collect(),
        // Of an ambisonic set the first component is the sound from everywhere.
        Channels::Ambisonic(_) => (0..count).map(|k| if k == 0 { 1.0 } else { 0.0 }).collect(),
        _ => vec![1.0 / count.max(1) as f32; count],
    }
}

fn weight(place: Position) -> f32 {
    let front = Position::FRONT_LEFT | Position::FRONT_RIGHT | Position::FRONT_LEFT_WIDE | Position::FRONT_RIGHT_WIDE;
    if place.intersects(Position::LFE1 | Position::LFE2) {
        0.0
    } else if place.intersects(front) {
        HALF
    } else if place.intersects(Position::FRONT_CENTER) {
        HALF_POWER
    } else if place.intersects(Position::REAR_CENTER | Position::FRONT_LEFT_CENTER | Position::FRONT_RIGHT_CENTER) {
        HALF
    } else {
        HALF * HALF_POWER
    }
}
