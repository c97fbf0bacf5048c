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
    if !near(a.written, b.written) || !near(a.odd, b.odd) || !near(a.split.sum(), b.split.sum()) {
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
    let mut wrong: Vec<(bool, String)> = Vec::new();
    let mut note = |what: &str, l: &Listening, piece: &Piece, result: Result<(), String>| {
        if let Err(text) = result {
            wrong.push((l.feel == 1.0, format!("{what} {piece:?}\n{text}")));
        }
    };
    for i in 0..2000 {
        let piece = groove(&mut random);
        let plain = listen(&piece.input());
        let Some(l) = &plain else { continue };
        heard += 1;
        check(l, &piece);
        // Where no cell is felt, an attack halfway between two pulses may go to either by a rounding error.
        let exact = if l.feel < 1.0 { 0.02 } else { 1e-4 };
        // Cycles that do not close with the bars would go on differently.
        let closes = |l: &(Voice, usize, String)| (piece.bars * piece.meter.beats * l.1).is_multiple_of(l.2.len());
        if piece.layers.iter().all(closes) {
            let mut repeated = piece.clone();
            repeated.bars *= 2 + i % 2;
            note("repeat", l, &piece, same(plain.as_ref(), listen(&repeated.input()).as_ref(), exact));
        }
        let mut finer = piece.clone();
        for l in &mut finer.layers {
            l.1 *= 2;
            l.2 = l.2.chars().flat_map(|c| [c, '.']).collect();
        }
        note("division", l, &piece, same(plain.as_ref(), listen(&finer.input()).as_ref(), exact));
        let factor = [0.5, 2.0, 1.7][i % 3];
        let mut scaled = piece.clone();
        scaled.bpm /= factor;
        let input = scaled.input();
        let scaled = listen(&Input { params: input.params.scaled(factor), ..input });
        let (Some(a), Some(b)) = (&plain, &scaled) else { panic!("scaled {piece:?}") };
        let b = &Listening {
            hearings: b.hearings.iter().map(|h| super::super::Hearing { bpm: h.bpm * factor, ..h.clone() }).collect(),
            ..b.clone()
        };
        note("scaled", l, &piece, same(Some(a), Some(b), exact.max(0.02)));
    }
    // Where no cell is felt, single precision and the choice between two starts with equal gains leave a few in two thousand.
    let (exact, free): (Vec<_>, Vec<_>) = wrong.iter().partition(|w| w.0);
    assert!(exact.is_empty() && free.len() <= 12, "{} {} {wrong:#?}", exact.len(), free.len());
    assert!(heard > 1800, "{heard}");
}

/// Sums, ranges and bounds that hold for every answer.
fn check(l: &Listening, piece: &Piece) {
    let sum: f64 = l.hearings.iter().map(|h| h.probability).sum();
    assert!((0.97..=1.0 + 1e-9).contains(&sum), "{sum} {piece:?}");
    assert!((0.0..=1.0).contains(&l.written), "{piece:?}");
    assert!((l.split.sum() + l.written - 1.0).abs() < 1e-6, "{} {:?} {piece:?}", l.written, l.split);
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
