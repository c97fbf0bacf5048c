//! What a key or a word can ask for: commands on the groove, questions, and what concerns only the screen or the sound.

use crate::session::Command;
use crate::terminal::files::export::Choice;
use crate::terminal::manual::Direction;
use crate::terminal::playback::request::Switches;
use crate::terminal::prompts::question::Question;
use tui_input::InputRequest;

/// Something the user can ask for. Every row of the command table holds one.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// A command that needs no more words.
    Do(Command),
    /// Lays an attack of as many cells as the digit of the key says, 0 for ten; without a key asks how many.
    LayDigit,
    /// A command that needs a number or a name: asks for it.
    Ask(Question),
    /// Starts selecting: moves select until it is ended.
    Mark,
    /// Closes what is open, or drops the selection.
    Close,
    /// Gives a text about the selection, or the section, to the terminal's clipboard.
    CopyText(Text),
    /// Plays, or stops.
    Play,
    /// Plays from the cursor on.
    PlayHere,
    /// Begins to tap along with the loop.
    Tap,
    /// A tap.
    TapKey,
    /// Forgets the taps and begins the loop again.
    TapAgain,
    /// The report of the last tapping.
    TapReport,
    /// Measures the offset of this machine and the one who taps.
    Calibrate,
    /// What is played round: the section, the selection, all.
    NextLoop,
    /// Changes the playing speed by so many percent of the written tempo.
    SpeedBy(i32),
    /// Changes the master volume by so many dB.
    VolumeBy(i8),
    /// Changes the volume of the clicks by so many dB.
    ClickVolumeBy(i8),
    /// The click on the written beat, on or off.
    BeatClick,
    /// The click on the chosen hearing, on or off.
    HearingClick,
    /// Sounds a take in which this is heard.
    Take(Switches),
    /// How the written beat is clicked: plain, its halves only, cut in 2 to 4.
    BeatCut,
    /// The same for the hearings.
    HearingCut,
    /// The click on one more hearing, on or off.
    HearingToo,
    /// Starts the ladder, or leaves it.
    Ladder,
    /// So many steps up the ladder, at the end of the time through.
    LadderBy(i32),
    /// Whose attacks the hearings are found for.
    NextFocus,
    /// The next hearing in the strip.
    NextHearing,
    /// Two strips, or as many as there is room for.
    MoreStrips,
    /// What is written on the attacks: groups, pitches, nothing.
    NextLabels,
    /// Wider or narrower columns.
    ZoomBy(i32),
    /// Shows the help.
    Help,
    /// Opens the manual.
    Manual,
    /// Asks for a text to search for in the manual.
    SearchManual,
    /// Goes to another match in the manual.
    Match(Direction),
    /// Shows the searched list of commands.
    Find,
    /// Shows all that is said of the groove.
    Full,
    /// Shows the output devices.
    Outputs,
    /// Shows what is wrong with the config file.
    ConfigFile,
    /// Chooses what is made of the groove, and makes it.
    Export(Choice),
    /// Cancels what is being made or read.
    Cancel,
    /// What the last import had to say.
    Remarks,
    /// Opens what was imported in the place of work that is not saved.
    Replace,
    /// Saves that work first.
    ReplaceFirst,
    /// Saves.
    Save,
    /// Draws everything anew.
    Redraw,
    /// Ends the program, after a question if something is not saved.
    Quit,
    /// One line up in a list.
    ListUp,
    /// One line down in a list.
    ListDown,
    /// One screen up in a list.
    ListPageUp,
    /// One screen down in a list.
    ListPageDown,
    /// To the first line of a list.
    ListFirst,
    /// To the last line of a list.
    ListLast,
    /// Takes the line of a list, or what was typed.
    Accept,
    /// To the next part of a view.
    NextPart,
    /// To the part of a view before.
    PreviousPart,
    /// Edits the line that is being typed.
    Edit(InputRequest),
    /// Yes to a question.
    Yes,
    /// Writes over the file the question is about.
    Overwrite,
    /// Saves, then does what the question was about.
    SaveFirst,
}

/// A text that can be copied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Text {
    /// Lines of groups.
    Groups,
    /// Boxes.
    Boxes,
    /// Counting syllables.
    Syllables,
    /// The whole explanation of the groove.
    Explanation,
}
