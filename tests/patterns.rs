//! The shipped grooves are test data.

use crate::support::{in_package, name, toml_files};
use teeter::analysis::{AnalysisOptions, Scope, report};
use teeter::rhythm::{Accent, Edit, Fraction, Groove, Meter, MeterKind, Part, Voice, group_line};
use teeter::store;

fn all() -> Vec<(String, store::LoadedGroove)> {
    let load = |path: &std::path::PathBuf| store::load(path).unwrap_or_else(|e| panic!("{e}"));
    toml_files("patterns").iter().map(|path| (name(path), load(path))).collect()
}

fn one(file: &str) -> Groove {
    store::load(&in_package("patterns").join(file)).unwrap_or_else(|e| panic!("{e}")).groove
}

#[test]
fn every_pattern_is_marked_as_invented() {
    for (file, loaded) in all() {
        assert!(loaded.text.starts_with("# Invented: "), "{file}: first line");
        assert!(loaded.groove.note().starts_with("Invented: "), "{file}: note");
    }
}

#[test]
fn every_pattern_survives_print_and_update() {
    for (file, loaded) in all() {
        let printed = store::print(&loaded.groove);
        assert_eq!(store::parse(&printed, &file).map(|l| l.groove).as_ref(), Ok(&loaded.groove), "{file}");
        assert_eq!(store::update(&loaded.text, &loaded.groove), loaded.text, "{file}");
        let renamed = loaded.groove.edited(&Edit::Title("Other".into())).expect("a title");
        let line = format!("title = \"{}\"", loaded.groove.title());
        assert_eq!(store::update(&loaded.text, &renamed), loaded.text.replace(&line, "title = \"Other\""), "{file}");
    }
}

#[test]
fn an_edit_and_its_opposite_leave_the_file_as_it_was() {
    for (file, loaded) in all() {
        for layer in 0..loaded.groove.layers().len() {
            let gain = loaded.groove.layers()[layer].gain;
            if gain == 0 {
                continue;
            }
            let there = loaded.groove.edited(&Edit::Gain(layer, gain - 1)).expect("a gain");
            let text = store::update(&loaded.text, &there);
            assert_ne!(text, loaded.text, "{file}");
            assert_eq!(store::update(&text, &loaded.groove), loaded.text, "{file}");
        }
    }
}

#[test]
fn together_the_patterns_use_every_feature() {
    let grooves: Vec<Groove> = all().into_iter().map(|(_, loaded)| loaded.groove).collect();
    let layers = || grooves.iter().flat_map(Groove::layers);
    let sections = || grooves.iter().flat_map(Groove::sections);
    let attacks = || layers().flat_map(|l| &l.parts).flat_map(|p| p.stored()).filter_map(|c| c.attack());
    let parts = || layers().flat_map(|l| l.divisions.iter().copied().zip(&l.parts));
    let tuplet = |beats: u16, cells: u16| {
        let long = |s: &teeter::rhythm::Span| s.beats == beats && (s.cells == cells || cells == 0);
        parts()
            .any(|(d, p)| matches!(&**p, Part::Barred { spans, .. } if spans.iter().any(|s| long(s) && s.cells != d)))
    };
    let rows: [(&str, bool); 20] = [
        ("a simple meter", sections().any(|s| s.meter.kind() == MeterKind::Simple)),
        ("a compound meter", sections().any(|s| s.meter.kind() == MeterKind::Compound)),
        ("an additive meter", sections().any(|s| s.meter == Meter::parse("3+2+2/8").expect("meter"))),
        ("an exact tempo that is no whole number", sections().any(|s| s.tempo.bpm().denom() > 1)),
        ("a tempo that is no decimal", sections().any(|s| s.tempo.bpm().denom() == 3)),
        ("a tempo change", grooves.iter().any(|g| g.sections().windows(2).any(|w| w[0].tempo != w[1].tempo))),
        ("several times through", sections().any(|s| s.times > 1)),
        ("swing of a section", sections().any(|s| s.swing.is_some())),
        ("swing of a layer", layers().any(|l| l.swing.is_some())),
        ("a tuplet in a beat", tuplet(1, 0)),
        ("seven cells over two beats", tuplet(2, 7)),
        ("quintuplets", layers().any(|l| l.divisions.contains(&5))),
        (
            "eight cells in a slow beat",
            grooves.iter().any(|g| {
                g.layers().iter().any(|l| l.divisions.contains(&8))
                    && g.sections().iter().all(|s| s.tempo.bpm() < Fraction::whole(60))
            }),
        ),
        ("a cycle of five cells", parts().any(|(_, p)| p.is_cycle() && p.stored().len() == 5)),
        ("a cycle that starts at another cell", parts().any(|(_, p)| matches!(**p, Part::Cycled { start: 1.., .. }))),
        ("pitches", attacks().any(|a| a.pitch.is_some())),
        ("ghosts and accents", [Accent::Ghost, Accent::Accent].iter().all(|w| attacks().any(|a| a.accent == *w))),
        ("gain, pan and mute", layers().any(|l| l.gain != 0 && l.pan != 0) && layers().any(|l| l.mute)),
        ("every voice", Voice::ALL.iter().all(|v| layers().any(|l| l.voice == *v))),
        (
            "no carriers",
            grooves
                .iter()
                .any(|g| g.layers().iter().all(|l| !matches!(l.voice, Voice::Kick | Voice::Snare | Voice::Hat))),
        ),
    ];
    let missing: Vec<&str> = rows.iter().filter(|(_, used)| !used).map(|(what, _)| *what).collect();
    assert!(missing.is_empty(), "{missing:?}");
}

