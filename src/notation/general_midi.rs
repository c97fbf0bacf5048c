//! General MIDI: percussion keys, programs, controllers and velocities.
//!
//! Keys and programs: General MIDI System, Level 1 (MIDI Manufacturers Association, 1991); keys 27 to 34 and 82 to 87 are those
//! that General MIDI 2 (1999) adds. Volume: the General MIDI recommended response, gain in dB = 40 log10 (value / 127).

use crate::rhythm::{Accent, FLAM_DB, Voice};

/// The percussion channel, from 0.
pub(crate) const PERCUSSION_CHANNEL: u8 = 9;
/// Controllers of a channel.
pub(crate) const VOLUME_CONTROLLER: u8 = 7;
pub(crate) const PAN_CONTROLLER: u8 = 10;
/// The volume of a layer at 0 dB: the default of a receiver.
const DEFAULT_VOLUME: f64 = 100.0;

pub(crate) fn key(voice: Voice) -> Option<u8> {
    Some(match voice {
        Voice::Kick => 36,
        Voice::Snare => 38,
        Voice::Hat => 42,
        Voice::OpenHat => 46,
        Voice::Ride => 51,
        Voice::Crash => 49,
        Voice::Rim => 37,
        Voice::Clap => 39,
        Voice::Tom => 45,
        Voice::LowTom => 41,
        Voice::Wood => 76,
        Voice::Cowbell => 56,
        Voice::Bell => 53,
        Voice::Shaker => 70,
        Voice::Bass | Voice::Pluck => return None,
    })
}

/// The program of a voice, from 0.
pub(crate) fn program(voice: Voice) -> u8 {
    match voice {
        Voice::Bass => 34,
        Voice::Bell => 14,
        Voice::LowTom => 116,
        Voice::Tom => 117,
        _ => 25,
    }
}

/// The closest voice to a percussion key, if one is close enough.
pub(crate) fn voice(key: u8) -> Option<Voice> {
    Some(match key {
        35 | 36 => Voice::Kick,
        38 | 40 => Voice::Snare,
        42 | 44 => Voice::Hat,
        46 => Voice::OpenHat,
        51 | 59 => Voice::Ride,
        49 | 52 | 55 | 57 => Voice::Crash,
        31 | 33 | 37 => Voice::Rim,
        39 | 28 => Voice::Clap,
        41 | 43 => Voice::LowTom,
        45 | 47 | 48 | 50 | 60..=66 | 78 | 79 | 86 | 87 => Voice::Tom,
        75..=77 => Voice::Wood,
        56 => Voice::Cowbell,
        34 | 53 | 67 | 68 | 80 | 81 | 83 | 84 => Voice::Bell,
        29 | 30 | 54 | 58 | 69..=74 | 82 | 85 => Voice::Shaker,
        _ => return None,
    })
}

/// The closest voice to a program, from 0.
pub(crate) fn voice_of_program(program: u8) -> Voice {
    match program {
        32..=39 | 43 | 58 | 67 | 70 | 87 => Voice::Bass,
        8..=15 | 112 | 114 => Voice::Bell,
        116 => Voice::LowTom,
        47 | 117 | 118 => Voice::Tom,
        _ => Voice::Pluck,
    }
}

/// The keys of the clicks of the written beat: metronome bell and metronome click (General MIDI 2, percussion).
pub(crate) const DOWNBEAT_KEY: u8 = 34;
pub(crate) const BEAT_KEY: u8 = 33;
/// The keys of the clicks of hearings, by index: claves, low and high wood block, side stick.
pub(crate) const CLICK_KEYS: [u8; 4] = [75, 77, 76, 37];

/// Soft and strong are halfway between their neighbours in dB: the geometric mean, with the response above.
pub(crate) fn velocity(accent: Accent) -> u8 {
    match accent {
        Accent::Ghost => 40,
        Accent::Soft => 57,
        Accent::Plain => 80,
        Accent::Strong => 95,
        Accent::Accent => 112,
    }
}

/// The velocity of the grace stroke of a flam: no [`velocity`] of an attack.
pub(crate) fn grace_velocity(attack: u8) -> u8 {
    (f64::from(attack) * 10_f64.powf(f64::from(FLAM_DB) / 40.0)).round().max(1.0) as u8
}

