//! Tests of edits, exact times and the cell notation.

use super::*;
use proptest::prelude::*;

pub(super) fn groove(meter: &str, division: u16, bars: u16, cells: &str) -> Groove {
    let meter = Meter::parse(meter).expect("meter");
    let tempo = Tempo::new(Fraction::whole(120), meter.beat()).expect("tempo");
    let part = cell_notation::parse_bars(cells, &meter, usize::from(bars), division).expect("drawing");
    let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
    Groove::new("t", "", vec![section], vec![Layer::new("l", Voice::Wood, division, vec![part])]).expect("groove")
}

pub(super) fn drawn(g: &Groove) -> String {
    compact(&cell_notation::print_part(g.part(0, 0), &g.sections()[0].meter, g.layers()[0].divisions[0]))
}

/// Printed cells without the spaces around beats and bar lines.
pub(super) fn compact(text: &str) -> String {
    text.replace(": ", ":_").replace(' ', "").replace(":_", ": ")
}

fn check(before: &str, edit: &Edit, after: &str) {
    let bars = before.matches('|').count() as u16 + 1;
    let result = groove("2/4", 4, bars, before).edited(edit).expect("edit");
    assert_eq!(drawn(&result), after, "{edit:?}");
}

pub(super) fn region(from: (i64, i64), to: (i64, i64)) -> Region {
    let time = |(n, d)| Time::new(n, d).expect("time");
    Region { layers: 0..1, section: 0, from: time(from), to: time(to) }
}

fn at(cell: usize) -> Place {
    Place { layer: 0, section: 0, cell }
}

#[test]
fn edits_of_cells() {
    let plain = Attack::default();
    check("........", &Edit::Enter { at: at(0), cells: 3, attack: plain }, "x--.....");
    check("......x.", &Edit::Enter { at: at(5), cells: 9, attack: plain }, ".....x--");
    check("x---....", &Edit::Enter { at: at(1), cells: 2, attack: plain }, "xx-.....");
    check("x---....", &Edit::Set(at(2), Cell::Rest), "x-......");
    check("x---....", &Edit::Set(at(2), Cell::ATTACK), "x-x-....");
    check("x.......", &Edit::Set(at(1), Cell::Hold), "x-......");
    check("x.......", &Edit::Set(at(3), Cell::Hold), "x.......");
    check("xxxxxxxx", &Edit::Erase(region((1, 16), (1, 4))), "x...xxxx");
    check("x-x-x-x-", &Edit::Erase(region((1, 8), (3, 16))), "x-..x-x-");
    check("xx..xx..", &Edit::Accent(region((0, 1), (1, 4)), Accent::Accent), "XX..xx..");
    check("oxX.sS-.", &Edit::AccentBy(region((0, 1), (1, 2)), 1), "sSX.xX-.");
    check("oxX.sS-.", &Edit::AccentBy(region((0, 1), (1, 2)), -2), "oox.os-.");
    check("x/X..xx..", &Edit::Flam(region((0, 1), (1, 4)), true), "/x/X..xx..");
    check("/x/X../xx..", &Edit::Flam(region((0, 1), (1, 4)), false), "xX../xx..");
    check("xo.X....", &Edit::Rotate(region((0, 1), (1, 4)), 1), "Xxo.....");
    check("xo.X....", &Edit::Rotate(region((0, 1), (1, 4)), -1), "o.Xx....");
    check("xoXx....", &Edit::Shift(region((0, 1), (1, 4)), 2), "..xo....");
    check("xoXx....", &Edit::Shift(region((0, 1), (1, 4)), -9), "........");
    check("xo......", &Edit::Repeat(region((0, 1), (3, 16)), 9), "xo.xo.xo");
    check("x...x...|x.o.....", &Edit::Tuplet { at: at(0), beats: 2, cells: 3 }, "{3/2: xx.}|x.o.....");
    check("x.x.x...", &Edit::Tuplet { at: at(2), beats: 1, cells: 2 }, "{2: xx}x...");
    check("x...x...", &Edit::Tuplet { at: at(5), beats: 1, cells: 5 }, "x...{5: x....}");
    check("{3/2: x.x}", &Edit::Tuplet { at: at(0), beats: 1, cells: 4 }, "x....x..");
    check("x.x.x...", &Edit::Division(0, None, 2), "xxx.");
    check("x.x.{3: xxx}", &Edit::Division(0, None, 8), "x...x...{3: xxx}");
    check("x.x.xx..", &Edit::Meter(0, Meter::parse("3/4").expect("meter")), "x.x.xx......");
    check("{3/2: xxx}|x.x.....", &Edit::Meter(0, Meter::parse("1/4").expect("meter")), "x.x.|.x..");
    check("x.x.xx..", &Edit::Bars(0, 2), "x.x.xx..|........");
    check("x.x.xx..", &Edit::Cycle { layer: 0, section: 0, cells: Some(3) }, "x.x");
}

