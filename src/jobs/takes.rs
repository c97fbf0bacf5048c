//! The takes that are rendered: those asked for by their pulses, the default ones, and the steps of a ladder.

use super::play_request::SIDES;
use super::request::hearing;
use crate::analysis::{self, Hearing, Limits, Report, Scope};
use crate::describe;
use crate::describe::ladder as climb;
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{CountIn, Take, mute_ladder_passes};
use crate::sound::{Click, ClickLine, Range};

/// A pulse that clicks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct PulseSpec {
    /// The number of the hearing in the explanation, from 1; 0 is the written beat.
    pub(crate) number: usize,
    pub(crate) click: Click,
}

/// A groove's report at a playing speed, for the clicks of its hearings.
#[derive(Debug)]
pub(crate) struct AnalysedGroove {
    pub(crate) report: Report,
    pub(crate) limits: Limits,
    /// In seconds at full speed.
    length: f64,
}

impl AnalysedGroove {
    /// Analyses the first layer with attacks, or these layers joined.
    pub(crate) fn new(groove: &Groove, layers: &[usize], speed: Fraction, limits: Limits) -> Self {
        let scope = Scope { layers: layers.to_vec(), region: None };
        let report = analysis::report(groove, &analysis::Ask { scope, speed, limits });
        let length = report.clock.at_whole(report.clock.total_wholes());
        Self { report, limits, length }
    }

    /// The number of the hearing that is set against the written beat by default.
    pub(crate) fn rival(&self) -> Option<usize> {
        self.report.rival().map(|k| k + 1)
    }

    fn line(&self, hearing: &Hearing, click: Click, index: usize) -> ClickLine {
        ClickLine::of_pulse(&hearing.pulses, self.length, click, index as u8, SIDES[index % SIDES.len()])
    }

    /// A line of clicks for each pulse, and the count-in of the first.
    ///
    /// # Errors
    /// The numbers of the hearings there are.
    pub(crate) fn lines(&self, pulses: &[PulseSpec]) -> Result<(Vec<ClickLine>, CountIn), String> {
        let hearings = pulses.iter().map(|p| hearing(&self.report, p.number)).collect::<Result<Vec<_>, _>>()?;
        let line = |(i, (p, hearing)): (usize, (&PulseSpec, &&Hearing))| self.line(hearing, p.click, i);
        let lines = pulses.iter().zip(&hearings).enumerate().map(line).collect();
        Ok((lines, hearings.first().map_or(CountIn::Bar, |h| pulse_count_in(h, 0))))
    }
}

/// The count-in to a hearing whose line has this index.
fn pulse_count_in(hearing: &Hearing, index: usize) -> CountIn {
    let (tone, side) = (index as u8, SIDES[index % SIDES.len()]);
    match hearing.pulses[..] {
        [first, second, ..] => CountIn::Pulse { first, period: second - first, tone, side },
        _ => CountIn::Bar,
    }
}

/// A hearing in words, with its tempo at a playing speed.
fn hearing_words(hearing: &Hearing, speed: f64) -> String {
    format!("{} {} BPM", hearing.kind, describe::tempos(hearing, speed))
}

/// A take as it was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeSpec {
    /// Whether the groove sounds.
    pub(crate) layers: bool,
    /// What clicks.
    pub(crate) pulses: Vec<PulseSpec>,
}

/// The default takes: the groove, under the written beat, under the hearing of this number, both pulses alone, and under that
/// hearing again.
pub(super) fn default_takes(rival: Option<usize>) -> Vec<TakeSpec> {
    let pulse = |number| PulseSpec { number, click: Click::Written };
    let under = |pulses: Vec<PulseSpec>| TakeSpec { layers: true, pulses };
    let mut all = vec![under(Vec::new()), under(vec![pulse(0)])];
    if let Some(rival) = rival.map(pulse) {
        all.push(under(vec![rival]));
        all.push(TakeSpec { layers: false, pulses: vec![pulse(0), rival] });
        all.push(under(vec![rival]));
    }
    all
}

/// The takes asked for, each with so many passes.
///
/// # Errors
/// The numbers of the hearings there are.
pub(super) fn takes(
    analysed: &AnalysedGroove,
    wanted: &[TakeSpec],
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
            let hearing = hearing(&analysed.report, pulse.number)?;
            let index = known.iter().position(|n| *n == pulse.number).unwrap_or_else(|| {
                known.push(pulse.number);
                known.len() - 1
            });
            lines.push(analysed.line(hearing, pulse.click, index));
            count_in = count_in.or_else(|| Some(pulse_count_in(hearing, index)));
            let words = hearing_words(hearing, analysed.report.speed);
            names.push(format!("hearing {}: {words}{}", pulse.number, how(pulse.click)));
        }
        let names = names.join(" + ");
        let name = match (want.layers, names.is_empty()) {
            (true, true) => "groove".to_owned(),
            (true, false) => format!("groove under {names}"),
            (false, _) => format!("pulses alone, {names}"),
        };
        let count_in = if counted { count_in.unwrap_or(CountIn::Bar) } else { CountIn::Off };
        let (note, layers, range) = (String::new(), want.layers, Range::Whole);
        takes.push(Take {
            name,
            note,
            layers,
            click,
            click_db: 0.0,
            lines,
            speed,
            range,
            times,
            count_in,
            muted_passes: Vec::new(),
        });
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

/// The takes of a ladder, one per step, each with the passes and clicks of `like`, named by speed and tempo; the notes say where
/// another hearing becomes the first, where the cells become too short to be felt, and which passes are silent.
pub(super) fn ladder(
    groove: &Groove,
    analysed: &AnalysedGroove,
    speeds: &[Fraction],
    silence: Option<u32>,
    like: &Take,
) -> Vec<Take> {
    let notes = climb::notes(&analysed.report, analysed.limits, speeds);
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
        mute_ladder_passes(&mut takes, every);
        for take in takes.iter_mut().filter(|t| !t.muted_passes.is_empty()) {
            let numbers: Vec<String> = take.muted_passes.iter().map(|t| (t + 1).to_string()).collect();
            let silent = format!("silent after the opening: time through {}", numbers.join(", "));
            take.note = if take.note.is_empty() { silent } else { format!("{}; {silent}", take.note) };
        }
    }
    takes
}
