//! The table of commands: name, default keys, action, description, hint, synonyms. It is longer than other files, because
//! it is read and extended as one table.
//!
//! The key of a menu followed by a key is a sequence: `m L m` are the key `m` and the sequence `L m`. Synonyms are words
//! that a musician may search for and that are not in the name; the first one counts most.

use crate::rhythm::{Accent, LengthScale};
use crate::session::{Command, Keep, Motion, PasteContent, PasteInCycle};
use crate::terminal::commands::Action::{Ask, Call, Edit, EnterDigit, Navigate, OpenMenu, Reply, Run, Tap};
use crate::terminal::commands::Menu;
use crate::terminal::confirmation::Reply::{Answer, SaveFirst, Yes};
use crate::terminal::files::clipboard::{self, CopyText};
use crate::terminal::files::export::{self, ExportMenu};
use crate::terminal::files::{import, recovery, replacement, save};
use crate::terminal::lists::{self, Step};
use crate::terminal::manual;
use crate::terminal::playback::playing::Mix;
use crate::terminal::playback::{clicks, looping, practice, tapping, tempo_taps, transport};
use crate::terminal::search::{self, Direction};
use crate::terminal::transcription::{differences, listening};
use crate::terminal::{
    Action, CommandSpec, Effect, Mode, Question, anchors, dispatch, grid_search, hearings, help, recording, scroll,
    sections, transcription, variants,
};
use tui_input::InputRequest;

