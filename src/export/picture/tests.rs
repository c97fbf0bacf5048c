//! Tests of pictures of random and hostile grooves.

use super::*;
use crate::analysis::{self, Report, report};
use crate::rhythm::tests::grooves;
use crate::rhythm::{
    Accent, Cell, Edit, Fraction, Groove, Layer, Meter, Part, Place, Section, Span, Tempo, Time, Voice,
};
use proptest::prelude::*;

const KINDS: [PictureKind; 3] = [PictureKind::Grid, PictureKind::Streams, PictureKind::Landings];

pub(crate) fn piece<'a>(groove: &'a Groove, report: &'a Report) -> ExportInput<'a> {
    ExportInput { groove, report, hearings: (0..report.hearings.len().min(4)).collect(), section: None }
}

/// Parses an SVG and returns its title, its description and the number of its paths; every id is unique and every reference
/// leads to one.
fn read(svg: &str) -> (String, String, usize) {
    let tree = roxmltree::Document::parse(svg).expect("well-formed");
    let (mut title, mut desc, mut paths) = (String::new(), String::new(), 0);
    let (mut ids, mut references) = (std::collections::HashSet::new(), Vec::new());
    for element in tree.descendants().filter(roxmltree::Node::is_element) {
        match element.tag_name().name() {
            "title" => title.push_str(element.text().unwrap_or_default()),
            "desc" => desc.push_str(element.text().unwrap_or_default()),
            "path" => paths += 1,
            _ => {}
        }
        for attribute in element.attributes() {
            let value = attribute.value();
            match attribute.name() {
                "id" => assert!(ids.insert(value), "{value} stands twice"),
                "href" => references.push(&value[1..]),
                "fill" if value.starts_with("url(#") => references.push(&value[5..value.len() - 1]),
                "d" => assert!(!value_has_no_number(value), "a path has no number"),
                _ => {}
            }
        }
    }
    for reference in references {
        assert!(ids.contains(reference), "{reference} is nowhere");
    }
    (title, desc, paths)
}

fn value_has_no_number(d: &str) -> bool {
    d.contains("NaN") || d.contains("inf")
}

fn groove(title: &str, bars: u16, layers: usize, division: u16, cell: Cell) -> Groove {
    let meter = Meter::new(vec![4], 4).expect("4/4");
    let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("a quarter")).expect("within bounds");
    let beats = usize::from(bars) * 4;
    let part = Part::Barred {
        spans: vec![Span { beats: 1, cells: division }; beats],
        cells: vec![cell; beats * usize::from(division)],
    };
    let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
    let layer = |l| Layer::new(&format!("layer {l}"), Voice::Pluck, division, vec![part.clone()]);
    Groove::new(title, "", vec![section], (0..layers).map(layer).collect()).expect("valid")
}

fn plain(groove: &Groove, kind: PictureKind) -> Picture {
    let report = report(groove, &analysis::AnalysisOptions::default());
    picture(&piece(groove, &report), &PictureOptions { kind, ..PictureOptions::default() })
}

#[test]
fn titles_with_markup_and_control_characters_stay_words() {
    let title = "a <b> & \"c\" ]]> \u{1}\u{0} 漢字 \u{202e}x";
    for kind in KINDS {
        let drawn = plain(&groove(title, 2, 2, 4, Cell::ATTACK), kind);
        let (shown, desc, _) = read(&drawn.svg());
        assert!(shown.starts_with("a ") && !shown.contains('\u{1}') && !desc.is_empty(), "{shown}");
        assert!(png(&drawn, 1.0).is_ok());
    }
}

#[test]
fn a_groove_of_rests_and_one_without_layers_are_drawn() {
    for kind in KINDS {
        for g in [groove("rests", 2, 1, 4, Cell::Rest), groove("nothing", 2, 0, 4, Cell::Rest)] {
            let drawn = plain(&g, kind);
            read(&drawn.svg());
            assert!(!drawn.alt.is_empty() && drawn.drawing.height > 30.0);
        }
    }
    let drawn = plain(&groove("rests", 2, 1, 4, Cell::Rest), PictureKind::Landings);
    assert!(drawn.alt.contains("no attack"), "{}", drawn.alt);
}

#[test]
fn the_largest_groove_is_cut_and_says_so() {
    // 64 layers of 1024 bars with 16 cells each: four million cells.
    let g = groove("large", 1024, 64, 4, Cell::ATTACK);
    let report = Report { clock: analysis::Clock::new(&g), ..Report::default() };
    let piece = ExportInput { groove: &g, report: &report, hearings: vec![0, 7], section: Some(0) };
    let drawn = picture(&piece, &PictureOptions::default());
    assert!(drawn.svg().len() < 12_000_000, "{}", drawn.svg().len());
    assert!(drawn.alt.contains("ends before bar") && drawn.alt.chars().count() < 5000);
    assert!(png(&drawn, 8.0).expect_err("too large").message.contains("at most 48 million pixels"));
    for scale in [0.0, f32::NAN, 9.0] {
        assert!(png(&drawn, scale).is_err());
    }
}

