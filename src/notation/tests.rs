//! Tests of the spelling: against engraver's shorthand, and its sums against exact time.

use super::*;
use crate::rhythm::tests::grooves;
use crate::rhythm::{Groove, Layer, Meter, PartContext, Section, Tempo, Time, Voice, cell_notation};
use proptest::prelude::*;

pub(crate) fn groove(meter: &str, division: u16, drawing: &str) -> Groove {
    let meter = Meter::parse(meter).expect("meter");
    let bars = drawing.matches('|').count() + 1;
    let part = cell_notation::parse_bars(drawing, &meter, bars, division).expect("drawing");
    let tempo = Tempo::new(crate::rhythm::Fraction::whole(120), meter.beat()).expect("tempo");
    let section = Section { name: "A".into(), meter, tempo, bars: bars as u16, times: 1, swing: None };
    Groove::new("t", "", vec![section], vec![Layer::new("l", Voice::Wood, division, vec![part])]).expect("groove")
}

/// `4` a quarter, `8.` a dotted eighth, `r` before a rest, `~` after a tied note, `R` the rest of a bar, `[` `]` around beams, `{3:2 }` around tuplets.
fn printed(bar: &Bar) -> String {
    let mut words = Vec::new();
    for (i, note) in bar.notes.iter().enumerate() {
        let mut word = String::new();
        for t in bar.tuplets.iter().filter(|t| t.first == i) {
            word.push_str(&["{", &t.actual.to_string(), ":", &t.normal.to_string(), " "].concat());
        }
        if note.beams.first() == Some(&Beam::Begin) {
            word.push('[');
        }
        if note.sound.is_none() {
            word.push(if note.value.is_some() { 'r' } else { 'R' });
        }
        if let Some(value) = note.value {
            let plain = NoteValue { dotted: false, ..value }.length();
            let (mark, number) = if plain.denom() == 1 { ("w", plain.numer()) } else { ("", plain.denom()) };
            word += mark;
            word += &number.to_string();
            word += if value.dotted { "." } else { "" };
        }
        word += if note.sound.is_some_and(|s| s.tied_to) { "~" } else { "" };
        word += if note.beams.first() == Some(&Beam::End) { "]" } else { "" };
        word += if bar.tuplets.iter().any(|t| t.last == i) { "}" } else { "" };
        words.push(word);
    }
    words.join(" ")
}

fn check(meter: &str, division: u16, drawing: &str, expected: &str) {
    check_beams(Beaming::Meter, meter, division, drawing, expected);
}

fn check_beams(beaming: Beaming, meter: &str, division: u16, drawing: &str, expected: &str) {
    let g = groove(meter, division, drawing);
    let score = Score::spell(&g, None, beaming).expect("a score");
    let bars: Vec<String> = score.staves[0].bars.iter().map(printed).collect();
    assert_eq!(bars.join(" | "), expected, "{meter} {drawing}");
}

#[test]
fn notes_show_the_beats_an_engraver_shows() {
    check("4/4", 2, "x-x-x-x-", "4 4 4 4");
    check("4/4", 2, "x--x-x--", "4. 8~ 8 4.");
    check("4/4", 2, "xx-xx-xx", "8 4 8 4 [8 8]");
    check("4/4", 2, "x-x---x-", "4 2 4");
    check("4/4", 2, "xx------", "8 4.~ 2");
    check("4/4", 2, "x-------|--------", "w1~ | w1");
    check("4/4", 4, "xx-xx--xx..x.x..", "[16 8 16] [8. 16] [16 r8 16] r16 16 r8");
    check("4/4", 4, "x..x--x-x-------", "[16 r8 16~] [8 8] 2");
    check("3/4", 2, "xx-x-x", "8 4 4 8");
    check("3/4", 1, "x..", "4 r4 r4");
    check("4/4", 1, "x...", "4 r4 r2");
    check("4/4", 1, "....|x---", "R | w1");
    check("2/2", 1, "x-|x.", "w1 | 2 r2");
}

