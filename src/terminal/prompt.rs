//! Questions asked on one line: their words, what they begin with, and how the answer is read. It must not know how the line
//! is drawn.

use super::action::Question;
use super::giving::{self, SoundWords};
use super::order::Look;
use super::practice::{self, Ladder};
use super::state::SPEED;
use super::view::fit;
use crate::rhythm::bounds::{self, Bound};
use crate::rhythm::{
    Fraction, Groove, Meter, Pitch, Place, Swing, Tempo, Voice, line, parse_note_value, print_note_value,
};
use crate::session::{Command, Motion, Session};

/// Letters and digits of a far speaker's token.
const TOKEN: usize = 16;

/// What an answer comes to.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Answer {
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
    Sound(SoundWords),
    /// A file to import, and a tolerance in ms.
    Bring(String, Fraction),
    /// How pictures look.
    Look(Look),
}

impl Question {
    /// What is asked for, and the forms allowed.
    pub(super) fn words(self) -> (&'static str, &'static str) {
        match self {
            Question::Groups => ("Groups", "cells from attack to attack: 12, 3+3+2+3 or 3(4+4+3)+5+2"),
            Question::Pitch => ("Pitch", "a name and an octave: E2, F#3, Bb1; nothing for the voice's own"),
            Question::Tuplet => ("Tuplet", "cells in a beat: 5; cells in beats: 7/2"),
            Question::Repeat => ("Repeat", "times"),
            Question::Rotate => ("Rotate by", "cells, later; with a minus earlier"),
            Question::Shift => ("Shift by", "cells, later; with a minus earlier"),
            Question::AddLayer => ("New layer", "a voice, or a name and a voice: kick, low kick"),
            Question::RenameLayer => ("Name of the layer", "1 to 64 characters"),
            Question::Voice => ("Voice", "kick snare hat open-hat rim clap tom wood bell shaker bass pluck"),
            Question::Division => ("Division", "cells per beat: 1 to 32"),
            Question::Cycle => ("Cycle", "cells from the section's start that repeat against the bars"),
            Question::LayerSwing => ("Swing of the layer", "long:short, as 2:1; nothing for the section's"),
            Question::SoundFile => ("Sound file", "beside the groove's file, as knock.wav; nothing for the voice"),
            Question::AccentDepth => ("Accent depth", "0 to 18 dB; nothing for the voice's own"),
            Question::Gain => ("Gain", "-60 to 12 dB"),
            Question::Pan => ("Pan", "-100 left to 100 right"),
            Question::AddSection => ("New section", "its name; nothing for the next letter"),
            Question::RenameSection => ("Name of the section", "1 to 64 characters"),
            Question::Meter => ("Meter", "4/4, 6/8, 13/16 or 3+2+2/8"),
            Question::Tempo => ("Tempo", "beats per minute: 150, 132.5; with the note value: 1/4.=90"),
            Question::Bars => ("Bars", "1 to 1024"),
            Question::Times => ("Times through", "1 to 64"),
            Question::Swing => ("Swing of the section", "long:short, as 2:1; nothing for straight"),
            Question::Speed => ("Speed", "20 to 200 percent of the written tempo"),
            Question::Title => ("Title", "any text"),
            Question::Note => ("Note", "any text; it stands in the file"),
            Question::Bar => ("Bar", "a bar of this section, from 1"),
            Question::Takes => ("Takes in a row", "times through each, 1 to 64: 2; with a count-in: 2 count"),
            Question::Ladder => ("Ladder", "from-to/step in %, loops; key: by a key; 1/4: silences"),
            Question::SaveAs => ("Save under", "a file name, as riff.toml"),
            Question::Speaker => ("Far speaker", "port and token, as the speaker shows them: 7450 k7mp-2xqd-9fht-w3bn"),
            Question::ExportAs => ("Write to", "a file name"),
            Question::HandoutInto => ("Handout into", "a folder; made if it is not there"),
            Question::RenderWav => ("Sound to", "a file name; x4: times through; 30s: seconds"),
            Question::TakesWav => ("Takes to", "a file name; x2: times through; count: counted in"),
            Question::LadderWav => ("Ladder to", "a file name; the ladder is the one last asked for"),
            Question::Import => ("Import", "a MIDI or MusicXML file; 20ms: how far onsets may move"),
            Question::PicturesAs => ("Pictures", "print or screen, width in pixels, times of a PNG"),
        }
    }

