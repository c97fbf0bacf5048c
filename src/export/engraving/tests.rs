//! Tests of engraved notation.

use super::*;
use crate::analysis::{self, Report};
use crate::describe::notes::{KitStaves, NoteLengths, Spelling, Text};
use crate::export::picture::BoxKind;
use crate::export::picture::canvas::Canvas;
use crate::notation::{Beaming, HeadShape};
use crate::rhythm::tests::grooves;
use crate::rhythm::{Groove, Section};
use proptest::prelude::*;
use std::collections::HashSet;

proptest! {
    #![proptest_config(crate::rhythm::random::config(48))]
    #[test]
    fn every_note_has_a_head_and_nothing_is_malformed(groove in grooves(), width in 400.0_f32..1400.0) {
        let report = Report { clock: analysis::Clock::new(&groove), ..Report::default() };
        let piece = ExportInput { groove: &groove, report: &report, hearings: Vec::new(), section: None };
        let Ok(score) = Score::spell(&groove, None, Beaming::Meter) else { return Ok(()) };
        let separate = NotationOptions { kit: KitStaves::Separate, ..NotationOptions::default() };
        let drawn = notation(&piece, &separate, &PictureOptions { width, ..PictureOptions::default() }).expect("it was spelled");
        prop_assert!(roxmltree::Document::parse(&drawn.svg()).is_ok());
        prop_assert!(!drawn.svg().contains("NaN") && !drawn.svg().contains("inf"));
        prop_assert!(drawn.alt.contains("Rhythm notation"));
        let notes = score.staves.iter().flat_map(|s| &s.bars).flat_map(|b| &b.notes);
        prop_assert_eq!(heads(&drawn.svg()), notes.filter(|n| n.sound.is_some()).count());
        // The description gives the number of every layer's attacks.
        for staff in &score.staves {
            let attacks: usize = (0..groove.sections().len()).map(|s| groove.part(staff.layer, s).attacks(groove.context(staff.layer, s)).len()).sum();
            let words = format!("{} ({attacks} attacks)", groove.layers()[staff.layer].name);
            prop_assert!(drawn.alt.contains(&words), "{} {}", words, drawn.alt);
        }
    }

    #[test]
    fn nothing_touches(
        groove in grooves(),
        width in 350.0_f32..1400.0,
        beams in prop::sample::select(vec![Beaming::Meter, Beaming::Groups, Beaming::Accents]),
        lengths in prop::sample::select(vec![NoteLengths::Cells, NoteLengths::Groups]),
        kit in prop::sample::select(vec![KitStaves::Shared, KitStaves::Separate]),
    ) {
        let options = NotationOptions { spelling: Spelling { beams, lengths }, kit, ..with_landings() };
        if let Some(touching) = touching(&groove, &options, width) {
            return Err(TestCaseError::fail(touching));
        }
    }
}

/// Landings over and under the notes.
fn with_landings() -> NotationOptions {
    let text = || Text::parse("landings").expect("a word");
    NotationOptions { over: text(), under: text(), ..NotationOptions::default() }
}

/// Two shapes that overlap by more than the width of a stem, if there are any; `None` also for a groove that cannot be notated.
fn touching(groove: &Groove, options: &NotationOptions, width: f32) -> Option<String> {
    let focus = (0..groove.layers().len()).collect();
    let report = Report { clock: analysis::Clock::new(groove), focus, ..Report::default() };
    let piece = ExportInput { groove, report: &report, hearings: Vec::new(), section: None };
    let drawn = notation(&piece, options, &PictureOptions { width, ..PictureOptions::default() }).ok()?;
    let mut boxes = drawn.drawing.boxes();
    // Stems and beams touch heads and flags by their nature, and staff lines everything.
    boxes.retain(|(kind, _)| !matches!(kind, BoxKind::Tie | BoxKind::Rect(StyleClass::Staff)));
    boxes.sort_by(|a, b| a.1[0].total_cmp(&b.1[0]));
    for (i, (kind, a)) in boxes.iter().enumerate() {
        for (other, b) in boxes[i + 1..].iter().take_while(|(_, b)| b[0] < a[2]) {
            let has_rect = matches!(kind, BoxKind::Rect(_)) || matches!(other, BoxKind::Rect(_));
            let has_text = *kind == BoxKind::Text || *other == BoxKind::Text;
            let inside = |low: usize| a[low + 2].min(b[low + 2]) - a[low].max(b[low]);
            if (!has_rect || has_text) && inside(0) > 1.2 && inside(1) > 1.2 {
                return Some(format!("{kind:?} at {a:?} and {other:?} at {b:?} in\n{groove:?}"));
            }
        }
    }
    None
}