#[test]
fn compound_and_additive_meters_show_their_beats() {
    check("6/8", 3, "x-xx--", "4 8 4.");
    check("6/8", 3, "x---xx", "4.~ [8 8 8]");
    check("6/8", 3, "x..xxx", "8 r8 r8 [8 8 8]");
    check("6/8", 3, "..x..x", "r4 8 r4 8");
    check("12/8", 3, "x-----......", "2. r2.");
    check("3+2+2/8", 1, "xxxxxxx", "[8 8 8] [8 8] [8 8]");
    check("3+2+2/8", 1, "x--x---", "4. 4~ 4");
    check("3+2+2/8", 1, "x------", "4.~ 4~ 4");
    check("3+3+2/8", 1, "x-------", "4.~ 4.~ 4");
    check("2+2+3/8", 1, "-x--x--", "r8 8~ 4 4.");
    check("3+2+2/8", 1, "xx--x-x", "8 4~ [8 8~] [8 8]");
    check("4+4+5/16", 1, "x...x...x....", "16 r16 r8 16 r16 r8 16 r16 r8 r16");
    check("13/16", 1, "xxxxxxxxxxxxx", "[16 16 16 16] [16 16 16 16] [16 16 16 16 16]");
    check("13/16", 1, "x---x---x----", "4 4 4~ 16");
    check("7/8", 1, "x-x-x--", "4 4 4.");
    check("5/8", 1, "xxxxx", "[8 8] [8 8 8]");
    check("3/8", 2, "x.xxx-", "[16 r16 16 16 8]");
}

#[test]
fn tuplets_are_the_fewest_that_hold_what_changes() {
    check("2/4", 3, "xxxx--", "{3:2 [8 8 8]} 4");
    check("2/4", 3, "x-xx..", "{3:2 4 8} {3:2 8 r8 r8}");
    check("2/4", 3, "......", "R");
    check("2/4", 6, "x.x.x.x--x--", "{6:4 [16 r16 16 r16 16] r16} [8 8]");
    check("2/4", 6, "x-x-x-x-----", "{3:2 [8 8 8]} 4");
    check("2/4", 5, "xxxxxx----", "{5:4 [16 16 16 16 16]} 4");
    check("2/4", 5, "x--x--x---", "{5:4 [8. 8~]} {5:4 16 4}");
    check("2/4", 7, "xxxxxxxx------", "{7:4 [16 16 16 16 16 16 16]} 4");
    check("4/4", 4, "{3/2: xxx}{6/2: xxxxxx}", "{3:2 4 4 4} {3:2 [8 8 8]} {3:2 [8 8 8]}");
    check("2/4", 4, "{6/2: x-xx--}", "{3:2 4 8} 4");
    check("2/4", 4, "{6/2: xx--xx}", "{6:4 8 4. [8 8]}");
    check("2/4", 4, "{7/2: xxxxxxx}", "{7:4 [8 8 8 8 8 8 8]}");
    check("6/8", 4, "xxxxx-x-", "{4:3 [8 8 8 8]} [8. 8.]");
    check("6/8", 5, "xxxxxx----", "{5:3 [8 8 8 8 8]} 4.");
    check("3/4", 4, "{4/3: xxxx}", "{4:3 4 4 4 4}");
    check("3/4", 4, "{2/3: xx}", "4. 4.");
    check("5/8", 1, "{4/5: xxxx}", "{4:5 [8 8 8 8]}");
    check("4/4", 9, "xxxxxxxxx...........................", "{9:8 [32 32 32 32 32 32 32 32 32]} r4 r2");
}

#[test]
fn beams_break_where_a_long_one_could_not_be_counted() {
    let levels = |meter: &str, division: u16, drawing: &str| {
        let score = Score::spell(&groove(meter, division, drawing), None, Beaming::Meter).expect("a score");
        let marks = |b: &Beam| match b {
            Beam::Begin => '(',
            Beam::Continue => '=',
            Beam::End => ')',
            Beam::Forward => '>',
            Beam::Backward => '<',
        };
        let notes = score.staves[0].bars[0].notes.iter().map(|n| n.beams.iter().map(marks).collect::<String>());
        notes.collect::<Vec<_>>().join(" ")
    };
    assert_eq!(levels("1/4", 8, "xxxxxxxx"), "((( === === ==) ==( === === )))");
    assert_eq!(levels("5/16", 1, "xxxxx"), "(( == == == ))");
    assert_eq!(levels("4+1/8", 2, "xxxxxxxx--"), "(( == == =) =( == == )) ");
    assert_eq!(levels("1/4", 4, "x--x"), "( )<");
    assert_eq!(levels("1/4", 4, "xx--"), "(> )");
    assert_eq!(levels("1/4", 4, "xx-x"), "(> = )<");
    assert_eq!(levels("1/4", 4, "x.xx"), "((  == ))");
    assert_eq!(levels("1/4", 4, "x-xx"), "( =( ))");
}

#[test]
fn accents_begin_beams_where_that_is_asked_for() {
    let g = groove("4/4", 4, "XxxxXxxxXxxXxxxx");
    let score = Score::spell(&g, None, Beaming::Accents).expect("a score");
    let last = printed(&score.staves[0].bars[0]);
    assert!(last.ends_with("[16 16 16] 16 [16 16 16 16]"), "{last}");
}