    /// The forms allowed, shorter, for a refusal.
    fn allowed(self) -> &'static str {
        match self {
            Question::Groups => "12, 3+3+2+3, 3(4+4+3)+5+2",
            Question::Pitch => "E2, F#3, Bb1",
            Question::Tuplet => "5, 7/2",
            Question::Repeat | Question::Rotate | Question::Shift | Question::Cycle => "a whole number",
            Question::AddLayer => "kick, low kick (the voice comes last)",
            Question::LayerSwing | Question::Swing => "2:1, 3:2, 1:1",
            Question::Tempo => "150, 132.5, 1/4.=90",
            Question::Speaker => "7450 k7mp-2xqd-9fht-w3bn",
            Question::Takes => "2, 2 count",
            Question::RenderWav => "riff.wav, riff.wav x4 44100hz, riff.wav 30s",
            Question::TakesWav => "riff.wav, riff.wav x2 count 44100hz",
            Question::LadderWav => "riff.wav, riff.wav 44100hz",
            Question::Import => "a file, or one and 0ms to 100ms",
            Question::PicturesAs => "print 1000 x2 (480 to 4000, x0.1 to x8)",
            Question::Ladder => "50-100/10 x4, 50-100/10 x4 key 1/4 (20 to 200%)",
            other => other.words().1,
        }
    }

    /// The text the line begins with: what stands there now.
    pub(super) fn start(self, session: &Session, percent: u16, file: Option<&str>) -> String {
        let g = session.groove();
        let at = session.cursor().place;
        let section = &g.sections()[at.section];
        let layer = g.layers().get(at.layer);
        let swing = |s: Option<Swing>| s.map(|s| s.to_string()).unwrap_or_default();
        match self {
            Question::RenameLayer => layer.map(|l| l.name.clone()).unwrap_or_default(),
            Question::Division => layer.map(|l| l.division.to_string()).unwrap_or_default(),
            Question::LayerSwing => swing(layer.and_then(|l| l.swing)),
            Question::SoundFile => layer.and_then(|l| l.sound.clone()).unwrap_or_default(),
            Question::AccentDepth => layer.and_then(|l| l.depth).map(|d| d.to_string()).unwrap_or_default(),
            Question::Gain => layer.map(|l| l.gain.to_string()).unwrap_or_default(),
            Question::Pan => layer.map(|l| l.pan.to_string()).unwrap_or_default(),
            Question::RenameSection => section.name.clone(),
            Question::Meter => section.meter.to_string(),
            Question::Tempo => tempo_words(section.tempo),
            Question::Bars => section.bars.to_string(),
            Question::Times => section.times.to_string(),
            Question::Swing => swing(section.swing),
            Question::Speed => percent.to_string(),
            Question::Title => g.title().to_owned(),
            Question::Note => g.note().to_owned(),
            Question::Takes => "2 count".into(),
            Question::SaveAs => file.unwrap_or_default().to_owned(),
            _ => String::new(),
        }
    }

    /// Reads an answer.
    ///
    /// # Errors
    /// What was found and what is allowed.
    pub(super) fn read(self, text: &str, session: &Session) -> Result<Answer, String> {
        let text = text.trim();
        let g = session.groove();
        let at = session.cursor().place;
        let form = || format!("allowed: {}; not '{}'", self.allowed(), fit(text, ECHOED));
        let do_it = |command| Ok(Answer::Do(command));
        match self {
            Question::Groups => {
                let terms = line::parse(text).map_err(allowed_first)?;
                do_it(Command::LayLine(line::expand(&terms)))
            }
            Question::Pitch if text.is_empty() => do_it(Command::Pitch(None)),
            Question::Pitch => do_it(Command::Pitch(Some(Pitch::parse(text).ok_or_else(form)?))),
            Question::Tuplet => {
                let (cells, beats) = text.split_once('/').unwrap_or((text, "1"));
                let cells = number(cells, &bounds::TUPLET_CELLS).ok_or_else(form)??;
                let beats = number(beats, &bounds::TUPLET_BEATS).ok_or_else(form)??;
                do_it(Command::Tuplet { cells: cells as usize, beats: beats as usize })
            }
            Question::Repeat => do_it(Command::Repeat(number(text, &TIMES_REPEATED).ok_or_else(form)?? as usize)),
            Question::Rotate => do_it(Command::Rotate(number(text, &STEPS).ok_or_else(form)?? as i32)),
            Question::Shift => do_it(Command::Shift(number(text, &STEPS).ok_or_else(form)?? as i32)),
            Question::AddLayer => add_layer(text, g).ok_or_else(form).map(Answer::Do),
            Question::RenameLayer => do_it(Command::RenameLayer(name(text)?)),
            Question::Voice => do_it(Command::Voice(Voice::parse(text).ok_or_else(form)?)),
            Question::Division => do_it(Command::Division(number(text, &bounds::DIVISION).ok_or_else(form)?? as u16)),
            Question::Cycle => do_it(Command::Cycle(Some(number(text, &bounds::CYCLE).ok_or_else(form)?? as usize))),
            Question::LayerSwing if text.is_empty() => do_it(Command::LayerSwing(None)),
            Question::LayerSwing => do_it(Command::LayerSwing(Some(Swing::parse(text).ok_or_else(form)?))),
            Question::SoundFile if text.is_empty() => do_it(Command::SoundFile(None)),
            Question::SoundFile => {
                bounds::SOUND_NAME.check(text.chars().count() as i64).map_err(allowed_first)?;
                do_it(Command::SoundFile(Some(text.to_owned())))
            }
            Question::AccentDepth if text.is_empty() => do_it(Command::AccentDepth(None)),
            Question::AccentDepth => {
                do_it(Command::AccentDepth(Some(number(text, &bounds::ACCENT_DEPTH).ok_or_else(form)?? as u8)))
            }
            Question::Gain => do_it(Command::Gain(number(text, &bounds::GAIN).ok_or_else(form)?? as i8)),
            Question::Pan => do_it(Command::Pan(number(text, &bounds::PAN).ok_or_else(form)?? as i8)),
            Question::AddSection if text.is_empty() => do_it(Command::AddSection(None)),
            Question::AddSection => do_it(Command::AddSection(Some(name(text)?))),
            Question::RenameSection => do_it(Command::RenameSection(name(text)?)),
            Question::Meter => do_it(Command::Meter(Meter::parse(text).map_err(allowed_first)?)),
            Question::Tempo => {
                let (unit, bpm) = match text.split_once('=') {
                    Some((unit, bpm)) => (parse_note_value(unit.trim()).ok_or_else(form)?, bpm.trim()),
                    None => (g.sections()[at.section].tempo.unit(), text),
                };
                let bpm = Fraction::parse(bpm).ok_or_else(form)?;
                do_it(Command::Tempo(Tempo::new(bpm, unit).map_err(allowed_first)?))
            }
            Question::Bars => do_it(Command::Bars(number(text, &bounds::BARS).ok_or_else(form)?? as u16)),
            Question::Times => do_it(Command::Times(number(text, &bounds::TIMES).ok_or_else(form)?? as u16)),
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
            Question::Takes => practice::times(text).map(|(n, count)| Answer::Takes(n, count)).ok_or_else(form),
            Question::Ladder => Ladder::read(text).map(Answer::Ladder).ok_or_else(form),
            Question::Title => do_it(Command::Title(text.to_owned())),
            Question::Note => do_it(Command::Note(text.to_owned())),
            Question::Bar => {
                let bars = usize::from(g.sections()[at.section].bars);
                let bar = text.parse::<usize>().ok().filter(|b| (1..=bars).contains(b));
                let bar = bar.ok_or_else(|| format!("allowed: {}; not '{}'", bars_of(bars), fit(text, ECHOED)))?;
                let time = g.sections()[at.section].meter.bar().repeated(bar - 1).ok_or_else(form)?;
                let cell = match g.layers().get(at.layer) {
                    Some(_) => g.part(at.layer, at.section).cell_at(time, g.frame(at.layer, at.section)),
                    None => 0,
                };
                do_it(Command::Move(Motion::To(Place { cell, ..at })))
            }
            Question::SaveAs if text.is_empty() || text.contains('\0') => Err(form()),
            Question::SaveAs => Ok(Answer::SaveAs(text.to_owned())),
            Question::ExportAs | Question::HandoutInto => giving::path(text).map(Answer::Path).ok_or_else(form),
            Question::RenderWav | Question::TakesWav | Question::LadderWav => {
                let words = SoundWords::read(text).filter(|w| w.allowed(self));
                words.map(Answer::Sound).ok_or_else(form)
            }
            Question::Import => giving::source(text).map(|(path, ms)| Answer::Bring(path, ms)).ok_or_else(form),
            Question::PicturesAs => giving::look(text).map(Answer::Look).ok_or_else(form),
        }
    }
}

