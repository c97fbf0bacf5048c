//! Pitch spelling: the letters and accidentals of a layer.

/// The natural letters in the order of fifths; flats come before them, sharps after.
const FIFTHS: [char; 7] = ['F', 'C', 'G', 'D', 'A', 'E', 'B'];
/// The default start of the window: flats for B and E, sharps for F, C and G.
const DEFAULT_FIRST: i32 = -3;

/// Twelve consecutive names on the line of fifths, one per pitch class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Names {
    /// The first name, in fifths from C.
    first: i32,
}

impl Names {
    /// The names with the least variance on the line of fifths for these keys (0 to 127, each as often as it sounds): the pitch
    /// variance rule (Temperley 2001, The Cognition of Basic Musical Structures, ch. 5, from memory).
    pub(super) fn for_keys(keys: &[u8]) -> Self {
        let spread = |first: i32| {
            let names = Self { first };
            let (sum, squares) =
                keys.iter().map(|k| i64::from(names.fifth(*k))).fold((0, 0), |(s, q), p| (s + p, q + p * p));
            keys.len() as i64 * squares - sum * sum
        };
        // From flats only to sharps only, without double accidentals and without E#, B#, Cb and Fb.
        let first = (-6..=-1).min_by_key(|f| (spread(*f), (f - DEFAULT_FIRST).abs()));
        Self { first: first.unwrap_or(DEFAULT_FIRST) }
    }

    /// The position of a key's name, in fifths from C.
    fn fifth(self, key: u8) -> i32 {
        self.first + (7 * i32::from(key) - self.first).rem_euclid(12)
    }

    /// The letter of a key, and the semitones from the letter to the key.
    pub(super) fn letter_and_alter(self, key: u8) -> (char, i8) {
        let place = self.fifth(key) + 1;
        (FIFTHS[place.rem_euclid(7) as usize], place.div_euclid(7) as i8)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Pitch;
    use proptest::prelude::*;

    fn check(pitches: &str, expected: &str) {
        let keys: Vec<u8> = pitches.split(' ').map(|p| Pitch::parse(p).expect("a pitch").key()).collect();
        let names = Names::for_keys(&keys);
        let written = keys.iter().map(|k| match names.letter_and_alter(*k) {
            (letter, -1) => format!("{letter}b"),
            (letter, 1) => format!("{letter}#"),
            (letter, _) => letter.to_string(),
        });
        assert_eq!(written.collect::<Vec<_>>().join(" "), expected);
    }

    #[test]
    fn scales_are_written_as_they_are_taught() {
        // Common practice, no source.
        check("E2 G2 A2 A#2 B2 D3", "E G A Bb B D");
        check("D3 E3 F#3 G3 A3 B3 C#4", "D E F# G A B C#");
        check("F2 G#2 A#2 C3 D#3", "F Ab Bb C Eb");
        check("C3 D3 D#3 F3 G3 G#3 B3", "C D Eb F G Ab B");
        check("A3 B3 C4 D4 E4 F4 G#4", "A B C D E F G#");
        check("F#2 G#2 A2 B2 C#3 E3", "F# G# A B C# E");
        check("C4 D4 E4 F4 G4", "C D E F G");
        check("C4 C#4 D4 D#4 E4 F4 F#4 G4 G#4 A4 A#4 B4", "C C# D Eb E F F# G G# A Bb B");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn a_name_sounds_as_its_key(keys in prop::collection::vec(0_u8..128, 0..20), key in 0_u8..128) {
            let (letter, alter) = Names::for_keys(&keys).letter_and_alter(key);
            let naturals = [('C', 0), ('D', 2), ('E', 4), ('F', 5), ('G', 7), ('A', 9), ('B', 11)];
            let natural = naturals.iter().find(|n| n.0 == letter).expect("a letter").1;
            prop_assert_eq!((natural + i32::from(alter)).rem_euclid(12), i32::from(key % 12));
            prop_assert!(alter.abs() <= 1);
        }
    }
}
