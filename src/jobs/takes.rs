//! The takes of a rendering: by the pulses requested, the default ones, and the steps of a ladder.

use super::recording_sound::{RecordingMix, RecordingSound};
use super::request::hearing;
use crate::analysis::{self, Hearing, Limits, Report, Scope};
use crate::describe;
use crate::describe::ladder as steps;
use crate::rhythm::{ClickSound, Fraction, Groove};
use crate::sound::take::{CountIn, Take, mute_ladder_passes};
use crate::sound::{self, Click, ClickLine, Range};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct PulseSpec {
    /// The number of the hearing in the report, from 1; 0 is the written beat.
    pub(crate) number: usize,
    pub(crate) click: Click,
}

/// A report at a playing speed, and what the clicks of its hearings need.
#[derive(Debug)]
pub(crate) struct AnalysedGroove {
    pub(crate) report: Report,
    pub(crate) limits: Limits,
    /// In seconds at full speed.
    length: f64,
}

impl AnalysedGroove {
    /// Analyses these layers joined; the first layer with attacks if `layers` is empty.
    pub(crate) fn new(groove: &Groove, layers: &[usize], speed: Fraction, limits: Limits) -> Self {
        let scope = Scope { layers: layers.to_vec(), region: None };
        let report = analysis::full_report(groove, &analysis::AnalysisOptions { scope, speed, limits });
        let length = report.clock.at_whole(report.clock.total_wholes());
        Self { report, limits, length }
    }

    /// The number, from 1, of the hearing that default takes set against the written beat.
    pub(crate) fn rival(&self) -> Option<usize> {
        self.report.rival().map(|k| k + 1)
    }

    fn line(&self, hearing: &Hearing, click: Click, index: u8) -> ClickLine {
        ClickLine::of_pulse(&hearing.pulses, self.length, click, index, sound::click_pan(index))
    }