static TIMES_REPEATED: Bound = Bound { what: "the number of times", least: 1, greatest: 4096, unit: "times" };
static STEPS: Bound = Bound { what: "the number of cells", least: -4096, greatest: 4096, unit: "cells" };

/// Most columns of an answer that a refusal says again.
const ECHOED: usize = 16;

/// A refusal with what is allowed before what was found, so that it is read first and cut last.
fn allowed_first(error: impl std::fmt::Display) -> String {
    let words = error.to_string();
    match words.split_once(", allowed is ").or_else(|| words.split_once(", allowed are ")) {
        Some((found, allowed)) => format!("allowed: {allowed}; {found}"),
        None => words,
    }
}

/// The bars one can go to.
fn bars_of(bars: usize) -> String {
    if bars == 1 { "1, the only bar of this section".into() } else { format!("1 to {bars}, bars of this section") }
}

/// `None` for what is no number.
fn number(text: &str, bound: &'static Bound) -> Option<Result<i64, String>> {
    let n: i64 = text.trim().parse().ok()?;
    Some(bound.check(n).map_err(|e| format!("allowed: {}; not {n}", e.bound.allowed())))
}

fn name(text: &str) -> Result<String, String> {
    bounds::NAME.check(text.chars().count() as i64).map(|_| text.to_owned()).map_err(allowed_first)
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

/// `1/4=150`.
pub(super) fn tempo_words(tempo: Tempo) -> String {
    format!("{}={}", print_note_value(tempo.unit()), tempo.bpm())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Time;
    use proptest::prelude::*;

    const ALL: [Question; 38] = [
        Question::Speaker,
        Question::ExportAs,
        Question::HandoutInto,
        Question::RenderWav,
        Question::TakesWav,
        Question::LadderWav,
        Question::Import,
        Question::PicturesAs,
        Question::Takes,
        Question::Ladder,
        Question::Groups,
        Question::Pitch,
        Question::Tuplet,
        Question::Repeat,
        Question::Rotate,
        Question::Shift,
        Question::AddLayer,
        Question::RenameLayer,
        Question::Voice,
        Question::Division,
        Question::Cycle,
        Question::LayerSwing,
        Question::SoundFile,
        Question::AccentDepth,
        Question::Gain,
        Question::Pan,
        Question::AddSection,
        Question::RenameSection,
        Question::Meter,
        Question::Tempo,
        Question::Bars,
        Question::Times,
        Question::Swing,
        Question::Speed,
        Question::Title,
        Question::Note,
        Question::Bar,
        Question::SaveAs,
    ];

    fn session() -> Session {
        let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
        Session::new(Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 2).expect("groove"))
    }

    #[test]
    fn answers() {
        let s = session();
        let quarter = s.groove().sections()[0].tempo.unit();
        let tempo = |n, d, unit| Command::Tempo(Tempo::new(Fraction::new(n, d).expect("n"), unit).expect("tempo"));
        let rows = [
            (Question::Groups, "3+3+2", Command::LayLine(vec![3, 3, 2])),
            (Question::Groups, "2(4+3)+12", Command::LayLine(vec![4, 3, 4, 3, 12])),
            (Question::Pitch, "E2", Command::Pitch(Pitch::parse("E2"))),
            (Question::Pitch, " ", Command::Pitch(None)),
            (Question::Tuplet, "5", Command::Tuplet { cells: 5, beats: 1 }),
            (Question::Tuplet, "7/2", Command::Tuplet { cells: 7, beats: 2 }),
            (Question::AddLayer, "kick", Command::AddLayer("kick".into(), Voice::Kick)),
            (Question::AddLayer, "low end kick", Command::AddLayer("low end".into(), Voice::Kick)),
            (Question::AddLayer, "riff bass", Command::AddLayer("riff 2".into(), Voice::Bass)),
            (Question::Tempo, "132.5", tempo(265, 2, quarter)),
            (Question::Tempo, "1/4.=90", tempo(90, 1, Time::new(3, 8).expect("dotted"))),
            (Question::SoundFile, " knock.wav", Command::SoundFile(Some("knock.wav".into()))),
            (Question::SoundFile, "", Command::SoundFile(None)),
            (Question::AccentDepth, "9", Command::AccentDepth(Some(9))),
            (Question::AccentDepth, "", Command::AccentDepth(None)),
            (Question::Bar, "2", Command::Move(Motion::To(Place { layer: 0, section: 0, cell: 16 }))),
        ];
        for (question, text, command) in rows {
            assert_eq!(question.read(text, &s), Ok(Answer::Do(command)), "{text}");
        }
        assert_eq!(Question::Speed.read("80%", &s), Ok(Answer::Speed(80)));
    }

    #[test]
    fn refusals_tell_what_is_allowed() {
        let s = session();
        let rows = [
            (Question::Pitch, "H9", "E2"),
            (Question::Tuplet, "0", "1 to 64"),
            (Question::Tempo, "-5", "5 to 1000"),
            (Question::Tempo, "fast", "132.5"),
            (Question::Meter, "4/3", "powers of two"),
            (Question::Bars, "9999999", "1 to 1024"),
            (Question::Bar, "3", "1 to 2"),
            (Question::AddLayer, "drum", "low kick"),
            (Question::Speed, "10", "20 to 200"),
            (Question::Division, "99", "1 to 32"),
            (Question::Swing, "much", "2:1"),
            (Question::Groups, "3+a", "1 to 65536"),
            (Question::Cycle, "x", "a whole number"),
            (Question::RenameLayer, "", "1 to 64 characters"),
            (Question::AccentDepth, "19", "0 to 18 dB"),
            (Question::AccentDepth, "deep", "0 to 18 dB"),
        ];
        for (question, text, allowed) in rows {
            let words = question.read(text, &s).expect_err(text);
            assert!(words.starts_with("allowed: ") && words.contains(allowed), "{text}: {words}");
            // What is allowed is seen whole in the narrowest window.
            assert!(words.find(';').is_some_and(|at| at <= 60), "{text}: {words}");
        }
    }

    #[test]
    fn what_a_line_begins_with_is_allowed() {
        let s = session();
        for question in ALL {
            let text = question.start(&s, 100, Some("riff.toml"));
            if !text.is_empty() {
                assert!(question.read(&text, &s).is_ok(), "{question:?} {text}");
            }
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,20}", n in 0_usize..ALL.len()) {
            let mut s = session();
            if let Ok(Answer::Do(command)) = ALL[n].read(&text, &s) {
                s.apply(command);
            }
        }
    }
}
