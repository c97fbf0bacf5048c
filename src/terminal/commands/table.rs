//! The table of commands: name, default keys, action, description, hint.

use super::{CommandSpec, Group, Mode};
use crate::rhythm::{Accent, Stretch};
use crate::session::{Command, Keep, Motion, PasteContent, PasteInCycle};
use crate::terminal::action::{Action, CopyText};
use crate::terminal::files::export::ExportMenu;
use crate::terminal::input::key::{ch, ctrl, ctrl_key, ctrl_shift, key, shift};
use crate::terminal::manual::Direction;
use crate::terminal::playback::mix::Mix;
use crate::terminal::prompts::question::Question;
use ratatui::crossterm::event::KeyCode as Code;
use tui_input::InputRequest;

macro_rules! commands {
    ($mode:ident $group:ident: $($name:literal [$($key:expr),*] $action:expr, $description:literal $(, $hint:literal)?;)*) => {
        &[$(CommandSpec {
            name: $name, keys: &[$($key),*], mode: Mode::$mode, action: $action, group: Group::$group, description: $description,
            hint: concat!($($hint)?),
        }),*]
    };
}

const fn go(motion: Motion) -> Action {
    Action::Run(Command::Move(motion))
}

const fn extend(motion: Motion) -> Action {
    Action::Run(Command::Extend(motion))
}

const fn run(command: Command) -> Action {
    Action::Run(command)
}

const fn paste(content: PasteContent) -> Action {
    Action::Run(Command::Paste(content, PasteInCycle::Ask))
}

const ENTER: &[CommandSpec] = commands! { Grid Enter:
    "enter-group" [ch('1'), ch('2'), ch('3'), ch('4'), ch('5'), ch('6'), ch('7'), ch('8'), ch('9'), ch('0')]
        Action::EnterDigit, "attack of 1 to 9 cells (0: 10); move on", "enter group";
    "enter-groups" [ch('g')] Action::Ask(Question::Groups), "type a group line, as 3(4+4+3)+5+2", "groups";
    "attack" [ch('x')] run(Command::Attack(Accent::Plain)), "attack in this cell; move on";
    "attack-accent" [ch('X')] run(Command::Attack(Accent::Accent)), "accented attack; move on";
    "attack-ghost" [ch('o')] run(Command::Attack(Accent::Ghost)), "ghost attack; move on";
    "hold" [ch('-')] run(Command::Hold), "hold the sound through this cell; move on";
    "rest" [ch('.')] run(Command::Rest), "rest in this cell; move on";
    "toggle" [ch(' ')] run(Command::Toggle), "switch between attack and rest; stay", "attack/rest";
    "delete-previous" [key(Code::Backspace)] run(Command::DeletePrevious), "delete the previous attack", "delete";
};

const MOVE: &[CommandSpec] = commands! { Grid Move:
    "left" [key(Code::Left)] go(Motion::Left), "move one cell left";
    "right" [key(Code::Right)] go(Motion::Right), "move one cell right";
    "up" [key(Code::Up)] go(Motion::Up), "move to the layer above";
    "down" [key(Code::Down)] go(Motion::Down), "move to the layer below";
    "beat-left" [ctrl_key(Code::Left), ch(',')] go(Motion::BeatLeft), "move one beat left";
    "beat-right" [ctrl_key(Code::Right), ch(';')] go(Motion::BeatRight), "move one beat right";
    "bar-left" [key(Code::PageUp)] go(Motion::BarLeft), "move one bar left";
    "bar-right" [key(Code::PageDown)] go(Motion::BarRight), "move one bar right";
    "attack-next" [key(Code::Tab)] go(Motion::NextAttack), "move to the next attack";
    "attack-previous" [key(Code::BackTab)] go(Motion::PreviousAttack), "move to the previous attack";
    "section-start" [key(Code::Home)] go(Motion::SectionStart), "move to the start of the section";
    "section-end" [key(Code::End)] go(Motion::SectionEnd), "move to the end of the section";
    "groove-start" [ctrl_key(Code::Home)] go(Motion::GrooveStart), "move to the start of the groove";
    "groove-end" [ctrl_key(Code::End)] go(Motion::GrooveEnd), "move to the end of the groove";
    "section-previous" [ch('{'), ctrl_key(Code::PageUp)] go(Motion::PreviousSection), "move to the previous section";
    "section-next" [ch('}'), ctrl_key(Code::PageDown)] go(Motion::NextSection), "move to the next section";
    "go-to-bar" [ch('j')] Action::Ask(Question::Bar), "go to a bar by number";
};