#[test]
fn narrow_beats_are_broken_within_the_bar() {
    // 64 cells a beat at the least width: each beat needs a line of its own.
    let g = groove("narrow", 2, 1, 32, Cell::ATTACK);
    for width in [0.0, 480.0, 5000.0, f32::NAN] {
        let report = report(&g, &analysis::AnalysisOptions::default());
        let drawn = picture(&piece(&g, &report), &PictureOptions { width, ..PictureOptions::default() });
        read(&drawn.svg());
        assert!((320.0..=4000.0).contains(&drawn.drawing.width));
    }
}

/// The part of a PNG that is darker than half, of a box in CSS pixels.
fn dark(bytes: &[u8], left: u32, top: u32, right: u32, bottom: u32) -> usize {
    let decoder = ::png::Decoder::new(std::io::Cursor::new(bytes));
    let mut reader = decoder.read_info().expect("a PNG");
    let mut data = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut data).expect("a frame");
    assert_eq!(info.color_type, ::png::ColorType::Grayscale, "print has no colour");
    let inside = |i: &usize| {
        let (x, y) = (*i as u32 % info.width, *i as u32 / info.width);
        (left..right).contains(&x) && (top..bottom).contains(&y)
    };
    data.iter().enumerate().filter(|(i, v)| inside(i) && **v < 128).count()
}

#[test]
fn letters_are_there_in_the_png() {
    let drawn = plain(&groove("winch", 1, 1, 4, Cell::ATTACK), PictureKind::Grid);
    let bytes = super::png(&drawn, 1.0).expect("a PNG");
    // The title, the section's line, and the layer's name; the margin above is empty.
    assert!(dark(&bytes, 14, 10, 200, 28) > 100);
    assert!(dark(&bytes, 14, 40, 300, 56) > 100);
    assert!(dark(&bytes, 14, 86, 60, 108) > 40);
    assert_eq!(dark(&bytes, 0, 0, 1000, 8), 0);
}

/// The commands of every path of a style, one path after the other.
fn drawn_with(svg: &str, style: &str) -> String {
    svg.split("<path ")
        .filter_map(|p| p.strip_prefix(style)?.strip_prefix(" d=\"")?.split_once('"'))
        .map(|p| p.0)
        .collect()
}

#[test]
fn an_attack_a_ghost_and_an_accent_are_drawn_apart() {
    const MARK: &str = "fill=\"#000000\" stroke=\"#000000\" stroke-width=\"0.8\"";
    const OPEN: &str = "fill=\"#ffffff\" stroke=\"#000000\" stroke-width=\"1.1\"";
    const SIGN: &str = "fill=\"none\" stroke=\"#000000\" stroke-width=\"1.3\"";
    let base = groove("forms", 1, 1, 1, Cell::Rest);
    // Filled marks, outlines, and wedges (two slanted lines each), and the width of the first square, which is the mark's.
    let one = |accent| {
        let attack = Cell::Attack(crate::rhythm::Attack { accent, ..Default::default() });
        let place = Place { layer: 0, section: 0, cell: 0 };
        let g = base.edited(&Edit::Set(place, attack)).expect("a cell");
        let report = report(&g, &analysis::AnalysisOptions::default());
        // Without hearings, whose pulses are outlines too.
        let svg =
            picture(&ExportInput { hearings: Vec::new(), ..piece(&g, &report) }, &PictureOptions::default()).svg();
        let [marks, open, signs] = [MARK, OPEN, SIGN].map(|style| drawn_with(&svg, style));
        let square = if accent == Accent::Ghost { &open } else { &marks };
        let (_, from) = square.split_once('h').expect("a downbeat is a square");
        let wide: f32 = from.split_once('v').expect("its side").0.parse().expect("a number");
        (marks.matches('z').count(), open.matches('z').count(), signs.matches('l').count() / 2, wide)
    };
    let (ghost, attack, accent) = (one(Accent::Ghost), one(Accent::Plain), one(Accent::Accent));
    // The legend shows the landing's mark, and a ghost or an accent where there is one.
    assert_eq!((ghost.0, ghost.1, ghost.2), (1, 2, 0));
    assert_eq!((attack.0, attack.1, attack.2), (2, 0, 0));
    assert_eq!((accent.0, accent.1, accent.2), (2, 0, 2));
    assert!(ghost.3 < attack.3 && attack.3 < accent.3, "{ghost:?} {attack:?} {accent:?}");
}

