//! How the answer to a question is read, and what it comes to.

use crate::jobs::PictureStyle;
use crate::rhythm::bounds::{self, Bound};
use crate::rhythm::{
    Fraction, Groove, Meter, Pitch, Place, Swing, Tempo, Voice, expected, group_line, parse_note_value,
};
use crate::session::{Command, Motion, Session};
use crate::terminal::playback::playing::SPEED;
use crate::terminal::prompts::parse::{self, Ladder, RenderArgs};
use crate::terminal::prompts::question::Question;
use crate::terminal::view::fit;

/// Letters and digits of a far speaker's token.
const TOKEN: usize = 16;

/// What an answer comes to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Answer {
    /// A command.
    Do(Command),
    /// A playing speed in percent.
    Speed(u16),
    /// Takes in a row: times through each, and whether they are counted in.
    Takes(u32, bool),
    /// A ladder.
    Ladder(Ladder),
    /// A file name.
    SaveAs(String),
    /// Port and token of a far speaker.
    Speaker(u16, String),
    /// A file or a folder.
    Path(String),
    /// A file of sound.
    Sound(RenderArgs),
    /// A file to import, and a tolerance in ms.
    Bring(String, Fraction),
    /// How pictures look.
    Look(PictureStyle),
}

impl Question {
    /// Reads an answer.
    ///
    /// # Errors
    /// What was found and what is allowed.
    pub(crate) fn read(self, text: &str, session: &Session) -> Result<Answer, String> {
        let text = text.trim();
        let g = session.groove();
        let at = session.cursor().place;
        let form = || expected(self.allowed(), quoted(text));
        let n = |bound| number(text, bound).ok_or_else(form)?;
        let do_it = |command| Ok(Answer::Do(command));
        match self {
            Question::Groups => {
                let terms = group_line::parse(text).map_err(|e| e.to_string())?;
                do_it(Command::LayLine(group_line::expand(&terms)))
            }
            Question::Pitch if text.is_empty() => do_it(Command::Pitch(None)),
            Question::Pitch => do_it(Command::Pitch(Some(Pitch::parse(text).ok_or_else(form)?))),
            Question::Tuplet => {
                let (cells, beats) = text.split_once('/').unwrap_or((text, "1"));
                let cells = number(cells, &bounds::TUPLET_CELLS).ok_or_else(form)??;
                let beats = number(beats, &bounds::TUPLET_BEATS).ok_or_else(form)??;
                do_it(Command::Tuplet { cells: cells as usize, beats: beats as usize })
            }
            Question::Repeat => do_it(Command::Repeat(n(&TIMES_REPEATED)? as usize)),
            Question::Rotate => do_it(Command::Rotate(n(&STEPS)? as i32)),
            Question::Shift => do_it(Command::Shift(n(&STEPS)? as i32)),
            Question::AddLayer => add_layer(text, g).ok_or_else(form).map(Answer::Do),
            Question::RenameLayer => do_it(Command::RenameLayer(name(text)?)),
            Question::Voice => do_it(Command::Voice(Voice::parse(text).ok_or_else(form)?)),
            Question::Division => do_it(Command::Division(n(&bounds::DIVISION)? as u16)),
            Question::Cycle => do_it(Command::Cycle(Some(n(&bounds::CYCLE)? as usize))),
            Question::LayerSwing if text.is_empty() => do_it(Command::LayerSwing(None)),
            Question::LayerSwing => do_it(Command::LayerSwing(Some(Swing::parse(text).ok_or_else(form)?))),
            Question::SoundFile if text.is_empty() => do_it(Command::SoundFile(None)),
            Question::SoundFile => {
                bounds::SOUND_NAME.check(text.chars().count() as i64).map_err(|e| e.to_string())?;
                do_it(Command::SoundFile(Some(text.to_owned())))
            }
            Question::AccentDepth if text.is_empty() => do_it(Command::AccentDepth(None)),
            Question::AccentDepth => do_it(Command::AccentDepth(Some(n(&bounds::ACCENT_DEPTH)? as u8))),
            Question::Gain => do_it(Command::Gain(n(&bounds::GAIN)? as i8)),
            Question::Pan => do_it(Command::Pan(n(&bounds::PAN)? as i8)),
            Question::AddSection => add_section(text).map(Answer::Do),
            Question::RenameSection => do_it(Command::RenameSection(name(text)?)),
            Question::Meter => do_it(Command::Meter(Meter::parse(text).map_err(|e| e.to_string())?)),
            Question::Tempo => {
                let (unit, bpm) = match text.split_once('=') {
                    Some((unit, bpm)) => (parse_note_value(unit.trim()).ok_or_else(form)?, bpm.trim()),
                    None => (g.sections()[at.section].tempo.unit(), text),
                };
                let bpm = Fraction::parse(bpm).ok_or_else(form)?;
                do_it(Command::Tempo(Tempo::new(bpm, unit).map_err(|e| e.to_string())?))
            }
            Question::Bars => do_it(Command::Bars(n(&bounds::BARS)? as u16)),
            Question::Times => do_it(Command::Times(n(&bounds::TIMES)? as u16)),
            Question::Swing if text.is_empty() => do_it(Command::Swing(None)),
            Question::Swing => do_it(Command::Swing(Some(Swing::parse(text).ok_or_else(form)?))),
            Question::Speaker => {
                let (port, token) = text.split_once(char::is_whitespace).ok_or_else(form)?;
                let port = port.parse().ok().filter(|p| *p > 0).ok_or_else(form)?;
                let characters = token.chars().filter(char::is_ascii_alphanumeric).count();
                if characters != TOKEN || !token.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == ' ') {
                    return Err(form());
                }
                Ok(Answer::Speaker(port, token.to_owned()))
            }
            Question::Speed => Ok(Answer::Speed(number(text.trim_end_matches('%'), &SPEED).ok_or_else(form)?? as u16)),
            Question::Takes => parse::times(text).map(|(n, count)| Answer::Takes(n, count)).ok_or_else(form),
            Question::Ladder => Ladder::read(text).map(Answer::Ladder).ok_or_else(form),
            Question::Title => do_it(Command::Title(text.to_owned())),
            Question::Note => do_it(Command::Note(text.to_owned())),
            Question::Bar => {
                let bars = usize::from(g.sections()[at.section].bars);
                let bar = text.parse::<usize>().ok().filter(|b| (1..=bars).contains(b));
                let bar = bar.ok_or_else(|| expected(bars_of(bars), quoted(text)))?;
                let time = g.sections()[at.section].meter.bar().repeated(bar - 1).ok_or_else(form)?;
                let cell = match g.layers().get(at.layer) {
                    Some(_) => g.part(at.layer, at.section).cell_at(time, g.context(at.layer, at.section)),
                    None => 0,
                };
                do_it(Command::Move(Motion::To(Place { cell, ..at })))
            }
            Question::SaveAs => parse::path(text).map(Answer::SaveAs).ok_or_else(form),
            Question::ExportAs | Question::HandoutInto => parse::path(text).map(Answer::Path).ok_or_else(form),
            Question::RenderWav | Question::TakesWav | Question::LadderWav => {
                let words = RenderArgs::read(text).filter(|w| w.allowed(self));
                words.map(Answer::Sound).ok_or_else(form)
            }
            Question::Import => parse::source(text).map(|(path, ms)| Answer::Bring(path, ms)).ok_or_else(form),
            Question::PicturesAs => parse::look(text).map(Answer::Look).ok_or_else(form),
        }
    }
}

