//! The table of commands: name, default keys, action, description, hint.

use crate::rhythm::{Accent, LengthScale};
use crate::session::{Command, Keep, Motion, PasteContent, PasteInCycle};
use crate::terminal::commands::Action::{Ask, Call, Edit, EnterDigit, Navigate, Reply, Run, Tap};
use crate::terminal::confirmation::Reply::{Answer, SaveFirst, Yes};
use crate::terminal::files::clipboard::{self, CopyText};
use crate::terminal::files::export::{self, ExportMenu};
use crate::terminal::files::{import, recovery, replacement, save};
use crate::terminal::lists::{self, Step};
use crate::terminal::manual::{self, Direction};
use crate::terminal::playback::playing::Mix;
use crate::terminal::playback::{clicks, practice, tapping, tempo_taps, transport};
use crate::terminal::{Action, CommandSpec, Effect, Mode, Overlay, Question, dispatch, hearings, scroll};
use tui_input::InputRequest;

macro_rules! commands {
    ($($mode:ident $heading:literal {
        $($name:literal $keys:literal $action:expr, $description:literal $(, $hint:literal)?;)*
    })*) => {
        &[$($(CommandSpec {
            name: $name, keys: $keys, mode: Mode::$mode, action: $action, heading: $heading,
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
        "enter-group" "1 2 3 4 5 6 7 8 9 0" EnterDigit, "enter a group of 1 to 9 cells (0 for 10)", "enter group";
        "enter-groups" "g" Ask(Question::Groups), "type a group line, like 3(4+4+3)+5+2", "groups";
        "attack" "x" Run(Command::Attack(Accent::Plain)), "enter an attack and advance";
        "attack-accent" "X" Run(Command::Attack(Accent::Accent)), "enter an accented attack and advance";
        "attack-ghost" "o" Run(Command::Attack(Accent::Ghost)), "enter a ghost attack and advance";
        "hold" "-" Run(Command::Hold), "hold the sound through this cell and advance";
        "rest" "." Run(Command::Rest), "enter a rest and advance";
        "toggle" "space" Run(Command::Toggle), "switch between attack and rest; do not move", "attack/rest";
        "delete-previous" "backspace" Run(Command::DeletePrevious), "delete the previous attack", "delete";
    }
    Grid "Moving" {
        "left" "left" go(Motion::Left), "move one cell left";
        "right" "right" go(Motion::Right), "move one cell right";
        "up" "up" go(Motion::Up), "move to the layer above";
        "down" "down" go(Motion::Down), "move to the layer below";
        "beat-left" "ctrl-left ," go(Motion::BeatLeft), "move one beat left";
        "beat-right" "ctrl-right ;" go(Motion::BeatRight), "move one beat right";
        "bar-left" "page-up" go(Motion::BarLeft), "move one bar left";
        "bar-right" "page-down" go(Motion::BarRight), "move one bar right";
        "attack-next" "tab" go(Motion::NextAttack), "move to the next attack";
        "attack-previous" "back-tab" go(Motion::PreviousAttack), "move to the previous attack";
        "section-start" "home" go(Motion::SectionStart), "move to the start of the section";
        "section-end" "end" go(Motion::SectionEnd), "move to the end of the section";
        "groove-start" "ctrl-home" go(Motion::GrooveStart), "move to the start of the groove";
        "groove-end" "ctrl-end" go(Motion::GrooveEnd), "move to the end of the groove";
        "section-previous" "{ ctrl-page-up" go(Motion::PreviousSection), "move to the previous section";
        "section-next" "} ctrl-page-down" go(Motion::NextSection), "move to the next section";
        "go-to-bar" "j" Ask(Question::Bar), "go to a bar by number";
    }
    Grid "Editing attacks" {
        "erase" "delete" Run(Command::Erase), "replace the selection or cell with rests", "erase";
        "accent" "a" Run(Command::CycleAccent), "switch between plain, accent and ghost", "accent";
        "pitch" "p" Ask(Question::Pitch), "set the pitch, like E2 or F#3", "pitch";
        "pitch-up" "u" Run(Command::Transpose(1)), "raise the pitch a semitone";
        "pitch-down" "d" Run(Command::Transpose(-1)), "lower the pitch a semitone";
        "octave-up" "U" Run(Command::Transpose(12)), "raise the pitch an octave";
        "octave-down" "D" Run(Command::Transpose(-12)), "lower the pitch an octave";
        "tuplet" "t" Ask(Question::Tuplet), "make a tuplet, like 5 or 7/2 (7 in 2 beats)", "tuplet";
        "even-beat" "e" Run(Command::EvenBeat), "remove the tuplet from the beat";
        "rotate-later" ">" Run(Command::Rotate(1)), "rotate one cell later";
        "rotate-earlier" "<" Run(Command::Rotate(-1)), "rotate one cell earlier";
        "rotate" "" Ask(Question::Rotate), "rotate by a number of cells";
        "shift-later" ")" Run(Command::Shift(1)), "shift one cell later, filling with rests";
        "shift-earlier" "(" Run(Command::Shift(-1)), "shift one cell earlier, filling with rests";
        "shift" "" Ask(Question::Shift), "shift by a number of cells";
        "double-lengths" "" Run(Command::ScaleLengths(LengthScale::Double)), "make the selection twice as long";
        "halve-lengths" "" Run(Command::ScaleLengths(LengthScale::Halve)), "make the selection half as long";
        "undo" "ctrl-z" Run(Command::Undo), "undo", "undo";
        "redo" "ctrl-y" Run(Command::Redo), "redo";
    }
    Grid "Selecting and copying" {
        "select-left" "shift-left" extend(Motion::Left), "extend the selection one cell left";
        "select-right" "shift-right" extend(Motion::Right), "extend the selection one cell right";
        "select-up" "shift-up" extend(Motion::Up), "extend the selection to the layer above";
        "select-down" "shift-down" extend(Motion::Down), "extend the selection to the layer below";
        "select-beat-left" "ctrl-shift-left" extend(Motion::BeatLeft), "extend the selection one beat left";
        "select-beat-right" "ctrl-shift-right" extend(Motion::BeatRight), "extend the selection one beat right";
        "select-to-start" "shift-home" extend(Motion::SectionStart), "select to the start of the section";
        "select-to-end" "shift-end" extend(Motion::SectionEnd), "select to the end of the section";
        "select" "s" Call(dispatch::start_selecting), "start selecting; movement extends, Esc stops", "select";
        "select-bar" "b" Run(Command::SelectBar), "select the bar", "bar";
        "select-cells" "" Ask(Question::SelectCells), "select a number of cells from here on";
        "select-section" "A" Run(Command::SelectSection), "select the section in this layer";
        "select-all" "ctrl-a" Run(Command::SelectAllLayers), "select the section in all layers";
        "copy" "ctrl-c" Run(Command::Copy), "copy the selection or the bar", "copy";
        "cut" "ctrl-x" Run(Command::Cut), "cut the selection or the bar";
        "paste" "ctrl-v" paste(PasteContent::All), "paste", "paste";
        "paste-rhythm" "" paste(PasteContent::Rhythm), "paste without accents and pitches";
        "repeat" "r" Ask(Question::Repeat), "repeat the selection or the bar", "repeat";
        "copy-groups" "" Call(|s| clipboard::copy(s, CopyText::Groups)), "copy the group lines as text";
        "copy-boxes" "" Call(|s| clipboard::copy(s, CopyText::Boxes)), "copy the cells in box notation";
        "copy-syllables" "" Call(|s| clipboard::copy(s, CopyText::Syllables)), "copy the counting syllables as text";
        "copy-explanation" "" Call(|s| clipboard::copy(s, CopyText::Explanation)), "copy the whole explanation as text";
        "close" "esc" Call(dispatch::close), "clear the selection", "deselect";
    }
    Grid "Playback" {
        "play" "enter" Call(transport::toggle_playback), "play or stop", "play/stop";
        "play-here" "y" Call(transport::start_at_cursor), "play from the bar at the cursor";
        "loop" "l" Call(transport::next_loop_mode), "switch the loop: groove, section or region";
        "loop-region" ":" Call(transport::loop_region), "make the selection or bar the loop region", "loop";
        "loop-start" "" Call(|s| transport::mark_loop(s, Command::LoopStart, "loop start set")),
            "set the loop start at the cursor";
        "loop-end" "" Call(|s| transport::mark_loop(s, Command::LoopEnd, "loop end set")),
            "set the loop end after the cursor";
        "loop-clear" "" Call(transport::clear_loop_region), "clear the loop region";
        "slower" "[" Call(|s| transport::speed_by(s, -5)), "play 5% slower; keep the written tempo", "slower";
        "faster" "]" Call(|s| transport::speed_by(s, 5)), "play 5% faster; keep the written tempo", "faster";
        "speed" "%" Ask(Question::Speed), "set the playback speed in percent";
        "volume-down" "'" Call(|s| transport::volume_by(s, -2)), "lower the volume by 2 dB", "quieter";
        "volume-up" "\"" Call(|s| transport::volume_by(s, 2)), "raise the volume by 2 dB", "louder";
        "click-down" "" Call(|s| transport::click_volume_by(s, -2)), "lower the click volume by 2 dB";
        "click-up" "" Call(|s| transport::click_volume_by(s, 2)), "raise the click volume by 2 dB";
        "beat-click" "k" Call(clicks::toggle_beat), "turn the click of the written beat on or off";
        "hearing-click" "K" Call(clicks::toggle_hearing), "turn the selected hearing's click on or off";
        "beat-click-next" "@" Call(clicks::next_beat_click), "switch beat click: beat, off-beat, 2-4 a beat";
        "hearing-click-next" "#" Call(clicks::next_hearing_click), "switch hearing click: pulse, off-beat, 2 to 4";
        "click-sound" "" Call(transport::next_click_sound), "click sound: tick, block or beep";
        "count-in" "" Call(transport::toggle_count_in), "count in whatever is started, on or off";
        "take-groove" "f5" Call(|s| clicks::play_take(s, Mix::GROOVE)), "play the groove alone";
        "take-beat" "f6" Call(|s| clicks::play_take(s, Mix::GROOVE_AND_BEAT)), "play the groove and the written beat";
        "take-hearing" "f7" Call(|s| clicks::play_take(s, Mix::GROOVE_AND_HEARING)),
            "play the groove and the selected hearing";
        "take-pulses" "f8" Call(|s| clicks::play_take(s, Mix::PULSES)), "play only the beat and the hearing";
        "take-all" "f9" Call(|s| clicks::play_take(s, Mix::ALL)), "play the groove, the beat and the hearing";
        "takes" "&" Ask(Question::Takes), "play all takes in turn";
        "ladder" "E" Call(practice::toggle_ladder), "start or leave the tempo ladder";
        "ladder-as" "=" Ask(Question::Ladder), "start a ladder: speeds, passes, muted passes";
        "ladder-down" "f3" Call(|s| practice::step(s, -1)), "play the previous ladder step after this pass";
        "ladder-up" "f4" Call(|s| practice::step(s, 1)), "play the next ladder step after this pass";
        "outputs" "" Call(|s| s.effects.push(Effect::Outputs)), "list the output devices";
    }
    Grid "Tapping along" {
        "tap" "ctrl-t" Call(tapping::begin), "tap along with the loop", "tap along";
        "tap-report" "" Call(tapping::show_report), "show the last tap report";
        "tap-calibrate" "" Call(tapping::begin_calibrating), "calibrate the tap offset (16 taps)";
    }
    Tap "Tapping along" {
        "tap-key" "space" Tap, "tap; any letter or digit works too", "tap (any letter too)";
        "tap-restart" "enter" Call(tapping::restart), "discard the taps and start again", "start again";
        "tap-end" "esc" Call(dispatch::close), "stop and show the report", "stop and report";
        "tap-quit" "ctrl-q" Call(dispatch::quit), "quit";
    }
    TapTempo "Tapping along" {
        "tempo-tap" "space" Tap, "tap the tempo; any letter or digit works too", "tap (any letter too)";
        "tempo-set" "enter" Call(tempo_taps::set), "set the tempo of the section", "set the tempo";
        "tempo-cancel" "esc" Call(dispatch::close), "keep the tempo as it is", "cancel";
        "tempo-quit" "ctrl-q" Call(dispatch::quit), "quit";
    }
    Grid "Layers" {
        "add-layer" "n" Ask(Question::AddLayer), "add a layer: name and voice", "new layer";
        "add-kit" "" Run(Command::AddKit), "add layers for kick, snare and hat";
        "copy-layer" "L" Run(Command::CopyLayer), "duplicate the layer";
        "remove-layer" "ctrl-d" Run(Command::RemoveLayer), "delete the layer";
        "layer-up" "ctrl-up" Run(Command::MoveLayer(-1)), "move the layer up";
        "layer-down" "ctrl-down" Run(Command::MoveLayer(1)), "move the layer down";
        "rename-layer" "R" Ask(Question::RenameLayer), "rename the layer";
        "voice-next" "i" Run(Command::NextVoice(1)), "use the next voice for the layer";
        "voice" "I" Ask(Question::Voice), "choose the layer's voice";
        "sound-file" "" Ask(Question::SoundFile), "use a sound file for the layer";
        "division" "/" Ask(Question::Division(Keep::NoteValues)), "set the cells per beat in the section", "division";
        "cycle" "c" Ask(Question::Cycle), "repeat the section's first cells as a cycle", "cycle";
        "cycle-off" "C" Run(Command::Cycle(None)), "write the cycle out";
        "mute" "m" Run(Command::Mute), "mute or unmute the layer";
        "solo" "S" Run(Command::Solo), "solo or unsolo the layer";
        "louder" "V" Run(Command::GainBy(1)), "raise the gain by 1 dB";
        "quieter" "v" Run(Command::GainBy(-1)), "lower the gain by 1 dB";
        "gain" "G" Ask(Question::Gain), "set the layer's gain in dB";
        "accent-depth" "" Ask(Question::AccentDepth), "set the level of accents and ghosts, in dB";
        "pan" "P" Ask(Question::Pan), "pan the layer, -100 left to 100 right";
        "layer-swing" "W" Ask(Question::LayerSwing), "set the layer's swing, like 2:1";
    }
    Grid "Sections and the groove" {
        "tempo" "T" Ask(Question::Tempo), "set the tempo, like 150 or 1/4.=90", "tempo";
        "tap-tempo" "" Call(tempo_taps::begin), "tap the tempo of the section";
        "tempo-up" "" Run(Command::TempoBy(1)), "raise the tempo by 1";
        "tempo-down" "" Run(Command::TempoBy(-1)), "lower the tempo by 1";
        "meter" "M" Ask(Question::Meter(Keep::NoteValues)), "set the meter, like 4/4 or 3+2+2/8", "meter";
        "add-bar" "+" Run(Command::BarsBy(1)), "add a bar to the end of the section", "add bar";
        "remove-bar" "_" Run(Command::BarsBy(-1)), "remove the section's last bar";
        "insert-bar" "" Run(Command::InsertBar), "insert a bar before this one";
        "delete-bars" "" Run(Command::DeleteBars), "delete this bar, or those selected";
        "bars" "B" Ask(Question::Bars), "set the section's number of bars";
        "times" "*" Ask(Question::Times), "set how many times the section plays";
        "swing" "w" Ask(Question::Swing), "set the section's swing, like 2:1";
        "add-section" "N" Ask(Question::AddSection), "add a section after this one: name, meter";
        "copy-section" "" Run(Command::CopySection), "duplicate the section";
        "remove-section" "" Run(Command::RemoveSection), "delete the section";
        "section-earlier" "" Run(Command::MoveSection(-1)), "move the section earlier";
        "section-later" "" Run(Command::MoveSection(1)), "move the section later";
        "split-section" "" Run(Command::SplitSection), "begin a new section with this bar";
        "join-sections" "" Run(Command::JoinSections), "join the section with the next one";
        "rename-section" "" Ask(Question::RenameSection), "rename the section";
        "title" "" Ask(Question::Title), "set the groove's title";
        "note" "" Ask(Question::Note), "edit the note saved with the groove";
    }
    Grid "Export and import" {
        "export" "" Call(|s| export::open_menu(s, ExportMenu::Groove)),
            "export MIDI, MusicXML, pictures, pages or text";
        "export-section" "" Call(|s| export::open_menu(s, ExportMenu::Section)), "export only this section";
        "pictures-as" "" Ask(Question::PicturesAs), "set picture theme, width and notation";
        "handout" "" Call(|s| export::open_menu(s, ExportMenu::Handout)), "export a handout page with its sound";
        "render-wav" "" Ask(Question::RenderWav), "export what plays now as a WAV file";
        "takes-wav" "" Ask(Question::TakesWav), "export the takes as a WAV file";
        "ladder-wav" "" Ask(Question::LadderWav), "export the last ladder as a WAV file";
        "import" "" Ask(Question::Import), "import a MIDI or MusicXML file";
        "import-warnings" "" Call(import::show_warnings), "show the warnings of the last import";
        "cancel" "" Call(export::cancel_job), "cancel the running export or import";
    }
    Grid "Screen and program" {
        "help" "? f1" Call(|s| s.overlay = Overlay::Help(0)), "show this help", "help";
        "manual" "" Call(manual::open), "open the manual";
        "find" "f f2" Call(lists::open_search), "find a command", "find";
        "hearings" "h" Call(lists::open_full), "show all hearings, reasons and streams", "hearings";
        "focus" "F" Call(hearings::next_focus), "switch what is analyzed: layer, all, selection";
        "hearing-next" "H" Call(hearings::select_next), "select the next hearing";
        "strips" "J" Call(|s| s.view.toggle_strips()), "show two rows of pulses, or all that fit", "more pulses";
        "labels" "q" Call(|s| s.view.next_labels()), "label attacks: groups, pitches or nothing";
        "wider" "z" Call(|s| scroll::zoom_by(s, 1)), "widen the columns";
        "narrower" "Z" Call(|s| scroll::zoom_by(s, -1)), "narrow the columns";
        "config-file" "" Call(lists::open_config_errors), "show the errors in the config file";
        "open" "" Ask(Question::Open), "open another groove file";
        "new" "" Call(replacement::start_new), "start a new groove";
        "save" "ctrl-s" Call(save::save), "save", "save";
        "save-as" "ctrl-w" Ask(Question::SaveAs), "save under another name";
        "redraw" "ctrl-l" Call(|s| s.effects.push(Effect::Redraw)), "redraw the screen";
        "quit" "ctrl-q" Call(dispatch::quit), "quit", "quit";
    }
    List "Lists and prompts" {
        "list-up" "up" Navigate(Step::Lines(-1)), "move one line up";
        "list-down" "down" Navigate(Step::Lines(1)), "move one line down", "scroll";
        "list-page-up" "page-up" Navigate(Step::Pages(-1)), "move one page up";
        "list-page-down" "page-down" Navigate(Step::Pages(1)), "move one page down";
        "list-first" "home" Navigate(Step::Lines(isize::MIN)), "move to the first line";
        "list-last" "end" Navigate(Step::Lines(isize::MAX)), "move to the last line";
        "list-accept" "enter space" Call(lists::accept), "select the hearing or go to the position", "select";
        "list-click" "K" Call(clicks::toggle_hearing), "turn this hearing's click on or off", "click";
        "list-click-extra" "k" Call(clicks::toggle_extra_hearing), "add or remove this hearing's click";
        "list-part" "tab" Call(|s| lists::change_part(s, 1)), "show the next part", "next part";
        "list-part-previous" "back-tab" Call(|s| lists::change_part(s, -1)), "show the previous part";
        "list-manual" "m" Call(manual::open), "show the chapters of the manual", "manual";
        "list-search" "/" Call(manual::start_search), "search the manual", "search";
        "list-match-next" "n" Call(|s| manual::find(s, Direction::Next)),
            "go to the next match in the manual", "next match";
        "list-match-previous" "N" Call(|s| manual::find(s, Direction::Previous)),
            "go to the previous match in the manual";
        "list-close" "esc h ? f1" Call(dispatch::close), "close";
        "list-quit" "ctrl-q" Call(dispatch::quit), "quit the program";
    }
    Typing "Lists and prompts" {
        "typing-accept" "enter" Call(lists::accept), "accept";
        "typing-close" "esc ctrl-c" Call(dispatch::close), "cancel";
        "typing-left" "left" Edit(InputRequest::GoToPrevChar), "move the cursor left";
        "typing-right" "right" Edit(InputRequest::GoToNextChar), "move the cursor right";
        "typing-word-left" "ctrl-left" Edit(InputRequest::GoToPrevWord), "move the cursor one word left";
        "typing-word-right" "ctrl-right" Edit(InputRequest::GoToNextWord), "move the cursor one word right";
        "typing-start" "home" Edit(InputRequest::GoToStart), "move the cursor to the start of the line";
        "typing-end" "end" Edit(InputRequest::GoToEnd), "move the cursor to the end of the line";
        "typing-back" "backspace" Edit(InputRequest::DeletePrevChar), "delete the character before the cursor";
        "typing-delete" "delete" Edit(InputRequest::DeleteNextChar), "delete the character at the cursor";
        "typing-delete-word" "ctrl-w" Edit(InputRequest::DeletePrevWord), "delete the word before the cursor";
        "typing-clear" "ctrl-u" Edit(InputRequest::DeleteLine), "clear the line";
        "typing-up" "up" Navigate(Step::Lines(-1)), "move to the previous entry in the list";
        "typing-down" "down tab" Navigate(Step::Lines(1)), "move to the next entry in the list", "next";
        "typing-page-up" "page-up" Navigate(Step::Pages(-1)), "move to the previous page of the list";
        "typing-page-down" "page-down" Navigate(Step::Pages(1)), "move to the next page of the list";
    }
    ConfirmQuit "Lists and prompts" {
        "quit-save" "s ctrl-s" Reply(SaveFirst), "save, then quit";
        "quit-discard" "y" Reply(Yes), "quit without saving";
        "quit-cancel" "esc n" Call(dispatch::close), "do not quit";
    }
    ConfirmOverwrite "Lists and prompts" {
        "overwrite-yes" "y" Reply(Yes), "overwrite the file";
        "overwrite-no" "esc n" Call(dispatch::close), "keep the file as it is";
    }
    ConfirmImport "Lists and prompts" {
        "import-save" "s ctrl-s" Reply(SaveFirst), "save, then open the other groove";
        "import-discard" "y" Reply(Yes), "open the other groove without saving";
        "import-cancel" "esc n" Call(dispatch::close), "keep this groove";
    }
    Choice "Lists and prompts" {
        "choose-first" "1 enter" Reply(Answer(0)), "choose the first answer";
        "choose-second" "2" Reply(Answer(1)), "choose the second answer";
        "choose-cancel" "esc n" Call(dispatch::close), "change nothing";
    }
    ConfirmSounds "Lists and prompts" {
        "sounds-allow" "y" Reply(Yes), "read these sound files, now and later";
        "sounds-refuse" "esc n" Call(dispatch::close), "play the voices instead";
    }
    Recovery "Lists and prompts" {
        "recover-accept" "enter r" Call(recovery::recover), "recover the unsaved changes", "recover";
        "recover-view" "v" Call(recovery::toggle_text), "show the groove's text or the differences", "view";
        "recover-discard" "D" Call(recovery::discard), "discard the unsaved changes", "discard";
        "recover-later" "esc" Call(dispatch::close), "keep the unsaved changes for the next start", "later";
        "recover-up" "up" Navigate(Step::Lines(-1)), "move one line up";
        "recover-down" "down" Navigate(Step::Lines(1)), "move one line down", "scroll";
        "recover-page-up" "page-up" Navigate(Step::Lines(-15)), "move 15 lines up";
        "recover-page-down" "page-down" Navigate(Step::Lines(15)), "move 15 lines down";
    }
};
