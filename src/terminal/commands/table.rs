//! The table of commands: name, default keys, action, description, hint.

use super::Action::{Ask, Call, Edit, EnterDigit, Navigate, Run, Tap};
use super::{Action, CommandSpec, Mode};
use crate::rhythm::{Accent, LengthScale};
use crate::session::{Command, Keep, Motion, PasteContent, PasteInCycle};
use crate::terminal::dispatch;
use crate::terminal::event::Effect;
use crate::terminal::files::clipboard::{self, CopyText};
use crate::terminal::files::export::{self, ExportMenu};
use crate::terminal::files::{import, outside_sounds, recovery, save};
use crate::terminal::hearings;
use crate::terminal::input::key::{ch, ctrl, ctrl_key, ctrl_shift, key, shift};
use crate::terminal::lists::{self, Step};
use crate::terminal::manual::{self, Direction};
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::mix::Mix;
use crate::terminal::playback::{clicks, practice, tapping, transport};
use crate::terminal::prompts::question::Question;
use crate::terminal::scroll;
use ratatui::crossterm::event::KeyCode as Code;
use tui_input::InputRequest;

macro_rules! commands {
    ($($mode:ident $heading:literal {
        $($name:literal [$($key:expr),*] $action:expr, $description:literal $(, $hint:literal)?;)*
    })*) => {
        &[$($(CommandSpec {
            name: $name, keys: &[$($key),*], mode: Mode::$mode, action: $action, heading: $heading,
            description: $description, hint: concat!($($hint)?),
        },)*)*]
    };
}

const fn go(motion: Motion) -> Action {
    Run(Command::Move(motion))
}

const fn paste(content: PasteContent) -> Action {
    Run(Command::Paste(content, PasteInCycle::Ask))
}

const fn extend(motion: Motion) -> Action {
    Run(Command::Extend(motion))
}