    /// A line of clicks for each pulse, and the count-in of the first.
    ///
    /// # Errors
    /// A message if the report has no hearing of a number.
    pub(crate) fn lines(&self, pulses: &[PulseSpec]) -> Result<(Vec<ClickLine>, CountIn), String> {
        let hearings = pulses.iter().map(|p| hearing(&self.report, p.number)).collect::<Result<Vec<_>, _>>()?;
        let line = |(i, (p, hearing)): (usize, (&PulseSpec, &&Hearing))| self.line(hearing, p.click, i as u8);
        let lines = pulses.iter().zip(&hearings).enumerate().map(line).collect();
        Ok((lines, hearings.first().map_or(CountIn::Bar, |h| CountIn::of_pulses(&h.pulses, 0.0, 0))))
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakeSpec {
    /// Whether the groove sounds.
    pub(crate) layers: bool,
    pub(crate) pulses: Vec<PulseSpec>,
}

/// The default takes: the groove alone, with the written beat, with hearing number `rival`, both pulses alone, and with that hearing
/// again.
pub(super) fn default_takes(rival: Option<usize>) -> Vec<TakeSpec> {
    let pulse = |number| PulseSpec { number, click: Click::Written };
    let with_groove = |pulses: Vec<PulseSpec>| TakeSpec { layers: true, pulses };
    let mut all = vec![with_groove(Vec::new()), with_groove(vec![pulse(0)])];
    if let Some(rival) = rival.map(pulse) {
        all.push(with_groove(vec![rival]));
        all.push(TakeSpec { layers: false, pulses: vec![pulse(0), rival] });
        all.push(with_groove(vec![rival]));
    }
    all
}

/// Takes of `times` passes each, with count-ins of so many bars; 0 for none. With a recording it is part of the music.
///
/// # Errors
/// A message if the report has no hearing of a number.
pub(super) fn takes(
    analysed: &AnalysedGroove,
    specs: &[TakeSpec],
    times: u32,
    count_in_bars: u32,
    speed: Fraction,
    recording: Option<RecordingSound>,
) -> Result<Vec<Take>, String> {
    let music = match recording.map(|sound| sound.mix) {
        None | Some(RecordingMix::Groove) => "groove",
        Some(RecordingMix::Both | RecordingMix::Split) => "groove and recording",
        Some(RecordingMix::Recording) => "recording",
    };
    // A hearing keeps its pitch and side through all takes.
    let mut known: Vec<usize> = Vec::new();
    let mut takes = Vec::with_capacity(specs.len());
    for spec in specs {
        let (mut click, mut lines, mut names) = (Click::Off, Vec::new(), Vec::new());
        let mut count_in = None;
        for pulse in &spec.pulses {
            if pulse.number == 0 {
                click = pulse.click;
                count_in = Some(CountIn::Bar);
                names.push(format!("written beat{}", click_suffix(pulse.click)));
                continue;
            }
            let hearing = hearing(&analysed.report, pulse.number)?;
            let index = known.iter().position(|n| *n == pulse.number).unwrap_or_else(|| {
                known.push(pulse.number);
                known.len() - 1
            }) as u8;
            lines.push(analysed.line(hearing, pulse.click, index));
            count_in = count_in.or_else(|| Some(CountIn::of_pulses(&hearing.pulses, 0.0, index)));
            let tempos = describe::tempos(hearing, analysed.report.speed);
            let suffix = click_suffix(pulse.click);
            names.push(format!("hearing {}: {} {tempos} BPM{suffix}", pulse.number, hearing.kind));
        }
        let names = names.join(" + ");
        let name = match (spec.layers, names.is_empty()) {
            (true, true) => music.to_owned(),
            (true, false) => format!("{music} with {names}"),
            (false, _) => format!("only {names}"),
        };
        let mut take = Take {
            name,
            note: String::new(),
            layers: spec.layers,
            click,
            click_db: 0.0,
            click_sound: ClickSound::default(),
            lines,
            speed,
            range: Range::Whole,
            times,
            count_in: if count_in_bars > 0 { count_in.unwrap_or(CountIn::Bar) } else { CountIn::Off },
            count_in_bars,
            recording: None,
            muted_passes: Vec::new(),
        };
        if let Some(sound) = recording {
            sound.add_to(&mut take);
        }
        takes.push(take);
    }
    Ok(takes)
}

fn click_suffix(click: Click) -> String {
    match click {
        Click::Off | Click::Written => String::new(),
        Click::Strong => " (strong beats only)".into(),
        Click::OffBeat => " (off-beat only)".into(),
        Click::Divided(n) => format!(" ({n} clicks each)"),
    }
}

/// The takes of a ladder: `template` at each speed, named by speed and tempo. The notes say where another hearing takes the lead,
/// where the cells become too short to be felt, and which passes are silent.
pub(super) fn ladder(
    groove: &Groove,
    analysed: &AnalysedGroove,
    speeds: &[Fraction],
    silence: Option<u32>,
    template: &Take,
) -> Vec<Take> {
    let notes = steps::notes(&analysed.report, analysed.limits, speeds);
    let mut takes: Vec<Take> = speeds
        .iter()
        .zip(notes)
        .enumerate()
        .map(|(k, (&speed, note))| Take {
            name: format!("step {} of {}: {}", k + 1, speeds.len(), steps::tempo(groove, speed)),
            note,
            speed,
            ..template.clone()
        })
        .collect();
    if let Some(every) = silence {
        mute_ladder_passes(&mut takes, every);
        for take in takes.iter_mut().filter(|t| !t.muted_passes.is_empty()) {
            let numbers: Vec<String> = take.muted_passes.iter().map(|t| (t + 1).to_string()).collect();
            let silent = format!("passes muted after their first bar (or beat): {}", numbers.join(", "));
            take.note = if take.note.is_empty() { silent } else { format!("{}; {silent}", take.note) };
        }
    }
    takes
}
