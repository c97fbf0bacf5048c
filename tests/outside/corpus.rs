//! What the analysis hears in chorales and folk songs that music21 carries. Their composers and singers meant one plain beat.

use super::{folder, print_totals, python, run};
use std::fs;
use teeter::analysis::{AnalysisOptions, Hearing, Report, Scope, report};
use teeter::import::musicxml;

const CHORALES: usize = 22;
const SONGS: usize = 40;

/// The reports on the scores of one kind: of the first layer, or of all layers.
fn reports(kind: &str, count: usize, all_layers: bool) -> Vec<Report> {
    let place = crate::support::in_package("target/outside/corpus");
    let of = |i: usize| {
        let name = format!("{kind}-{i:02}.musicxml");
        let bytes = fs::read(place.join(&name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        let groove = musicxml::read(&bytes).unwrap_or_else(|e| panic!("{name}: {e}")).groove;
        let layers = if all_layers { (0..groove.layers().len()).collect() } else { Vec::new() };
        report(&groove, &AnalysisOptions { scope: Scope { layers, ..Scope::default() }, ..AnalysisOptions::default() })
    };
    (0..count).map(of).collect()
}

/// Counts the scores whose first hearing keeps the written beat, and those without a reason to lose it; prints the others.
fn counts(kind: &str, reports: &[Report]) -> (usize, usize) {
    let keeps = |r: &&Report| r.hearings.first().is_some_and(Hearing::keeps_written);
    let (first, plain) =
        (reports.iter().filter(keeps).count(), reports.iter().filter(|r| r.findings.is_empty()).count());
    let count = reports.len();
    print_totals(&format!("{count} of kind {kind}: written beat first in {first}, no reason to lose it in {plain}"));
    for (i, r) in reports.iter().enumerate().filter(|(_, r)| !keeps(r)) {
        print_totals(&format!(
            "{kind} {i}: {:?}",
            r.hearings.first().map(|h| (&h.kind, h.bpm(r.speed), h.probability))
        ));
    }
    (first, plain)
}

#[test]
fn chorales_and_folk_songs_are_heard_as_written() {
    let Some(python) = python() else { return };
    let place = folder("corpus");
    run(&python, "corpus.py", &[&place.to_string_lossy(), &CHORALES.to_string(), &SONGS.to_string()]);
    let (first, plain) = counts("chorale", &reports("chorale", CHORALES, true));
    assert!(first == CHORALES && plain >= 20, "{first} {plain}");
    let (first, _) = counts("song", &reports("song", SONGS, false));
    assert!(first >= 36, "{first}");
}