#[test]
fn a_cycle_repeats_against_the_bars_and_is_written_out() {
    let g = groove("2/4", 4, 1, "x.x.....");
    let cycled = g.edited(&Edit::Cycle { layer: 0, section: 0, cells: Some(3) }).expect("cycle");
    assert_eq!(cycled.events(0).iter().map(|e| e.cell).collect::<Vec<_>>(), [0, 2, 3, 5, 6]);
    let out = cycled.edited(&Edit::Cycle { layer: 0, section: 0, cells: None }).expect("written out");
    assert_eq!(drawn(&out), "x.xx.xx.");
    assert_eq!(
        g.edited(&Edit::Cycle { layer: 0, section: 0, cells: Some(9) }),
        Err(EditError::CycleTooLong { cells: 9, section: 8 })
    );
    let set = cycled.edited(&Edit::Set(at(7), Cell::ATTACK)).expect("set");
    assert_eq!(cell_notation::print_cells(set.part(0, 0).stored()), "xxx");
}

#[test]
fn swing_moves_the_second_of_each_pair_exactly() {
    let g = groove("2/4", 2, 1, "xxxx").edited(&Edit::Swing(0, Swing::parse("2:1"))).expect("swing");
    let times: Vec<String> = g.events(0).iter().map(|e| e.offset.to_string()).collect();
    assert_eq!(times, ["0/1", "1/6", "1/4", "5/12"]);
}

#[test]
fn times_through_repeat_the_section() {
    let g = groove("2/4", 1, 1, "x.").edited(&Edit::Times(0, 3)).expect("times");
    assert_eq!(g.events(0).iter().map(|e| e.pass).collect::<Vec<_>>(), [0, 1, 2]);
    assert_eq!(g.length(), Time::new(3, 2));
}

#[test]
fn cells_are_replaced_between_what_stands_in_the_text() {
    let cells = cell_notation::parse_cycle("/o s-/X").expect("cells");
    for (text, expected) in [
        ("xx | x. ", Some("/os | -/X ")),
        ("{3/2: x /x .} x", Some("{3/2: /o s -} /X")),
        ("/x/x/x/x", Some("/os-/X")),
        ("xxx", None),
    ] {
        assert_eq!(cell_notation::replace_cells(text, &cells).as_deref(), expected, "{text}");
    }
}

#[test]
fn notation_errors_have_a_position() {
    let meter = Meter::parse("2/4").expect("meter");
    let rows = [
        ("x..", 3, "0 of 4 beats and part of the next"),
        ("x...x...", 8, "2 of 4 beats"),
        ("x...|x...x...", 4, "4 cells in bar 1"),
        ("x...x...x|x......", 8, "9 cells in bar 1"),
        ("x...x..q|........", 7, "'q'"),
        ("x.-.x...|........", 2, "a hold after a rest"),
        ("x.{3: xxx}..x...|........", 2, "a tuplet within a beat"),
        ("x...{7/2: xxxxxxx}x...", 4, "a tuplet over 2 beats"),
        ("{3: xx}x...|........", 1, "2"),
        ("{3 xxx}", 3, "'x'"),
        ("{99: x}", 1, "99"),
        ("x.s/.x...|........", 4, "'.'"),
        ("x.s. x../", 9, "the end"),
        ("{3/2: x/|}", 8, "'|'"),
        ("x...x...|x...x.../S", 17, "more than 2 bars"),
        ("{3: xxx", 7, "the end"),
        ("x...x...|x...x...x", 17, "more than 2 bars"),
    ];
    for (text, offset, found) in rows {
        let error = cell_notation::parse_bars(text, &meter, 2, 4).expect_err(text);
        assert_eq!((error.at, error.found.as_str()), (offset, found), "{text}");
    }
    let short = cell_notation::parse_bars("x", &meter, 1, 4).expect_err("short");
    assert_eq!(short.wanted, "1 bar of 8 cells for 2/4 at 4 cells per beat");
    assert_eq!(cell_notation::parse_cycle("x.|").expect_err("bar line").at, 2);
    assert!(cell_notation::parse_cycle("").is_err());
}

