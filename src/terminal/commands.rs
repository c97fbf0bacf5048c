//! The one table of commands: keys, what they do, group, words. Key handling, help, hints, the searched list and the
//! README's table are all made from it. It must not know how any of them looks.

use crate::rhythm::Accent;
use crate::session::{Command, Motion};
use crate::terminal::action::{Action, Text};
use crate::terminal::files::export::Choice;
use crate::terminal::input::key::{Key, ch, ctrl, ctrl_key, ctrl_shift, key, shift};
use crate::terminal::manual::Direction;
use crate::terminal::playback::request::Switches;
use crate::terminal::prompts::question::Question;
use ratatui::crossterm::event::KeyCode as Code;

/// Where a row's keys work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Mode {
    /// On the grid.
    Grid,
    /// In the full view and in the help.
    List,
    /// While something is typed: a question or the search.
    Typing,
    /// While one taps along.
    Tap,
    /// While the program asks whether to end with work that is not saved.
    Leaving,
    /// While the program asks whether to write over a file.
    Overwriting,
    /// While the program asks whether what was imported takes the place of work that is not saved.
    Replacing,
}

/// The heading a row stands under.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Group {
    /// Going about.
    Move,
    /// Laying attacks.
    Lay,
    /// Changing what is there.
    Change,
    /// Selection and clipboard.
    Select,
    /// Tapping along.
    Tap,
    /// Layers.
    Layer,
    /// Sections and the groove.
    Section,
    /// Playing.
    Sound,
    /// Files made of a groove, and grooves made of files.
    Give,
    /// Screen and program.
    Program,
    /// Lists and questions.
    Lists,
}

impl Group {
    /// Every group, in the order of the help.
    pub const ALL: &'static [Group] = &[
        Group::Lay,
        Group::Move,
        Group::Change,
        Group::Select,
        Group::Sound,
        Group::Tap,
        Group::Layer,
        Group::Section,
        Group::Give,
        Group::Program,
        Group::Lists,
    ];

    /// Its heading.
    pub fn words(self) -> &'static str {
        match self {
            Group::Move => "Going about",
            Group::Lay => "Laying attacks",
            Group::Change => "Changing attacks",
            Group::Select => "Selecting and copying",
            Group::Tap => "Tapping along",
            Group::Layer => "Layers",
            Group::Section => "Sections and the groove",
            Group::Sound => "Hearing it",
            Group::Give => "Out of the editor, and into it",
            Group::Program => "Screen and program",
            Group::Lists => "In lists and questions",
        }
    }
}

/// One command.
#[derive(Debug)]
pub struct Row {
    /// Its name in the config file.
    pub name: &'static str,
    /// Its keys; none where it is found by its words only.
    pub keys: &'static [Key],
    /// Where the keys work.
    pub mode: Mode,
    /// What it does.
    pub action: Action,
    /// Its heading.
    pub group: Group,
    /// What it does, in words.
    pub words: &'static str,
    /// A word or two for the line of hints; empty where it never stands there.
    pub hint: &'static str,
}

/// Words of a row are at most this long, so that they fit the help on a narrow screen.
pub(crate) const WORDS_FIT: usize = 46;

macro_rules! rows {
    ($mode:ident $group:ident: $($name:literal [$($key:expr),*] $action:expr, $words:literal $(, $hint:literal)?;)*) => {
        &[$(Row {
            name: $name, keys: &[$($key),*], mode: Mode::$mode, action: $action, group: Group::$group, words: $words,
            hint: concat!($($hint)?),
        }),*]
    };
}

const fn go(motion: Motion) -> Action {
    Action::Do(Command::Move(motion))
}

const fn extend(motion: Motion) -> Action {
    Action::Do(Command::Extend(motion))
}

const fn take(layers: bool, beat: bool, hearing: bool) -> Action {
    Action::Take(Switches { layers, beat, hearing })
}

const fn run(command: Command) -> Action {
    Action::Do(command)
}

