//! Folds any number of channels down to two.

use std::f32::consts::FRAC_1_SQRT_2;
use symphonia::core::audio::{Channels, Position};

/// The weights of each channel in left and right, in interleaved order; `None` if frames stay as they are.
///
/// The downmix of ITU-R BS.775-3 (2012), annex 4: left and right 1, center and surround channels 0.707, low-frequency channels
/// 0. Channels without a position go to left and right in turn.
pub(super) fn weights(channels: &Channels) -> Option<Vec<[f32; 2]>> {
    let count = channels.count();
    if count <= 2 {
        return None;
    }
    Some(match channels {
        Channels::Positioned(places) => places.iter().map(weight).collect(),
        // The first ambisonic component is omnidirectional, the second one points to the left (ACN order).
        Channels::Ambisonic(_) => {
            (0..count).map(|k| [[0.5, 0.5], [0.5, -0.5]].get(k).copied().unwrap_or_default()).collect()
        }
        _ => {
            let level = 1.0 / count.div_ceil(2) as f32;
            (0..count).map(|k| if k % 2 == 0 { [level, 0.0] } else { [0.0, level] }).collect()
        }
    })
}

fn weight(place: Position) -> [f32; 2] {
    let left = Position::FRONT_LEFT | Position::FRONT_LEFT_WIDE | Position::FRONT_LEFT_CENTER;
    let right = Position::FRONT_RIGHT | Position::FRONT_RIGHT_WIDE | Position::FRONT_RIGHT_CENTER;
    let left_behind = Position::SIDE_LEFT | Position::REAR_LEFT;
    let right_behind = Position::SIDE_RIGHT | Position::REAR_RIGHT;
    if place.intersects(Position::LFE1 | Position::LFE2) {
        [0.0, 0.0]
    } else if place.intersects(left) {
        [1.0, 0.0]
    } else if place.intersects(right) {
        [0.0, 1.0]
    } else if place.intersects(left_behind) {
        [FRAC_1_SQRT_2, 0.0]
    } else if place.intersects(right_behind) {
        [0.0, FRAC_1_SQRT_2]
    } else if place.intersects(Position::FRONT_CENTER) {
        [FRAC_1_SQRT_2, FRAC_1_SQRT_2]
    } else {
        [0.5, 0.5]
    }
}