fn meters() -> impl Strategy<Value = Meter> {
    (prop::collection::vec(1_u16..5, 1..4), 0_u32..5)
        .prop_map(|(terms, power)| Meter::new(terms, 1 << power).expect("meter"))
}

fn cells() -> impl Strategy<Value = Cell> {
    let accents = prop::sample::select(&Accent::ALL[..]);
    let attack = (accents, prop::bool::weighted(0.2), prop::option::of(30_u8..80))
        .prop_map(|(accent, flam, p)| Cell::Attack(Attack { accent, flam, pitch: p.and_then(Pitch::new) }));
    prop_oneof![3 => Just(Cell::Rest), 1 => Just(Cell::Hold), 3 => attack]
}

prop_compose! {
    fn parts(meter: Meter, bars: u16, division: u16)(
        shape in prop::collection::vec((1_u16..4, 1_u16..9, any::<bool>()), meter.beats() * usize::from(bars)),
        fill in prop::collection::vec(cells(), meter.beats() * usize::from(bars) * 9),
    ) -> Part {
        let (per_bar, total) = (meter.beats(), meter.beats() * usize::from(bars));
        let (mut spans, mut beat) = (Vec::new(), 0);
        for (beats, count, even) in shape {
            if beat == total { break; }
            let left = per_bar - beat % per_bar;
            let span = if even { Span { beats: 1, cells: division } } else { Span { beats: beats.min(left as u16), cells: count } };
            beat += usize::from(span.beats);
            spans.push(span);
        }
        let count: usize = spans.iter().map(|s| usize::from(s.cells)).sum();
        let mut part = Part::Barred { spans, cells: fill.into_iter().cycle().take(count).collect() };
        part.settle();
        part
    }
}

prop_compose! {
    fn sections()(meter in meters(), bars in 1_u16..4, times in 1_u16..3, bpm in 20_i64..400, swing in prop::option::of((1_u8..5, 1_u8..5))) -> Section {
        let tempo = Tempo::new(Fraction::new(bpm, 1).expect("bpm"), meter.beat()).expect("tempo");
        Section { name: String::new(), meter, tempo, bars, times, swing: swing.map(|(l, s)| Swing::new(l, s).expect("swing")) }
    }
}

pub(crate) fn grooves() -> impl Strategy<Value = Groove> {
    (prop::collection::vec(sections(), 1..4), prop::collection::vec((1_u16..7, any::<bool>()), 1..4)).prop_flat_map(
        |(mut sections, layers)| {
            for (i, s) in sections.iter_mut().enumerate() {
                s.name = format!("s{i}");
            }
            // One division in all sections, or another one in each.
            let divisions = |(first, differ): &(u16, bool)| -> Vec<u16> {
                (0..sections.len()).map(|s| if *differ { first + s as u16 } else { *first }).collect()
            };
            let divisions: Vec<Vec<u16>> = layers.iter().map(divisions).collect();
            let row = |d: &Vec<u16>| -> Vec<_> {
                sections.iter().zip(d).map(|(s, d)| parts(s.meter.clone(), s.bars, *d)).collect()
            };
            let rows: Vec<_> = divisions.iter().map(row).collect();
            rows.prop_map(move |rows| {
                let made = rows.into_iter().zip(divisions.clone()).enumerate().map(|(i, (parts, divisions))| Layer {
                    divisions,
                    ..Layer::new(&format!("l{i}"), Voice::ALL[i], 1, parts)
                });
                Groove::new("p", "", sections.clone(), made.collect()).expect("groove")
            })
        },
    )
}