const LAY: &[Row] = rows! { Grid Lay:
    "lay" [ch('1'), ch('2'), ch('3'), ch('4'), ch('5'), ch('6'), ch('7'), ch('8'), ch('9'), ch('0')]
        Action::LayDigit, "attack of so many cells (0 is 10), then on", "lay a group";
    "lay-groups" [ch('g')] Action::Ask(Question::Groups), "type a line of groups, as 3(4+4+3)+5+2", "groups";
    "attack" [ch('x')] run(Command::Attack(Accent::Plain)), "attack in one cell, then on";
    "attack-accent" [ch('X')] run(Command::Attack(Accent::Accent)), "accented attack, then on";
    "attack-ghost" [ch('o')] run(Command::Attack(Accent::Ghost)), "ghost attack, then on";
    "hold" [ch('-')] run(Command::Hold), "the sound goes on through the cell, then on";
    "rest" [ch('.')] run(Command::Rest), "rest in the cell, then on";
    "toggle" [ch(' ')] run(Command::Toggle), "attack or rest in the cell, staying there", "attack/rest";
    "take-back" [key(Code::Backspace)] run(Command::TakeBack), "take away the attack before", "take back";
};

const MOVE: &[Row] = rows! { Grid Move:
    "left" [key(Code::Left)] go(Motion::Left), "one cell earlier";
    "right" [key(Code::Right)] go(Motion::Right), "one cell later";
    "up" [key(Code::Up)] go(Motion::Up), "the layer above";
    "down" [key(Code::Down)] go(Motion::Down), "the layer below";
    "beat-left" [ctrl_key(Code::Left), ch(',')] go(Motion::BeatLeft), "one beat earlier";
    "beat-right" [ctrl_key(Code::Right), ch(';')] go(Motion::BeatRight), "one beat later";
    "bar-left" [key(Code::PageUp)] go(Motion::BarLeft), "one bar earlier";
    "bar-right" [key(Code::PageDown)] go(Motion::BarRight), "one bar later";
    "attack-next" [key(Code::Tab)] go(Motion::NextAttack), "the next attack";
    "attack-previous" [key(Code::BackTab)] go(Motion::PreviousAttack), "the attack before";
    "section-start" [key(Code::Home)] go(Motion::SectionStart), "start of the section";
    "section-end" [key(Code::End)] go(Motion::SectionEnd), "end of the section";
    "groove-start" [ctrl_key(Code::Home)] go(Motion::GrooveStart), "start of the groove";
    "groove-end" [ctrl_key(Code::End)] go(Motion::GrooveEnd), "end of the groove";
    "section-previous" [ch('{'), ctrl_key(Code::PageUp)] go(Motion::PreviousSection), "the section before";
    "section-next" [ch('}'), ctrl_key(Code::PageDown)] go(Motion::NextSection), "the next section";
    "go-to-bar" [ch('j')] Action::Ask(Question::Bar), "jump to a bar by its number";
};

const CHANGE: &[Row] = rows! { Grid Change:
    "erase" [key(Code::Delete)] run(Command::Erase), "rests in the selection or the cell", "erase";
    "accent" [ch('a')] run(Command::CycleAccent), "plain, accent, ghost in turn", "accent";
    "pitch" [ch('p')] Action::Ask(Question::Pitch), "type the pitch, as E2 or F#3", "pitch";
    "pitch-up" [ch('u')] run(Command::Transpose(1)), "a semitone up";
    "pitch-down" [ch('d')] run(Command::Transpose(-1)), "a semitone down";
    "octave-up" [ch('U')] run(Command::Transpose(12)), "an octave up";
    "octave-down" [ch('D')] run(Command::Transpose(-12)), "an octave down";
    "tuplet" [ch('t')] Action::Ask(Question::Tuplet), "so many cells in a beat (5) or in beats (7/2)", "tuplet";
    "even-beat" [ch('e')] run(Command::EvenBeat), "the beat even again, without a tuplet";
    "rotate-later" [ch('>')] run(Command::Rotate(1)), "rotate one cell later, round and round";
    "rotate-earlier" [ch('<')] run(Command::Rotate(-1)), "rotate one cell earlier, round and round";
    "rotate" [] Action::Ask(Question::Rotate), "rotate by so many cells";
    "shift-later" [ch(')')] run(Command::Shift(1)), "shift one cell later, rests come in";
    "shift-earlier" [ch('(')] run(Command::Shift(-1)), "shift one cell earlier, rests come in";
    "shift" [] Action::Ask(Question::Shift), "shift by so many cells";
    "undo" [ctrl('z')] run(Command::Undo), "back one step", "undo";
    "redo" [ctrl('y')] run(Command::Redo), "forth one step";
};

