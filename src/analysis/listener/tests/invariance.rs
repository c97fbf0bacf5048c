//! What must not change an answer: repeats, the grid it is written on, and the unit of time. And what every answer keeps.

use super::*;

/// A small generator of random numbers (Marsaglia 2003, xorshift), the same in every run.
pub(super) struct Random(pub(super) u64);

impl Random {
    pub(super) fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n as u64) as usize
    }
}

/// A random groove of up to three layers.
fn groove(random: &mut Random) -> Piece {
    let meter = [FOUR, THREE, SIX, simple(5), Meter { beats: 7, parts: 2, heads: &[0, 3, 5] }][random.below(5)];
    let division = [1, 2, 3, 4, 6][random.below(5)];
    let bars = 1 + random.below(3);
    let voices = [Voice::Kick, Voice::Hat, Voice::Pluck];
    let layers = (0..=random.below(3))
        .map(|l| {
            let length = if random.below(4) == 0 { 2 + random.below(12) } else { meter.beats * division };
            let density = 1 + random.below(4);
            let cells = (0..length)
                .map(|_| if random.below(5) < density { ['x', 'x', 'X', 'o'][random.below(4)] } else { '.' })
                .collect();
            (voices[l], division, cells)
        })
        .collect();
    Piece { meter, bpm: 50.0 + random.below(200) as f64, bars, layers }
}

fn same(a: Option<&Listening>, b: Option<&Listening>, tolerance: f64) -> Result<(), String> {
    let (Some(a), Some(b)) = (a, b) else {
        return if a.is_none() == b.is_none() { Ok(()) } else { Err("only one has a pulse".into()) };
    };
    let text = || format!("{}\n{}", line(a), line(b));
    let near = |x: f64, y: f64| (x - y).abs() <= tolerance;
    if !near(a.written, b.written) || !near(a.odd, b.odd) || !near(a.hardness_parts.sum(), b.hardness_parts.sum()) {
        return Err(text());
    }
    for (x, y) in a.hearings.iter().zip(&b.hearings).take(3) {
        let is_tied = a.hearings.iter().filter(|h| near(h.probability, x.probability)).count() > 1;
        if !near(x.probability, y.probability) || !is_tied && ((x.bpm / y.bpm - 1.0).abs() > 0.01 || x.kind != y.kind) {
            return Err(text());
        }
    }
    Ok(())
}

#[test]
fn repeats_and_finer_grids_change_nothing_and_time_scales() {
    let mut random = Random(88_172_645_463_325_252);
    let mut heard = 0;
    let mut wrong: Vec<String> = Vec::new();
    let mut note = |what: &str, piece: &Piece, result: Result<(), String>| {
        if let Err(text) = result {
            wrong.push(format!("{what} {piece:?}\n{text}"));
        }
    };
    for i in 0..2000 {
        let piece = groove(&mut random);
        let plain = listen(&piece.input());
        let Some(l) = &plain else { continue };
        heard += 1;
        check(l, &piece);
        // Where no cell is felt, an attack halfway between two pulses may go to either by a rounding error.
        let exact = if l.feel < 1.0 { 2e-3 } else { 1e-4 };
        // Cycles that do not close with the bars would go on differently.
        let closes = |l: &(Voice, usize, String)| (piece.bars * piece.meter.beats * l.1).is_multiple_of(l.2.len());
        if piece.layers.iter().all(closes) {
            let mut repeated = piece.clone();
            repeated.bars *= 2 + i % 2;
            note("repeat", &piece, same(plain.as_ref(), listen(&repeated.input()).as_ref(), exact));
        }
        let mut finer = piece.clone();
        for l in &mut finer.layers {
            l.1 *= 2;
            l.2 = l.2.chars().flat_map(|c| [c, '.']).collect();
        }
        note("division", &piece, same(plain.as_ref(), listen(&finer.input()).as_ref(), exact));
        let factor = [0.5, 2.0, 1.7][i % 3];
        let mut scaled = piece.clone();
        scaled.bpm /= factor;
        let input = scaled.input();
        let scaled = listen(&Input { params: input.params.scaled(factor), ..input });
        let (Some(a), Some(b)) = (&plain, &scaled) else { panic!("scaled {piece:?}") };
        let b = &Listening {
            hearings: b
                .hearings
                .iter()
                .map(|h| super::super::ModelHearing { bpm: h.bpm * factor, ..h.clone() })
                .collect(),
            ..b.clone()
        };
        // Times are rounded to a fixed step: scaled, they are rounded otherwise.
        note("scaled", &piece, same(Some(a), Some(b), 2e-3));
    }
    assert!(wrong.is_empty(), "{} {wrong:#?}", wrong.len());
    assert!(heard > 1800, "{heard}");
}

