//! Transcriptions of performances made from patterns.

use super::*;
use proptest::prelude::*;

const KICK: [f64; 3] = [1.0, 0.2, 0.1];
const SNARE: [f64; 3] = [0.3, 0.9, 0.7];
const HAT: [f64; 3] = [0.02, 0.15, 1.0];

/// A layer as bands and cells: `x` plain, `X` an accent, `o` a ghost.
type Played = ([f64; 3], &'static str);

/// Cells in a beat, seconds per beat, beats, and the largest error of a time in seconds.
#[derive(Clone, Copy)]
struct Playing {
    cells: usize,
    beat: f64,
    beats: usize,
    error: f64,
}

/// Onsets and beats of layers played with errors that do not repeat with the bar.
fn played(layers: &[Played], playing: Playing, seed: u64) -> (Vec<Onset>, Vec<f64>) {
    let mut state = seed;
    let mut uniform = || {
        // Knuth, *The Art of Computer Programming* 2, 3.3.4: MMIX constants.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64 * 2.0 - 1.0
    };
    let mut onsets = Vec::new();
    for index in 0..playing.beats * playing.cells {
        let mut bands = [0.0; 3];
        for (layer, text) in layers {
            let gain = match text.as_bytes()[index % text.len()] {
                b'X' => 1.0,
                b'x' => 0.6,
                b'o' => 0.25,
                _ => continue,
            };
            let gain = gain * (0.1 * uniform()).exp();
            // Energies of sounds that begin together add up.
            bands.iter_mut().zip(layer).for_each(|(sum, band)| *sum += (gain * band).powi(2));
        }
        let bands = bands.map(f64::sqrt);
        let strength: f64 = bands.iter().sum();
        if strength > 0.0 {
            let seconds = 2.0 + index as f64 * playing.beat / playing.cells as f64 + playing.error * uniform();
            onsets.push(Onset { seconds, strength, low: bands[0], mid: bands[1], high: bands[2], ..Onset::default() });
        }
    }
    let beats = (0..=playing.beats).map(|i| 2.0 + i as f64 * playing.beat).collect();
    (onsets, beats)
}

const FOUR: Option<Bars> = Some(Bars { beats: 4, downbeat: 0 });
const PLAYING: Playing = Playing { cells: 4, beat: 0.6, beats: 64, error: 0.012 };

fn layer_of(transcription: &Transcription, role: Role) -> &Layer {
    transcription.layers.iter().find(|layer| layer.prototype.role == role).expect("a layer of that role")
}

/// Cells of the attacks within the beat, and their accents, of one bar.
fn bar(layer: &Layer, number: i64) -> Vec<(i64, u32, Accent)> {
    let in_bar = layer.attacks.iter().filter(|attack| attack.beat.div_euclid(4) == number);
    in_bar.map(|attack| (attack.beat % 4, attack.cell * 4 / attack.division.cells, attack.accent)).collect()
}

#[test]
fn three_layers_come_back_with_cells_and_accents() {
    let layers = [(KICK, "X......x..X....."), (SNARE, "....X..o.o..X..o"), (HAT, "x.x.x.x.x.x.x.x.")];
    let (onsets, beats) = played(&layers, PLAYING, 7);
    let transcription = transcribe(&onsets, &beats, FOUR);
    let roles: Vec<Role> = transcription.layers.iter().map(|layer| layer.prototype.role).collect();
    assert_eq!(roles.len(), 3, "{roles:?}");
    let kick = bar(layer_of(&transcription, Role::Kick), 5);
    assert_eq!(kick, vec![(0, 0, Accent::Accent), (1, 3, Accent::Plain), (2, 2, Accent::Accent)]);
    let snare: Vec<(i64, u32)> = bar(layer_of(&transcription, Role::Snare), 9).iter().map(|a| (a.0, a.1)).collect();
    assert_eq!(snare, vec![(1, 0), (1, 3), (2, 1), (3, 0), (3, 3)]);
    let hats = layer_of(&transcription, Role::Hat);
    // Some are covered by the snare.
    assert!(hats.attacks.len() >= 112, "{} of 128", hats.attacks.len());
    assert!(hats.swung.is_none());
    assert!((0.005..=0.010).contains(&transcription.sigma), "{}", transcription.sigma);
}

#[test]
fn a_kick_always_with_the_hat_is_a_kick() {
    let (onsets, beats) = played(&[(KICK, "X.......x......."), (HAT, "x.x.")], PLAYING, 3);
    let transcription = transcribe(&onsets, &beats, FOUR);
    assert_eq!(transcription.layers.len(), 2);
    assert_eq!(layer_of(&transcription, Role::Kick).attacks.len(), 32);
    assert!(layer_of(&transcription, Role::Hat).attacks.len() > 120);
}

#[test]
fn swung_cells_are_offered_as_swing() {
    let playing = Playing { cells: 5, error: 0.008, ..PLAYING };
    let (onsets, beats) = played(&[(HAT, "x..x.")], playing, 11);
    let transcription = transcribe(&onsets, &beats, None);
    let swung = transcription.layers[0].swung.as_ref().expect("a swing");
    assert_eq!(swung.swing, Swing { cells: 2, long: 3, short: 2 });
    let cells: Vec<(i64, u32)> = swung.attacks.iter().take(4).map(|a| (a.beat, a.cell)).collect();
    assert_eq!(cells, vec![(0, 0), (0, 1), (1, 0), (1, 1)]);
    assert!(swung.attacks.iter().all(|a| a.deviation.abs() < 0.010));
}

#[test]
fn onsets_of_all_layers_say_how_a_beat_is_divided_unless_a_layer_has_its_own() {
    // A kick late by less than half a cell, on cells that only the hat fills.
    let layers = [(KICK, "..x....."), (HAT, "x.x.x.x.")];
    let (onsets, beats) = played(&layers, PLAYING, 9);
    let transcription = transcribe(&onsets, &beats, FOUR);
    for layer in &transcription.layers {
        assert!(layer.attacks.iter().all(|attack| attack.division.cells == 2), "{:?}", layer.prototype);
    }
    // Three in the time of four: the cells of all are not those of each.
    let layers = [(KICK, "x...x...x..."), (HAT, "x..x..x..x..")];
    let (onsets, beats) = played(&layers, Playing { cells: 12, error: 0.006, ..PLAYING }, 9);
    let transcription = transcribe(&onsets, &beats, FOUR);
    let kick = layer_of(&transcription, Role::Kick);
    let thirds = kick.attacks.iter().filter(|attack| attack.division == Division { cells: 3, beats: 1 }).count();
    assert!(thirds > 150, "{thirds} of {}", kick.attacks.len());
}

#[test]
fn all_onsets_can_be_one_kind() {
    let (onsets, beats) = played(&[(KICK, "X..."), (SNARE, "..X.")], PLAYING, 5);
    let transcription = transcribe_as_one(&onsets, &beats, FOUR);
    assert_eq!(transcription.layers.len(), 1);
    assert_eq!(transcription.layers[0].attacks.len(), 128);
}

#[test]
fn without_onsets_or_beats_there_is_nothing() {
    let (onsets, beats) = played(&[(KICK, "X...")], PLAYING, 5);
    assert_eq!(transcribe(&[], &beats, FOUR).layers, []);
    assert_eq!(transcribe(&onsets, &[], FOUR), Transcription::default());
    assert_eq!(transcribe(&onsets, &[1.0], FOUR), Transcription::default());
    assert_eq!(transcribe(&[Onset::default(); 30], &beats, FOUR).layers, []);
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]

    /// Attacks stand on the nearest cell: deviation and cell add up to the onset's time.
    #[test]
    fn cell_and_deviation_give_the_time(seed in 1..u64::MAX, beat in 0.3..1.2_f64, cells in 1..5_usize) {
        let playing = Playing { cells, beat, beats: 24, error: 0.02 };
        let (onsets, beats) = played(&[(KICK, "X.x.x"), (HAT, "xx.o")], playing, seed);
        let transcription = transcribe(&onsets, &beats, None);
        for attack in transcription.layers.iter().flat_map(|layer| &layer.attacks) {
            let seconds = 2.0 + attack.position() * beat + attack.deviation;
            prop_assert!((seconds - onsets[attack.onset].seconds).abs() < 1e-6, "{attack:?}");
            prop_assert!(attack.cell < attack.division.cells);
            prop_assert!(attack.deviation.abs() <= attack.division.cell() * beat / 2.0 + 1e-9);
        }
    }

    /// Every onset near the beats is in a layer, and a transcription is the same at another loudness.
    #[test]
    fn loudness_does_not_matter(seed in 1..u64::MAX, gain in 0.01..50.0_f64) {
        let (onsets, beats) = played(&[(KICK, "X..x"), (SNARE, "..X."), (HAT, "xo")], PLAYING, seed);
        let louder: Vec<Onset> = onsets
            .iter()
            .map(|o| Onset { strength: o.strength * gain, low: o.low * gain, mid: o.mid * gain, high: o.high * gain, ..*o })
            .collect();
        let (a, b) = (transcribe(&onsets, &beats, FOUR), transcribe(&louder, &beats, FOUR));
        prop_assert_eq!(a.layers.len(), b.layers.len());
        for (a, b) in a.layers.iter().zip(&b.layers) {
            prop_assert_eq!(&a.divisions, &b.divisions);
            let accents = |layer: &Layer| layer.attacks.iter().map(|a| a.accent).collect::<Vec<_>>();
            prop_assert_eq!(accents(a), accents(b));
        }
        for index in 0..onsets.len() {
            prop_assert!(a.layers.iter().any(|layer| layer.attacks.iter().any(|attack| attack.onset == index)));
        }
    }
}