/// The accent of a velocity in a file that teeter wrote: the nearest in dB.
pub(crate) fn accent(velocity: u8) -> Accent {
    match velocity {
        0..=47 => Accent::Ghost,
        48..=67 => Accent::Soft,
        68..=87 => Accent::Plain,
        88..=103 => Accent::Strong,
        _ => Accent::Accent,
    }
}

/// The accent of a velocity relative to the median of its track: from 16 above it an accent, from 10 strong, from 16 below it soft,
/// from 32 a ghost (no source).
pub(crate) fn relative_accent(velocity: u8, median: u8) -> Accent {
    match i16::from(velocity) - i16::from(median) {
        16.. => Accent::Accent,
        10..=15 => Accent::Strong,
        -15..=9 => Accent::Plain,
        -31..=-16 => Accent::Soft,
        _ => Accent::Ghost,
    }
}

/// The volume of a gain in dB, clamped to the range of the controller (up to about 4 dB).
pub(crate) fn volume(gain: i8) -> u8 {
    (DEFAULT_VOLUME * 10_f64.powf(f64::from(gain) / 40.0)).round().clamp(1.0, 127.0) as u8
}

/// In whole dB.
pub(crate) fn gain(volume: u8) -> i8 {
    if volume == 0 {
        -60
    } else {
        (40.0 * (f64::from(volume) / DEFAULT_VOLUME).log10()).round().clamp(-60.0, 12.0) as i8
    }
}

/// The controller value of a position from left (-100) to right (100); 64 is the middle.
pub(crate) fn pan(position: i8) -> u8 {
    (64.0 + f64::from(position) * 0.63).round().clamp(0.0, 127.0) as u8
}

pub(crate) fn pan_position(pan: u8) -> i8 {
    ((f64::from(pan) - 64.0) / 0.63).round().clamp(-100.0, 100.0) as i8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_voice_is_that_of_its_own_key_or_program() {
        for &v in Voice::ALL {
            match key(v) {
                Some(k) => assert_eq!(voice(k), Some(v), "key {k}"),
                None => assert_eq!(voice_of_program(program(v)), v),
            }
            assert!(!v.is_pitched() || voice_of_program(program(v)) == v, "{v}");
        }
    }

    #[test]
    fn cymbals_and_toms_of_a_file_get_the_nearest_voice() {
        // Names of the keys: General MIDI Level 1, percussion key map.
        let rows = [
            (41, Voice::LowTom),
            (43, Voice::LowTom),
            (48, Voice::Tom),
            (49, Voice::Crash),
            (51, Voice::Ride),
            (55, Voice::Crash),
            (56, Voice::Cowbell),
            (59, Voice::Ride),
        ];
        for (key, expected) in rows {
            assert_eq!(voice(key), Some(expected), "key {key}");
        }
    }

    #[test]
    fn levels_come_back() {
        for a in Accent::ALL {
            assert_eq!(accent(velocity(a)), a);
            assert_eq!(relative_accent(velocity(a), 80), a);
            assert!(Accent::ALL.iter().all(|other| grace_velocity(velocity(a)) != velocity(*other)), "{a:?}");
        }
        // Within half a step of a velocity of the middle in dB.
        let db = |a| 40.0 * f64::from(velocity(a)).log10();
        for [softer, middle, louder] in
            [[Accent::Ghost, Accent::Soft, Accent::Plain], [Accent::Plain, Accent::Strong, Accent::Accent]]
        {
            assert!((db(middle) - f64::midpoint(db(softer), db(louder))).abs() < 0.2, "{middle:?}");
        }
        // 40 log10 (50 / 80) is -8.2 dB.
        assert_eq!(grace_velocity(80), 50);
        // 40 log10 (127 / 100) is 4.15 dB: the controller cannot hold more, and far below 0 dB its steps are wider than 1 dB.
        for g in -20..=4 {
            assert_eq!(gain(volume(g)), g, "{g} dB");
        }
        for p in -100..=100_i8 {
            assert!((pan_position(pan(p)) - p).abs() <= 1, "{p}");
        }
    }
}