/// The groups of a layer: the cells from one attack to the next, the last up to the end.
fn groups(groove: &Groove, layer: usize) -> Vec<u32> {
    let heads: Vec<usize> = groove.events(layer).iter().map(|e| e.cell).collect();
    let ends = heads.iter().skip(1).copied().chain([groove.cells(layer, 0)]);
    heads.iter().zip(ends).map(|(a, b)| (b - a) as u32).collect()
}

/// The groups between the attacks of each section.
fn inner_groups(groove: &Groove, layer: usize) -> Vec<u32> {
    let events = groove.events(layer);
    events
        .windows(2)
        .filter(|w| (w[0].section, w[0].pass) == (w[1].section, w[1].pass))
        .map(|w| (w[1].cell - w[0].cell) as u32)
        .collect()
}

#[test]
fn the_difficult_patterns_match_their_notes() {
    let bpm = |g: &Groove| (g.sections()[0].tempo.bpm(), g.sections()[0].meter.beats());

    let winch = one("half-tide-winch.toml");
    assert_eq!(bpm(&winch), (Fraction::whole(160), 4));
    assert_eq!(group_line::print(&group_line::compress(&groups(&winch, 0))), "2(3(5+5+4)+5(6))");

    let fenders = one("fender-knock.toml");
    assert_eq!(bpm(&fenders), (Fraction::whole(164), 4));
    let string = groups(&fenders, 0);
    assert_eq!((string.len(), string.iter().sum::<u32>()), (32, 144), "four and a half cells on average");
    assert!(string.iter().all(|g| *g == 4 || *g == 5));
    assert!(group_line::period(&string) > string.len() / 2, "no order that repeats");

    let capstan = one("capstan-eleven.toml");
    assert_eq!(bpm(&capstan), (Fraction::whole(144), 4));
    assert_eq!(group_line::print(&group_line::compress(&groups(&capstan, 0))), "16(4+4+3)");
}

/// The figures and tempos of published reports of the effect are used only in the tests of the analysis.
#[test]
fn no_pattern_repeats_a_reference_case() {
    for (file, loaded) in all() {
        let groove = loaded.groove;
        let at_150 = groove.sections().iter().any(|s| s.tempo.bpm() == Fraction::whole(150));
        for layer in 0..groove.layers().len() {
            let found = inner_groups(&groove, layer);
            let thirteen = found.windows(3).any(|w| w.iter().sum::<u32>() == 13 && w.iter().all(|g| *g > 3));
            let string = found.len() > 8 && found.contains(&3) && found.iter().all(|g| *g == 3 || *g == 4);
            assert!(!(at_150 && (thirteen || string)), "{file}: {}", groove.layers()[layer].name);
        }
        assert!(!at_150, "{file}");
    }
}

#[test]
fn half_of_the_patterns_have_fast_cells_in_unequal_groups() {
    let hard = |groove: &Groove| {
        let scope = Scope { layers: vec![0], region: None };
        let cell = report(groove, &AnalysisOptions { scope, ..AnalysisOptions::default() }).cell_ms;
        let found = inner_groups(groove, 0);
        cell.is_some_and(|ms| (85.0..=110.0).contains(&ms)) && found.iter().any(|g| *g != found[0])
    };
    let all = all();
    let found: Vec<&str> = all.iter().filter(|(_, l)| hard(&l.groove)).map(|(file, _)| file.as_str()).collect();
    assert!(found.len() * 2 >= all.len(), "{found:?}");
}