#[test]
fn quintuplets_and_short_notes_do_not_touch() {
    use crate::rhythm::Voice;
    for (division, cells) in [
        (5, "xoX.x xxxxx XXXXX x.x.x"),
        (8, "xxxxxxxx oooooooo XxXxXxXx x.o.X.x."),
        (20, "xxxxxxxxxxxxxxxxxxxx x................... oooooooooooooooooo.. x-x-x-x-x-x-x-x-x-x-"),
    ] {
        for voice in [Voice::Kick, Voice::Hat] {
            for kit in [KitStaves::Shared, KitStaves::Separate] {
                let groove = of_cells(&[voice, Voice::Snare, Voice::Rim], division, cells);
                for width in [350.0, 900.0] {
                    let found = touching(&groove, &NotationOptions { kit, ..with_landings() }, width);
                    assert_eq!(found, None);
                }
            }
        }
    }
}

/// A bar of 4/4, the same for a layer of each voice.
fn of_cells(voices: &[crate::rhythm::Voice], division: u16, cells: &str) -> Groove {
    use crate::rhythm::{Fraction, Layer, Meter, Tempo, cell_notation};
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(100), meter.beat()).expect("tempo");
    let part = cell_notation::parse_bars(cells, &meter, 1, division).expect("cells");
    let section = Section { name: "A".into(), meter, tempo, bars: 1, times: 1, swing: None };
    let layer = |voice: &crate::rhythm::Voice| Layer::new(voice.name(), *voice, division, vec![part.clone()]);
    Groove::new("t", "", vec![section], voices.iter().map(layer).collect()).expect("groove")
}

/// Note heads in a drawing.
fn heads(svg: &str) -> usize {
    let shapes = [HeadShape::Round, HeadShape::Cross, HeadShape::RingedCross, HeadShape::Triangle, HeadShape::Diamond];
    let kinds = [glyph::Head::Full, glyph::Head::Half, glyph::Head::Whole, glyph::Head::Breve];
    let outlines: HashSet<String> = shapes
        .into_iter()
        .flat_map(|shape| kinds.map(|kind| (kind, shape)))
        .map(|(kind, shape)| {
            let mut canvas = Canvas::new(crate::export::picture::Theme::Print, 480.0, "p");
            glyph::centred(&mut canvas, glyph::head(kind, shape), 0.0, 0.0);
            let svg = canvas.finish(10.0).svg("", "");
            let (_, outline) = svg.rsplit_once(" d=\"M").expect("a path");
            let outline = outline.split_once('"').expect("its end").0;
            outline.trim_start_matches(|c: char| !c.is_ascii_alphabetic()).to_owned()
        })
        .collect();
    // An outline that begins with another one is counted with it.
    let longer = |o: &String| outlines.iter().any(|other| other != o && o.starts_with(other.as_str()));
    outlines.iter().filter(|o| !longer(o)).map(|o| svg.matches(o.as_str()).count()).sum()
}

