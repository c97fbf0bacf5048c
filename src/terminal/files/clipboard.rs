//! Which text is given to the terminal's clipboard.

use crate::describe::{self, plain};
use crate::terminal::action::Text;
use crate::terminal::event::Effect;
use crate::terminal::state::{Message, State};

/// Most bytes of a text: common terminals take no more than 74994 letters of base64 at once.
pub(crate) const MAX_CLIPBOARD: usize = 74_994 / 4 * 3;

/// Copies a text about the selection, or about the section where nothing is selected.
pub(crate) fn copy(state: &mut State, what: Text, effects: &mut Vec<Effect>) {
    let groove = state.groove().clone();
    if groove.layers().is_empty() {
        return state.show_message(Message::warning("no layer to copy from"));
    }
    let selected = state.session.selection();
    let place = if selected.is_some() { "the selection" } else { "the section" };
    let region = selected.unwrap_or_else(|| plain::whole_section(&groove, state.session.cursor().place.section));
    let (text, told) = match what {
        Text::Groups => (plain::groups(&groove, &region), format!("groups of {place}")),
        Text::Boxes => (plain::boxes(&groove, &region), format!("boxes of {place}")),
        Text::Syllables => (plain::syllables(&groove, &region), format!("syllables of {place}")),
        Text::Explanation => match state.report() {
            Some((report, true)) => (describe::explain(&groove, report), "the explanation".to_owned()),
            _ => return state.show_message(Message::warning("analysis is still running; try again")),
        },
    };
    if text.len() > MAX_CLIPBOARD {
        let words = format!(
            "{told}: {} bytes, but a terminal's clipboard takes at most {MAX_CLIPBOARD}; select less",
            text.len()
        );
        return state.show_message(Message::warning(words));
    }
    state.show_message(Message::info(format!("copied {told} to the clipboard")));
    effects.push(Effect::Copy(text + "\n"));
}
