//! Tests of the layout on sheets.

use super::*;
use crate::analysis::{AnalysisOptions, Limits, report};
use crate::describe::notes::NotationOptions;
use crate::export::ExportInput;
use crate::rhythm::tests::grooves;
use proptest::prelude::*;

fn piece(height: f32) -> Piece {
    Piece { height, gap: 10.0, ..Piece::default() }
}

#[test]
fn headings_stay_with_what_follows_and_headers_are_repeated() {
    let heading = Piece { stays_with_next: true, ..piece(20.0) };
    let row = |height| Piece { header: Some(3), gap: 0.0, ..piece(height) };
    let header = Piece { stays_with_next: true, ..piece(10.0) };
    let pieces = [piece(60.0), heading, piece(20.0), header, row(30.0), row(30.0), row(30.0)];
    // 60 + 10 + 20 + 10 + 20 is more than 100; then 20 + 10 + 20 + 10 + 10 + 30; the last two rows begin a sheet with the header.
    let expected =
        [vec![(0.0, 0)], vec![(0.0, 1), (30.0, 2), (60.0, 3), (70.0, 4)], vec![(0.0, 3), (10.0, 5), (40.0, 6)]];
    assert_eq!(sheets::fill(&pieces, 100.0), expected);
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(12))]

    #[test]
    fn every_piece_stands_on_a_sheet_within_its_edges(groove in grooves()) {
        let report = report(&groove, &AnalysisOptions::default());
        let hearings = (0..report.hearings.len().min(2)).collect();
        let piece = ExportInput { groove: &groove, report: &report, hearings, section: None };
        let handout = Handout::without_takes(piece, Limits::default(), NotationOptions::default());
        for (reader, paper) in [(Reader::Student, Paper::Letter), (Reader::Teacher, Paper::A4)] {
            let room = paper.size().1 / POINTS - 2.0 * MARGIN;
            let (mut pieces, mut pictures) = (Vec::new(), Vec::new());
            for block in &blocks(&handout, reader, &[Layout::Sheet]) {
                layout::add(&mut pieces, &mut pictures, block, &Style::of(reader), room)
                    .map_err(|e| TestCaseError::fail(e.to_string()))?;
            }
            let sheets = sheets::fill(&pieces, room);
            let placed: Vec<usize> = sheets.iter().flatten().map(|p| p.1).collect();
            for index in 0..pieces.len() {
                prop_assert!(placed.contains(&index), "piece {} is missing", index);
            }
            for sheet in &sheets {
                for pair in sheet.windows(2) {
                    prop_assert!(pair[0].0 + pieces[pair[0].1].height <= pair[1].0 + 0.01);
                }
                let last = sheet.last().map_or(0.0, |(top, index)| top + pieces[*index].height);
                prop_assert!(last <= room + 0.1, "{} of {}", last, room);
                let ends_with_heading = sheet.last().is_some_and(|p| pieces[p.1].stays_with_next);
                prop_assert!(!ends_with_heading);
            }
            let texts = pieces.iter().flat_map(|p| &p.marks).filter_map(|m| match m {
                Mark::Text { x, size, text, .. } => Some(x + font::width(text, *size)),
                Mark::Cells { x, size, text, .. } => Some(x + CELL * size * text.chars().count() as f32),
                _ => None,
            });
            for right in texts {
                prop_assert!(right <= TEXT_WIDTH + 0.5, "{}", right);
            }
            let bytes = pdf(&handout, reader, paper).map_err(|e| TestCaseError::fail(e.to_string()))?;
            prop_assert!(bytes.starts_with(b"%PDF-1."));
        }
    }
}
