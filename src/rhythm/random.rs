//! Random grooves for tests, with everything a groove may have: meters of every kind, odd tempos, swing, tuplets over several
//! beats, cycles, pitches, names that need care.

use super::{
    Accent, Attack, Cell, Fraction, Groove, Layer, Meter, Part, Pitch, Section, Span, Swing, Tempo, Time, Voice,
};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

/// The settings of a property test: its number of cases, and the tracked folder that keeps the seeds of failures.
pub(crate) fn config(cases: u32) -> ProptestConfig {
    let failures = FileFailurePersistence::SourceParallel("tests/regressions");
    ProptestConfig { failure_persistence: Some(Box::new(failures)), ..ProptestConfig::with_cases(cases) }
}

fn cells() -> impl Strategy<Value = Cell> {
    let accents = prop::sample::select(&Accent::ALL[..]);
    let attack = (accents, prop::bool::weighted(0.2), prop::option::of(0_u8..128))
        .prop_map(|(accent, flam, p)| Cell::Attack(Attack { accent, flam, pitch: p.and_then(Pitch::new) }));
    prop_oneof![3 => Just(Cell::Rest), 1 => Just(Cell::Hold), 2 => attack, 2 => Just(Cell::ATTACK)]
}

/// The part without holds that hold nothing, which no text can express.
fn settled(mut part: Part) -> Part {
    part.settle();
    part
}

/// Four kinds: rests, a line of groups, a cycle, and cells with tuplets, accents, holds and pitches.
fn parts(beats: usize, bars: usize, division: u16) -> impl Strategy<Value = Part> {
    let total = beats * bars;
    let even = vec![Span { beats: 1, cells: division }; total];
    let room = total * usize::from(division);
    let rests = Part::Barred { spans: even.clone(), cells: vec![Cell::Rest; room] };
    let plain = prop::collection::vec(any::<bool>(), room).prop_map(move |on| Part::Barred {
        spans: even.clone(),
        cells: on.into_iter().map(|on| if on { Cell::ATTACK } else { Cell::Rest }).collect(),
    });
    let cycle =
        (prop::collection::vec(cells(), 1..=room.min(200)), any::<prop::sample::Index>()).prop_map(|(cells, i)| {
            let start = i.index(cells.len()) as u16;
            settled(Part::Cycled { cells, start })
        });
    let shape = prop::collection::vec((1_u16..4, 1_u16..9, any::<bool>()), total);
    let barred = (shape, prop::collection::vec(cells(), total * 9)).prop_map(move |(shape, fill)| {
        let (mut spans, mut beat) = (Vec::new(), 0);
        for (length, cells, even) in shape {
            if beat == total {
                break;
            }
            let left = beats - beat % beats;
            let tuplet = Span { beats: length.min(left as u16), cells };
            let span = if even { Span { beats: 1, cells: division } } else { tuplet };
            beat += usize::from(span.beats);
            spans.push(span);
        }
        let count = spans.iter().map(|s| usize::from(s.cells)).sum();
        settled(Part::Barred { spans, cells: fill.into_iter().cycle().take(count).collect() })
    });
    prop_oneof![1 => Just(rests), 1 => plain, 1 => cycle, 3 => barred]
}

fn tempos(beat: Time) -> impl Strategy<Value = Tempo> {
    let whole = (5_i64..1000, Just(1_i64));
    let bpm =
        prop_oneof![whole, (500_i64..9000, Just(10)), (100_i64..900, 2_i64..30).prop_map(|(n, d)| (n * d + 1, d))];
    let values = [(1, 4), (3, 8), (1, 8), (5, 16)].map(|(n, d)| Time::new(n, d).expect("positive"));
    let units = [&[beat], &values[..]].concat();
    (bpm, prop::sample::select(units))
        .prop_map(|((n, d), unit)| Tempo::new(Fraction::new(n, d).expect("positive"), unit).expect("within its bound"))
}

fn swings() -> impl Strategy<Value = Option<Swing>> {
    prop::option::of((1_u8..=16, 1_u8..=16).prop_map(|(l, s)| Swing::new(l, s).expect("within its bound")))
}

fn sections() -> impl Strategy<Value = Section> {
    let meters = prop_oneof![
        (prop::collection::vec(1_u16..4, 1..4), 0_u32..5).prop_map(|(t, p)| Meter::new(t, 1 << p).expect("meter")),
        prop::sample::select(vec!["4/4", "6/8", "3+2+2/8"]).prop_map(|m| Meter::parse(m).expect("meter")),
    ];
    (meters, 1_u16..5, 1_u16..3, swings()).prop_flat_map(|(meter, bars, times, swing)| {
        tempos(meter.beat()).prop_map(move |tempo| Section {
            name: String::new(),
            meter: meter.clone(),
            tempo,
            bars,
            times,
            swing,
        })
    })
}

/// Names from a small set, so that two grooves share some and not others, and some that TOML must quote.
fn names(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<String>> {
    let names =
        ["A", "pull", "haul away", "\"tide\"", "back\\wash", "flüt ⚓", "#1", "b = 2"].map(String::from).to_vec();
    prop::sample::subsequence(names, count).prop_shuffle()
}

/// Any groove of one to three sections and up to three layers.
pub(crate) fn grooves() -> impl Strategy<Value = Groove> {
    let words = prop_oneof![Just(String::new()), "[ -~]{0,20}", "\\PC{0,12}", "[a-z\"'\\\\\n\t#]{0,30}"];
    let title = "\\PC{0,20}";
    (names(1..4), names(0..4)).prop_flat_map(move |(section_names, layer_names)| {
        let sections = prop::collection::vec(sections(), section_names.len());
        let (count, one) = (section_names.len(), 1_u16..7);
        // One division in all sections, or one for each.
        let divisions = prop_oneof![one.clone().prop_map(move |d| vec![d; count]), prop::collection::vec(one, count),];
        let layer = (divisions, 0_usize..Voice::ALL.len(), -60_i8..=12, -100_i8..=100, any::<(bool, bool)>(), swings());
        let layers = prop::collection::vec(layer, layer_names.len());
        let (section_names, layer_names) = (section_names.clone(), layer_names.clone());
        (title, words.clone(), sections, layers).prop_flat_map(move |(title, note, mut sections, layers)| {
            sections.iter_mut().zip(&section_names).for_each(|(s, n)| s.name.clone_from(n));
            let rows: Vec<_> = layers
                .iter()
                .map(|l| {
                    let row = sections.iter().zip(&l.0).map(|(s, d)| parts(s.meter.beats(), usize::from(s.bars), *d));
                    row.collect::<Vec<_>>()
                })
                .collect();
            let layer_names = layer_names.clone();
            rows.prop_map(move |rows| {
                let made = rows.into_iter().zip(&layers).zip(&layer_names).map(
                    |((parts, (divisions, voice, gain, pan, (mute, solo), swing)), name)| Layer {
                        gain: *gain,
                        pan: *pan,
                        mute: *mute,
                        solo: *solo,
                        swing: *swing,
                        divisions: divisions.clone(),
                        ..Layer::new(name, Voice::ALL[*voice], 1, parts)
                    },
                );
                Groove::new(&title, &note, sections.clone(), made.collect()).expect("a groove within its bounds")
            })
        })
    })
}
