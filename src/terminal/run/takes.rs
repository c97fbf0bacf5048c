//! What is rendered, as takes: those asked for by the pulses that click in them, those without a word, the steps of a
//! ladder. It must not know the command line's words nor the screen.

use super::super::SIDES;
use crate::analysis::{self, Hearing, Limits, Report};
use crate::describe;
use crate::describe::ladder as climb;
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{CountIn, Take, ladder as silences};
use crate::sound::{Click, ClickLine, Range};
use std::path::Path;

/// What is wrong with a name that sound is to be written under: the file is a WAV file, whatever it is called.
pub fn no_wav(path: &Path) -> Option<String> {
    let wav = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav"));
    (!wav).then(|| format!("found the name {}, allowed is one that ends in .wav", path.display()))
}

/// A pulse that clicks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pulse {
    /// The hearing of this number in the explanation, from 1; 0 is the written beat.
    pub number: usize,
    /// How it clicks.
    pub click: Click,
}

/// What is heard in a groove at a playing speed.
#[derive(Debug)]
pub struct Heard {
    /// What is said of it.
    pub report: Report,
    /// The limits of the user's ear.
    pub limits: Limits,
    /// Length of the groove in seconds at full speed.
    length: f64,
}

impl Heard {
    /// What is heard of the groove at this speed, to an ear of these limits.
    pub fn new(groove: &Groove, speed: Fraction, limits: Limits) -> Self {
        let report = analysis::report(groove, &analysis::Ask { speed, limits, ..analysis::Ask::default() });
        let length = report.clock.at_whole(report.clock.total_wholes());
        Self { report, limits, length }
    }

    /// The hearing that is set beside the written beat where none is asked for, by its number.
    pub fn rival(&self) -> Option<usize> {
        self.report.rival().map(|k| k + 1)
    }

    /// The hearing of a number.
    ///
    /// # Errors
    /// A refusal that begins with the words that named it.
    pub fn hearing(&self, named: &str, number: usize) -> Result<&Hearing, String> {
        let hearings = &self.report.hearings;
        number.checked_sub(1).and_then(|n| hearings.get(n)).ok_or_else(|| {
            let most = hearings.len();
            format!("{named} is {number}, allowed are the numbers that explain gives, 1 to {most}")
        })
    }

    /// A line of clicks, told apart from others by its index.
    pub fn line(&self, hearing: &Hearing, click: Click, index: usize) -> ClickLine {
        ClickLine::of_pulse(&hearing.pulses, self.length, click, index as u8, SIDES[index % SIDES.len()])
    }

    /// A line of clicks for every hearing asked for.
    ///
    /// # Errors
    /// As of [`Heard::hearing`].
    pub fn lines(&self, named: &str, pulses: &[Pulse]) -> Result<Vec<ClickLine>, String> {
        let line = |(i, p): (usize, &Pulse)| Ok(self.line(self.hearing(named, p.number)?, p.click, i));
        pulses.iter().enumerate().map(line).collect()
    }

    /// What is counted in for a hearing whose line has this index.
    pub fn count_in(hearing: &Hearing, index: usize) -> CountIn {
        let (tone, side) = (index as u8, SIDES[index % SIDES.len()]);
        match hearing.pulses[..] {
            [first, second, ..] => CountIn::Pulse { first, period: second - first, tone, side },
            _ => CountIn::Bar,
        }
    }
}

/// A hearing in words, with its tempo at a playing speed.
fn hearing_words(hearing: &Hearing, speed: f64) -> String {
    format!("{} {} BPM", hearing.kind, describe::tempos(hearing, speed))
}

/// A take as it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Whether the groove sounds.
    pub layers: bool,
    /// What clicks.
    pub pulses: Vec<Pulse>,
}