const CHANGE: &[CommandSpec] = commands! { Grid Change:
    "erase" [key(Code::Delete)] run(Command::Erase), "replace the selection or cell with rests", "erase";
    "accent" [ch('a')] run(Command::CycleAccent), "cycle plain, accent, ghost", "accent";
    "pitch" [ch('p')] Action::Ask(Question::Pitch), "set the pitch, as E2 or F#3", "pitch";
    "pitch-up" [ch('u')] run(Command::Transpose(1)), "raise the pitch a semitone";
    "pitch-down" [ch('d')] run(Command::Transpose(-1)), "lower the pitch a semitone";
    "octave-up" [ch('U')] run(Command::Transpose(12)), "raise the pitch an octave";
    "octave-down" [ch('D')] run(Command::Transpose(-12)), "lower the pitch an octave";
    "tuplet" [ch('t')] Action::Ask(Question::Tuplet), "tuplet: cells in a beat (5) or in beats (7/2)", "tuplet";
    "even-beat" [ch('e')] run(Command::EvenBeat), "remove the tuplet from the beat";
    "rotate-later" [ch('>')] run(Command::Rotate(1)), "rotate one cell later";
    "rotate-earlier" [ch('<')] run(Command::Rotate(-1)), "rotate one cell earlier";
    "rotate" [] Action::Ask(Question::Rotate), "rotate by a number of cells";
    "shift-later" [ch(')')] run(Command::Shift(1)), "shift one cell later, filling with rests";
    "shift-earlier" [ch('(')] run(Command::Shift(-1)), "shift one cell earlier, filling with rests";
    "shift" [] Action::Ask(Question::Shift), "shift by a number of cells";
    "double-lengths" [] run(Command::Stretch(Stretch::Double)), "make the selection twice as long";
    "halve-lengths" [] run(Command::Stretch(Stretch::Halve)), "make the selection half as long";
    "undo" [ctrl('z')] run(Command::Undo), "undo", "undo";
    "redo" [ctrl('y')] run(Command::Redo), "redo";
};

const SELECT: &[CommandSpec] = commands! { Grid Select:
    "select-left" [shift(Code::Left)] extend(Motion::Left), "extend the selection one cell left";
    "select-right" [shift(Code::Right)] extend(Motion::Right), "extend the selection one cell right";
    "select-up" [shift(Code::Up)] extend(Motion::Up), "extend the selection to the layer above";
    "select-down" [shift(Code::Down)] extend(Motion::Down), "extend the selection to the layer below";
    "select-beat-left" [ctrl_shift(Code::Left)] extend(Motion::BeatLeft), "extend the selection one beat left";
    "select-beat-right" [ctrl_shift(Code::Right)] extend(Motion::BeatRight), "extend the selection one beat right";
    "select-to-start" [shift(Code::Home)] extend(Motion::SectionStart), "select to the start of the section";
    "select-to-end" [shift(Code::End)] extend(Motion::SectionEnd), "select to the end of the section";
    "select" [ch('s')] Action::StartSelecting, "start selecting; movement extends, Esc stops", "select";
    "select-bar" [ch('b')] run(Command::SelectBar), "select the bar", "bar";
    "select-cells" [] Action::Ask(Question::SelectCells), "select a number of cells from here on";
    "select-section" [ch('A')] run(Command::SelectSection), "select the section in this layer";
    "select-all" [ctrl('a')] run(Command::SelectAllLayers), "select the section in all layers";
    "copy" [ctrl('c')] run(Command::Copy), "copy the selection or the bar", "copy";
    "cut" [ctrl('x')] run(Command::Cut), "cut the selection or the bar";
    "paste" [ctrl('v')] paste(PasteContent::All), "paste", "paste";
    "paste-rhythm" [] paste(PasteContent::Rhythm), "paste without accents and pitches";
    "repeat" [ch('r')] Action::Ask(Question::Repeat), "repeat the selection or the bar", "repeat";
    "copy-groups" [] Action::Copy(CopyText::Groups), "copy the group lines as text";
    "copy-boxes" [] Action::Copy(CopyText::Boxes), "copy the cells as text boxes";
    "copy-syllables" [] Action::Copy(CopyText::Syllables), "copy the counting syllables as text";
    "copy-explanation" [] Action::Copy(CopyText::Explanation), "copy the whole explanation as text";
    "close" [key(Code::Esc)] Action::Close, "clear the selection", "deselect";
};

