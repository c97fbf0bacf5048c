//! Parses the answers to questions.

use crate::jobs::{PictureStyle, parse_band, parse_level, parse_semitones};
use crate::rhythm::bounds::{self, Bound};
use crate::rhythm::{
    Fraction, Groove, Meter, Pitch, Place, Swing, Tempo, Voice, expected, group_line, parse_note_value,
};
use crate::session::{Command, Motion, Overflow, Repeats, Sections, Session};
use crate::terminal::playback::playing::SPEED;
use crate::terminal::prompts::parse::{self, Ladder, RenderArgs};
use crate::terminal::recording::tone::ToneChange;
use crate::terminal::view::fit;
use crate::terminal::{Question, anchors, grid_search};

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Answer {
    Run(Command),
    Tone(ToneChange),
    /// In percent of the written tempo.
    Speed(u16),
    /// Passes of each take, and whether there is a count-in.
    Takes(u32, bool),
    Ladder(Ladder),
    Open(String),
    SaveAs(String),
    Path(String),
    Sound(RenderArgs),
    /// A file, and a tolerance in ms.
    Import(String, Fraction),
    PictureStyle(PictureStyle),
    /// Two instants of the recording in seconds, and the beats between them.
    Marks([f64; 2], usize),
    AlignGroups(Vec<u32>),
}

impl Question {
    pub(crate) fn parse(self, text: &str, session: &Session) -> Result<Answer, String> {
        let text = text.trim();
        let g = session.groove();
        let at = session.cursor().place;
        let error = || expected(self.short_forms(), quote(text));
        let number = |text: &str, bound: &'static Bound| {
            let n = text.trim().parse().map_err(|_| error())?;
            bound.check(n).map_err(|e| expected(e.bound.range(), n))
        };
        let n = |bound| number(text, bound);
        let run = |command| Ok(Answer::Run(command));
        match self {
            Question::Groups => {
                let terms = group_line::parse(text).map_err(|e| e.to_string())?;
                run(Command::EnterGroups(group_line::expand(&terms), Overflow::Ask))
            }
            Question::Pitch if text.is_empty() => run(Command::Pitch(None)),
            Question::Pitch => run(Command::Pitch(Some(Pitch::parse(text).ok_or_else(error)?))),
            Question::Tuplet => {
                let (cells, beats) = text.split_once('/').unwrap_or((text, "1"));
                let cells = number(cells, &bounds::TUPLET_CELLS)? as usize;
                run(Command::Tuplet { cells, beats: number(beats, &bounds::TUPLET_BEATS)? as usize })
            }
            Question::Repeat if text == "end" => run(Command::Repeat(Repeats::ToSectionEnd)),
            Question::Repeat => run(Command::Repeat(Repeats::More(n(&REPEATS)? as usize))),
            Question::SelectCells => run(Command::SelectCells(n(&bounds::CELLS_OF_LAYER)? as usize)),
            Question::Rotate => run(Command::Rotate(n(&STEPS)? as i32)),
            Question::Shift => run(Command::Shift(n(&STEPS)? as i32)),
            Question::AddLayer => add_layer(text, g).ok_or_else(error).map(Answer::Run),
            Question::RenameLayer => run(Command::RenameLayer(name(text)?)),
            Question::Voice => run(Command::Voice(Voice::parse(text).ok_or_else(error)?)),
            Question::Division(keep) => {
                let all = text.strip_suffix("all").map(str::trim_end);
                let sections = if all.is_some() { Sections::All } else { Sections::Current };
                let division = number(all.unwrap_or(text), &bounds::DIVISION)?;
                run(Command::Division(division as u16, sections, keep))
            }
            Question::Cycle => run(Command::Cycle(Some(n(&bounds::CYCLE)? as usize))),
            Question::LayerSwing if text.is_empty() => run(Command::LayerSwing(None)),
            Question::LayerSwing => run(Command::LayerSwing(Some(Swing::parse(text).ok_or_else(error)?))),
            Question::SoundFile if text.is_empty() => run(Command::SoundFile(None)),
            Question::SoundFile => {
                bounds::SOUND_NAME.check(text.chars().count() as i64).map_err(|e| e.to_string())?;
                run(Command::SoundFile(Some(text.to_owned())))
            }
            Question::Recording if text.is_empty() => run(Command::Recording(None)),
            Question::Recording => {
                bounds::FILE_NAME.check(text.chars().count() as i64).map_err(|e| e.to_string())?;
                run(Command::Recording(Some(text.to_owned())))
            }
            Question::RecordingBand => parse_band(text).map(|b| Answer::Tone(ToneChange::Band(b))),
            Question::RecordingPitch => parse_semitones(text).map(|n| Answer::Tone(ToneChange::Semitones(n))),
            Question::RecordingLevel => parse_level(text).map(|db| Answer::Tone(ToneChange::LevelDb(db))),
            Question::Anchor => run(Command::SetAnchor(anchors::parse_instant(text)?)),
            Question::Marks => grid_search::parse_marks(text).map(|(marks, beats)| Answer::Marks(marks, beats)),
            Question::AlignGroups => {
                let terms = group_line::parse(text).map_err(|e| e.to_string())?;
                Ok(Answer::AlignGroups(group_line::expand(&terms)))
            }
            Question::AccentDepth if text.is_empty() => run(Command::AccentDepth(None)),
            Question::AccentDepth => run(Command::AccentDepth(Some(n(&bounds::ACCENT_DEPTH)? as u8))),
            Question::Gain => run(Command::Gain(n(&bounds::GAIN)? as i8)),
            Question::Pan => run(Command::Pan(n(&bounds::PAN)? as i8)),
            Question::AddSection => add_section(text).map(Answer::Run),
            Question::RenameSection => run(Command::RenameSection(name(text)?)),
            Question::Meter(keep) => run(Command::Meter(Meter::parse(text).map_err(|e| e.to_string())?, keep)),
            Question::Tempo => {
                let (unit, bpm) = match text.split_once('=') {
                    Some((unit, bpm)) => (parse_note_value(unit.trim()).ok_or_else(error)?, bpm.trim()),
                    None => (g.sections()[at.section].tempo.unit(), text),
                };
                let bpm = Fraction::parse(bpm).ok_or_else(error)?;
                run(Command::Tempo(Tempo::new(bpm, unit).map_err(|e| e.to_string())?))
            }
            Question::Bars => run(Command::Bars(n(&bounds::BARS)? as u16)),
            Question::Times => run(Command::Times(n(&bounds::TIMES)? as u16)),
            Question::Swing if text.is_empty() => run(Command::Swing(None)),
            Question::Swing => run(Command::Swing(Some(Swing::parse(text).ok_or_else(error)?))),
            Question::Speed => Ok(Answer::Speed(number(text.trim_end_matches('%'), &SPEED)? as u16)),
            Question::Takes => parse::takes(text).map(|(n, count_in)| Answer::Takes(n, count_in)).ok_or_else(error),
            Question::Ladder => Ladder::parse(text).map(Answer::Ladder).ok_or_else(error),
            Question::Title => run(Command::Title(text.to_owned())),
            Question::Note => run(Command::Note(text.to_owned())),
            Question::Bar => {
                let bars = usize::from(g.sections()[at.section].bars);
                let range = match bars {
                    1 => "1, the only bar of this section".to_owned(),
                    _ => format!("1 to {bars}, bars of this section"),
                };
                let bar = text.parse::<usize>().ok().filter(|b| (1..=bars).contains(b));
                let bar = bar.ok_or_else(|| expected(range, quote(text)))?;
                let time = g.sections()[at.section].meter.bar().repeated(bar - 1).ok_or_else(error)?;
                let cell_at = |_| g.part(at.layer, at.section).cell_at(time, g.context(at.layer, at.section));
                let cell = g.layers().get(at.layer).map_or(0, cell_at);
                run(Command::Move(Motion::To(Place { cell, ..at })))
            }
            Question::Open => parse::path(text).map(Answer::Open).ok_or_else(error),
            Question::SaveAs => parse::path(text).map(Answer::SaveAs).ok_or_else(error),
            Question::ExportAs | Question::HandoutInto => parse::path(text).map(Answer::Path).ok_or_else(error),
            Question::RenderWav | Question::TakesWav | Question::LadderWav => {
                let args = RenderArgs::parse(text).filter(|a| a.is_valid(self));
                args.map(Answer::Sound).ok_or_else(error)
            }
            Question::Import => parse::import(text).map(|(path, ms)| Answer::Import(path, ms)).ok_or_else(error),
            Question::PicturesAs => parse::picture_style(text).map(Answer::PictureStyle).ok_or_else(error),
        }
    }
}