/// The takes without a word: the groove, under the written beat, under the hearing of this number, both pulses alone, and
/// under that hearing again.
pub fn usual(rival: Option<usize>) -> Vec<Wanted> {
    let pulse = |number| Pulse { number, click: Click::Written };
    let under = |pulses: Vec<Pulse>| Wanted { layers: true, pulses };
    let mut all = vec![under(Vec::new()), under(vec![pulse(0)])];
    if let Some(rival) = rival.map(pulse) {
        all.push(under(vec![rival]));
        all.push(Wanted { layers: false, pulses: vec![pulse(0), rival] });
        all.push(under(vec![rival]));
    }
    all
}

/// The takes asked for, each so many times through.
///
/// # Errors
/// As of [`Heard::hearing`].
pub fn takes(
    heard: &Heard,
    wanted: &[Wanted],
    times: u32,
    counted: bool,
    speed: Fraction,
) -> Result<Vec<Take>, String> {
    // A hearing keeps its pitch and side through all takes.
    let mut known: Vec<usize> = Vec::new();
    let mut takes = Vec::with_capacity(wanted.len());
    for want in wanted {
        let (mut click, mut lines, mut names) = (Click::Off, Vec::new(), Vec::new());
        let mut count_in = None;
        for pulse in &want.pulses {
            if pulse.number == 0 {
                click = pulse.click;
                count_in = Some(CountIn::Bar);
                names.push(format!("written beat{}", how(pulse.click)));
                continue;
            }
            let hearing = heard.hearing("a take's hearing", pulse.number)?;
            let index = known.iter().position(|n| *n == pulse.number).unwrap_or_else(|| {
                known.push(pulse.number);
                known.len() - 1
            });
            lines.push(heard.line(hearing, pulse.click, index));
            count_in = count_in.or_else(|| Some(Heard::count_in(hearing, index)));
            let words = hearing_words(hearing, heard.report.speed);
            names.push(format!("hearing {}: {words}{}", pulse.number, how(pulse.click)));
        }
        let names = names.join(" + ");
        let name = match (want.layers, names.is_empty()) {
            (true, true) => "groove".to_owned(),
            (true, false) => format!("groove under {names}"),
            (false, _) => format!("pulses alone, {names}"),
        };
        let count_in = if counted { count_in.unwrap_or(CountIn::Bar) } else { CountIn::Off };
        let (note, layers, silences, range) = (String::new(), want.layers, Vec::new(), Range::Whole);
        takes.push(Take { name, note, layers, click, lines, speed, range, times, count_in, muted_passes: silences });
    }
    Ok(takes)
}

/// How a pulse clicks, where it is not plain.
fn how(click: Click) -> String {
    match click {
        Click::Off | Click::Written => String::new(),
        Click::OffBeat => " (off-beat only)".into(),
        Click::Divided(n) => format!(" ({n} clicks each)"),
    }
}

/// The takes of a ladder, one per step, each like `like` with its times through and its clicks, named by speed and tempo; the notes say
/// where another hearing becomes the first, where the cells become too short to be felt, and which times through fall silent.
pub fn ladder(groove: &Groove, heard: &Heard, speeds: &[Fraction], silence: Option<u32>, like: &Take) -> Vec<Take> {
    let notes = climb::notes(&heard.report, heard.limits, speeds);
    let steps = speeds.iter().zip(notes).enumerate();
    let mut takes: Vec<Take> = steps
        .map(|(k, (&speed, note))| Take {
            name: format!("step {} of {}: {}", k + 1, speeds.len(), climb::tempo(groove, speed)),
            note,
            speed,
            ..like.clone()
        })
        .collect();
    if let Some(every) = silence {
        silences::silence(&mut takes, every);
        for take in takes.iter_mut().filter(|t| !t.muted_passes.is_empty()) {
            let numbers: Vec<String> = take.muted_passes.iter().map(|t| (t + 1).to_string()).collect();
            let silent = format!("silent after the opening: time through {}", numbers.join(", "));
            take.note = if take.note.is_empty() { silent } else { format!("{}; {silent}", take.note) };
        }
    }
    takes
}
