//! Overlays of the grid, and the mode in which keys are looked up while one is open.

use crate::terminal::commands::Menu;
use crate::terminal::files::export::ExportMenu;
use crate::terminal::files::recovery::RecoveryView;
use crate::terminal::grid_search::ChoiceList;
use crate::terminal::help::HelpView;
use crate::terminal::manual::ManualView;
use crate::terminal::playback::tempo_taps::TempoTaps;
use crate::terminal::search::PagerInput;
use crate::terminal::variants::VariantList;
use crate::terminal::{Confirmation, Mode, Question, TextField};

/// What is open over the grid. Numbers of lists are the first visible or the selected line.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) enum Overlay {
    #[default]
    None,
    Help(HelpView),
    /// The commands of a menu, until the next key.
    Menu(Menu),
    Manual(ManualView),
    Find {
        text: TextField,
        selected: usize,
    },
    Outputs(Vec<String>, usize),
    /// The errors in the config file.
    ConfigFile(usize),
    /// The anchors of the recording, with the selected one.
    Anchors(usize),
    /// What a search in the recording found.
    GridChoices(ChoiceList),
    /// The variants of some cells.
    Variants(Box<VariantList>),
    /// What is played against what is written, with the selected line.
    Differences(usize),
    /// The sections, with the selected one.
    Sections(usize),
    /// A question. `unedited`: the text is the current value, which the first character typed replaces. `moved_to`: the line
    /// moved to in the list that the question offers.
    Prompt {
        question: Question,
        text: TextField,
        unedited: bool,
        moved_to: Option<usize>,
        error: Option<String>,
    },
    /// The full view, at a line of a block.
    Full {
        block: usize,
        line: usize,
    },
    Tap,
    TapTempo(TempoTaps),
    TapReport(usize),
    Confirm(Confirmation),
    Export {
        menu: ExportMenu,
        text: TextField,
        selected: usize,
    },
    ImportWarnings(usize),
    Recovery(RecoveryView),
}

impl Overlay {
    /// The list of variants, also under its help.
    pub(crate) fn variants(&self) -> Option<&VariantList> {
        match self {
            Overlay::Variants(list) => Some(list),
            Overlay::Help(HelpView { list: Some(list), .. }) => list.variants(),
            _ => None,
        }
    }

    pub(crate) fn variants_mut(&mut self) -> Option<&mut VariantList> {
        match self {
            Overlay::Variants(list) => Some(list),
            Overlay::Help(HelpView { list: Some(list), .. }) => list.variants_mut(),
            _ => None,
        }
    }

    pub(crate) fn mode(&self) -> Mode {
        match self {
            Overlay::None => Mode::Grid,
            Overlay::Manual(ManualView { input: PagerInput::Search, .. })
            | Overlay::Help(HelpView { input: PagerInput::Search, .. })
            | Overlay::Find { .. }
            | Overlay::Prompt { .. }
            | Overlay::Export { .. } => Mode::Typing,
            Overlay::Menu(menu) => Mode::Menu(*menu),
            Overlay::Help(_)
            | Overlay::Outputs(..)
            | Overlay::ConfigFile(_)
            | Overlay::Anchors(_)
            | Overlay::GridChoices(_)
            | Overlay::Differences(_)
            | Overlay::Sections(_)
            | Overlay::Full { .. }
            | Overlay::TapReport(_)
            | Overlay::Manual(_)
            | Overlay::ImportWarnings(_) => Mode::List,
            Overlay::Variants(_) => Mode::Variants,
            Overlay::Tap => Mode::Tap,
            Overlay::TapTempo(_) => Mode::TapTempo,
            Overlay::Confirm(confirmation) => confirmation.mode(),
            Overlay::Recovery(_) => Mode::Recovery,
        }
    }
}