static REPEATS: Bound = Bound { what: "the number of times", least: 1, greatest: 4096, unit: "times" };
static STEPS: Bound = Bound { what: "the number of cells", least: -4096, greatest: 4096, unit: "cells" };

/// Maximum columns of an answer that an error quotes.
const MAX_ECHO: usize = 16;

fn quote(text: &str) -> String {
    format!("'{}'", fit(text, MAX_ECHO))
}

fn name(text: &str) -> Result<String, String> {
    bounds::NAME.check(text.chars().count() as i64).map(|_| text.to_owned()).map_err(|e| e.to_string())
}

/// A name, a meter, both or nothing.
fn add_section(text: &str) -> Result<Command, String> {
    let (first, last) = text.rsplit_once(char::is_whitespace).map_or(("", text), |(a, b)| (a.trim(), b));
    let (upper, lower) = last.split_once('/').unwrap_or_default();
    let counts = |part: &str| !part.is_empty() && part.chars().all(|c| c.is_ascii_digit() || c == '+');
    let (named, meter) = if counts(upper) && counts(lower) {
        (first, Some(Meter::parse(last).map_err(|e| e.to_string())?))
    } else {
        (text, None)
    };
    let named = if named.is_empty() { None } else { Some(name(named)?) };
    Ok(Command::AddSection(named, meter))
}

/// A name and a voice, or a voice that is also the name. A name that exists gets a number.
fn add_layer(text: &str, groove: &Groove) -> Option<Command> {
    let (first, last) = text.rsplit_once(char::is_whitespace).map_or(("", text), |(a, b)| (a.trim(), b));
    let voice = Voice::parse(last)?;
    let base = if first.is_empty() { last } else { first };
    let taken = |name: &str| groove.layers().iter().any(|l| l.name == name);
    let mut names = std::iter::once(base.to_owned()).chain((2..).map(|n| format!("{base} {n}")));
    Some(Command::AddLayer(names.find(|name| !taken(name))?, voice))
}

#[cfg(test)]
mod tests;