static TIMES_REPEATED: Bound = Bound { what: "the number of times", least: 1, greatest: 4096, unit: "times" };
static STEPS: Bound = Bound { what: "the number of cells", least: -4096, greatest: 4096, unit: "cells" };

/// Most columns of an answer that a refusal says again.
const MAX_ECHO: usize = 16;

/// An answer in quotation marks, cut where it is long.
fn quoted(text: &str) -> String {
    format!("'{}'", fit(text, MAX_ECHO))
}

/// The bars one can go to.
fn bars_of(bars: usize) -> String {
    if bars == 1 { "1, the only bar of this section".into() } else { format!("1 to {bars}, bars of this section") }
}

/// `None` for what is no number.
fn number(text: &str, bound: &'static Bound) -> Option<Result<i64, String>> {
    let n: i64 = text.trim().parse().ok()?;
    Some(bound.check(n).map_err(|e| expected(e.bound.range(), n)))
}

fn name(text: &str) -> Result<String, String> {
    bounds::NAME.check(text.chars().count() as i64).map(|_| text.to_owned()).map_err(|e| e.to_string())
}

/// A name, a meter, both, or nothing: what reads as a meter at the end is one.
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

/// A voice alone is the name too; where that is taken, with a number.
fn add_layer(text: &str, groove: &Groove) -> Option<Command> {
    let (first, last) = text.rsplit_once(char::is_whitespace).map_or(("", text), |(a, b)| (a.trim(), b));
    let voice = Voice::parse(last)?;
    let wanted = if first.is_empty() { last } else { first };
    let taken = |name: &str| groove.layers().iter().any(|l| l.name == name);
    let mut name = wanted.to_owned();
    let mut n = 2;
    while taken(&name) {
        name = format!("{wanted} {n}");
        n += 1;
    }
    Some(Command::AddLayer(name, voice))
}

#[cfg(test)]
mod tests;