const SELECT: &[Row] = rows! { Grid Select:
    "select-left" [shift(Code::Left)] extend(Motion::Left), "select, one cell earlier";
    "select-right" [shift(Code::Right)] extend(Motion::Right), "select, one cell later";
    "select-up" [shift(Code::Up)] extend(Motion::Up), "select, the layer above too";
    "select-down" [shift(Code::Down)] extend(Motion::Down), "select, the layer below too";
    "select-beat-left" [ctrl_shift(Code::Left)] extend(Motion::BeatLeft), "select, one beat earlier";
    "select-beat-right" [ctrl_shift(Code::Right)] extend(Motion::BeatRight), "select, one beat later";
    "select-to-start" [shift(Code::Home)] extend(Motion::SectionStart), "select to the start of the section";
    "select-to-end" [shift(Code::End)] extend(Motion::SectionEnd), "select to the end of the section";
    "select" [ch('s')] Action::Mark, "select by moving, until Esc", "select";
    "select-bar" [ch('b')] run(Command::SelectBar), "select the bar", "bar";
    "select-section" [ch('A')] run(Command::SelectSection), "select the layer's whole section";
    "select-all" [ctrl('a')] run(Command::SelectAllLayers), "select the section in all layers";
    "copy" [ctrl('c')] run(Command::Copy), "copy the selection or the bar", "copy";
    "cut" [ctrl('x')] run(Command::Cut), "copy it and leave rests";
    "paste" [ctrl('v')] run(Command::Paste), "put down what was copied", "paste";
    "repeat" [ch('r')] Action::Ask(Question::Repeat), "repeat the selection or the bar", "repeat";
    "copy-groups" [] Action::CopyText(Text::Groups), "groups of the selection or section as text";
    "copy-boxes" [] Action::CopyText(Text::Boxes), "boxes of the selection or section as text";
    "copy-syllables" [] Action::CopyText(Text::Syllables), "counting syllables of it as text";
    "copy-explanation" [] Action::CopyText(Text::Explanation), "the whole explanation as text";
    "close" [key(Code::Esc)] Action::Close, "drop the selection";
};

const LAYER: &[Row] = rows! { Grid Layer:
    "add-layer" [ch('n')] Action::Ask(Question::AddLayer), "new layer below: its name and voice", "new layer";
    "copy-layer" [ch('L')] run(Command::CopyLayer), "copy of the layer below it";
    "remove-layer" [ctrl('d')] run(Command::RemoveLayer), "take the layer away";
    "layer-up" [ctrl_key(Code::Up)] run(Command::MoveLayer(-1)), "move the layer up";
    "layer-down" [ctrl_key(Code::Down)] run(Command::MoveLayer(1)), "move the layer down";
    "rename-layer" [ch('R')] Action::Ask(Question::RenameLayer), "rename the layer";
    "voice-next" [ch('i')] run(Command::NextVoice(1)), "the next voice for the layer";
    "voice" [ch('I')] Action::Ask(Question::Voice), "choose the layer's voice by name";
    "sound-file" [] Action::Ask(Question::SoundFile), "a sound file of your own for the layer";
    "division" [ch('/')] Action::Ask(Question::Division), "cells per beat of the layer", "division";
    "cycle" [ch('c')] Action::Ask(Question::Cycle), "repeat the first cells against the bars", "cycle";
    "cycle-off" [ch('C')] run(Command::Cycle(None)), "write the cycle out";
    "mute" [ch('m')] run(Command::Mute), "silence the layer, or not";
    "solo" [ch('S')] run(Command::Solo), "hear the layer alone, or not";
    "louder" [ch('V')] run(Command::GainBy(1)), "1 dB louder";
    "quieter" [ch('v')] run(Command::GainBy(-1)), "1 dB quieter";
    "gain" [ch('G')] Action::Ask(Question::Gain), "gain of the layer in dB";
    "accent-depth" [] Action::Ask(Question::AccentDepth), "accents over plain, ghosts under it, in dB";
    "pan" [ch('P')] Action::Ask(Question::Pan), "place of the layer, -100 left to 100 right";
    "layer-swing" [ch('W')] Action::Ask(Question::LayerSwing), "swing of the layer, as 2:1";
};