const LAYER: &[CommandSpec] = commands! { Grid Layer:
    "add-layer" [ch('n')] Action::Ask(Question::AddLayer), "add a layer: name and voice", "new layer";
    "copy-layer" [ch('L')] run(Command::CopyLayer), "duplicate the layer";
    "remove-layer" [ctrl('d')] run(Command::RemoveLayer), "delete the layer";
    "layer-up" [ctrl_key(Code::Up)] run(Command::MoveLayer(-1)), "move the layer up";
    "layer-down" [ctrl_key(Code::Down)] run(Command::MoveLayer(1)), "move the layer down";
    "rename-layer" [ch('R')] Action::Ask(Question::RenameLayer), "rename the layer";
    "voice-next" [ch('i')] run(Command::NextVoice(1)), "use the next voice for the layer";
    "voice" [ch('I')] Action::Ask(Question::Voice), "choose the layer's voice";
    "sound-file" [] Action::Ask(Question::SoundFile), "use a sound file for the layer";
    "division" [ch('/')] Action::Ask(Question::Division(Keep::NoteValues)), "set the layer's cells per beat", "division";
    "cycle" [ch('c')] Action::Ask(Question::Cycle), "repeat the section's first cells as a cycle", "cycle";
    "cycle-off" [ch('C')] run(Command::Cycle(None)), "write the cycle out";
    "mute" [ch('m')] run(Command::Mute), "mute or unmute the layer";
    "solo" [ch('S')] run(Command::Solo), "solo or unsolo the layer";
    "louder" [ch('V')] run(Command::GainBy(1)), "raise the gain by 1 dB";
    "quieter" [ch('v')] run(Command::GainBy(-1)), "lower the gain by 1 dB";
    "gain" [ch('G')] Action::Ask(Question::Gain), "set the layer's gain in dB";
    "accent-depth" [] Action::Ask(Question::AccentDepth), "level of accents and ghosts, in dB";
    "pan" [ch('P')] Action::Ask(Question::Pan), "pan the layer, -100 left to 100 right";
    "layer-swing" [ch('W')] Action::Ask(Question::LayerSwing), "set the layer's swing, as 2:1";
};

const SECTION: &[CommandSpec] = commands! { Grid Section:
    "tempo" [ch('T')] Action::Ask(Question::Tempo), "set the tempo, as 150 or 1/4.=90", "tempo";
    "tempo-up" [] run(Command::TempoBy(1)), "raise the tempo by 1";
    "tempo-down" [] run(Command::TempoBy(-1)), "lower the tempo by 1";
    "meter" [ch('M')] Action::Ask(Question::Meter(Keep::NoteValues)), "set the meter, as 4/4 or 3+2+2/8", "meter";
    "add-bar" [ch('+')] run(Command::BarsBy(1)), "add a bar to the end of the section", "add bar";
    "remove-bar" [ch('_')] run(Command::BarsBy(-1)), "remove the section's last bar";
    "insert-bar" [] run(Command::InsertBar), "insert a bar before this one";
    "delete-bars" [] run(Command::DeleteBars), "delete this bar, or those selected";
    "bars" [ch('B')] Action::Ask(Question::Bars), "set the section's number of bars";
    "times" [ch('*')] Action::Ask(Question::Times), "set how many times the section plays";
    "swing" [ch('w')] Action::Ask(Question::Swing), "set the section's swing, as 2:1";
    "add-section" [ch('N')] Action::Ask(Question::AddSection), "add a section after this one: name, meter";
    "copy-section" [] run(Command::CopySection), "duplicate the section";
    "remove-section" [] run(Command::RemoveSection), "delete the section";
    "section-earlier" [] run(Command::MoveSection(-1)), "move the section earlier";
    "section-later" [] run(Command::MoveSection(1)), "move the section later";
    "split-section" [] run(Command::SplitSection), "begin a new section with this bar";
    "join-sections" [] run(Command::JoinSections), "join the section with the next one";
    "rename-section" [] Action::Ask(Question::RenameSection), "rename the section";
    "title" [] Action::Ask(Question::Title), "set the groove's title";
    "note" [] Action::Ask(Question::Note), "edit the note saved with the groove";
};