/// Sums, ranges and bounds that hold for every answer.
fn check(l: &Listening, piece: &Piece) {
    let sum: f64 = l.hearings.iter().map(|h| h.probability).sum();
    assert!((0.97..=1.0 + 1e-9).contains(&sum), "{sum} {piece:?}");
    assert!((0.0..=1.0).contains(&l.written), "{piece:?}");
    assert!((l.hardness_parts.sum() + l.written - 1.0).abs() < 1e-6, "{} {:?} {piece:?}", l.written, l.hardness_parts);
    assert!((0.0..=1.0 + 1e-9).contains(&l.odd) && (-1e-9..=1.0 + 1e-9).contains(&l.bar), "{piece:?}");
    let shown: f64 =
        l.shown_written + l.hearings.iter().filter(|h| !h.keeps_written()).filter_map(|h| h.shown).sum::<f64>();
    assert!((shown - 1.0).abs() < 1e-6, "{shown} {piece:?}");
    for h in &l.hearings {
        assert!((30.0 - 1e-3..=300.0 + 1e-3).contains(&h.bpm), "{} {piece:?}", h.bpm);
        assert!(h.probability.is_finite() && (0.0..=1.0).contains(&h.probability), "{piece:?}");
        assert!(h.pulses.windows(2).all(|w| w[0] < w[1] + 1e-9), "{:?} {piece:?}", h.pulses);
        assert!(h.pulses.iter().all(|p| *p > -1e-6 && *p < l.length + 1e-6), "{:?} {piece:?}", h.pulses);
        assert!(!h.stretches.is_empty() && h.stretches.iter().all(|s| s.bpm.is_finite()), "{piece:?}");
    }
    assert!(l.hearings.windows(2).all(|w| w[0].probability >= w[1].probability), "{piece:?}");
}

#[test]
fn nothing_to_hear_a_pulse_from() {
    let none = Piece::new(FOUR, 100.0, 2, &[(Voice::Kick, 1, "....")]);
    assert_eq!(listen(&none.input()), None);
    let one = Piece::new(FOUR, 100.0, 1, &[(Voice::Kick, 1, "..x.")]);
    assert_eq!(listen(&one.input()), None);
    // Two attacks in a loop shorter than any beat.
    let short = Piece::new(simple(1), 400.0, 1, &[(Voice::Kick, 2, "xx")]);
    assert!(listen(&short.input()).is_none_or(|l| l.hearings.iter().all(|h| h.bpm <= 300.0)));
    let mut input = one.input();
    input.sections.clear();
    assert_eq!(listen(&input), None);
    assert_eq!(listen(&Input { speed: f64::NAN, ..none.input() }), None);
}

/// The bounds of every answer at a speed, with the model's limits or some others.
fn within_bounds(input: &Input, what: &str) {
    let Some(l) = listen(input) else { return };
    let numbers = [l.written, l.shown_written, l.odd, l.bar, l.feel, l.hardness_parts.sum()];
    assert!(numbers.iter().all(|x| (-1e-9..=1.0 + 1e-6).contains(x)), "{what} {numbers:?}");
    assert!((l.hardness_parts.sum() + l.written - 1.0).abs() < 1e-6, "{what}");
    for h in &l.hearings {
        assert!((29.99..=300.01).contains(&h.bpm), "{what} {}", line(&l));
        assert!((0.0..=1.0).contains(&h.probability) && h.period.is_finite(), "{what} {}", line(&l));
        assert!(h.pulses.iter().all(|p| p.is_finite()) && !h.pulses.is_empty(), "{what} {}", line(&l));
        assert!(h.stretches.iter().all(|s| s.bpm.is_finite() && s.end > s.start), "{what} {:?}", h.stretches);
    }
}

#[test]
fn extreme_grooves_stay_within_bounds() {
    let all_struck = "x".repeat(192);
    for bpm in [5.0, 20.0, 60.0, 300.0, 999.0] {
        for (bars, division, cells) in
            [(1, 48, &all_struck[..]), (4, 12, "x"), (64, 1, "x.."), (2, 4, "Xo"), (1, 1, "x...")]
        {
            let piece = Piece::new(FOUR, bpm, bars, &[(Voice::Wood, division, cells)]);
            for speed in [0.1, 0.4, 1.0, 1.2, 4.0] {
                within_bounds(&Input { speed, ..piece.input() }, &format!("{bpm} {bars} {division} {cells} {speed}"));
            }
        }
    }
    let layers: Vec<(Voice, usize, String)> = (0..64).map(|i| (Voice::Tom, 1 + i % 16, "x.xx.".to_owned())).collect();
    within_bounds(&Piece { meter: FOUR, bpm: 120.0, bars: 4, layers }.input(), "64 layers");
    // Two attacks at one time, and some a hair apart.
    let mut input = Piece::new(FOUR, 100.0, 1, &[(Voice::Kick, 1, "x.x.")]).input();
    input.attacks.extend(input.attacks.clone());
    let apart = input.attacks.iter().map(|a| VoicedAttack { seconds: a.seconds + 3e-6, ..*a }).collect::<Vec<_>>();
    input.attacks.extend(apart);
    within_bounds(&input, "a hair apart");
}

#[test]
fn the_longest_groove_has_an_answer() {
    let mut random = Random(5_463_728_190);
    let groups: Vec<usize> = (0..65_536).map(|_| 3 + random.below(3)).collect();
    for bpm in [75.0, 150.0] {
        let input = Piece::groups(FOUR, bpm, groups.iter().sum::<usize>().div_ceil(16), 4, &groups).input();
        assert!(input.attacks.len() >= 65_536);
        within_bounds(&input, "65,536 attacks");
        let l = listen(&input).expect("a pulse");
        assert!(l.hardness() > 0.5, "{}", line(&l));
    }
}