const SECTION: &[Row] = rows! { Grid Section:
    "tempo" [ch('T')] Action::Ask(Question::Tempo), "tempo, as 150 or 1/4.=90", "tempo";
    "tempo-up" [] run(Command::TempoBy(1)), "tempo 1 faster";
    "tempo-down" [] run(Command::TempoBy(-1)), "tempo 1 slower";
    "meter" [ch('M')] Action::Ask(Question::Meter), "meter, as 4/4, or additive as 3+2+2/8", "meter";
    "add-bar" [ch('+')] run(Command::BarsBy(1)), "one bar more at the end of the section", "add bar";
    "remove-bar" [ch('_')] run(Command::BarsBy(-1)), "one bar less at the end of the section";
    "bars" [ch('B')] Action::Ask(Question::Bars), "number of bars of the section";
    "times" [ch('*')] Action::Ask(Question::Times), "times through of the section";
    "swing" [ch('w')] Action::Ask(Question::Swing), "swing of the section, as 2:1";
    "add-section" [ch('N')] Action::Ask(Question::AddSection), "new section after this one: name, meter";
    "copy-section" [] run(Command::CopySection), "copy of the section after it";
    "remove-section" [] run(Command::RemoveSection), "take the section away";
    "section-earlier" [] run(Command::MoveSection(-1)), "move the section before the one before";
    "section-later" [] run(Command::MoveSection(1)), "move the section after the next one";
    "rename-section" [] Action::Ask(Question::RenameSection), "rename the section";
    "title" [] Action::Ask(Question::Title), "title of the groove";
    "note" [] Action::Ask(Question::Note), "text that stands with the groove";
};

const SOUND: &[Row] = rows! { Grid Sound:
    "play" [key(Code::Enter)] Action::Play, "play, or stop", "play/stop";
    "play-here" [ch('y')] Action::PlayHere, "play from the cursor's bar on";
    "loop" [ch('l')] Action::NextLoop, "play round: all, the section, the selection";
    "slower" [ch('[')] Action::SpeedBy(-5), "5% slower, the tempo stays as written", "slower";
    "faster" [ch(']')] Action::SpeedBy(5), "5% faster, the tempo stays as written", "faster";
    "speed" [ch('%')] Action::Ask(Question::Speed), "playing speed in percent";
    "beat-click" [ch('k')] Action::BeatClick, "click on the written beat, on or off";
    "hearing-click" [ch('K')] Action::HearingClick, "click on the hearing of the strip, on or off";
    "speaker" [] Action::Ask(Question::Speaker), "sound on your own machine: port and token";
    "beat-cut" [ch('@')] Action::BeatCut, "beat clicked plain, off-beat only, cut in 2-4";
    "hearing-cut" [ch('#')] Action::HearingCut, "hearing clicked plain, off-beat only, cut 2-4";
    "take-groove" [key(Code::F(5))] take(true, false, false), "hear the groove alone";
    "take-beat" [key(Code::F(6))] take(true, true, false), "hear the groove under the written beat";
    "take-hearing" [key(Code::F(7))] take(true, false, true), "hear the groove under the hearing of the strip";
    "take-pulses" [key(Code::F(8))] take(false, true, true), "hear the pulses alone, beat against hearing";
    "take-all" [key(Code::F(9))] take(true, true, true), "hear the pulses with the groove";
    "takes" [ch('&')] Action::Ask(Question::Takes), "hear these takes in a row, so many times each";
    "ladder" [ch('E')] Action::Ladder, "climb from slow to full speed, or leave it";
    "ladder-as" [ch('=')] Action::Ask(Question::Ladder), "climb a ladder of your own, with silences too";
    "ladder-down" [key(Code::F(3))] Action::LadderBy(-1), "ladder: a step back after this time through";
    "ladder-up" [key(Code::F(4))] Action::LadderBy(1), "ladder: the next step after this time through";
    "outputs" [] Action::Outputs, "the outputs there are, and how one is chosen";
};