const SOUND: &[CommandSpec] = commands! { Grid Sound:
    "play" [key(Code::Enter)] Action::Play, "play or stop", "play/stop";
    "play-here" [ch('y')] Action::PlayFromCursor, "play from the bar at the cursor";
    "loop" [ch('l')] Action::NextLoopMode, "loop: whole groove, section or selection";
    "slower" [ch('[')] Action::SpeedBy(-5), "play 5% slower, the written tempo unchanged", "slower";
    "faster" [ch(']')] Action::SpeedBy(5), "play 5% faster, the written tempo unchanged", "faster";
    "speed" [ch('%')] Action::Ask(Question::Speed), "set the playback speed in percent";
    "volume-down" [ch('\'')] Action::VolumeBy(-2), "lower the volume by 2 dB", "quieter";
    "volume-up" [ch('"')] Action::VolumeBy(2), "raise the volume by 2 dB", "louder";
    "click-down" [] Action::ClickVolumeBy(-2), "lower the click volume by 2 dB";
    "click-up" [] Action::ClickVolumeBy(2), "raise the click volume by 2 dB";
    "beat-click" [ch('k')] Action::ToggleBeatClick, "click the written beat, on or off";
    "hearing-click" [ch('K')] Action::ToggleHearingClick, "click the selected hearing, on or off";
    "beat-click-next" [ch('@')] Action::NextBeatClick, "beat click: beats, off-beats, 2 to 4 per beat";
    "hearing-click-next" [ch('#')] Action::NextHearingClick, "hearing click: pulses, off-beats, 2 to 4 each";
    "take-groove" [key(Code::F(5))] Action::PlayTake(Mix::GROOVE), "play the groove alone";
    "take-beat" [key(Code::F(6))] Action::PlayTake(Mix::GROOVE_AND_BEAT), "play the groove and the written beat";
    "take-hearing" [key(Code::F(7))] Action::PlayTake(Mix::GROOVE_AND_HEARING), "play the groove and the selected hearing";
    "take-pulses" [key(Code::F(8))] Action::PlayTake(Mix::PULSES), "play only the beat and the hearing";
    "take-all" [key(Code::F(9))] Action::PlayTake(Mix::ALL), "play the groove, the beat and the hearing";
    "takes" [ch('&')] Action::Ask(Question::Takes), "play all takes in turn";
    "ladder" [ch('E')] Action::ToggleLadder, "start or leave the tempo ladder";
    "ladder-as" [ch('=')] Action::Ask(Question::Ladder), "start a ladder: speeds, loops, silent loops";
    "ladder-down" [key(Code::F(3))] Action::LadderBy(-1), "ladder: previous step after this loop";
    "ladder-up" [key(Code::F(4))] Action::LadderBy(1), "ladder: next step after this loop";
    "outputs" [] Action::Outputs, "list the output devices";
};

const TAP: &[CommandSpec] = commands! { Grid Tap:
    "tap" [ctrl('t')] Action::TapAlong, "tap along with the loop", "tap along";
    "tap-report" [] Action::TapReport, "show the report of the last tapping";
    "tap-calibrate" [] Action::Calibrate, "calibrate tap latency (16 taps)";
};

const TAPPING: &[CommandSpec] = commands! { Tap Tap:
    "tap-key" [ch(' ')] Action::Tap, "tap; any letter or digit works too", "tap (any letter too)";
    "tap-restart" [key(Code::Enter)] Action::RestartTapping, "discard the taps and start again", "start again";
    "tap-end" [key(Code::Esc)] Action::Close, "stop and show the report", "stop and report";
    "tap-quit" [ctrl('q')] Action::Quit, "quit";
};