#[test]
fn a_section_played_again_says_so_in_the_picture() {
    let once = groove("again", 1, 1, 4, Cell::ATTACK);
    let section = Section { times: 3, ..once.sections()[0].clone() };
    let g = Groove::new("again", "", vec![section], once.layers().iter().map(|l| Layer::clone(l)).collect())
        .expect("valid");
    let report = report(&g, &analysis::AnalysisOptions::default());
    let piece = piece(&g, &report);
    let mut canvas = Canvas::new(Theme::Print, 1000.0, "p");
    grid::draw(&piece, &mut canvas, PageLayout { left: 14.0, right: 986.0, top: 34.0 }, &PictureOptions::default());
    assert!(canvas.texts().any(|t| t.contains("3 times through")));
    assert!(picture(&piece, &PictureOptions::default()).alt.contains("3 times through"));
}

#[test]
fn the_usual_scale_is_2_and_less_for_a_tall_picture() {
    let small = plain(&groove("small", 2, 2, 4, Cell::ATTACK), PictureKind::Grid);
    assert_eq!(default_scale(&small), 2.0);
    let tall = plain(&groove("tall", 300, 16, 4, Cell::Rest), PictureKind::Grid);
    let scale = default_scale(&tall);
    assert!((0.1..2.0).contains(&scale) && png(&tall, scale).is_ok() && png(&tall, 2.0).is_err());
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]
    #[test]
    fn random_grooves_are_well_formed_in_every_picture(groove in grooves(), screen in any::<bool>(), width in 400.0_f32..1600.0) {
        let report = report(&groove, &analysis::AnalysisOptions::default());
        let theme = if screen { Theme::Screen } else { Theme::Print };
        for kind in KINDS {
            for section in [None, Some(0), Some(groove.sections().len() - 1), Some(99)] {
                let piece = ExportInput { section, ..piece(&groove, &report) };
                let drawn = picture(&piece, &PictureOptions { kind, theme, width, id: "x1".into(), ..PictureOptions::default() });
                let (title, desc, paths) = read(&drawn.svg());
                prop_assert!(!title.is_empty() && desc.len() > 20 && paths > 1);
                prop_assert_eq!(&picture(&piece, &PictureOptions { kind, theme, width, id: "x1".into(), ..PictureOptions::default() }).svg(), &drawn.svg());
            }
        }
    }

    /// The parts of a picture on a page are together as high as the whole, and have every shape and text of it.
    #[test]
    fn the_parts_are_the_whole(groove in grooves(), width in 480.0_f32..900.0) {
        let report = report(&groove, &analysis::AnalysisOptions::default());
        for kind in KINDS {
            let layout = picture(&piece(&groove, &report), &PictureOptions { kind, width, ..PictureOptions::default() });
            let (blocks, whole) = (layout.blocks(), layout.svg());
            let height = |svg: &str| -> f32 {
                svg.split_once("height=\"").expect("a height").1.split_once('"').expect("its end").0.parse().expect("a number")
            };
            let sum: f32 = blocks.iter().map(|b| height(b)).sum();
            prop_assert!((sum - height(&whole)).abs() < 0.02 * blocks.len() as f32, "{} {}", sum, height(&whole));
            let page = format!("<g>{}</g>", blocks.concat());
            read(&page);
            // Every shape begins with a move, there and here, but for each part's paper.
            let moves = |svg: &str| svg.split(" d=\"").skip(1).filter_map(|d| d.split_once('"'))
                .map(|d| d.0.matches(['m', 'M']).count()).sum::<usize>();
            prop_assert_eq!(moves(&page) + 1, moves(&whole) + blocks.len());
            prop_assert_eq!(page.matches("<use ").count(), whole.matches("<use ").count());
        }
    }

    /// One mark for every attack that is drawn, and every letter of ours is in the font.
    #[test]
    fn every_attack_has_its_mark(groove in grooves()) {
        let report = Report { clock: analysis::Clock::new(&groove), ..Report::default() };
        let piece = ExportInput { groove: &groove, report: &report, hearings: Vec::new(), section: None };
        let mut canvas = Canvas::new(Theme::Print, 1000.0, "p");
        grid::draw(&piece, &mut canvas, PageLayout { left: 14.0, right: 986.0, top: 34.0 }, &PictureOptions::default());
        let layers = 0..groove.layers().len();
        let sounds: Vec<_> = layers.flat_map(|l| (0..groove.sections().len()).map(move |s| (l, s)))
            .flat_map(|(l, s)| groove.part(l, s).attacks(groove.context(l, s))).collect();
        let attacks = sounds.len();
        // The legend has one mark for each level that occurs, and a ghost if there is one.
        let levels: std::collections::BTreeSet<u8> = (0..theme::LEVELS).filter(|l| canvas.shapes(|i| i == StyleClass::Landing(*l)) > 0).collect();
        let marks = canvas.shapes(|i| matches!(i, StyleClass::Landing(_) | StyleClass::Open));
        let ghosts_alone = usize::from(sounds.iter().any(|s| s.attack.accent == Accent::Ghost));
        prop_assert!(marks == attacks + levels.len() + ghosts_alone, "{} {} {:?}", marks, attacks, levels);
        for c in canvas.texts().flat_map(|t| t.chars()) {
            prop_assert!(font::has(c), "{:?} is not in the font", c);
        }
    }
}