/// Two layers of one voice, two bars of 4/4 in each section, with an attack on the first beat.
fn of_voice(voice: crate::rhythm::Voice, times: &[u16]) -> crate::rhythm::Groove {
    use crate::rhythm::{Fraction, Groove, Layer, Meter, Tempo, cell_notation};
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(100), meter.beat()).expect("tempo");
    let section = |(n, times): (usize, &u16)| Section {
        name: format!("S{n}"),
        meter: meter.clone(),
        tempo,
        bars: 2,
        times: *times,
        swing: None,
    };
    let part = cell_notation::parse_bars("x... | x---", &meter, 2, 1).expect("cells");
    let sections: Vec<Section> = times.iter().enumerate().map(section).collect();
    let layer = |name| Layer::new(name, voice, 1, vec![part.clone(); sections.len()]);
    let layers = vec![layer("a"), layer("b")];
    Groove::new("t", "", sections, layers).expect("groove")
}

fn drawn(groove: &crate::rhythm::Groove) -> Picture {
    let report = Report { clock: analysis::Clock::new(groove), ..Report::default() };
    let piece = ExportInput { groove, report: &report, hearings: Vec::new(), section: None };
    notation(&piece, &NotationOptions::default(), &PictureOptions::default()).expect("it was spelled")
}

/// Widths, in quarters of a pixel, of the upright strokes of at least 40 pixels, from left to right, line by line of the page.
fn strokes(picture: &Picture) -> Vec<usize> {
    let bytes = crate::export::picture::png(picture, 4.0).expect("pixels");
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a picture");
    let mut pixels = vec![0; reader.output_buffer_size().expect("small")];
    let info = reader.next_frame(&mut pixels).expect("pixels");
    let (width, height) = (info.width as usize, info.height as usize);
    let each = info.line_size / width;
    let dark = |x: usize, y: usize| pixels[y * info.line_size + x * each] < 140;
    let mut found: Vec<(usize, usize, usize)> = Vec::new();
    for x in 0..width {
        let (mut y, mut run) = (0, 0);
        while y <= height {
            if y < height && dark(x, y) {
                run += 1;
            } else {
                if run >= 160 {
                    let page = y - run;
                    match found.iter_mut().rev().find(|f| f.0 == page && f.1 + f.2 == x) {
                        Some(f) => f.2 += 1,
                        None => found.push((page, x, 1)),
                    }
                }
                run = 0;
            }
            y += 1;
        }
    }
    found.sort_unstable();
    found.into_iter().map(|f| f.2).collect()
}

#[test]
fn bar_lines_tell_repeats_ends_of_sections_and_the_end() {
    use crate::rhythm::Voice;
    let of = |times: &[u16]| strokes(&drawn(&of_voice(Voice::Kick, times)));
    // The line's start and its first bar, and thin and thick where all ends.
    let [start, bar, thin, thick] = of(&[1])[..] else { panic!("{:?}", of(&[1])) };
    assert!(start.max(bar).max(thin) < thick, "{:?}", of(&[1]));
    let repeated = of(&[2]);
    assert!(matches!(repeated[..], [a, b, c, d, e, f] if a < b && c < b && d < b && e < f), "{repeated:?}");
    // Two thin ones where a section ends, and the next one on a line of its own.
    let two = of(&[1, 1]);
    assert!(matches!(two[..], [_, _, a, b, _, _, c, d] if a.max(b) < thick && c < d), "{two:?}");
}

#[test]
fn voices_without_pitch_have_heads_of_their_own() {
    use crate::rhythm::Voice;
    let voices = [Voice::Snare, Voice::Hat, Voice::OpenHat, Voice::Wood, Voice::Bell];
    let drawings: Vec<String> = voices.iter().map(|v| drawn(&of_voice(*v, &[1])).svg()).collect();
    for (i, a) in drawings.iter().enumerate() {
        assert!(drawings[..i].iter().all(|b| a != b), "{}", voices[i].name());
    }
    assert_eq!(drawings[0], drawn(&of_voice(Voice::Clap, &[1])).svg(), "drums are round");
    assert_eq!(drawings[1], drawn(&of_voice(Voice::Shaker, &[1])).svg());
    assert_eq!(drawings[1], drawn(&of_voice(Voice::Ride, &[1])).svg(), "cymbals are crosses");
    assert_eq!(drawings[3], drawn(&of_voice(Voice::Cowbell, &[1])).svg());
}
