//! Notation of random grooves: well-formed, one head for every note, letters of the font. It must not know how notes are spelled.

use super::*;
use crate::analysis::{self, Report};
use crate::exchange::writing::Writing;
use crate::rhythm::tests::grooves;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn every_note_has_a_head_and_nothing_is_malformed(groove in grooves(), width in 400.0_f32..1400.0) {
        let report = Report { clock: analysis::Clock::new(&groove), ..Report::default() };
        let piece = Piece { groove: &groove, report: &report, hearings: Vec::new(), section: None };
        let Ok(score) = Score::of(&groove, None, crate::exchange::score::Beaming::Meter) else { return Ok(()) };
        let drawn = notation(&piece, &Writing::default(), &Ask { width, ..Ask::default() }).expect("it was spelled");
        let mut reader = quick_xml::Reader::from_str(&drawn.svg);
        while !matches!(reader.read_event().expect("well-formed"), quick_xml::events::Event::Eof) {}
        prop_assert!(!drawn.svg.contains("NaN") && !drawn.svg.contains("inf"));
        prop_assert!(drawn.alt.contains("Rhythm notation"));
        // Every layer's attacks are told as many as there are.
        for staff in &score.staves {
            let attacks: usize = (0..groove.sections().len()).map(|s| groove.part(staff.layer, s).sounds(groove.frame(staff.layer, s)).len()).sum();
            let words = format!("{} ({attacks} attacks)", groove.layers()[staff.layer].name);
            prop_assert!(drawn.alt.contains(&words), "{} {}", words, drawn.alt);
        }
    }
}