#[test]
fn groups_that_cross_a_beat_have_beams_of_their_own() {
    let by_group =
        |meter, division, drawing, expected| check_beams(Beaming::Groups, meter, division, drawing, expected);
    // Threes over four: by the beat each beam would hold the end of one group and the start of the next.
    check("4/4", 4, "x--x--x--x--x--x", "[8. 16~] [8 8~] [16 8.] [8. 16]");
    by_group("4/4", 4, "x--x--x--x--x--x", "8. [16~ 8] [8~ 16] 8. [8. 16]");
    by_group("4/4", 4, "x--x--x-x-xxx---", "8. [16~ 8] 8 [8 16 16] 4");
    // Rests count as part of their group, and its beam extends over them.
    check("4/4", 4, "x..x..x.........", "[16 r8 16] r8 16 r16 r2");
    by_group("4/4", 4, "x..x..x.........", "16 r8 [16 r8] [16 r16] r2");
    by_group("2/4", 4, "x.x...x.", "16 r16 [16 r16 r8] 16 r16");
    // Within a beat there is nothing to show.
    by_group("2/4", 4, "xxxxx-xx", "[16 16 16 16] [8 16 16]");
    by_group("3+2+2/8", 1, "x-xx-x-", "4 8 4 4");
    // A group that comes over the bar line is over with its own notes; one that goes over it begins alone.
    by_group("2/4", 4, "x---xx--|--xxx---", "4 16 8.~ | 8 [16 16] 4");
    by_group("2/4", 4, "{3: xxx}{3: x-x}|{3: -xx}x-xx", "{3:2 [8 8 8]} {3:2 4 8~} | {3:2 8 [8 8]} [8 16 16]");
}

#[test]
fn groups_can_be_written_as_long_notes() {
    let held = |meter, division, drawing, expected: &str| {
        let spelling = Spelling { lengths: NoteLengths::Groups, ..Spelling::default() };
        let score = Score::spell(&groove(meter, division, drawing), None, spelling).expect("a score");
        let bars: Vec<String> = score.staves[0].bars.iter().map(printed).collect();
        assert_eq!(bars.join(" | "), expected, "{meter} {drawing}");
    };
    held("4/4", 2, "x..x....", "4. 8~ 2");
    held("4/4", 2, "..x.....|..x-....", "r4 2.~ | 4 2.");
    held("2/4", 3, "x.x...", "{3:2 4 8~} 4");
    held("4/4", 4, "x..x..x..x..x..x", "[8. 16~] [8 8~] [16 8.] [8. 16]");
}

#[test]
fn what_is_too_short_is_refused_by_place() {
    let g = groove("1/64", 32, &"x".repeat(32));
    let refused = Score::spell(&g, None, Beaming::Meter).expect_err("1/2048");
    assert_eq!(refused.place, "layer 'l', section 'A', bar 1");
}

