//! From what is to be heard, as the state says it, to takes that can be scheduled. It must not know devices, threads or files.

use super::super::playback::request as state;
use super::super::{Clicks, Over, Playing, Pulses, SIDES, Sequence};
use crate::sound::take::{CountIn, Take, ladder};
use crate::sound::{Click, ClickLine, Range};

/// Times through for which the silences of a step that goes on and on are counted out.
const COUNTED: u32 = 256;

/// The take of a loop, once through.
pub(crate) fn take(what: &Playing) -> Take {
    let range = match what.over {
        Over::All => Range::Whole,
        Over::Section(section) => Range::Section(section),
        Over::Part { section, from, to } => Range::Region { section, from, to },
    };
    let line = |l: &Pulses| ClickLine::of_pulse(&l.pulses, l.length, click(l.clicks), l.index, side(l));
    Take {
        name: String::new(),
        note: String::new(),
        layers: what.layers,
        click: click(what.beat),
        lines: what.lines.iter().map(line).collect(),
        speed: what.speed,
        range,
        times: 1,
        count_in: CountIn::Off,
        muted_passes: Vec::new(),
    }
}

/// What is counted in: a bar of the written beat, or the pulse of the first hearing where that alone is clicked.
pub(crate) fn count_in(what: &Playing) -> CountIn {
    let Some(line) = what.lines.first().filter(|_| what.beat == Clicks::Off) else { return CountIn::Bar };
    let first = line.pulses.partition_point(|t| *t < line.lead - 1e-9);
    match line.pulses[first..] {
        [first, second, ..] => {
            CountIn::Pulse { first: first - line.lead, period: second - first, tone: line.index, side: side(line) }
        }
        _ => CountIn::Bar,
    }
}

/// The takes of a sequence, with their silences.
pub(crate) fn takes(sequence: &Sequence) -> Vec<Take> {
    let take = |t: &state::Take| Take {
        times: t.times.unwrap_or(COUNTED),
        count_in: if t.count_in { count_in(&t.playing) } else { CountIn::Off },
        ..take(&t.playing)
    };
    let mut takes: Vec<Take> = sequence.takes.iter().map(take).collect();
    if let Some(every) = sequence.silence {
        ladder::silence(&mut takes, every);
    }
    takes
}

fn click(clicks: Clicks) -> Click {
    match clicks {
        Clicks::Off => Click::Off,
        Clicks::Plain => Click::Written,
        Clicks::OffBeat => Click::OffBeat,
        Clicks::Cut(n) => Click::Divided(n),
    }
}

fn side(line: &Pulses) -> i8 {
    SIDES[usize::from(line.index) % SIDES.len()]
}

#[cfg(test)]
mod tests;