/// The cells of up to two layers of a random groove, in a random time.
fn clips() -> impl Strategy<Value = Clip> {
    (grooves(), 0_i64..16, 1_i64..16).prop_map(|(g, from, length)| {
        let time = |n| Time::new(n, 16).expect("time");
        let layers = 0..g.layers().len().min(2);
        g.clip(&Region { layers, section: 0, from: time(from), to: time(from + length) }).expect("a region")
    })
}

fn edits() -> impl Strategy<Value = Edit> {
    let place = (0_usize..3, 0_usize..3, 0_usize..40).prop_map(|(layer, section, cell)| Place { layer, section, cell });
    let section = prop::option::of(0_usize..3);
    let region = (0_usize..3, 0_usize..3, 0_i64..16, 1_i64..16).prop_map(|(layer, section, from, length)| Region {
        layers: layer..layer + 1,
        section,
        from: Time::new(from, 16).expect("time"),
        to: Time::new(from + length, 16).expect("time"),
    });
    prop_oneof![
        (place.clone(), 1_usize..6).prop_map(|(at, cells)| Edit::Enter { at, cells, attack: Attack::default() }),
        (place.clone(), cells()).prop_map(|(at, cell)| Edit::Set(at, cell)),
        region.clone().prop_map(Edit::Erase),
        (region.clone(), -9_i32..9).prop_map(|(r, by)| Edit::Rotate(r, by)),
        (region.clone(), -9_i32..9).prop_map(|(r, by)| Edit::Shift(r, by)),
        (region.clone(), 1_usize..4).prop_map(|(r, n)| Edit::Repeat(r, n)),
        (region.clone(), prop::sample::select(vec![LengthScale::Double, LengthScale::Halve]))
            .prop_map(|(r, s)| Edit::ScaleLengths(r, s)),
        (region, -20_i32..20).prop_map(|(r, by)| Edit::Transpose(r, by)),
        (place.clone(), 1_usize..4, 1_usize..9).prop_map(|(at, beats, cells)| Edit::Tuplet { at, beats, cells }),
        (place.clone(), clips()).prop_map(|(at, clip)| Edit::Paste(at, clip)),
        (place.clone(), clips()).prop_map(|(at, clip)| Edit::ReplaceCycle(at, clip)),
        (place, 0_usize..9).prop_map(|(at, cells)| Edit::Hold(at, cells)),
        (0_usize..3, section.clone(), 1_u16..9).prop_map(|(l, s, d)| Edit::Division(l, s, d)),
        (0_usize..3, 0_usize..3, prop::option::of(1_usize..20)).prop_map(|(layer, section, cells)| Edit::Cycle {
            layer,
            section,
            cells
        }),
        (0_usize..3, meters()).prop_map(|(s, m)| Edit::Meter(s, m)),
        (0_usize..3, meters()).prop_map(|(s, m)| Edit::MeterKeepingTimes(s, m)),
        (0_usize..3, section, 1_u16..9).prop_map(|(l, s, d)| Edit::DivisionKeepingCells(l, s, d)),
        (0_usize..3, 0_usize..3).prop_map(|(from, to)| Edit::MoveSection(from, to)),
        (0_usize..3, 0_usize..5, 1_u16..3).prop_map(|(s, at, bars)| Edit::InsertBars(s, at, bars)),
        (0_usize..3, 0_usize..4, 1_usize..3).prop_map(|(s, at, bars)| Edit::DeleteBars(s, at..at + bars)),
        (0_usize..3, 0_usize..4).prop_map(|(s, at)| Edit::SplitSection(s, at, "split".into())),
        (0_usize..3).prop_map(Edit::JoinSections),
        (0_usize..3, 1_u16..5).prop_map(|(s, b)| Edit::Bars(s, b)),
        (0_usize..3).prop_map(|s| Edit::CopySection(s, "copy".into())),
        (0_usize..3).prop_map(Edit::RemoveSection),
        (0_usize..3).prop_map(Edit::RemoveLayer),
    ]
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn printed_cells_read_back(g in grooves(), spaced in any::<bool>()) {
        for (l, layer) in g.layers().iter().enumerate() {
            for (s, section) in g.sections().iter().enumerate() {
                let (part, division) = (g.part(l, s), layer.divisions[s]);
                let text = cell_notation::print_part(part, &section.meter, division);
                let text = if spaced { text } else { compact(&text) };
                let back = cell_notation::parse_bars(&text, &section.meter, usize::from(section.bars), division);
                let back = back.map_err(|e| TestCaseError::fail(format!("{text}: {e:?}")))?;
                // The notation has no pitches.
                let bare = |p: &Part| cell_notation::print_cells(p.stored());
                prop_assert_eq!(bare(&back), bare(part));
                prop_assert_eq!(back.spots(g.context(l, s)), part.spots(g.context(l, s)));
            }
        }
    }

    #[test]
    fn the_cells_of_every_bar_sum_exactly_to_the_bar(g in grooves()) {
        for (l, layer) in g.layers().iter().enumerate() {
            for (s, section) in g.sections().iter().enumerate() {
                let starts = layer.parts[s].starts(g.context(l, s));
                prop_assert!(starts.windows(2).all(|w| w[0] < w[1]));
                prop_assert_eq!(starts.last().copied(), section.meter.bar().repeated(usize::from(section.bars)));
                let lengths = starts.windows(2).map(|w| w[1].minus(w[0]).expect("ordered"));
                let sum = lengths.fold(Time::ZERO, |a, b| a.plus(b).expect("bounded"));
                prop_assert_eq!(sum, section.length());
                for bar in 0..=usize::from(section.bars) {
                    prop_assert!(starts.contains(&section.meter.bar().repeated(bar).expect("bounded")));
                }
            }
        }
    }

    #[test]
    fn any_edit_gives_a_valid_groove_or_an_error(g in grooves(), list in prop::collection::vec(edits(), 0..12)) {
        let mut now = g;
        for edit in list {
            if let Ok(next) = now.edited(&edit) {
                next.check().map_err(|e| TestCaseError::fail(format!("{edit:?}: {e}")))?;
                for l in next.layers() {
                    for p in &l.parts {
                        prop_assert_eq!(p.stray_hold(), None, "{:?}", edit);
                    }
                }
                now = next;
            }
        }
    }

    #[test]
    fn doubling_the_division_keeps_every_attack_in_time(g in grooves()) {
        for l in 0..g.layers().len() {
            let divisions = g.layers()[l].divisions.iter().enumerate();
            let fine = divisions.fold(g.clone(), |g, (s, d)| g.edited(&Edit::Division(l, Some(s), d * 2)).expect("bounded"));
            let straight = |g: &Groove| g.events(l).iter().map(|e| (e.section, e.offset, e.attack)).collect::<Vec<_>>();
            if g.sections().iter().all(|s| s.swing.is_none()) {
                prop_assert_eq!(straight(&g), straight(&fine));
            }
        }
    }

    #[test]
    fn a_cell_is_found_again_by_its_written_time(g in grooves(), pick in any::<prop::sample::Index>()) {
        for l in 0..g.layers().len() {
            let cells = g.cells(l, 0);
            let cell = pick.index(cells);
            let time = g.written_at(Place { layer: l, section: 0, cell });
            prop_assert_eq!(g.part(l, 0).cell_at(time, g.context(l, 0)), cell);
        }
    }

    #[test]
    fn any_text_is_parsed_or_an_error(text in "[xXo.|{}:/0-9 é-]{0,40}", division in 1_u16..5) {
        let meter = Meter::parse("3/4").expect("meter");
        let _ = cell_notation::parse_bars(&text, &meter, 2, division);
        let _ = cell_notation::parse_cycle(&text);
    }
}
