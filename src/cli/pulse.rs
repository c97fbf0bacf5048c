//! Pulses that click, as words name them: the written beat and the hearings of a report. It must not know how a click sounds.

use super::{Exit, Failure, input};
use crate::analysis::{self, Hearing, Limits, Report};
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::CountIn;
use crate::sound::{Click, ClickLine};
use crate::terminal::SIDES;
use crate::words;

/// A pulse that clicks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pulse {
    /// The hearing of this number in the explanation, from 1; 0 is the written beat.
    pub(super) number: usize,
    /// How it clicks.
    pub(super) click: Click,
}

/// How a pulse clicks: `beat`, `off-beat`, or 2 to 4 clicks.
pub(super) fn click(word: &str) -> Result<Click, String> {
    match word {
        "beat" => Ok(Click::Written),
        "off-beat" => Ok(Click::OffBeat),
        "2" | "3" | "4" => Ok(Click::Divided(word.as_bytes()[0] - b'0')),
        _ => Err("allowed are: beat, off-beat, 2, 3, 4".into()),
    }
}

/// A hearing by its number, with how it clicks: `1`, `1/2`, `1/off-beat`.
pub(super) fn hearing(word: &str) -> Result<Pulse, String> {
    let (number, click) = match word.split_once('/') {
        Some((number, how)) => (number, click(how).ok().filter(|c| *c != Click::Written)),
        None => (word, Some(Click::Written)),
    };
    match (number.parse(), click) {
        (Ok(number @ 1..), Some(click)) => Ok(Pulse { number, click }),
        _ => Err("allowed is a number from 1, or one cut as 1/2, 1/3, 1/4 or 1/off-beat".into()),
    }
}

/// A pulse: the written beat, also cut as `beat/2` or `beat/off-beat`, or a hearing.
pub(super) fn pulse(word: &str) -> Result<Pulse, String> {
    let beat = match word.strip_prefix("beat") {
        Some("") => Some(Click::Written),
        Some(how) => how.strip_prefix('/').and_then(|h| click(h).ok()).filter(|c| *c != Click::Written),
        None => return hearing(word).map_err(|words| format!("{words}, or beat, beat/2 and so on")),
    };
    beat.map(|click| Pulse { number: 0, click }).ok_or_else(|| "allowed are: beat, beat/2 to 4, beat/off-beat".into())
}

/// What is heard in a groove at a playing speed.
pub(super) struct Heard {
    pub(super) report: Report,
    /// The limits of the user's ear.
    pub(super) limits: Limits,
    /// Length of the groove in seconds at full speed.
    length: f64,
}

impl Heard {
    pub(super) fn new(groove: &Groove, speed: Fraction) -> Result<Self, Failure> {
        let limits = input::limits(None)?;
        let report = analysis::report(groove, &analysis::Ask { speed, limits, ..analysis::Ask::default() });
        let length = report.clock.at_whole(report.clock.total_wholes());
        Ok(Self { report, limits, length })
    }

    /// The hearing of a number, or a refusal that begins with the words that named it.
    pub(super) fn hearing(&self, named: &str, number: usize) -> Result<&Hearing, Failure> {
        let hearings = &self.report.hearings;
        number.checked_sub(1).and_then(|n| hearings.get(n)).ok_or_else(|| {
            let most = hearings.len();
            let words = format!("{named} is {number}, allowed are the numbers that explain gives, 1 to {most}");
            Failure::new(Exit::Usage, words)
        })
    }

    /// A line of clicks, told apart from others by its index.
    pub(super) fn line(&self, hearing: &Hearing, click: Click, index: usize) -> ClickLine {
        ClickLine::of_pulse(&hearing.pulses, self.length, click, index as u8, SIDES[index % SIDES.len()])
    }

    /// A line of clicks for every hearing asked for.
    pub(super) fn lines(&self, named: &str, pulses: &[Pulse]) -> Result<Vec<ClickLine>, Failure> {
        let line = |(i, p): (usize, &Pulse)| Ok(self.line(self.hearing(named, p.number)?, p.click, i));
        pulses.iter().enumerate().map(line).collect()
    }

    /// What is counted in for a hearing whose line has this index.
    pub(super) fn count_in(hearing: &Hearing, index: usize) -> CountIn {
        let (tone, side) = (index as u8, SIDES[index % SIDES.len()]);
        match hearing.pulses[..] {
            [first, second, ..] => CountIn::Pulse { first, period: second - first, tone, side },
            _ => CountIn::Bar,
        }
    }
}

/// A hearing in words, with its tempo at a playing speed.
pub(super) fn words(hearing: &Hearing, speed: f64) -> String {
    format!("{} {} BPM", hearing.kind, words::tempos(hearing, speed))
}
