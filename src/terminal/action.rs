//! Actions of the command table: commands on the groove, questions, and what concerns only the screen or the sound.

use crate::session::Command;
use crate::terminal::files::export::ExportMenu;
use crate::terminal::manual::Direction;
use crate::terminal::playback::mix::Mix;
use crate::terminal::prompts::question::Question;
use tui_input::InputRequest;

#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Action {
    Run(Command),
    /// Enters an attack of as many cells as the digit of the key, 0 for ten; without a key asks for groups.
    EnterDigit,
    Ask(Question),
    StartSelecting,
    /// Closes the overlay, cancels a job or drops the selection.
    Close,
    Copy(CopyText),
    Play,
    PlayFromCursor,
    TapAlong,
    Tap,
    RestartTapping,
    TapReport,
    Calibrate,
    NextLoopMode,
    /// Percent of the written tempo.
    SpeedBy(i32),
    /// In dB.
    VolumeBy(i8),
    /// In dB.
    ClickVolumeBy(i8),
    ToggleBeatClick,
    ToggleHearingClick,
    ToggleExtraHearingClick,
    NextBeatClick,
    NextHearingClick,
    PlayTake(Mix),
    ToggleLadder,
    /// Steps up, after the current pass.
    LadderBy(i32),
    NextFocus,
    NextHearing,
    ToggleStrips,
    NextLabels,
    ZoomBy(i32),
    Help,
    Manual,
    SearchManual,
    FindMatch(Direction),
    FindCommand,
    FullView,
    Outputs,
    ConfigFile,
    Export(ExportMenu),
    CancelJob,
    ImportWarnings,
    /// Opens the imported groove in place of unsaved changes.
    OpenImport,
    SaveThenOpenImport,
    Save,
    Redraw,
    /// Quits, after a question if there are unsaved changes.
    Quit,
    ListUp,
    ListDown,
    ListPageUp,
    ListPageDown,
    ListFirst,
    ListLast,
    Accept,
    NextPart,
    PreviousPart,
    EditText(InputRequest),
    QuitWithoutSaving,
    Overwrite,
    /// Runs the command of an answer.
    Choose(usize),
    SaveThenQuit,
    Recover,
    /// Shows the text of the unsaved work that is offered, or its difference.
    ViewUnsaved,
    DiscardUnsaved,
    /// In lines.
    ScrollUnsaved(isize),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum CopyText {
    Groups,
    Boxes,
    Syllables,
    Explanation,
}