#[test]
fn signs_hold_for_their_bar() {
    let mut signs = pitch::BarAccidentals::default();
    let names = names::Names::for_keys(&[60, 61, 62, 64, 66]);
    let mut sign = |key| signs.spell(crate::rhythm::Pitch::new(key).expect("key"), names, false).accidental;
    assert_eq!(sign(61), Some(Accidental::Sharp));
    assert_eq!(sign(61), None);
    assert_eq!(sign(60), Some(Accidental::Natural));
    assert_eq!(sign(73), Some(Accidental::Sharp), "another octave");
    assert_eq!((sign(70), sign(70), sign(71)), (Some(Accidental::Flat), None, Some(Accidental::Natural)));
    assert_eq!(Clef::for_keys(&[40, 45, 50]), Clef::Bass);
    assert_eq!(Clef::for_keys(&[64, 70]), Clef::Treble);
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(600))]

    /// The reference is the groove's own exact time; written values must give it back.
    #[test]
    fn values_ties_and_tuplets_give_every_onset_and_length_back(g in grooves()) {
        let score = Score::spell(&g, None, Beaming::Meter).expect("short cells do not come up");
        for staff in &score.staves {
            for (s, section) in g.sections().iter().enumerate() {
                let context = PartContext { swing: None, ..g.context(staff.layer, s) };
                let expected: Vec<(Time, Time)> = g.part(staff.layer, s).attacks(context).iter().map(|x| (x.start, x.end)).collect();
                let mut got: Vec<(Time, Time)> = Vec::new();
                let bars = staff.bars.iter().filter(|b| b.section == s);
                for (number, bar) in bars.enumerate() {
                    let mut at = section.meter.bar().repeated(number).expect("bounded");
                    for note in &bar.notes {
                        let written = note.value.map_or(section.meter.bar(), NoteValue::length);
                        let factor = note.tuplet.map_or((1, 1), |t| (i64::from(bar.tuplets[t].normal), i64::from(bar.tuplets[t].actual)));
                        let length = written.scaled(crate::rhythm::Fraction::new(factor.0, factor.1).expect("ratio")).expect("bounded");
                        prop_assert_eq!(length, note.length, "{}", printed(bar));
                        let end = at.plus(length).expect("bounded");
                        match note.sound {
                            Some(sound) if sound.tied_from => {
                                let last = got.last_mut().expect("a note before");
                                prop_assert_eq!(last.1, at);
                                last.1 = end;
                            }
                            Some(_) => got.push((at, end)),
                            None => {}
                        }
                        at = end;
                    }
                    prop_assert_eq!(at, section.meter.bar().repeated(number + 1).expect("bounded"), "{}", printed(bar));
                    for t in &bar.tuplets {
                        let units: Time = bar.notes[t.first..=t.last].iter().filter_map(|n| n.value).fold(Time::ZERO, |a, v| a.plus(v.length()).expect("bounded"));
                        prop_assert_eq!(Some(units), t.unit.length().repeated(usize::from(t.actual)));
                    }
                }
                prop_assert_eq!(got, expected);
            }
        }
    }

    #[test]
    fn every_beam_that_begins_ends(g in grooves(), beaming in prop::sample::select(vec![Beaming::Meter, Beaming::Groups, Beaming::Accents])) {
        let score = Score::spell(&g, None, beaming).expect("short cells do not come up");
        for bar in score.staves.iter().flat_map(|s| &s.bars) {
            let mut open = [false; 12];
            for note in &bar.notes {
                for (level, beam) in note.beams.iter().enumerate() {
                    prop_assert_eq!(open[level], matches!(beam, Beam::Continue | Beam::End), "{}", printed(bar));
                    open[level] = matches!(beam, Beam::Begin | Beam::Continue);
                }
                prop_assert!(note.sound.is_none() || note.beams.len() == note.value.map_or(0, NoteValue::flags) || note.beams.is_empty());
            }
            prop_assert!(!open.contains(&true), "{}", printed(bar));
        }
    }

    /// The reference asks of every two neighbouring notes whether one beam may join them.
    #[test]
    fn beams_by_group_join_no_two_groups_where_one_crosses_a_beat(g in grooves()) {
        let score = Score::spell(&g, None, Beaming::Groups).expect("short cells do not come up");
        for bar in score.staves.iter().flat_map(|staff| staff.bars.iter().map(move |bar| (staff.layer, bar))) {
            let (layer, bar) = bar;
            let section = &g.sections()[bar.section];
            let context = PartContext { swing: None, ..g.context(layer, bar.section) };
            let sounds = g.part(layer, bar.section).attacks(context);
            let start = section.meter.bar().repeated(bar.number).expect("bounded");
            let windows = tree::windows(&section.meter);
            // Whether a border of a beat, or of the bar, lies strictly within a group that has no tuplet in this bar.
            let crosses = |n: &Note| {
                let number = n.sound.expect("a sound").number;
                let from = sounds[number].start;
                let to = sounds.get(number + 1).map_or(section.length(), |s| s.start);
                windows.iter().any(|w| { let w = start.plus(*w).expect("bounded"); from < w && w < to }) || from < start
            };
            let sounding: Vec<&Note> = bar.notes.iter().filter(|n| n.sound.is_some()).collect();
            for pair in sounding.windows(2).filter(|p| p.iter().all(|n| n.tuplet.is_none())) {
                // Otherwise a beam over rests ends before the second note.
                let joined = matches!(pair[0].beams.first(), Some(Beam::Begin | Beam::Continue))
                    && matches!(pair[1].beams.first(), Some(Beam::Continue | Beam::End));
                let tied = pair[1].sound.is_some_and(|s| s.tied_from);
                let short = pair.iter().all(|n| n.value.is_some_and(|v| v.flags() > 0));
                if tied {
                    prop_assert_eq!(joined, short, "{}", printed(bar));
                } else if joined {
                    prop_assert!(!crosses(pair[0]) && !crosses(pair[1]), "{}", printed(bar));
                    let window = |n: &Note| windows.partition_point(|w| *w <= n.start);
                    prop_assert_eq!(window(pair[0]), window(pair[1]), "{}", printed(bar));
                }
            }
        }
    }
}