macro_rules! commands {
    ($($mode:ident $heading:literal $chapter:literal {
        $($name:literal $keys:literal $action:expr, $description:literal
            $(, $hint:literal)? $(=> $synonyms:literal)?;)*
    })*) => {
        &[$($(CommandSpec {
            name: $name, keys: $keys, mode: Mode::$mode, action: $action, heading: $heading, chapter: $chapter,
            description: $description, hint: concat!($($hint)?), synonyms: concat!($($synonyms)?),
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
    Grid "Entering attacks" "editing" {
        "enter-group" "1 2 3 4 5 6 7 8 9 0" EnterDigit, "enter a group of 1 to 9 cells (0 for 10)", "enter group"
            => "length note digit duration hit";
        "enter-groups" "g" Ask(Question::Groups), "type a group line, like 3(4+4+3)+5+2", "groups"
            => "pattern grouping additive rhythm line";
        "attack" "x" Run(Command::Attack(Accent::Plain)), "enter an attack and advance" => "note hit stroke onset";
        "attack-accent" "X" Run(Command::Attack(Accent::Accent)), "enter an accented attack and advance"
            => "loud accented note hit";
        "attack-ghost" "o" Run(Command::Attack(Accent::Ghost)), "enter a ghost attack and advance"
            => "ghost dead muted muffled quiet soft note";
        "hold" "-" Run(Command::Hold), "hold the sound through this cell and advance"
            => "tie sustain let ring ringing long note legato extend";
        "rest" "." Run(Command::Rest), "enter a rest and advance" => "silence pause gap empty";
        "toggle" "space" Run(Command::Toggle), "switch between attack and rest; do not move", "attack/rest"
            => "step on off note hit";
        "delete-previous" "backspace" Run(Command::DeletePrevious), "delete the previous attack", "delete"
            => "back erase remove note";
    }
    Grid "Moving" "screen" {
        "left" "left" go(Motion::Left), "move one cell left" => "cursor previous cell";
        "right" "right" go(Motion::Right), "move one cell right" => "cursor next cell";
        "up" "up" go(Motion::Up), "move to the layer above" => "cursor previous track";
        "down" "down" go(Motion::Down), "move to the layer below" => "cursor next track";
        "beat-left" "ctrl-left ," go(Motion::BeatLeft), "move one beat left";
        "beat-right" "ctrl-right ;" go(Motion::BeatRight), "move one beat right";
        "bar-left" "page-up" go(Motion::BarLeft), "move one bar left" => "measure previous";
        "bar-right" "page-down" go(Motion::BarRight), "move one bar right" => "measure next";
        "attack-next" "tab" go(Motion::NextAttack), "move to the next attack";
        "attack-previous" "back-tab" go(Motion::PreviousAttack), "move to the previous attack";
        "section-start" "home" go(Motion::SectionStart), "move to the start of the section";
        "section-end" "end" go(Motion::SectionEnd), "move to the end of the section";
        "groove-start" "ctrl-home" go(Motion::GrooveStart), "move to the start of the groove";
        "groove-end" "ctrl-end" go(Motion::GrooveEnd), "move to the end of the groove";
        "section-previous" "ctrl-page-up S up {" go(Motion::PreviousSection), "move to the previous section"
            => "part verse chorus";
        "section-next" "ctrl-page-down S down }" go(Motion::NextSection), "move to the next section"
            => "part verse chorus";
        "go-to-bar" "j B g" Ask(Question::Bar), "go to a bar by number" => "jump measure locate";
    }
    Grid "Editing attacks" "editing" {
        "erase" "delete" Run(Command::Erase), "replace the selection or cell with rests", "erase"
            => "clear remove delete note silence";
        "accent" "a" Run(Command::CycleAccent), "switch between plain, accent and ghost", "accent"
            => "loud emphasis velocity dynamics ghost";
        "stronger" "E up" Run(Command::AccentBy(1)), "raise the accent by a level, up to accent"
            => "louder velocity dynamics emphasis strong accent crescendo";
        "softer" "E down" Run(Command::AccentBy(-1)), "lower the accent by a level, down to ghost"
            => "quieter velocity dynamics soft ghost diminuendo";
        "flam" "O" Run(Command::ToggleFlam), "turn the flam of the attack on or off"
            => "grace note stroke rudiment ornament acciaccatura";
        "pitch" "p" Ask(Question::Pitch), "set the pitch, like E2 or F#3", "pitch"
            => "note tone tuning fret key melody";
        "pitch-up" "u" Run(Command::Transpose(1)), "raise the pitch a semitone" => "transpose sharp higher tune";
        "pitch-down" "d" Run(Command::Transpose(-1)), "lower the pitch a semitone" => "transpose flat lower tune";
        "octave-up" "E u" Run(Command::Transpose(12)), "raise the pitch an octave" => "transpose higher 8va";
        "octave-down" "E d" Run(Command::Transpose(-12)), "lower the pitch an octave" => "transpose lower 8vb";
        "tuplet" "t" Ask(Question::Tuplet), "make a tuplet, like 5 or 7/2 (7 in 2 beats)", "tuplet"
            => "triplet quintuplet sextuplet septuplet quadruplet nonuplet duplet ratio";
        "even-beat" "E e" Run(Command::EvenBeat), "remove the tuplet from the beat"
            => "straight triplet tuplet undo plain";
        "rotate-later" "> E >" Run(Command::Rotate(1)), "rotate one cell later" => "nudge displace right offset";
        "rotate-earlier" "< E <" Run(Command::Rotate(-1)), "rotate one cell earlier" => "nudge displace left offset";
        "rotate" "E r" Ask(Question::Rotate), "rotate by a number of cells" => "displace permutation offset nudge";
        "shift-later" ") E )" Run(Command::Shift(1)), "shift one cell later, filling with rests"
            => "nudge displace move right delay sixteenth step";
        "shift-earlier" "( E (" Run(Command::Shift(-1)), "shift one cell earlier, filling with rests"
            => "nudge displace move left sixteenth step";
        "shift" "E s" Ask(Question::Shift), "shift by a number of cells" => "nudge displace move offset sixteenth step";
        "double-lengths" "E l" Run(Command::ScaleLengths(LengthScale::Double)), "make the selection twice as long"
            => "augmentation longer half-time half time stretch slower";
        "halve-lengths" "E h" Run(Command::ScaleLengths(LengthScale::Halve)), "make the selection half as long"
            => "diminution shorter double-time double time compress faster";
        "variants" "ctrl-r E v" Call(variants::open), "list the variants of the selection", "variants"
            => "vary variation rotate rotation displace permutation retrograde reverse swap split join thin fill alternatives ideas";
        "undo" "ctrl-z" Run(Command::Undo), "undo", "undo" => "revert back mistake";
        "redo" "ctrl-y" Run(Command::Redo), "redo" => "again forward repeat";
    }
    Variants "The list of variants" "variants" {
        "variant-take" "enter" Call(variants::take), "take this variant in place of the original", "take";
        "variant-keep" "n" Call(variants::keep), "keep it as a new section after this one", "keep as section";
        "variant-pair" "b" Call(variants::play_pair), "play original and variant back to back", "back to back";
        "variant-order" "tab" Call(|s| variants::next_order(s, 1)), "sort by the next aim: near, harder, easier...", "sort";
        "variant-order-previous" "back-tab" Call(|s| variants::next_order(s, -1)), "sort by the aim before";
        "variant-scope" "w" Call(variants::next_scope), "vary the bar, the section or the figure", "bar/section/figure";
        "variant-play" "space p" Call(transport::toggle_playback), "play the loop with this variant, or stop", "play/stop";
        "variant-close" "esc" Call(dispatch::close), "leave the groove as it was", "close";
        "variant-up" "up" Navigate(Step::Lines(-1)), "move to the variant above";
        "variant-down" "down" Navigate(Step::Lines(1)), "move to the variant below";
        "variant-page-up" "page-up" Navigate(Step::Pages(-1)), "move one page of variants up";
        "variant-page-down" "page-down" Navigate(Step::Pages(1)), "move one page of variants down";
        "variant-first" "home" Navigate(Step::Lines(isize::MIN)), "move to the original";
        "variant-last" "end" Navigate(Step::Lines(isize::MAX)), "move to the last variant";
        "variant-help" "? f1" Call(help::toggle), "show the keys of this list", "help";
        "variant-quit" "ctrl-q" Call(dispatch::quit), "quit the program";
    }
    Grid "Selecting and copying" "editing" {
        "select-left" "shift-left" extend(Motion::Left), "extend the selection one cell left";
        "select-right" "shift-right" extend(Motion::Right), "extend the selection one cell right";
        "select-up" "shift-up" extend(Motion::Up), "extend the selection to the layer above";
        "select-down" "shift-down" extend(Motion::Down), "extend the selection to the layer below";
        "select-beat-left" "ctrl-shift-left" extend(Motion::BeatLeft), "extend the selection one beat left";
        "select-beat-right" "ctrl-shift-right" extend(Motion::BeatRight), "extend the selection one beat right";
        "select-to-start" "shift-home" extend(Motion::SectionStart), "select to the start of the section";
        "select-to-end" "shift-end" extend(Motion::SectionEnd), "select to the end of the section";
        "select" "s" Call(dispatch::start_selecting), "start selecting; movement extends, Esc stops", "select"
            => "mark highlight range block";
        "select-bar" "b" Run(Command::SelectBar), "select the bar; again: the next bar too", "bar"
            => "mark measure bars several";
        "select-cells" "C n" Ask(Question::SelectCells), "select a number of cells from here on" => "mark range number";
        "select-section" "C s" Run(Command::SelectSection), "select the section in this layer" => "mark part all";
        "select-all" "ctrl-a C a" Run(Command::SelectAllLayers), "select the section in all layers"
            => "mark everything whole";
        "copy" "ctrl-c C c" Run(Command::Copy), "copy the selection or the bar", "copy" => "clipboard duplicate";
        "cut" "ctrl-x C x" Run(Command::Cut), "cut the selection or the bar" => "clipboard move";
        "paste" "ctrl-v C v" paste(PasteContent::All), "paste", "paste" => "clipboard insert put";
        "paste-rhythm" "C r" paste(PasteContent::Rhythm), "paste without accents and pitches" => "clipboard";
        "repeat" "r" Ask(Question::Repeat), "repeat the selection or the bar", "repeat"
            => "duplicate bar measure again copy fill times loop";
        "copy-groups" "C g" Call(|s| clipboard::copy(s, CopyText::Groups)), "copy the group lines as text"
            => "clipboard grouping";
        "copy-boxes" "C b" Call(|s| clipboard::copy(s, CopyText::Boxes)), "copy the cells in box notation"
            => "clipboard tubs grid tab";
        "copy-syllables" "C y" Call(|s| clipboard::copy(s, CopyText::Syllables)), "copy the counting syllables as text"
            => "counting count clipboard";
        "copy-explanation" "C e" Call(|s| clipboard::copy(s, CopyText::Explanation)),
            "copy the whole explanation as text"
            => "clipboard analysis report";
        "close" "esc" Call(dispatch::close), "clear the selection", "deselect" => "escape cancel unselect";
    }
    Grid "Playback" "takes" {
        "play" "enter" Call(transport::toggle_playback), "play or stop", "play/stop"
            => "start stop pause run space transport";
        "play-here" "y" Call(transport::start_at_cursor), "play from the bar at the cursor" => "start cursor";
        "loop" "P l" Call(looping::next_loop_mode), "switch the loop: groove, section or region"
            => "cycle repeat mode section bars";
        "loop-region" ": P :" Call(looping::toggle_region), "loop the selection or bar, or end the loop", "loop"
            => "repeat bars selection range ab cycle";
        "loop-extend" "!" Call(|s| looping::change_region(s, Command::ExtendLoopRegion, "loop")),
            "extend the loop to the cursor's bar" => "longer more bars region range";
        "loop-start" "P i" Call(|s| looping::change_region(s, Command::LoopStart, "loop start set")),
            "start the loop at the cursor's cell" => "in point mark begin";
        "loop-end" "P o" Call(|s| looping::change_region(s, Command::LoopEnd, "loop end set")),
            "end the loop after the cursor's cell" => "out point mark finish";
        "loop-clear" "P x" Call(looping::clear_region), "clear the loop region" => "off remove delete marks";
        "slower" "[ P left" Call(|s| transport::speed_by(s, -5)), "play 5% slower; keep the written tempo",
            "slower"
            => "slow down speed tempo half practice";
        "faster" "] P right" Call(|s| transport::speed_by(s, 5)), "play 5% faster; keep the written tempo",
            "faster"
            => "speed up quick tempo practice";
        "speed" "P s" Ask(Question::Speed), "set the playback speed in percent"
            => "slow fast percent rate tempo practice half full normal reset original";
        "volume-down" "V d" Call(|s| transport::volume_by(s, -2)), "lower the volume by 2 dB", "quieter"
            => "softer quieter loudness level master";
        "volume-up" "V u" Call(|s| transport::volume_by(s, 2)), "raise the volume by 2 dB", "louder"
            => "louder loudness level master";
        "click-down" "V k" Call(|s| transport::click_volume_by(s, -2)), "lower the click volume by 2 dB"
            => "softer quieter metronome level";
        "click-up" "V K" Call(|s| transport::click_volume_by(s, 2)), "raise the click volume by 2 dB"
            => "louder metronome level";
        "beat-click" "k" Call(clicks::toggle_beat), "turn the click of the written beat on or off"
            => "metronome beep tick pulse";
        "hearing-click" "K" Call(clicks::toggle_hearing), "turn the selected hearing's click on or off"
            => "wrong metronome rival beat pulse";
        "beat-click-next" "V b" Call(clicks::next_beat_click), "change what the beat click plays"
            => "backbeat offbeat metronome subdivision 2 4";
        "hearing-click-next" "V h" Call(clicks::next_hearing_click), "change what the hearing click plays"
            => "offbeat metronome subdivision";
        "click-sound" "V c" Call(transport::next_click_sound), "change the click sound: tick, block or beep"
            => "metronome timbre beep tick";
        "count-in" "P b" Call(transport::toggle_count_in), "count in before everything, on or off"
            => "count-off lead-in count me in pickup clicks";
        "take-groove" "f5" Call(|s| clicks::play_take(s, Mix::GROOVE)), "play the groove alone"
            => "listen solo without metronome";
        "take-beat" "f6" Call(|s| clicks::play_take(s, Mix::GROOVE_AND_BEAT)), "play the groove and the written beat"
            => "listen metronome";
        "take-hearing" "f7" Call(|s| clicks::play_take(s, Mix::GROOVE_AND_HEARING)),
            "play the groove and the selected hearing" => "listen metronome wrong rival";
        "take-pulses" "f8" Call(|s| clicks::play_take(s, Mix::PULSES)), "play only the beat and the hearing"
            => "listen metronome polyrhythm polytempo";
        "take-all" "f9" Call(|s| clicks::play_take(s, Mix::ALL)), "play the groove, the beat and the hearing"
            => "listen metronome everything";
        "takes" "P t" Ask(Question::Takes), "play all takes in turn"
            => "count-in count lead-in versions sequence listen";
        "ladder" "P p" Call(practice::toggle_ladder), "start or leave the tempo ladder"
            => "trainer speed practice build gradual accelerate slow count-in";
        "ladder-as" "P n" Ask(Question::Ladder), "start a ladder: speeds, passes, muted passes"
            => "trainer speed practice build gradual count-in gap mute";
        "ladder-down" "f3" Call(|s| practice::step(s, -1)), "play the previous ladder step after this pass"
            => "slower trainer";
        "ladder-up" "f4" Call(|s| practice::step(s, 1)), "play the next ladder step after this pass"
            => "faster trainer";
        "outputs" "W o" Call(|s| s.effects.push(Effect::Outputs)), "list the output devices"
            => "audio device sound card headphones speaker interface";
    }
    Grid "Tapping along" "tap" {
        "tap" "ctrl-t P a" Call(tapping::begin), "tap along with the loop", "tap along"
            => "tapping timing practice accuracy clap early late";
        "tap-report" "P r" Call(tapping::show_report), "show the last tap report"
            => "timing accuracy early late statistics result";
        "tap-calibrate" "P c" Call(tapping::begin_calibrating), "calibrate the tap offset (16 taps)"
            => "latency delay offset";
    }
    Tap "Tapping along" "tap" {
        "tap-key" "space" Tap, "tap; any letter or digit works too", "tap (any letter too)";
        "tap-restart" "enter" Call(tapping::restart), "discard the taps and start again", "start again";
        "tap-end" "esc" Call(dispatch::close), "stop and show the report", "stop and report";
        "tap-quit" "ctrl-q" Call(dispatch::quit), "quit";
    }
    TapTempo "Tapping along" "tap" {
        "tempo-tap" "space" Tap, "tap the tempo; any letter or digit works too", "tap (any letter too)";
        "tempo-set" "enter" Call(tempo_taps::set), "set the tempo of the section", "set the tempo";
        "tempo-cancel" "esc" Call(dispatch::close), "keep the tempo as it is", "cancel";
        "tempo-quit" "ctrl-q" Call(dispatch::quit), "quit";
    }
    Grid "Layers" "voices" {
        "add-layer" "n L n" Ask(Question::AddLayer), "add a layer: name and voice", "new layer"
            => "new track drum instrument voice part row bass guitar cymbal create insert";
        "add-kit" "L k" Run(Command::AddKit), "add layers for kick, snare and hat"
            => "drum kit set drums kick snare hat track";
        "copy-layer" "L d" Run(Command::CopyLayer), "duplicate the layer" => "track copy clone";
        "remove-layer" "ctrl-d L x" Run(Command::RemoveLayer), "delete the layer" => "track remove row drum";
        "layer-up" "ctrl-up L up" Run(Command::MoveLayer(-1)), "move the layer up" => "track order reorder";
        "layer-down" "ctrl-down L down" Run(Command::MoveLayer(1)), "move the layer down" => "track order reorder";
        "rename-layer" "L r" Ask(Question::RenameLayer), "rename the layer" => "track name label title";
        "voice-next" "V n" Run(Command::NextVoice(1)), "use the next voice for the layer"
            => "change instrument sound drum timbre";
        "voice" "V v L v" Ask(Question::Voice), "choose the layer's voice"
            => "instrument sound drum timbre kick snare hi-hat cymbal guitar bass patch";
        "sound-file" "V f" Ask(Question::SoundFile), "use a sound file for the layer"
            => "sample wav audio recording instrument load";
        "division" "B d" Ask(Question::Division(Keep::NoteValues)), "set the cells per beat in the section", "division"
            => "subdivision subdivide grid quavers semiquavers eighths sixteenths eighth sixteenth notes triplet";
        "cycle" "L c" Ask(Question::Cycle), "repeat the section's first cells as a cycle", "cycle"
            => "polymeter polymetre ostinato loop length phrase";
        "cycle-off" "L o" Run(Command::Cycle(None)), "write the cycle out"
            => "polymeter polymetre unroll expand flatten";
        "mute" "m L m" Run(Command::Mute), "mute or unmute the layer" => "silence off unmute track";
        "solo" "L s" Run(Command::Solo), "solo or unsolo the layer" => "alone isolate only track";
        "louder" "V up" Run(Command::GainBy(1)), "raise the gain by 1 dB" => "volume level mix track gain";
        "quieter" "V down" Run(Command::GainBy(-1)), "lower the gain by 1 dB" => "volume level mix softer track gain";
        "gain" "V g" Ask(Question::Gain), "set the layer's gain in dB" => "mix volume level mixer balance fader track turn down up quieter louder";
        "accent-depth" "V a" Ask(Question::AccentDepth), "set the level of accents and ghosts, in dB"
            => "velocity dynamics loudness ghost range";
        "pan" "V p" Ask(Question::Pan), "pan the layer, -100 left to 100 right"
            => "panorama stereo balance mix left right";
        "layer-swing" "L w" Ask(Question::LayerSwing), "set the layer's swing, like 2:1"
            => "track shuffle feel groove offbeats";
    }
    Grid "Sections and the groove" "editing" {
        "tempo" "T B t" Ask(Question::Tempo), "set the tempo, like 150 or 1/4.=90", "tempo"
            => "bpm beats per minute speed metronome mark crotchet quarter equals tap time";
        "tap-tempo" "B a" Call(tempo_taps::begin), "tap the tempo of the section" => "bpm tap metronome find speed";
        "tempo-up" "B up" Run(Command::TempoBy(1)), "raise the tempo by 1" => "bpm faster speed";
        "tempo-down" "B down" Run(Command::TempoBy(-1)), "lower the tempo by 1" => "bpm slower speed";
        "meter" "B m" Ask(Question::Meter(Keep::NoteValues)), "set the meter, like 4/4 or 3+2+2/8", "meter"
            => "time signature metre beats odd additive 7/8 5/4 2+2+3 3+2+2";
        "add-bar" "+ B +" Run(Command::BarsBy(1)), "add a bar to the end of the section", "add bar"
            => "measure append longer new";
        "remove-bar" "B r" Run(Command::BarsBy(-1)), "remove the section's last bar" => "measure shorter delete last";
        "insert-bar" "B i" Run(Command::InsertBar), "insert a bar before this one"
            => "add measure new empty blank anacrusis pickup upbeat";
        "delete-bars" "B x" Run(Command::DeleteBars), "delete this bar, or those selected" => "remove measure cut";
        "bars" "B n" Ask(Question::Bars), "set the section's number of bars" => "measures length size";
        "times" "S p" Ask(Question::Times), "set how many times the section plays"
            => "arrangement repeats repetitions form structure";
        "swing" "S w" Ask(Question::Swing), "set the section's swing, like 2:1"
            => "shuffle feel offbeats groove ratio triplet";
        "add-section" "S n" Ask(Question::AddSection), "add a section after this one: name, meter"
            => "chorus new verse bridge part intro create insert arrangement";
        "copy-section" "S d" Run(Command::CopySection), "duplicate the section" => "part chorus verse copy clone";
        "remove-section" "S x" Run(Command::RemoveSection), "delete the section" => "part chorus verse remove";
        "section-earlier" "S left" Run(Command::MoveSection(-1)), "move the section earlier"
            => "arrangement order reorder song form left";
        "section-later" "S right" Run(Command::MoveSection(1)), "move the section later"
            => "arrangement order reorder song form right";
        "sections" "S l" Call(sections::open), "list all sections, and go to one"
            => "overview arrangement form structure parts song";
        "split-section" "S s" Run(Command::SplitSection), "begin a new section with this bar"
            => "divide cut chorus verse part";
        "join-sections" "S j" Run(Command::JoinSections), "join the section with the next one"
            => "merge combine glue part";
        "rename-section" "S r" Ask(Question::RenameSection), "rename the section" => "name label chorus verse part";
        "title" "S t" Ask(Question::Title), "set the groove's title" => "name song rename heading";
        "note" "S c" Ask(Question::Note), "edit the note saved with the groove"
            => "comment text remark description memo";
    }
    Grid "Laying the grid over the recording" "recordings" {
        "grid-proposals" "G p" Call(grid_search::propose), "list tempos and meters for the recording"
            => "bpm tempo detect beat meter guess propose";
        "grid-marks" "G m" Ask(Question::Marks), "lay beats between two times, from the cursor"
            => "tempo marks measure between";
        "grid-taps" "G t" Call(tapping::begin_on_recording), "tap the recording's beats, from the cursor on"
            => "tempo tap along beat grid";
        "align" "G a" Call(grid_search::align), "find this groove in the recording" => "align match locate score follow";
        "align-groups" "G g" Ask(Question::AlignGroups), "find a line of groups in the recording"
            => "align match riff cycle";
        "transcribe" "G w" Call(grid_search::transcribe), "write the recording's attacks as layers"
            => "transcribe drums automatic layers kick snare hat";
    }
    Grid "The recording" "recordings" {
        "recording" "R f" Ask(Question::Recording), "set the recording under the grid, or remove it"
            => "audio song track file open load transcribe sound wav mp3 flac";
        "recording-mix" "R m" Call(recording::next_mix), "hear the groove, the recording, or both"
            => "listen mute solo balance original";
        "recording-channels" "R c" Call(recording::tone::next_channels), "hear left, right, middle, side or both"
            => "stereo mono channel karaoke instrument isolate";
        "recording-band" "R b" Ask(Question::RecordingBand), "hear a band of frequencies, like 80-400"
            => "filter eq equalizer bass treble low high band-pass instrument isolate";
        "recording-pitch" "R t" Ask(Question::RecordingPitch), "transpose the recording, in semitones"
            => "transpose octave key pitch shift tuning";
        "recording-level" "R v" Ask(Question::RecordingLevel), "set the level of the recording, in dB"
            => "volume gain loudness mix louder quieter";
        "anchor" "R a" Ask(Question::Anchor), "say when this cell is heard in the recording"
            => "sync marker align lay grid tempo map downbeat";
        "remove-anchor" "R d" Run(Command::RemoveAnchor(None)), "remove the anchor here, or the last before"
            => "delete marker";
        "remove-anchors" "R x" Run(Command::RemoveAnchors), "remove all anchors" => "delete markers clear reset";
        "anchors" "R l" Call(anchors::open), "list the anchors with tempos, and go to one"
            => "tempo map markers overview";
        "anchor-earlier" "R left" Run(Command::MoveAnchor(-10_000)), "move the anchor 10 ms earlier" => "nudge marker";
        "anchor-later" "R right" Run(Command::MoveAnchor(10_000)), "move the anchor 10 ms later" => "nudge marker";
        "anchor-bit-earlier" "R down" Run(Command::MoveAnchor(-1_000)), "move the anchor 1 ms earlier" => "nudge marker";
        "anchor-bit-later" "R up" Run(Command::MoveAnchor(1_000)), "move the anchor 1 ms later" => "nudge marker";
    }
    Grid "Writing down a recording" "recordings" {
        "accept-onset" "ctrl-o G x" Call(transcription::accept), "enter the onset in this cell as an attack"
            => "transcribe detect take hit stroke suggestion";
        "accept-onsets" "G s" Call(transcription::accept_all), "enter all onsets of the selection or bar"
            => "transcribe detect take hits strokes suggestions";
        "onset-next" "ctrl-n G right" Call(|s| transcription::go_to_onset(s, transcription::Direction::Next)),
            "go to the next onset without an attack" => "jump transcribe missing";
        "onset-previous" "ctrl-p G left" Call(|s| transcription::go_to_onset(s, transcription::Direction::Previous)),
            "go to the onset before without an attack" => "jump transcribe missing";
        "differences" "G l" Call(differences::open), "list where played and written differ"
            => "compare missing extra deviations timing transcribe check";
        "hear-around" "Y G h" Call(listening::hear_around), "loop around this beat at half speed, or stop"
            => "slow down listen here transcribe";
        "jump-on" "G j" Call(listening::toggle_jumping_on), "let the loop move on as you fill it, or stay"
            => "transcribe loop follow advance";
        "layer-band" "G b" Call(transcription::next_band), "choose the onsets of the layer by their band"
            => "kick snare hat filter frequency transcribe";
        "onsets" "G o" Call(transcription::toggle_shown), "show or hide the onsets of the recording"
            => "marks suggestions transcribe detect";
    }
    Grid "Export and import" "exports" {
        "export" "F e" Call(|s| export::open_menu(s, ExportMenu::Groove)),
            "export MIDI, MusicXML, pictures, pages or text"
            => "midi musicxml notation score sheet music png svg pdf print file picture image tab write";
        "export-section" "F p" Call(|s| export::open_menu(s, ExportMenu::Section)), "export only this section"
            => "score midi musicxml notation part";
        "pictures-as" "F g" Ask(Question::PicturesAs), "set picture theme, width and notation"
            => "svg png colours colors light dark image size";
        "handout" "F h" Call(|s| export::open_menu(s, ExportMenu::Handout)), "export a handout page with its sound"
            => "sheet pupil student teacher lesson worksheet print pdf drum part html page notation";
        "render-wav" "F w" Ask(Question::RenderWav), "export what plays now as a WAV file"
            => "bounce audio sound mixdown record render file";
        "takes-wav" "F k" Ask(Question::TakesWav), "export the takes as a WAV file"
            => "click bounce audio render count-in track";
        "ladder-wav" "F l" Ask(Question::LadderWav), "export the last ladder as a WAV file"
            => "practice bounce audio render trainer";
        "import" "F i" Ask(Question::Import), "import a MIDI or MusicXML file" => "open load read midi musicxml file";
        "import-warnings" "F m" Call(import::show_warnings), "show the warnings of the last import"
            => "problems messages";
        "cancel" "F x" Call(export::cancel_job), "cancel the running export or import" => "stop abort job";
    }
    Grid "Menus" "keys" {
        "layer-menu" "L" OpenMenu(Menu::Layer), "layer: new, mute, solo, move, rename, delete", "menus" => "track";
        "section-menu" "S" OpenMenu(Menu::Section), "section: new, move, repeats, swing, title";
        "bar-menu" "B" OpenMenu(Menu::Bar), "bars: tempo, meter, division, insert, delete" => "time measure";
        "edit-menu" "E" OpenMenu(Menu::Edit), "edit: rotate, shift, octave, length, variants" => "pattern";
        "copy-menu" "C" OpenMenu(Menu::Copy), "copy: select, clipboard, copies as text" => "selection";
        "sound-menu" "V" OpenMenu(Menu::Sound), "sound: voice, gain, pan, volume, clicks" => "mixer";
        "practice-menu" "P" OpenMenu(Menu::Practice), "practice: loop, speed, ladder, takes, tapping";
        "recording-menu" "R" OpenMenu(Menu::Recording), "recording: file, mix, anchors" => "audio song";
        "transcription-menu" "G" OpenMenu(Menu::Transcription), "grid from the recording: lay it, transcribe" => "onsets";
        "file-menu" "F" OpenMenu(Menu::File), "file: save, export, handout, import, quit";
        "screen-menu" "W" OpenMenu(Menu::Screen), "window: labels, zoom, hearings, manual, config" => "view";
    }
    Grid "Screen and program" "screen" {
        "help" "? f1" Call(help::open), "show this help", "help"
            => "keys shortcuts commands bindings";
        "manual" "W m" Call(manual::open), "open the manual"
            => "colours colors theme background settings preferences documentation guide chapters";
        "find" "f f2" Call(lists::open_search), "find a command", "find" => "search commands palette";
        "hearings" "h W h" Call(lists::open_full), "show all hearings, reasons and streams", "hearings"
            => "why hard difficult reasons analysis where one beat pulse downbeat streams explain";
        "focus" "W f" Call(hearings::next_focus), "switch what is analyzed: layer, all, selection"
            => "analysis analyse listen follow layer";
        "hearing-next" "H W H" Call(hearings::select_next), "select the next hearing" => "rival pulse beat other wrong";
        "strips" "W s" Call(|s| s.view.toggle_strips()), "show two rows of pulses, or all that fit", "more pulses"
            => "pulses rows hearings lines";
        "labels" "q W l" Call(|s| s.view.next_labels()), "label attacks: groups, pitches or nothing"
            => "grouping pitches numbers names show";
        "wider" "z W z" Call(|s| scroll::zoom_by(s, 1)), "widen the columns" => "zoom in larger columns";
        "narrower" "Z W Z" Call(|s| scroll::zoom_by(s, -1)), "narrow the columns" => "zoom out smaller columns";
        "config-file" "W c" Call(lists::open_config_errors), "show the errors in the config file"
            => "settings preferences options keys colour colours color colors theme background";
        "open" "F o" Ask(Question::Open), "open another groove file" => "load file toml";
        "new" "F n" Call(replacement::start_new), "start a new groove" => "empty blank create file song";
        "save" "ctrl-s F s" Call(save::save), "save", "save" => "store write file";
        "save-as" "ctrl-w F a" Ask(Question::SaveAs), "save under another name" => "copy rename file export version";
        "redraw" "ctrl-l W r" Call(|s| s.effects.push(Effect::Redraw)), "redraw the screen"
            => "refresh repaint garbled";
        "quit" "ctrl-q F q" Call(dispatch::quit), "quit", "quit" => "exit close leave end";
    }
    List "Lists and prompts" "keys" {
        "list-up" "up" Navigate(Step::Lines(-1)), "move one line up";
        "list-down" "down" Navigate(Step::Lines(1)), "move one line down", "scroll";
        "list-page-up" "page-up" Navigate(Step::Pages(-1)), "move one page up";
        "list-page-down" "page-down" Navigate(Step::Pages(1)), "move one page down";
        "list-first" "home" Navigate(Step::Lines(isize::MIN)), "move to the first line";
        "list-last" "end" Navigate(Step::Lines(isize::MAX)), "move to the last line";
        "list-number" "1 2 3 4 5 6 7 8 9" EnterDigit, "take the choice with this number";
        "list-hear" "p" Call(grid_search::toggle_preview), "hear this choice over the recording, or stop", "hear";
        "list-accept" "enter space" Call(lists::accept), "select, go to the place, or open the chapter", "select";
        "list-click" "K" Call(clicks::toggle_hearing), "turn this hearing's click on or off", "click";
        "list-click-extra" "k" Call(clicks::toggle_extra_hearing), "add or remove this hearing's click";
        "list-part" "tab" Call(|s| lists::change_part(s, 1)), "show the next part", "next part";
        "list-part-previous" "back-tab" Call(|s| lists::change_part(s, -1)), "show the previous part";
        "list-delete" "delete x" Call(anchors::remove), "remove this anchor of the list", "remove";
        "list-rename" "r" Call(sections::rename), "rename this section of the list", "rename";
        "list-help" "? f1" Call(help::toggle), "show the keys of lists, or close the help", "help";
        "list-manual" "m" Call(manual::open), "show the chapters of the manual", "manual";
        "list-search" "/" Call(search::start), "search the help or the manual", "search";
        "list-match-next" "n" Call(|s| search::find(s, Direction::Next)), "go to the next match", "next match";
        "list-match-previous" "N" Call(|s| search::find(s, Direction::Previous)), "go to the previous match";
        "list-close" "esc h" Call(dispatch::close), "close";
        "list-quit" "ctrl-q" Call(dispatch::quit), "quit the program";
    }
    AnyMenu "Lists and prompts" "keys" {
        "menu-close" "esc" Call(dispatch::close), "close the menu", "close the menu";
        "menu-quit" "ctrl-q" Call(dispatch::quit), "close the menu and quit";
    }
    Typing "Lists and prompts" "keys" {
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
    ConfirmQuit "Lists and prompts" "keys" {
        "quit-save" "s ctrl-s" Reply(SaveFirst), "save, then quit";
        "quit-discard" "y" Reply(Yes), "quit without saving";
        "quit-cancel" "esc n" Call(dispatch::close), "do not quit";
    }
    ConfirmOverwrite "Lists and prompts" "keys" {
        "overwrite-yes" "y" Reply(Yes), "overwrite the file";
        "overwrite-no" "esc n" Call(dispatch::close), "keep the file as it is";
    }
    ConfirmImport "Lists and prompts" "keys" {
        "import-save" "s ctrl-s" Reply(SaveFirst), "save, then open the other groove";
        "import-discard" "y" Reply(Yes), "open the other groove without saving";
        "import-cancel" "esc n" Call(dispatch::close), "keep this groove";
    }
    Choice "Lists and prompts" "keys" {
        "choose-first" "1 enter" Reply(Answer(0)), "choose the first answer";
        "choose-second" "2" Reply(Answer(1)), "choose the second answer";
        "choose-cancel" "esc n" Call(dispatch::close), "change nothing";
    }
    ConfirmSounds "Lists and prompts" "keys" {
        "sounds-allow" "y" Reply(Yes), "read these sound files, now and later";
        "sounds-refuse" "esc n" Call(dispatch::close), "play the voices instead";
    }
    Recovery "Lists and prompts" "keys" {
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