const PROGRAM: &[CommandSpec] = commands! { Grid Program:
    "help" [ch('?'), key(Code::F(1))] Action::Help, "show this help", "help";
    "manual" [] Action::Manual, "open the manual";
    "find" [ch('f'), key(Code::F(2))] Action::FindCommand, "find a command", "find";
    "hearings" [ch('h')] Action::FullView, "show all hearings, reasons and streams", "hearings";
    "focus" [ch('F')] Action::NextFocus, "analyse first layer, this one, all, selection";
    "hearing-next" [ch('H')] Action::NextHearing, "select the next hearing";
    "strips" [ch('J')] Action::ToggleStrips, "show two rows of pulses, or all that fit", "more strips";
    "labels" [ch('q')] Action::NextLabels, "label attacks: groups, pitches or nothing";
    "wider" [ch('z')] Action::ZoomBy(1), "widen the columns";
    "narrower" [ch('Z')] Action::ZoomBy(-1), "narrow the columns";
    "config-file" [] Action::ConfigFile, "show the errors in the config file";
    "save" [ctrl('s')] Action::Save, "save", "save";
    "save-as" [ctrl('w')] Action::Ask(Question::SaveAs), "save under another name";
    "redraw" [ctrl('l')] Action::Redraw, "redraw the screen";
    "quit" [ctrl('q')] Action::Quit, "quit", "quit";
};

const EXPORT: &[CommandSpec] = commands! { Grid Export:
    "export" [] Action::Export(ExportMenu::Groove), "export MIDI, MusicXML, pictures, pages or text";
    "export-section" [] Action::Export(ExportMenu::Section), "export only this section";
    "pictures-as" [] Action::Ask(Question::PicturesAs), "set picture theme, width and notation";
    "handout" [] Action::Export(ExportMenu::Handout), "export a handout page with its sound";
    "render-wav" [] Action::Ask(Question::RenderWav), "export what plays now as a WAV file";
    "takes-wav" [] Action::Ask(Question::TakesWav), "export the takes as a WAV file";
    "ladder-wav" [] Action::Ask(Question::LadderWav), "export the last ladder as a WAV file";
    "import" [] Action::Ask(Question::Import), "import a MIDI or MusicXML file";
    "import-warnings" [] Action::ImportWarnings, "show the warnings of the last import";
    "cancel" [] Action::CancelJob, "cancel the running export or import";
};

const CONFIRM_IMPORT: &[CommandSpec] = commands! { ConfirmImport Lists:
    "import-save" [ch('s'), ctrl('s')] Action::SaveThenOpenImport, "save, then open the import";
    "import-discard" [ch('y')] Action::OpenImport, "open the import without saving";
    "import-cancel" [key(Code::Esc), ch('n')] Action::Close, "keep this groove";
};

const CHOICE: &[CommandSpec] = commands! { Choice Lists:
    "choose-first" [ch('1'), key(Code::Enter)] Action::Choose(0), "first answer";
    "choose-second" [ch('2')] Action::Choose(1), "second answer";
    "choose-cancel" [key(Code::Esc), ch('n')] Action::Close, "change nothing";
};

const RECOVERY: &[CommandSpec] = commands! { Recovery Lists:
    "recover-accept" [key(Code::Enter), ch('r')] Action::Recover, "recover the unsaved changes", "recover";
    "recover-view" [ch('v')] Action::ViewUnsaved, "show the groove's text, or what differs", "view";
    "recover-discard" [ch('D')] Action::DiscardUnsaved, "discard the unsaved changes", "discard";
    "recover-later" [key(Code::Esc)] Action::Close, "keep the unsaved changes for the next start", "later";
    "recover-up" [key(Code::Up)] Action::ScrollUnsaved(-1), "move one line up";
    "recover-down" [key(Code::Down)] Action::ScrollUnsaved(1), "move one line down", "down";
    "recover-page-up" [key(Code::PageUp)] Action::ScrollUnsaved(-15), "move 15 lines up";
    "recover-page-down" [key(Code::PageDown)] Action::ScrollUnsaved(15), "move 15 lines down";
};

