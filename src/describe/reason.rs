//! The threshold of a reason.

use super::short_decimal;
use crate::analysis::{Finding, Reason};

pub(crate) fn threshold(f: &Finding) -> String {
    let (limit, percent) = (short_decimal(f.threshold), short_decimal(f.threshold * 100.0));
    match &f.reason {
        Reason::CellTooFast { .. } => format!("reported for cells up to {limit} ms"),
        Reason::CellsPerBeat { .. } => format!("reported for more than {limit} cells per beat"),
        Reason::WeakLandings { .. } | Reason::SilentBeats(_) | Reason::AccentsOffBeat(_) => {
            format!("reported for {percent}% or more")
        }
        Reason::DownbeatSilent { .. } => format!("reported if at most {percent}% have an attack"),
        Reason::LongSilence(_) => format!("reported for {limit} s or more"),
        Reason::NearlyEven { .. } => format!("reported if one is at most {limit} times as long as the other"),
        Reason::AgainstTheBar { .. } | Reason::CycleAgainstTheBar { .. } => {
            format!("reported if it returns only after more than {limit} bar")
        }
        Reason::NoPeriod(_) => format!("reported for {limit} or more groups"),
        Reason::OddBar(_) => format!("reported for {limit} or more beats"),
        Reason::MeterChange(_) => format!("reported for {limit} or more meters"),
        Reason::BeatChanges(_) | Reason::Changes(_) => format!("reported for a difference of {limit}% or more"),
        Reason::Displacement(_) | Reason::UnequalBeats { .. } | Reason::CrossRhythm { .. } => {
            format!("reported if its probability is at least {limit}")
        }
        Reason::MoreOnPulse { .. } => {
            format!("reported for a difference of {percent}% or more, if the pulse is likely")
        }
        Reason::AccentsAgainstFigure { .. } => "reported if neither length is a multiple of the other".to_owned(),
        Reason::Unrelated { .. } => format!("reported if both numbers exceed {limit}"),
        Reason::TwoStreams { .. } => {
            format!("reported if the probabilities of the written beat differ by more than {limit}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{AnalysisOptions, Limits, report};
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
    fn findings(groove: &Groove, limits: Limits) -> Vec<String> {
        let report = report(groove, &AnalysisOptions { limits, ..AnalysisOptions::default() });
        report.findings.iter().map(|f| format!("{}; {}; {}", f.reason, threshold(f), f.source)).collect()
    }

    #[test]
    fn thresholds_stand_in_the_unit_of_their_figure() {
        let lines =
            ["x...x...x..x...x...x..x...x...x..x....x....x....", "x...x...x..x...x...x..x...x...x..x...x...x..x..."];
        let limits = Limits::with_cell(110.0).expect("a limit");
        let all = lines.map(|line| findings(&groove("4/4", 150, 3, &[line]), limits).join("\n")).join("\n");
        for words in [
            "a cell lasts 100 ms",
            "; reported for cells up to 110 ms; London 2004",
            "% of the attacks land neither on a beat nor halfway between two beats; reported for 40% or more; chosen by teeter, no published source",
            "the cells can hardly be counted; reported if one is at most 1.5 times as long as the other; chosen by teeter, no published source",
        ] {
            assert!(all.contains(words), "'{words}' is missing in\n{all}");
        }
        let empty = groove("4/4", 120, 2, &["x.....x...x.....|..x.......x....."]);
        let all = findings(&empty, Limits::default()).join("\n");
        assert!(all.contains("of the beats have no attack") && all.contains("reported for 25% or more"), "{all}");
    }
}
