//! From a groove to a question: sections, tempos, times through, layers and regions.

use super::*;
use crate::analysis::attacks::LayerAttacks;
use crate::analysis::clock::Clock;
use crate::rhythm::{self, Fraction, Groove, Layer, Region, Tempo, Time, cell_notation::parse_bars};

fn section(name: &str, meter: &str, bpm: i32, bars: u16, times: u16) -> rhythm::Section {
    let meter = rhythm::Meter::parse(meter).expect("a meter");
    let tempo = Tempo::new(Fraction::whole(bpm), meter.beat()).expect("a tempo");
    rhythm::Section { name: name.to_owned(), meter, tempo, bars, times, swing: None }
}

/// Layers as voice, division and the cells of each section.
fn groove(sections: Vec<rhythm::Section>, layers: &[(Voice, u16, &[&str])]) -> Groove {
    let layers = layers.iter().enumerate().map(|(i, (voice, division, cells))| {
        let parse = |(s, cells): (&rhythm::Section, &&str)| {
            parse_bars(cells, &s.meter, usize::from(s.bars), *division).expect("cells")
        };
        Layer::new(&format!("layer {i}"), *voice, *division, sections.iter().zip(*cells).map(parse).collect())
    });
    let layers = layers.collect();
    Groove::new("tide", "", sections, layers).expect("a groove")
}

fn asked(groove: &Groove, region: Option<&Region>) -> Input {
    let layers: Vec<usize> = (0..groove.layers().len()).collect();
    let clock = Clock::new(groove);
    Input::new(&LayerAttacks::new(groove, &clock), &layers, region, 1.0)
}

const LAYERS: &[(Voice, u16, &[&str])] =
    &[(Voice::Kick, 1, &["x.x.", "x..x.x"]), (Voice::Pluck, 2, &["xxxxXxxx", "x.xxxxx.xxxx"])];

fn two(times: (u16, u16)) -> Groove {
    groove(vec![section("ebb", "4/4", 120, 1, times.0), section("flood", "3/4", 90, 2, times.1)], LAYERS)
}

#[test]
fn sections_keep_their_tempos_and_times() {
    let input = asked(&two((2, 1)), None);
    // Two times a bar of four at 120, then two bars of three at 90.
    let expected = [(0.0, 4.0, 0.5, 2.0), (4.0, 8.0, 60.0 / 90.0, 2.0)];
    assert_eq!(input.sections.len(), 2);
    for (s, (start, end, beat, bar)) in input.sections.iter().zip(expected) {
        assert!((s.start - start).abs() < 1e-9 && (s.end - end).abs() < 1e-9, "{s:?}");
        assert!((s.meter.beat - beat).abs() < 1e-9 && (s.meter.bar - bar).abs() < 1e-9, "{s:?}");
        assert!((s.whole - beat * 4.0).abs() < 1e-9 && s.meter.heads.is_empty() && s.meter.parts == 2, "{s:?}");
    }
    let kicks: Vec<f64> = input.attacks.iter().filter(|a| a.layer == 0).map(|a| a.seconds).collect();
    let expected = [0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 4.0 + 20.0 / 6.0];
    assert_eq!(kicks.len(), expected.len());
    assert!(kicks.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9), "{kicks:?}");
    assert_eq!(input.attacks.iter().filter(|a| a.accent == Accent::Accent).count(), 2);
    let l = listen(&input).expect("a pulse");
    assert_eq!((l.spans, l.hearings[0].stretches.len()), (2, 2), "{}", line(&l));
    // Heads of an additive meter and beats of a compound one.
    let other = groove(
        vec![section("a", "3+2+2/8", 200, 1, 1), section("b", "6/8", 80, 1, 1)],
        &[(Voice::Kick, 1, &["x..x.x.", "xx"])],
    );
    let input = asked(&other, None);
    let heads = &input.sections[0].meter.heads;
    assert!(heads.iter().zip([0.0, 0.9, 1.5]).all(|(a, b)| (a - b).abs() < 1e-9), "{heads:?}");
    assert_eq!((heads.len(), input.sections[1].meter.parts), (3, 3));
    assert!((input.sections[1].meter.beat - 0.75).abs() < 1e-9);
}

#[test]
fn times_of_a_single_section_mutes_and_repeats_change_nothing() {
    let one = |times| groove(vec![section("ebb", "4/4", 120, 1, times)], &[(Voice::Pluck, 4, &["x..xx..x..x.x.x."])]);
    let input = asked(&one(1), None);
    assert_eq!(input, asked(&one(16), None));
    let mut muted = one(1);
    let edit = rhythm::Edit::Mute(0, true);
    muted = muted.edited(&edit).expect("muted");
    assert_eq!(input, asked(&muted, None));
    let whole = two((2, 1));
    let mut silent = whole.clone();
    for layer in 0..2 {
        silent = silent.edited(&rhythm::Edit::Mute(layer, true)).expect("muted");
    }
    assert_eq!(asked(&whole, None), asked(&silent, None));
    let l = |i: &Input| listen(i).expect("a pulse");
    assert_eq!(l(&input), l(&asked(&muted, None)));
}

#[test]
fn a_region_is_a_loop_of_its_own() {
    let groove = two((2, 1));
    let beat = Time::new(1, 4).expect("a quarter");
    let region = Region { layers: 0..2, section: 1, from: beat, to: Time::new(1, 1).expect("a whole") };
    let input = asked(&groove, Some(&region));
    assert!((input.length() - 2.0).abs() < 1e-9 && input.sections.len() == 1, "{:?}", input.sections);
    assert!((input.sections[0].meter.origin + 60.0 / 90.0).abs() < 1e-9, "{:?}", input.sections);
    assert!(input.attacks.iter().all(|a| (0.0..2.0).contains(&a.seconds)), "{:?}", input.attacks);
    let cut = asked(&groove, None).between(4.0 + 60.0 / 90.0, 4.0 + 240.0 / 90.0);
    assert_eq!(cut.attacks.len(), input.attacks.len());
}