const LISTS: &[CommandSpec] = commands! { List Lists:
    "list-up" [key(Code::Up)] Action::ListUp, "move one line up";
    "list-down" [key(Code::Down)] Action::ListDown, "move one line down", "down";
    "list-page-up" [key(Code::PageUp)] Action::ListPageUp, "move one page up";
    "list-page-down" [key(Code::PageDown)] Action::ListPageDown, "move one page down";
    "list-first" [key(Code::Home)] Action::ListFirst, "move to the first line";
    "list-last" [key(Code::End)] Action::ListLast, "move to the last line";
    "list-accept" [key(Code::Enter), ch(' ')] Action::Accept, "select the hearing or go to the place", "select";
    "list-click" [ch('K')] Action::ToggleHearingClick, "click this hearing, on or off", "click";
    "list-click-extra" [ch('k')] Action::ToggleExtraHearingClick, "click this hearing as well, on or off";
    "list-part" [key(Code::Tab)] Action::NextPart, "show the next part", "next part";
    "list-part-previous" [key(Code::BackTab)] Action::PreviousPart, "show the previous part";
    "list-manual" [ch('m')] Action::Manual, "show the chapters of the manual", "manual";
    "list-search" [ch('/')] Action::SearchManual, "search the manual", "search";
    "list-match-next" [ch('n')] Action::FindMatch(Direction::Next), "next match in the manual", "next match";
    "list-match-previous" [ch('N')] Action::FindMatch(Direction::Previous), "previous match in the manual";
    "list-close" [key(Code::Esc), ch('h'), ch('?'), key(Code::F(1))] Action::Close, "close";
    "list-quit" [ctrl('q')] Action::Quit, "quit the program";
};

const TYPING: &[CommandSpec] = commands! { Typing Lists:
    "typing-accept" [key(Code::Enter)] Action::Accept, "accept";
    "typing-close" [key(Code::Esc), ctrl('c')] Action::Close, "cancel";
    "typing-left" [key(Code::Left)] Action::EditText(InputRequest::GoToPrevChar), "move the cursor left";
    "typing-right" [key(Code::Right)] Action::EditText(InputRequest::GoToNextChar), "move the cursor right";
    "typing-word-left" [ctrl_key(Code::Left)] Action::EditText(InputRequest::GoToPrevWord), "move the cursor one word left";
    "typing-word-right" [ctrl_key(Code::Right)] Action::EditText(InputRequest::GoToNextWord), "move the cursor one word right";
    "typing-start" [key(Code::Home)] Action::EditText(InputRequest::GoToStart), "move the cursor to the start of the line";
    "typing-end" [key(Code::End)] Action::EditText(InputRequest::GoToEnd), "move the cursor to the end of the line";
    "typing-back" [key(Code::Backspace)] Action::EditText(InputRequest::DeletePrevChar), "delete the character before the cursor";
    "typing-delete" [key(Code::Delete)] Action::EditText(InputRequest::DeleteNextChar), "delete the character at the cursor";
    "typing-delete-word" [ctrl('w')] Action::EditText(InputRequest::DeletePrevWord), "delete the word before the cursor";
    "typing-clear" [ctrl('u')] Action::EditText(InputRequest::DeleteLine), "clear the line";
    "typing-up" [key(Code::Up)] Action::ListUp, "previous entry in the list";
    "typing-down" [key(Code::Down), key(Code::Tab)] Action::ListDown, "next entry in the list", "next";
    "typing-page-up" [key(Code::PageUp)] Action::ListPageUp, "previous page of the list";
    "typing-page-down" [key(Code::PageDown)] Action::ListPageDown, "next page of the list";
};

const CONFIRM_QUIT: &[CommandSpec] = commands! { ConfirmQuit Lists:
    "quit-save" [ch('s'), ctrl('s')] Action::SaveThenQuit, "save, then quit";
    "quit-discard" [ch('y')] Action::QuitWithoutSaving, "quit without saving";
    "quit-cancel" [key(Code::Esc), ch('n')] Action::Close, "do not quit";
};

const CONFIRM_OVERWRITE: &[CommandSpec] = commands! { ConfirmOverwrite Lists:
    "overwrite-yes" [ch('y')] Action::Overwrite, "overwrite the file";
    "overwrite-no" [key(Code::Esc), ch('n')] Action::Close, "keep the file as it is";
};

pub(super) const TABLE: &[&[CommandSpec]] = &[
    ENTER,
    MOVE,
    CHANGE,
    SELECT,
    SOUND,
    TAP,
    TAPPING,
    LAYER,
    SECTION,
    EXPORT,
    PROGRAM,
    LISTS,
    TYPING,
    CONFIRM_QUIT,
    CONFIRM_OVERWRITE,
    CONFIRM_IMPORT,
    CHOICE,
    RECOVERY,
];