const TAP: &[Row] = rows! { Grid Tap:
    "tap" [ctrl('t')] Action::Tap, "tap along with the loop", "tap along";
    "tap-report" [] Action::TapReport, "what the last tapping said";
    "tap-calibrate" [] Action::Calibrate, "measure by 16 taps what is taken off every tap";
};

const TAPPING: &[Row] = rows! { Tap Tap:
    "tap-key" [ch(' ')] Action::TapKey, "a tap; letters and digits are taps too", "tap (any letter too)";
    "tap-again" [key(Code::Enter)] Action::TapAgain, "forget the taps, play from the start", "again";
    "tap-end" [key(Code::Esc)] Action::Close, "end, and see what the taps say", "end and report";
    "tap-quit" [ctrl('q')] Action::Quit, "end the program";
};

const PROGRAM: &[Row] = rows! { Grid Program:
    "help" [ch('?'), key(Code::F(1))] Action::Help, "this help", "help";
    "manual" [] Action::Manual, "the manual, with a search";
    "find" [ch('f'), key(Code::F(2))] Action::Find, "find a command by its words", "find";
    "hearings" [ch('h')] Action::Full, "all that is said: hearings, reasons, streams", "hearings";
    "focus" [ch('F')] Action::NextFocus, "hear the first layer, this, all, the selection";
    "hearing-next" [ch('H')] Action::NextHearing, "the next hearing in the strip";
    "strips" [ch('J')] Action::MoreStrips, "two strips of hearings, or all that fit", "more strips";
    "labels" [ch('q')] Action::NextLabels, "written on attacks: groups, pitches, nothing";
    "wider" [ch('z')] Action::ZoomBy(1), "wider columns";
    "narrower" [ch('Z')] Action::ZoomBy(-1), "narrower columns";
    "config-file" [] Action::ConfigFile, "mistakes in the config file";
    "save" [ctrl('s')] Action::Save, "save", "save";
    "save-as" [ctrl('w')] Action::Ask(Question::SaveAs), "save under another name";
    "redraw" [ctrl('l')] Action::Redraw, "draw the screen anew";
    "quit" [ctrl('q')] Action::Quit, "end the program", "end";
};

const GIVE: &[Row] = rows! { Grid Give:
    "export" [] Action::Export(Choice::Groove), "MIDI, MusicXML, a picture, a page, plain text";
    "export-section" [] Action::Export(Choice::Section), "the same of the cursor's section alone";
    "pictures-as" [] Action::Ask(Question::PicturesAs), "pictures for print or screen, width, beams";
    "handout" [] Action::Export(Choice::Handout), "a page to hand out, with its sound";
    "render-wav" [] Action::Ask(Question::RenderWav), "what is heard now, as a WAV file";
    "takes-wav" [] Action::Ask(Question::TakesWav), "the takes back to back, as a WAV file";
    "ladder-wav" [] Action::Ask(Question::LadderWav), "the ladder last asked for, as a WAV file";
    "import" [] Action::Ask(Question::Import), "a groove made of a MIDI or MusicXML file";
    "import-remarks" [] Action::Remarks, "what the last import had to say";
    "cancel" [] Action::Cancel, "cancel what is being made or read";
};

