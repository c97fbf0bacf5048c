//! Folds any number of channels down to two or to one.

use std::f32::consts::FRAC_1_SQRT_2;
use symphonia::core::audio::{Channels, Position};

/// The weights of each channel in left and right, in interleaved order; `None` if one or two channels stay as they are.
///
/// The downmix of ITU-R BS.775-3 (2012), annex 4: left and right 1, center and surround channels 0.707, low-frequency channels
/// 0. Channels without a position go to left and right in turn.
pub(super) fn stereo(channels: &Channels) -> Option<Vec<[f32; 2]>> {
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

/// The weight of each channel in the mean of left and right, in interleaved order.
pub(super) fn mono(channels: &Channels) -> Vec<f32> {
    let count = channels.count();
    let mean = |[left, right]: [f32; 2]| f32::midpoint(left, right);
    stereo(channels).map_or_else(|| vec![1.0 / count.max(1) as f32; count], |all| all.into_iter().map(mean).collect())
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_surround_recording_is_folded_as_the_recommendation_says() {
        // Five channels and one of low frequencies, in the order of WAV files.
        let places = Position::FRONT_LEFT
            | Position::FRONT_RIGHT
            | Position::FRONT_CENTER
            | Position::LFE1
            | Position::SIDE_LEFT
            | Position::SIDE_RIGHT;
        let channels = Channels::Positioned(places);
        let half = FRAC_1_SQRT_2;
        let expected = [[1.0, 0.0], [0.0, 1.0], [half, half], [0.0, 0.0], [half, 0.0], [0.0, half]];
        assert_eq!(stereo(&channels).as_deref(), Some(&expected[..]));
        assert_eq!(mono(&channels), [0.5, 0.5, half, 0.0, half / 2.0, half / 2.0]);
        assert_eq!((stereo(&Channels::Discrete(2)), mono(&Channels::Discrete(2))), (None, vec![0.5, 0.5]));
        assert_eq!(mono(&Channels::Discrete(1)), [1.0]);
        assert_eq!(mono(&Channels::Discrete(8)), [0.125; 8]);
    }
}
