//! From which figure on a reason counts, and where that figure comes from. It must not know the reasons' own sentences.

use super::trimmed;
use crate::analysis::{Finding, Reason};

/// From which figure on a reason counts, in the figure's own unit.
pub fn counts(f: &Finding) -> String {
    let (figure, percent) = (trimmed(f.threshold), trimmed(f.threshold * 100.0));
    match &f.reason {
        Reason::Rival { .. } => format!("counts from {figure} times the score on"),
        Reason::CellTooFast { .. } => format!("counts for cells of {figure} ms or shorter"),
        Reason::CellsPerBeat { .. } => format!("counts from more than {figure} cells a beat on"),
        Reason::WeakLandings(_) | Reason::SilentBeats { .. } => format!("counts from {percent}% on"),
        Reason::NearlyEven(_) => format!("counts up to {figure} times"),
        Reason::AgainstTheBar { .. } | Reason::CycleAgainstTheBar { .. } => {
            format!("counts from more than {figure} bar on")
        }
        Reason::NoPeriod(_) => format!("counts from {figure} groups on"),
        Reason::Changes(_) => format!("counts from {figure} stretches on"),
        Reason::BeatChanges(_) => format!("counts from {figure}% of difference on"),
        Reason::Unrelated { .. } => format!("counts where both numbers are over {figure}"),
    }
}

/// Where that figure comes from.
pub fn source(f: &Finding) -> String {
    // The tables of the analysis mark a choice in three words; a reader who never saw them needs one more.
    f.source.replacen("ours, no source", "our own choice, no source", 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Ask, Limits, report};
    use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};

    fn groove(meter: &str, bpm: i32, bars: u16, lines: &[&str]) -> Groove {
        let meter = Meter::parse(meter).expect("meter");
        let tempo = Tempo::new(Fraction::whole(bpm), Time::new(1, 4).expect("quarter")).expect("tempo");
        let layer = |(n, line): (usize, &&str)| {
            let part = cell_notation::parse_bars(line, &meter, usize::from(bars), 4).expect("cells");
            Layer::new(&format!("l{n}"), Voice::Wood, 4, vec![part])
        };
        let layers = lines.iter().enumerate().map(layer).collect();
        let section = Section { name: "A".into(), meter: meter.clone(), tempo, bars, times: 1, swing: None };
        Groove::new("t", "", vec![section], layers).expect("groove")
    }

    /// Every reason of a groove with its threshold and source.
    fn told(groove: &Groove, limits: Limits) -> Vec<String> {
        let report = report(groove, &Ask { limits, ..Ask::default() });
        report.findings.iter().map(|f| format!("{}; {}; {}", f.reason, counts(f), source(f))).collect()
    }

    #[test]
    fn thresholds_stand_in_the_unit_of_their_figure() {
        let lines =
            ["x...x...x..x...x...x..x...x...x..x....x....x....", "x...x...x..x...x...x..x...x...x..x...x...x..x..."];
        let limits = Limits::with_cell(110.0).expect("a limit");
        let all = lines.map(|line| told(&groove("4/4", 150, 3, &[line]), limits).join("\n")).join("\n");
        for words in [
            "times its score; counts from 1.1 times the score on; our own choice, no source: score over score",
            "a cell lasts 100 ms",
            "; counts for cells of 110 ms or shorter; London 2004",
            "% of the attacks land on neither a beat nor its half; counts from 40% on; our own choice, no source",
            "and pass for one length; counts up to 1.5 times; Repp",
        ] {
            assert!(all.contains(words), "'{words}' is missing in\n{all}");
        }
        assert!(!all.contains("ours"), "{all}");
        let empty = groove("4/4", 120, 2, &["x.....x...x.....|..x.......x....."]);
        let all = told(&empty, Limits::default()).join("\n");
        assert!(all.contains("nothing sounds on") && all.contains("counts from 25% on"), "{all}");
    }
}
