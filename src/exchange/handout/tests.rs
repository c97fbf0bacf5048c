//! Handouts of random grooves: nothing reaches outside, every picture has its words, tags are closed. It must not know the disk.

use super::*;
use crate::analysis::{self, report};
use crate::rhythm::tests::grooves;
use crate::rhythm::{Edit, Fraction};
use proptest::prelude::*;
use quick_xml::events::Event;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]
    #[test]
    fn a_handout_is_whole_and_reaches_nowhere(groove in grooves(), title in "\\PC{0,24}") {
        let title = format!("{title}<script>&\"");
        let groove = groove.edited(&Edit::Title(title)).expect("a title");
        let report = report(&groove, &analysis::Ask::default());
        let hearings = (0..report.hearings.len().min(3)).collect();
        let handout = Handout {
            piece: Piece { groove: &groove, report: &report, hearings, section: None },
            limits: Limits::default(),
            ladder: vec![Fraction::new(1, 2).expect("a half"), Fraction::ONE],
            writing: Writing::default(),
            takes: vec![
                Take { name: "groove".into(), sound: Sound::Within(b"RIFF".to_vec()) },
                Take { name: "under <the> beat".into(), sound: Sound::Beside("x-2.wav".into()) },
            ],
            stem: "x".into(),
        };
        let page = html(&handout);
        // Apart from void tags the page is XML too, so a reader of XML finds what is not closed.
        let xml = page.replacen("<!DOCTYPE html>", "", 1).replace("<br>", "<br/>").replace("<meta charset=\"utf-8\">", "")
            .replace("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">", "");
        let mut reader = quick_xml::Reader::from_str(&xml);
        let (mut pictures, mut described, mut names) = (0, 0, std::collections::HashSet::new());
        loop {
            match reader.read_event().map_err(|e| TestCaseError::fail(e.to_string()))? {
                Event::Start(e) | Event::Empty(e) => {
                    prop_assert!(e.name().as_ref() != "script" && e.name().as_ref() != "link");
                    pictures += usize::from(e.name().as_ref() == "svg");
                    described += usize::from(e.name().as_ref() == "desc");
                    for a in e.attributes() {
                        let a = a.map_err(|e| TestCaseError::fail(e.to_string()))?;
                        if a.key.as_ref() == "id" {
                            prop_assert!(names.insert(a.value.to_string()), "{} stands twice", a.value);
                        }
                        if matches!(a.key.as_ref(), "src" | "href") {
                            prop_assert!(!a.value.contains("//") || a.value.starts_with("data:"), "{}", a.value);
                        }
                    }
                }
                Event::Eof => break,
                _ => {}
            }
        }
        prop_assert!(pictures > 0 && pictures == described);
        prop_assert_eq!(html(&handout), page);

        let marked = markdown(&handout);
        for (name, bytes) in &marked.files {
            let link = format!("({name})");
            prop_assert!(marked.text.contains(&link) && !bytes.is_empty());
        }
        prop_assert!(marked.text.starts_with(SIGN) && !marked.text.contains("\n<script"));
    }
}
