//! The table of results in the manual, as the model gives it.

use super::figures::UNEQUAL;
use super::listeners::{correlations, on_clock};
use super::plain::sweep;

/// Eighths in a minute at which meters of unequal beats are heard.
const EIGHTHS: [f64; 5] = [240.0, 260.0, 280.0, 300.0, 320.0];

/// The rows, as test and result.
fn rows() -> Vec<(String, String)> {
    let plain = sweep();
    let [strong, weak] = on_clock();
    let [score, judged] = correlations();
    let mut rows = vec![
        (
            "21 plain beats, 60 to 200 BPM, one layer and all: first hearing in the written family".to_owned(),
            format!("{} of {}", plain.first, plain.asked),
        ),
        ("the same: no rival above the written family".to_owned(), format!("{} of {}", plain.clear, plain.asked)),
        (
            "patterns of Povel & Essens turned by 1 to 3 cells: first hearing on the clock of the tones".to_owned(),
            format!("{} of {}, {} of {}", strong.0, strong.1, weak.0, weak.1),
        ),
        ("hardness against the C score (Povel & Essens 1985), Spearman".to_owned(), format!("{score:.2}")),
        ("hardness against judged complexity (Shmulevich & Povel 2000), Spearman".to_owned(), format!("{judged:.2}")),
    ];
    for meter in &UNEQUAL {
        let heard = |filled| {
            let all = EIGHTHS.map(|e| meter.heard(e, filled));
            let first = all.iter().filter(|(_, is_first)| *is_first).count();
            let probabilities = all.iter().filter(|(_, is_first)| *is_first).map(|(l, _)| l.hearings[0].probability);
            let (low, high) = probabilities.fold((1.0, 0.0), |(a, b): (f64, f64), p| (a.min(p), b.max(p)));
            if first == 0 {
                format!("0 of {}", all.len())
            } else {
                format!("{first} of {}, P {low:.2} to {high:.2}", all.len())
            }
        };
        rows.push((format!("{}, beats struck, eighths at 240 to 320: unequal beats first", meter.name), heard(false)));
        rows.push((format!("{}, all eighths struck, beats accented: unequal beats first", meter.name), heard(true)));
    }
    rows
}

#[test]
fn the_manual_has_the_results() {
    let table: Vec<String> = rows().iter().map(|(test, result)| format!("| {test} | {result} |")).collect();
    let manual = include_str!("../../../manual/hearings.md");
    let missing: Vec<&String> = table.iter().filter(|row| !manual.lines().any(|line| line == *row)).collect();
    assert!(missing.is_empty(), "expected these rows in the manual:\n{missing:#?}\nof\n{}", table.join("\n"));
}
