//! Tests of handouts of random grooves.

use super::*;
use crate::analysis::{self, report};
use crate::rhythm::tests::grooves;
use crate::rhythm::{Edit, Fraction, Groove};
use proptest::prelude::*;

proptest! {
    #![proptest_config(crate::rhythm::random::config(16))]
    #[test]
    fn a_handout_is_whole_and_reaches_nowhere(groove in grooves(), title in "\\PC{0,24}") {
        let title = format!("{title}<script>&\"");
        let groove = groove.edited(&Edit::Title(title)).expect("a title");
        let report = report(&groove, &analysis::AnalysisOptions::default());
        let hearings = (0..report.hearings.len().min(3)).collect();
        let handout = Handout {
            piece: ExportInput { groove: &groove, report: &report, hearings, section: None },
            limits: Limits::default(),
            ladder: vec![Fraction::new(1, 2).expect("a half"), Fraction::ONE],
            notation: NotationOptions::default(),
            takes: vec![
                Take { name: "groove".into(), sound: Sound::Embedded(b"RIFF".to_vec()) },
                Take { name: "under <the> beat".into(), sound: Sound::File("x-2.wav".into()) },
            ],
            stem: "x".into(),
        };
        for reader in [Reader::Student, Reader::Teacher] {
        let page = html(&handout, reader);
        // Apart from void tags and the script the page is XML too, so a reader of XML finds what is not closed.
        let player = page.find("<script>\n").zip(page.rfind("</script>"));
        let plain = player.map_or(page.clone(), |(from, to)| format!("{}{}", &page[..from], &page[to + "</script>".len()..]));
        let xml = plain.replacen("<!DOCTYPE html>", "", 1).replace("<br>", "<br/>").replace("<meta charset=\"utf-8\">", "")
            .replace("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">", "");
        let tree = roxmltree::Document::parse(&xml).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let (mut pictures, mut described, mut names) = (0, 0, std::collections::HashSet::new());
        for element in tree.descendants().filter(roxmltree::Node::is_element) {
            let tag = element.tag_name().name();
            prop_assert!(tag != "link" && (tag != "script" || element.attribute("type") == Some("application/json")));
            pictures += usize::from(tag == "svg");
            described += usize::from(tag == "desc");
            for a in element.attributes() {
                if a.name() == "id" {
                    prop_assert!(names.insert(a.value()), "{} stands twice", a.value());
                }
                if matches!(a.name(), "src" | "href") {
                    prop_assert!(!a.value().contains("//") || a.value().starts_with("data:"), "{}", a.value());
                }
            }
        }
        prop_assert!(report.attacks.is_empty() || pictures > 0);
        prop_assert_eq!(pictures, described);
        prop_assert_eq!(player.is_some(), page.contains("<div id=\"player\">"));
        prop_assert!(player.is_none() || reader == Reader::Student);
        prop_assert_eq!(html(&handout, reader), page);
        }

        let marked = markdown(&handout, Reader::Teacher);
        for (name, bytes) in &marked.files {
            let link = format!("({name})");
            prop_assert!(marked.text.contains(&link) && !bytes.is_empty());
        }
        let lines = if report.attacks.is_empty() { 0 } else { practice::steps(&handout).len() };
        let told = marked.text.split_once("## How to practice it").map_or(0, |(_, rest)| rest.split("\n## ").next().unwrap_or_default().trim().lines().count());
        prop_assert_eq!(lines, told);
        prop_assert!(report.attacks.is_empty() || (4..=6).contains(&lines), "{}", lines);
        prop_assert!(marked.text.starts_with(MARKER) && !marked.text.contains("\n<script"));
    }
}

#[test]
fn the_pages_and_the_explanation_say_which_layers_are_muted() {
    use crate::rhythm::Voice;
    let two = |mute: bool| {
        let groove = one_layer(150, &[4, 4, 3, 5]);
        let groove = groove.edited(&Edit::AddLayer(1, "hatch".into(), Voice::Clap, 4)).expect("a layer");
        groove.edited(&Edit::Mute(0, mute)).expect("mute")
    };
    for (groove, count) in [(two(true), 1), (two(false), 0)] {
        let report = report(&groove, &analysis::AnalysisOptions::default());
        let handout = Handout {
            piece: ExportInput { groove: &groove, report: &report, hearings: Vec::new(), section: None },
            limits: Limits::default(),
            ladder: Vec::new(),
            takes: Vec::new(),
            notation: NotationOptions::default(),
            stem: "x".into(),
        };
        let pages = [
            html(&handout, Reader::Student),
            html(&handout, Reader::Teacher),
            crate::describe::explain(&groove, &report),
        ];
        for page in pages {
            let page = page.to_lowercase();
            assert_eq!(page.matches("muted: rope; not heard, but analyzed like the others").count(), count, "{page}");
        }
    }
}

/// A groove of one layer over three bars of 4/4 at a tempo.
fn one_layer(bpm: i32, groups: &[u32]) -> Groove {
    use crate::rhythm::{Cell, Layer, Meter, Part, Section, Span, Tempo, Time, Voice};
    let tempo = Tempo::new(Fraction::whole(bpm), Time::new(1, 4).expect("quarter")).expect("tempo");
    let mut cells = vec![Cell::Rest; 48];
    let heads = groups.iter().scan(0, |at, g| Some(std::mem::replace(at, *at + *g as usize)));
    heads.for_each(|head| cells[head] = Cell::ATTACK);
    let part = Part::Barred { spans: vec![Span { beats: 1, cells: 4 }; 12], cells };
    let meter = Meter::parse("4/4").expect("meter");
    let section = Section { name: "A".into(), meter, tempo, bars: 3, times: 1, swing: None };
    let layers = vec![Layer::new("rope", Voice::Pluck, 4, vec![part])];
    Groove::new("t", "", vec![section], layers).expect("groove")
}

/// What is to be done with it, with a ladder and without sound.
fn steps(bpm: i32, groups: &[u32], ladder: &[i64]) -> Vec<String> {
    let groove = one_layer(bpm, groups);
    let report = analysis::full_report(&groove, &analysis::AnalysisOptions::default());
    practice::steps(&Handout {
        piece: ExportInput { groove: &groove, report: &report, hearings: Vec::new(), section: None },
        limits: Limits::default(),
        ladder: ladder.iter().filter_map(|p| Fraction::new(*p, 100)).collect(),
        takes: Vec::new(),
        notation: NotationOptions::default(),
        stem: "x".into(),
    })
}

#[test]
fn what_to_do_is_made_of_the_grooves_own_figures() {
    // 4+4+3 at 150: sixteenths last 100 ms at full speed, and the mean rate of the attacks takes over on the way up.
    let ladder = [50, 60, 70, 80, 90, 100];
    let lines = steps(150, &[4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 5, 5], &ladder);
    assert_eq!(lines.len(), 6, "{lines:#?}");
    let all = lines.join("\n");
    for words in [
        "(3(4+4+3)+3(5)) aloud, starting each group at 1",
        "Begin on step 1 of the ladder (50%, 1/4 = 75)",
        "On step 1 the ear already tends to follow another pulse, ",
        "From step 6 (100%) on, a cell lasts 100 ms or less",
        "clap the written beat, 150.0 BPM; then clap another pulse (",
    ] {
        assert!(all.contains(words), "'{words}' is missing in\n{all}");
    }
    // At another tempo other figures; on every beat the beat is never left and cells never count.
    let plain = steps(90, &[4; 12], &ladder);
    assert_eq!(plain.len(), 5, "{plain:#?}");
    assert!(
        plain[1].contains("(50%, 1/4 = 45)")
            && plain[2].starts_with("On every step, up to step 6, the beat you count is also the one"),
        "{plain:#?}"
    );
    assert!(steps(150, &[4, 4, 3, 5], &[]).join(" ").contains("as slowly as you like"));
}
