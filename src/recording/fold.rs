//! Weights to mix all channels of a sound to one.

use symphonia::core::audio::{Channels, Position};

/// -3 dB and -6 dB.
const HALF_POWER: f32 = std::f32::consts::FRAC_1_SQRT_2;
const HALF: f32 = 0.5;

/// The weight of each channel, in interleaved order.
///
/// Left and right weigh 0.5 each; the others follow the downmix of ITU-R BS.775-3 (2012), annex 4, from two channels to one:
/// center 0.707, surround channels 0.354 each, rear center 0.5, low-frequency channel 0. A single channel is unchanged; channels
/// without a position weigh the same.
pub(super) fn weights(channels: &Channels) -> Vec<f32> {
    let count = channels.count();
    match channels {
        Channels::Positioned(places) if count > 1 => places.iter().map(weight).collect(),
        // The first ambisonic component is omnidirectional.
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