const REPLACING: &[Row] = rows! { Replacing Lists:
    "replace-save" [ch('s'), ctrl('s')] Action::ReplaceFirst, "save, then open what was imported";
    "replace-lose" [ch('y')] Action::Replace, "open what was imported";
    "replace-stay" [key(Code::Esc), ch('n')] Action::Close, "stay with this groove";
};

const LISTS: &[Row] = rows! { List Lists:
    "list-up" [key(Code::Up)] Action::ListUp, "one line up";
    "list-down" [key(Code::Down)] Action::ListDown, "one line down";
    "list-page-up" [key(Code::PageUp)] Action::ListPageUp, "one screen up";
    "list-page-down" [key(Code::PageDown)] Action::ListPageDown, "one screen down";
    "list-first" [key(Code::Home)] Action::ListFirst, "first line";
    "list-last" [key(Code::End)] Action::ListLast, "last line";
    "list-take" [key(Code::Enter), ch(' ')] Action::Accept, "hearing to the strip, or go to the place", "take";
    "list-click" [ch('K')] Action::HearingClick, "click on this hearing, on or off", "click on it";
    "list-click-too" [ch('k')] Action::HearingToo, "click on this one beside others, on or off";
    "list-part" [key(Code::Tab)] Action::NextPart, "hearings, reasons, streams, measures, build", "next part";
    "list-part-before" [key(Code::BackTab)] Action::PreviousPart, "the part before";
    "list-manual" [ch('m')] Action::Manual, "the chapters of the manual", "manual";
    "list-search" [ch('/')] Action::SearchManual, "search the manual", "search";
    "list-match-next" [ch('n')] Action::Match(Direction::Next), "next match in the manual", "next match";
    "list-match-previous" [ch('N')] Action::Match(Direction::Previous), "previous match in the manual";
    "list-close" [key(Code::Esc), ch('h'), ch('?'), key(Code::F(1))] Action::Close, "close";
    "list-quit" [ctrl('q')] Action::Quit, "end the program";
};

const TYPING: &[Row] = rows! { Typing Lists:
    "typing-accept" [key(Code::Enter)] Action::Accept, "take what is typed";
    "typing-close" [key(Code::Esc), ctrl('c')] Action::Close, "leave it";
    "typing-back" [key(Code::Backspace)] Action::Unwrite, "take back a character";
    "typing-clear" [ctrl('u')] Action::Clear, "clear the line";
    "typing-up" [key(Code::Up)] Action::ListUp, "one line up in the list";
    "typing-down" [key(Code::Down), key(Code::Tab)] Action::ListDown, "one line down in the list";
    "typing-page-up" [key(Code::PageUp)] Action::ListPageUp, "one screen up in the list";
    "typing-page-down" [key(Code::PageDown)] Action::ListPageDown, "one screen down in the list";
};

const LEAVING: &[Row] = rows! { Leaving Lists:
    "leave-save" [ch('s'), ctrl('s')] Action::SaveFirst, "save, then end";
    "leave-lose" [ch('y')] Action::Yes, "end without saving";
    "leave-stay" [key(Code::Esc), ch('n')] Action::Close, "stay";
};

const OVERWRITING: &[Row] = rows! { Overwriting Lists:
    "overwrite-yes" [ch('y')] Action::Overwrite, "write over the file";
    "overwrite-no" [key(Code::Esc), ch('n')] Action::Close, "leave the file as it is";
};

const TABLE: &[&[Row]] = &[
    LAY,
    MOVE,
    CHANGE,
    SELECT,
    SOUND,
    TAP,
    TAPPING,
    LAYER,
    SECTION,
    GIVE,
    PROGRAM,
    LISTS,
    TYPING,
    LEAVING,
    OVERWRITING,
    REPLACING,
];

/// Every row of the table.
pub fn rows() -> impl Iterator<Item = &'static Row> {
    TABLE.iter().flat_map(|group| group.iter())
}
