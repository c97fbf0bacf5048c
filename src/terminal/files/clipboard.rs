//! Copies texts about the groove to the terminal's clipboard.

use crate::describe::{self, plain};
use crate::terminal::{Effect, State};

/// Maximum bytes of a text: common terminals accept at most 74994 characters of base64 at once.
pub(crate) const MAX_CLIPBOARD: usize = 74_994 / 4 * 3;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum CopyText {
    Groups,
    Boxes,
    Syllables,
    Explanation,
}

/// Copies a text about the selection, or about the section if nothing is selected.
pub(crate) fn copy(state: &mut State, what: CopyText) {
    let groove = state.groove().clone();
    if groove.layers().is_empty() {
        return state.warn("no layer to copy from");
    }
    let selected = state.session.selection();
    let place = if selected.is_some() { "the selection" } else { "the section" };
    let region = selected.unwrap_or_else(|| plain::whole_section(&groove, state.session.cursor().place.section));
    let (text, name) = match what {
        CopyText::Groups => (plain::groups(&groove, &region), format!("groups of {place}")),
        CopyText::Boxes => (plain::boxes(&groove, &region), format!("box notation of {place}")),
        CopyText::Syllables => (plain::syllables(&groove, &region), format!("syllables of {place}")),
        CopyText::Explanation => match state.report() {
            Some((report, true)) => (describe::explain(&groove, report), "the explanation".to_owned()),
            _ => return state.warn("analysis is still running; try again"),
        },
    };
    if text.len() > MAX_CLIPBOARD {
        let size = text.len();
        return state.warn(format!(
            "{name}: {size} bytes, but a terminal's clipboard takes at most {MAX_CLIPBOARD}; select less"
        ));
    }
    state.info(format!("sent {name} to the terminal"));
    state.effects.push(Effect::Copy(text + "\n"));
}