/// Commands of one heading stand together.
pub(super) static TABLE: &[CommandSpec] = commands! {
    Grid "Entering attacks" {
        "enter-group" [ch('1'), ch('2'), ch('3'), ch('4'), ch('5'), ch('6'), ch('7'), ch('8'), ch('9'), ch('0')]
            EnterDigit, "enter a group of 1 to 9 cells (0 for 10)", "enter group";
        "enter-groups" [ch('g')] Ask(Question::Groups), "type a group line, like 3(4+4+3)+5+2", "groups";
        "attack" [ch('x')] Run(Command::Attack(Accent::Plain)), "enter an attack and advance";
        "attack-accent" [ch('X')] Run(Command::Attack(Accent::Accent)), "enter an accented attack and advance";
        "attack-ghost" [ch('o')] Run(Command::Attack(Accent::Ghost)), "enter a ghost attack and advance";
        "hold" [ch('-')] Run(Command::Hold), "hold the sound through this cell and advance";
        "rest" [ch('.')] Run(Command::Rest), "enter a rest and advance";
        "toggle" [ch(' ')] Run(Command::Toggle), "switch between attack and rest; stay", "attack/rest";
        "delete-previous" [key(Code::Backspace)] Run(Command::DeletePrevious), "delete the previous attack", "delete";
    }
    Grid "Moving" {
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
        "section-previous" [ch('{'), ctrl_key(Code::PageUp)] go(Motion::PreviousSection),
            "move to the previous section";
        "section-next" [ch('}'), ctrl_key(Code::PageDown)] go(Motion::NextSection), "move to the next section";
        "go-to-bar" [ch('j')] Ask(Question::Bar), "go to a bar by number";
    }
    Grid "Editing attacks" {
        "erase" [key(Code::Delete)] Run(Command::Erase), "replace the selection or cell with rests", "erase";
        "accent" [ch('a')] Run(Command::CycleAccent), "switch between plain, accent and ghost", "accent";
        "pitch" [ch('p')] Ask(Question::Pitch), "set the pitch, like E2 or F#3", "pitch";
        "pitch-up" [ch('u')] Run(Command::Transpose(1)), "raise the pitch a semitone";
        "pitch-down" [ch('d')] Run(Command::Transpose(-1)), "lower the pitch a semitone";
        "octave-up" [ch('U')] Run(Command::Transpose(12)), "raise the pitch an octave";
        "octave-down" [ch('D')] Run(Command::Transpose(-12)), "lower the pitch an octave";
        "tuplet" [ch('t')] Ask(Question::Tuplet), "tuplet: cells in a beat (5) or in beats (7/2)", "tuplet";
        "even-beat" [ch('e')] Run(Command::EvenBeat), "remove the tuplet from the beat";
        "rotate-later" [ch('>')] Run(Command::Rotate(1)), "rotate one cell later";
        "rotate-earlier" [ch('<')] Run(Command::Rotate(-1)), "rotate one cell earlier";
        "rotate" [] Ask(Question::Rotate), "rotate by a number of cells";
        "shift-later" [ch(')')] Run(Command::Shift(1)), "shift one cell later, filling with rests";
        "shift-earlier" [ch('(')] Run(Command::Shift(-1)), "shift one cell earlier, filling with rests";
        "shift" [] Ask(Question::Shift), "shift by a number of cells";
        "double-lengths" [] Run(Command::ScaleLengths(LengthScale::Double)), "make the selection twice as long";
        "halve-lengths" [] Run(Command::ScaleLengths(LengthScale::Halve)), "make the selection half as long";
        "undo" [ctrl('z')] Run(Command::Undo), "undo", "undo";
        "redo" [ctrl('y')] Run(Command::Redo), "redo";
    }
    Grid "Selecting and copying" {
        "select-left" [shift(Code::Left)] extend(Motion::Left), "extend the selection one cell left";
        "select-right" [shift(Code::Right)] extend(Motion::Right), "extend the selection one cell right";
        "select-up" [shift(Code::Up)] extend(Motion::Up), "extend the selection to the layer above";
        "select-down" [shift(Code::Down)] extend(Motion::Down), "extend the selection to the layer below";
        "select-beat-left" [ctrl_shift(Code::Left)] extend(Motion::BeatLeft), "extend the selection one beat left";
        "select-beat-right" [ctrl_shift(Code::Right)] extend(Motion::BeatRight), "extend the selection one beat right";
        "select-to-start" [shift(Code::Home)] extend(Motion::SectionStart), "select to the start of the section";
        "select-to-end" [shift(Code::End)] extend(Motion::SectionEnd), "select to the end of the section";
        "select" [ch('s')] Call(dispatch::start_selecting), "start selecting; movement extends, Esc stops", "select";
        "select-bar" [ch('b')] Run(Command::SelectBar), "select the bar", "bar";
        "select-cells" [] Ask(Question::SelectCells), "select a number of cells from here on";
        "select-section" [ch('A')] Run(Command::SelectSection), "select the section in this layer";
        "select-all" [ctrl('a')] Run(Command::SelectAllLayers), "select the section in all layers";
        "copy" [ctrl('c')] Run(Command::Copy), "copy the selection or the bar", "copy";
        "cut" [ctrl('x')] Run(Command::Cut), "cut the selection or the bar";
        "paste" [ctrl('v')] paste(PasteContent::All), "paste", "paste";
        "paste-rhythm" [] paste(PasteContent::Rhythm), "paste without accents and pitches";
        "repeat" [ch('r')] Ask(Question::Repeat), "repeat the selection or the bar", "repeat";
        "copy-groups" [] Call(|s| clipboard::copy(s, CopyText::Groups)), "copy the group lines as text";
        "copy-boxes" [] Call(|s| clipboard::copy(s, CopyText::Boxes)), "copy the cells in box notation";
        "copy-syllables" [] Call(|s| clipboard::copy(s, CopyText::Syllables)), "copy the counting syllables as text";
        "copy-explanation" [] Call(|s| clipboard::copy(s, CopyText::Explanation)), "copy the whole explanation as text";
        "close" [key(Code::Esc)] Call(dispatch::close), "clear the selection", "deselect";
    }
    Grid "Playback" {
        "play" [key(Code::Enter)] Call(transport::toggle), "play or stop", "play/stop";
        "play-here" [ch('y')] Call(transport::start_at_cursor), "play from the bar at the cursor";
        "loop" [ch('l')] Call(transport::next_loop_mode), "loop: whole groove, section or loop region";
        "loop-region" [ch(':')] Call(transport::loop_region), "loop the selection or bar as the loop region", "loop";
        "loop-start" [] Call(transport::loop_start), "set the loop start at the cursor";
        "loop-end" [] Call(transport::loop_end), "set the loop end after the cursor";
        "loop-clear" [] Call(transport::clear_loop_region), "clear the loop region";
        "slower" [ch('[')] Call(|s| transport::speed_by(s, -5)),
            "play 5% slower, the written tempo unchanged", "slower";
        "faster" [ch(']')] Call(|s| transport::speed_by(s, 5)), "play 5% faster, the written tempo unchanged", "faster";
        "speed" [ch('%')] Ask(Question::Speed), "set the playback speed in percent";
        "volume-down" [ch('\'')] Call(|s| transport::volume_by(s, -2)), "lower the volume by 2 dB", "quieter";
        "volume-up" [ch('"')] Call(|s| transport::volume_by(s, 2)), "raise the volume by 2 dB", "louder";
        "click-down" [] Call(|s| transport::click_volume_by(s, -2)), "lower the click volume by 2 dB";
        "click-up" [] Call(|s| transport::click_volume_by(s, 2)), "raise the click volume by 2 dB";
        "beat-click" [ch('k')] Call(clicks::toggle_beat), "turn the click of the written beat on or off";
        "hearing-click" [ch('K')] Call(clicks::toggle_hearing), "turn the selected hearing's click on or off";
        "beat-click-next" [ch('@')] Call(clicks::next_beat_click), "beat click: beats, off-beats, 2 to 4 per beat";
        "hearing-click-next" [ch('#')] Call(clicks::next_hearing_click),
            "hearing click: pulses, off-beats, 2 to 4 each";
        "take-groove" [key(Code::F(5))] Call(|s| clicks::play_take(s, Mix::GROOVE)), "play the groove alone";
        "take-beat" [key(Code::F(6))] Call(|s| clicks::play_take(s, Mix::GROOVE_AND_BEAT)),
            "play the groove and the written beat";
        "take-hearing" [key(Code::F(7))] Call(|s| clicks::play_take(s, Mix::GROOVE_AND_HEARING)),
            "play the groove and the selected hearing";
        "take-pulses" [key(Code::F(8))] Call(|s| clicks::play_take(s, Mix::PULSES)),
            "play only the beat and the hearing";
        "take-all" [key(Code::F(9))] Call(|s| clicks::play_take(s, Mix::ALL)),
            "play the groove, the beat and the hearing";
        "takes" [ch('&')] Ask(Question::Takes), "play all takes in turn";
        "ladder" [ch('E')] Call(practice::toggle_ladder), "start or leave the tempo ladder";
        "ladder-as" [ch('=')] Ask(Question::Ladder), "start a ladder: speeds, passes, muted passes";
        "ladder-down" [key(Code::F(3))] Call(|s| practice::step(s, -1)), "play the previous ladder step after this pass";
        "ladder-up" [key(Code::F(4))] Call(|s| practice::step(s, 1)), "play the next ladder step after this pass";
        "outputs" [] Call(|s| s.effects.push(Effect::Outputs)), "list the output devices";
    }
    Grid "Tapping along" {
        "tap" [ctrl('t')] Call(tapping::begin), "tap along with the loop", "tap along";
        "tap-report" [] Call(tapping::show_report), "show the report of the last tapping";
        "tap-calibrate" [] Call(tapping::begin_calibrating), "calibrate the tap offset (16 taps)";
    }
    Tap "Tapping along" {
        "tap-key" [ch(' ')] Tap, "tap; any letter or digit works too", "tap (any letter too)";
        "tap-restart" [key(Code::Enter)] Call(tapping::restart), "discard the taps and start again", "start again";
        "tap-end" [key(Code::Esc)] Call(dispatch::close), "stop and show the report", "stop and report";
        "tap-quit" [ctrl('q')] Call(dispatch::quit), "quit";
    }
    Grid "Layers" {
        "add-layer" [ch('n')] Ask(Question::AddLayer), "add a layer: name and voice", "new layer";
        "copy-layer" [ch('L')] Run(Command::CopyLayer), "duplicate the layer";
        "remove-layer" [ctrl('d')] Run(Command::RemoveLayer), "delete the layer";
        "layer-up" [ctrl_key(Code::Up)] Run(Command::MoveLayer(-1)), "move the layer up";
        "layer-down" [ctrl_key(Code::Down)] Run(Command::MoveLayer(1)), "move the layer down";
        "rename-layer" [ch('R')] Ask(Question::RenameLayer), "rename the layer";
        "voice-next" [ch('i')] Run(Command::NextVoice(1)), "use the next voice for the layer";
        "voice" [ch('I')] Ask(Question::Voice), "choose the layer's voice";
        "sound-file" [] Ask(Question::SoundFile), "use a sound file for the layer";
        "division" [ch('/')] Ask(Question::Division(Keep::NoteValues)), "set the cells per beat in the section", "division";
        "cycle" [ch('c')] Ask(Question::Cycle), "repeat the section's first cells as a cycle", "cycle";
        "cycle-off" [ch('C')] Run(Command::Cycle(None)), "write the cycle out";
        "mute" [ch('m')] Run(Command::Mute), "mute or unmute the layer";
        "solo" [ch('S')] Run(Command::Solo), "solo or unsolo the layer";
        "louder" [ch('V')] Run(Command::GainBy(1)), "raise the gain by 1 dB";
        "quieter" [ch('v')] Run(Command::GainBy(-1)), "lower the gain by 1 dB";
        "gain" [ch('G')] Ask(Question::Gain), "set the layer's gain in dB";
        "accent-depth" [] Ask(Question::AccentDepth), "set the level of accents and ghosts, in dB";
        "pan" [ch('P')] Ask(Question::Pan), "pan the layer, -100 left to 100 right";
        "layer-swing" [ch('W')] Ask(Question::LayerSwing), "set the layer's swing, like 2:1";
    }
    Grid "Sections and the groove" {
        "tempo" [ch('T')] Ask(Question::Tempo), "set the tempo, like 150 or 1/4.=90", "tempo";
        "tempo-up" [] Run(Command::TempoBy(1)), "raise the tempo by 1";
        "tempo-down" [] Run(Command::TempoBy(-1)), "lower the tempo by 1";
        "meter" [ch('M')] Ask(Question::Meter(Keep::NoteValues)), "set the meter, like 4/4 or 3+2+2/8", "meter";
        "add-bar" [ch('+')] Run(Command::BarsBy(1)), "add a bar to the end of the section", "add bar";
        "remove-bar" [ch('_')] Run(Command::BarsBy(-1)), "remove the section's last bar";
        "insert-bar" [] Run(Command::InsertBar), "insert a bar before this one";
        "delete-bars" [] Run(Command::DeleteBars), "delete this bar, or those selected";
        "bars" [ch('B')] Ask(Question::Bars), "set the section's number of bars";
        "times" [ch('*')] Ask(Question::Times), "set how many times the section plays";
        "swing" [ch('w')] Ask(Question::Swing), "set the section's swing, like 2:1";
        "add-section" [ch('N')] Ask(Question::AddSection), "add a section after this one: name, meter";
        "copy-section" [] Run(Command::CopySection), "duplicate the section";
        "remove-section" [] Run(Command::RemoveSection), "delete the section";
        "section-earlier" [] Run(Command::MoveSection(-1)), "move the section earlier";
        "section-later" [] Run(Command::MoveSection(1)), "move the section later";
        "split-section" [] Run(Command::SplitSection), "begin a new section with this bar";
        "join-sections" [] Run(Command::JoinSections), "join the section with the next one";
        "rename-section" [] Ask(Question::RenameSection), "rename the section";
        "title" [] Ask(Question::Title), "set the groove's title";
        "note" [] Ask(Question::Note), "edit the note saved with the groove";
    }
    Grid "Export and import" {
        "export" [] Call(|s| export::open_menu(s, ExportMenu::Groove)),
            "export MIDI, MusicXML, pictures, pages or text";
        "export-section" [] Call(|s| export::open_menu(s, ExportMenu::Section)), "export only this section";
        "pictures-as" [] Ask(Question::PicturesAs), "set picture theme, width and notation";
        "handout" [] Call(|s| export::open_menu(s, ExportMenu::Handout)), "export a handout page with its sound";
        "render-wav" [] Ask(Question::RenderWav), "export what plays now as a WAV file";
        "takes-wav" [] Ask(Question::TakesWav), "export the takes as a WAV file";
        "ladder-wav" [] Ask(Question::LadderWav), "export the last ladder as a WAV file";
        "import" [] Ask(Question::Import), "import a MIDI or MusicXML file";
        "import-warnings" [] Call(import::show_warnings), "show the warnings of the last import";
        "cancel" [] Call(export::cancel_job), "cancel the running export or import";
    }
    Grid "Screen and program" {
        "help" [ch('?'), key(Code::F(1))] Call(|s| s.overlay = Overlay::Help(0)), "show this help", "help";
        "manual" [] Call(manual::open), "open the manual";
        "find" [ch('f'), key(Code::F(2))] Call(lists::open_search), "find a command", "find";
        "hearings" [ch('h')] Call(lists::open_full), "show all hearings, reasons and streams", "hearings";
        "focus" [ch('F')] Call(hearings::next_focus), "analyze first layer, this one, all, selection";
        "hearing-next" [ch('H')] Call(hearings::select_next), "select the next hearing";
        "strips" [ch('J')] Call(|s| s.view.toggle_strips()), "show two rows of pulses, or all that fit", "more strips";
        "labels" [ch('q')] Call(|s| s.view.next_labels()), "label attacks: groups, pitches or nothing";
        "wider" [ch('z')] Call(|s| scroll::zoom_by(s, 1)), "widen the columns";
        "narrower" [ch('Z')] Call(|s| scroll::zoom_by(s, -1)), "narrow the columns";
        "config-file" [] Call(lists::open_config_errors), "show the errors in the config file";
        "save" [ctrl('s')] Call(save::save), "save", "save";
        "save-as" [ctrl('w')] Ask(Question::SaveAs), "save under another name";
        "redraw" [ctrl('l')] Call(|s| s.effects.push(Effect::Redraw)), "redraw the screen";
        "quit" [ctrl('q')] Call(dispatch::quit), "quit", "quit";
    }
    List "Lists and prompts" {
        "list-up" [key(Code::Up)] Navigate(Step::Lines(-1)), "move one line up";
        "list-down" [key(Code::Down)] Navigate(Step::Lines(1)), "move one line down", "scroll";
        "list-page-up" [key(Code::PageUp)] Navigate(Step::Pages(-1)), "move one page up";
        "list-page-down" [key(Code::PageDown)] Navigate(Step::Pages(1)), "move one page down";
        "list-first" [key(Code::Home)] Navigate(Step::Lines(isize::MIN)), "move to the first line";
        "list-last" [key(Code::End)] Navigate(Step::Lines(isize::MAX)), "move to the last line";
        "list-accept" [key(Code::Enter), ch(' ')] Call(lists::accept),
            "select the hearing or go to the position", "select";
        "list-click" [ch('K')] Call(clicks::toggle_hearing), "turn this hearing's click on or off", "click";
        "list-click-extra" [ch('k')] Call(clicks::toggle_extra_hearing), "add or remove this hearing's click";
        "list-part" [key(Code::Tab)] Call(|s| lists::change_part(s, 1)), "show the next part", "next part";
        "list-part-previous" [key(Code::BackTab)] Call(|s| lists::change_part(s, -1)), "show the previous part";
        "list-manual" [ch('m')] Call(manual::open), "show the chapters of the manual", "manual";
        "list-search" [ch('/')] Call(manual::start_search), "search the manual", "search";
        "list-match-next" [ch('n')] Call(|s| manual::find(s, Direction::Next)),
            "go to the next match in the manual", "next match";
        "list-match-previous" [ch('N')] Call(|s| manual::find(s, Direction::Previous)), "go to the previous match in the manual";
        "list-close" [key(Code::Esc), ch('h'), ch('?'), key(Code::F(1))] Call(dispatch::close), "close";
        "list-quit" [ctrl('q')] Call(dispatch::quit), "quit the program";
    }
    Typing "Lists and prompts" {
        "typing-accept" [key(Code::Enter)] Call(lists::accept), "accept";
        "typing-close" [key(Code::Esc), ctrl('c')] Call(dispatch::close), "cancel";
        "typing-left" [key(Code::Left)] Edit(InputRequest::GoToPrevChar), "move the cursor left";
        "typing-right" [key(Code::Right)] Edit(InputRequest::GoToNextChar), "move the cursor right";
        "typing-word-left" [ctrl_key(Code::Left)] Edit(InputRequest::GoToPrevWord), "move the cursor one word left";
        "typing-word-right" [ctrl_key(Code::Right)] Edit(InputRequest::GoToNextWord), "move the cursor one word right";
        "typing-start" [key(Code::Home)] Edit(InputRequest::GoToStart), "move the cursor to the start of the line";
        "typing-end" [key(Code::End)] Edit(InputRequest::GoToEnd), "move the cursor to the end of the line";
        "typing-back" [key(Code::Backspace)] Edit(InputRequest::DeletePrevChar),
            "delete the character before the cursor";
        "typing-delete" [key(Code::Delete)] Edit(InputRequest::DeleteNextChar), "delete the character at the cursor";
        "typing-delete-word" [ctrl('w')] Edit(InputRequest::DeletePrevWord), "delete the word before the cursor";
        "typing-clear" [ctrl('u')] Edit(InputRequest::DeleteLine), "clear the line";
        "typing-up" [key(Code::Up)] Navigate(Step::Lines(-1)), "move to the previous entry in the list";
        "typing-down" [key(Code::Down), key(Code::Tab)] Navigate(Step::Lines(1)), "move to the next entry in the list", "next";
        "typing-page-up" [key(Code::PageUp)] Navigate(Step::Pages(-1)), "move to the previous page of the list";
        "typing-page-down" [key(Code::PageDown)] Navigate(Step::Pages(1)), "move to the next page of the list";
    }
    ConfirmQuit "Lists and prompts" {
        "quit-save" [ch('s'), ctrl('s')] Call(save::save_then_quit), "save, then quit";
        "quit-discard" [ch('y')] Call(dispatch::quit_without_saving), "quit without saving";
        "quit-cancel" [key(Code::Esc), ch('n')] Call(dispatch::close), "do not quit";
    }
    ConfirmOverwrite "Lists and prompts" {
        "overwrite-yes" [ch('y')] Call(save::overwrite), "overwrite the file";
        "overwrite-no" [key(Code::Esc), ch('n')] Call(dispatch::close), "keep the file as it is";
    }
    ConfirmImport "Lists and prompts" {
        "import-save" [ch('s'), ctrl('s')] Call(import::save_then_open), "save, then open the import";
        "import-discard" [ch('y')] Call(import::open_confirmed), "open the import without saving";
        "import-cancel" [key(Code::Esc), ch('n')] Call(dispatch::close), "keep this groove";
    }
    Choice "Lists and prompts" {
        "choose-first" [ch('1'), key(Code::Enter)] Call(|s| dispatch::choose(s, 0)), "choose the first answer";
        "choose-second" [ch('2')] Call(|s| dispatch::choose(s, 1)), "choose the second answer";
        "choose-cancel" [key(Code::Esc), ch('n')] Call(dispatch::close), "change nothing";
    }
    ConfirmSounds "Lists and prompts" {
        "sounds-allow" [ch('y')] Call(outside_sounds::allow), "read these sound files, now and later";
        "sounds-refuse" [key(Code::Esc), ch('n')] Call(dispatch::close), "play the voices instead";
    }
    Recovery "Lists and prompts" {
        "recover-accept" [key(Code::Enter), ch('r')] Call(recovery::recover), "recover the unsaved changes", "recover";
        "recover-view" [ch('v')] Call(recovery::toggle_text), "show the groove's text or the differences", "view";
        "recover-discard" [ch('D')] Call(recovery::discard), "discard the unsaved changes", "discard";
        "recover-later" [key(Code::Esc)] Call(dispatch::close), "keep the unsaved changes for the next start", "later";
        "recover-up" [key(Code::Up)] Call(|s| recovery::scroll(s, -1)), "move one line up";
        "recover-down" [key(Code::Down)] Call(|s| recovery::scroll(s, 1)), "move one line down", "scroll";
        "recover-page-up" [key(Code::PageUp)] Call(|s| recovery::scroll(s, -15)), "move 15 lines up";
        "recover-page-down" [key(Code::PageDown)] Call(|s| recovery::scroll(s, 15)), "move 15 lines down";
    }
};
