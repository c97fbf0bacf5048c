//! What an answer would do, shown while it is typed.

use crate::describe::plain;
use crate::rhythm::{Region, count, print_note_value};
use crate::session::{Command, Keep, Repeats, Session, messages};
use crate::terminal::Question;
use crate::terminal::prompts::answer::Answer;
use crate::terminal::prompts::parse::Ladder;

/// Maximum cells of a groove whose results are shown, so that typing does not stall.
const MAX_CELLS: usize = 200_000;

/// The lines to show above the prompt; empty if the text is not an answer, or nothing is to be said about it.
pub(crate) fn lines(question: Question, text: &str, session: &Session) -> Vec<String> {
    let run = |question: Question| match question.parse(text, session) {
        Ok(Answer::Run(command)) => Some(command),
        _ => None,
    };
    match (question, run(question)) {
        (Question::Meter(keep) | Question::Division(keep), Some(command)) => {
            let g = session.groove();
            let size: usize = g.layers().iter().flat_map(|l| &l.parts).map(|p| p.stored().len()).sum();
            let is_shown = !g.layers().is_empty() && size < MAX_CELLS;
            let Some(other) = run(question.other_meaning()).filter(|_| is_shown) else { return Vec::new() };
            let (of_times, of_cells) = if keep == Keep::NoteValues { (command, other) } else { (other, command) };
            let (times, cells) = (result(session, &of_times), result(session, &of_cells));
            if times == cells {
                return Vec::new();
            }
            let mark = |this| if keep == this { ">" } else { " " };
            vec![
                format!("{} keep note values: {times}", mark(Keep::NoteValues)),
                format!("{} keep cells: {cells}   (Tab selects)", mark(Keep::Cells)),
            ]
        }
        (Question::Ladder, _) => Ladder::parse(text).map(|ladder| steps(session, &ladder)).into_iter().collect(),
        (Question::Repeat, command) => repeat(session, command.as_ref()).into_iter().collect(),
        _ => Vec::new(),
    }
}

/// The bars and the groups of the cursor's layer after a command, or why it is not possible.
fn result(session: &Session, command: &Command) -> String {
    let at = session.cursor().place;
    let groove = match session.preview(command) {
        Ok(groove) => groove,
        Err(reason) => return format!("not possible: {reason}"),
    };
    let region = Region { layers: at.layer..at.layer + 1, ..plain::whole_section(&groove, at.section) };
    let section = &groove.sections()[at.section];
    let span = groove.part(at.layer, at.section).spot(0, groove.context(at.layer, at.section)).map(|spot| spot.span);
    let cell = span.and_then(|s| section.meter.beat().repeated(usize::from(s.beats))?.divided(usize::from(s.cells)));
    let cell = cell.map(|c| format!(", cell = {c}")).unwrap_or_default();
    let lost = messages::lost_attacks(session.groove(), &groove);
    format!("{}{cell}{lost}: {}", count(usize::from(section.bars), "bar"), plain::groups(&groove, &region))
}

/// The tempos of a ladder in the cursor's section.
fn steps(session: &Session, ladder: &Ladder) -> String {
    let tempo = &session.groove().sections()[session.cursor().place.section].tempo;
    let bpm = ladder.speeds.iter().filter_map(|speed| tempo.bpm().times(*speed));
    let bpm: Vec<String> = bpm.map(|bpm| bpm.to_string()).collect();
    let steps = count(ladder.speeds.len(), "step");
    format!("Enter starts {steps}: {} = {}", print_note_value(tempo.unit()), bpm.join(", "))
}

/// What is repeated, and how often in total.
fn repeat(session: &Session, command: Option<&Command>) -> Option<String> {
    let (region, fit) = session.repeatable()?;
    let what = if session.selection().is_some() { "the selection" } else { "the bar" };
    let first_layer = region.layers.start..region.layers.start + 1;
    let groups = plain::groups(session.groove(), &Region { layers: first_layer, ..region });
    let times = match command {
        Some(Command::Repeat(Repeats::ToSectionEnd)) => format!("; {}", messages::in_total(fit + 1)),
        Some(Command::Repeat(Repeats::More(times))) => format!("; {}", messages::in_total((*times).min(fit) + 1)),
        _ => String::new(),
    };
    Some(format!("repeats {what} ({groups}); 'end': {}{times}", count(fit, "more time")))
}
