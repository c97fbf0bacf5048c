//! Making files of a groove, as far as the state goes: what is chosen, asked for, under way and over. It must not know formats,
//! files or how anything is made.

use crate::analysis::Kind;
use crate::terminal::event::Effect;
use crate::terminal::order::{Choice, Length, Look, Mark, Offer, Offers, Order, Ungiven, What};
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::prompts::ask;
use crate::terminal::prompts::parse::{self, RenderArgs};
use crate::terminal::prompts::question::Question;
use crate::terminal::prompts::typing::TextField;
use crate::terminal::state::{Message, State, Strips};
use std::path::Path;

/// What is remembered of it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Giving {
    pub offers: Offers,
    /// What was chosen last from the list.
    picked: Option<(Choice, usize)>,
    pub look: Look,
    /// What is under way: something is made, or a groove is read.
    pub making: Option<Making>,
}

/// Work that is under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Making {
    /// `making`, `reading`.
    pub doing: &'static str,
    pub percent: Option<u8>,
}

/// The offers that hold every word typed, best first.
pub(crate) fn found<'a>(state: &'a State, choice: Choice, text: &str) -> Vec<(usize, &'a Offer)> {
    let text = text.to_lowercase();
    let holds = |o: &&Offer| {
        let all = format!("{} {}", o.name, o.words).to_lowercase();
        text.split_whitespace().all(|w| all.contains(w))
    };
    let mut found: Vec<(usize, &Offer)> = list(state, choice).iter().enumerate().filter(|(_, o)| holds(o)).collect();
    let named = text.trim().replace(' ', "-");
    found.sort_by_key(|(_, o)| (o.name != named, !o.name.starts_with(&named)));
    found
}

fn list(state: &State, choice: Choice) -> &[Offer] {
    match choice {
        Choice::Groove | Choice::Section => &state.giving.offers.formats,
        Choice::Handout => &state.giving.offers.pages,
    }
}

/// Opens the list to choose from.
pub(crate) fn choose(state: &mut State, choice: Choice) {
    if !busy(state) {
        state.overlay = Overlay::Offers { choice, text: TextField::default(), chosen: 0 };
    }
}

/// Whether something is under way, which is then told.
pub(crate) fn busy(state: &mut State) -> bool {
    let busy = state.giving.making.is_some();
    if busy {
        state.show_message(Message::warning("another export is running; Esc cancels it"));
    }
    busy
}

/// Takes a line of the list: asks where it goes.
pub(crate) fn pick(state: &mut State, choice: Choice, text: TextField, chosen: usize) {
    let Some(index) = found(state, choice, text.value()).get(chosen).map(|f| f.0) else {
        state.overlay = Overlay::Offers { choice, text, chosen };
        return;
    };
    state.giving.picked = Some((choice, index));
    ask(state, if choice == Choice::Handout { Question::HandoutInto } else { Question::ExportAs });
}

fn picked(state: &State) -> Option<(Choice, &Offer)> {
    let (choice, index) = state.giving.picked?;
    Some((choice, list(state, choice).get(index)?))
}

/// What a question about a file begins with: a name beside the groove's own file, with what else is usual.
pub(crate) fn path_for(state: &State, question: Question) -> Option<String> {
    let file = Path::new(state.file().unwrap_or("groove.toml"));
    let named = |more: &str, ending: &str| {
        let stem = file.file_stem().unwrap_or_default().to_string_lossy();
        file.with_file_name(format!("{stem}{more}.{ending}")).display().to_string()
    };
    Some(match question {
        Question::ExportAs => {
            let (choice, offer) = picked(state)?;
            let picture = offer.name.split_once('-').map(|(_, p)| format!("-{p}")).unwrap_or_default();
            let section = &state.groove().sections()[state.session.cursor().place.section].name;
            let plain = |c: char| if c.is_alphanumeric() || c == '-' { c } else { '-' };
            let section: String = section.chars().map(plain).collect();
            let section = if choice == Choice::Section { format!("-{section}") } else { String::new() };
            named(&format!("{section}{picture}"), offer.ending)
        }
        Question::HandoutInto => file.with_file_name("handout").display().to_string(),
        Question::RenderWav => named("", "wav"),
        Question::TakesWav => format!("{} x2", named("-takes", "wav")),
        Question::LadderWav => named("-ladder", "wav"),
        _ => return None,
    })
}

/// The hearings of the strips that are not the written beat, and those that are clicked beside.
fn hearings(state: &State) -> Vec<Mark> {
    let Some((report, _)) = state.report() else { return Vec::new() };
    let mut shown = state.clicked(true, true);
    if state.strips == Strips::All
        && let Some(layout) = state.layout()
    {
        // The written beat has the first strip.
        let room = usize::from(layout.strips.height).saturating_sub(1);
        let others: Vec<usize> = (0..report.hearings.len()).filter(|i| !shown.contains(i)).collect();
        let own = |i: &usize| report.hearings[*i].kind != Kind::Written;
        let count = room.saturating_sub(shown.iter().filter(|i| own(i)).count().min(1));
        shown.extend(others.into_iter().filter(own).take(count));
    }
    let of = |i: usize| report.hearings.get(i).filter(|h| h.kind != Kind::Written).map(Mark::of);
    shown.into_iter().filter_map(of).collect()
}

/// Sets how pictures look.
pub(crate) fn look(state: &mut State, look: Look) {
    state.show_message(Message::info(format!("picture settings: {}", parse::look_words(&look))));
    state.giving.look = look;
}

/// Makes what was asked for, under the name and with the words that were typed.
pub(crate) fn make(state: &mut State, question: Question, words: RenderArgs, effects: &mut Vec<Effect>) {
    if busy(state) {
        return;
    }
    let what = match question {
        Question::ExportAs => {
            let Some((choice, offer)) = picked(state) else { return };
            let section = (choice == Choice::Section).then(|| state.session.cursor().place.section);
            What::Format { offer: offer.name.clone(), section, look: state.giving.look.clone() }
        }
        Question::HandoutInto => {
            let Some((_, offer)) = picked(state) else { return };
            What::Handout(offer.name.clone(), state.giving.look.writing.clone())
        }
        Question::RenderWav => {
            let times = Length::Times(words.times.unwrap_or(1));
            What::Sound(Box::new(state.playing()), words.seconds.map_or(times, Length::Seconds))
        }
        Question::TakesWav => {
            What::Takes { times: words.times.unwrap_or(2), count_in: words.count, speed: state.speed() }
        }
        _ => What::Ladder {
            playing: Box::new(state.playing()),
            speeds: state.ladder.speeds.clone(),
            times: state.ladder.loops,
            silence: state.ladder.silence,
        },
    };
    // The takes go from the written beat to the hearing of the strip.
    let hearings = match (&what, state.strip()) {
        (What::Takes { .. }, Some((_, h))) if h.kind != Kind::Written => vec![Mark::of(h)],
        (What::Takes { .. }, _) => Vec::new(),
        _ => hearings(state),
    };
    let order = Order {
        groove: state.groove().clone(),
        file: state.file().map(str::to_owned),
        path: words.name,
        over: false,
        limits: state.limits,
        layers: state.ask().scope.layers,
        hearings,
        hertz: words.hertz.unwrap_or(48_000),
        what,
    };
    begin(state, "making", &order.path);
    effects.push(Effect::Give(Box::new(order)));
}

/// Notes that something is under way.
pub(crate) fn begin(state: &mut State, doing: &'static str, path: &str) {
    state.giving.making = Some(Making { doing, percent: None });
    state.show_message(Message::info(format!("{doing} {path}; Esc cancels")));
}

/// Cancels what is under way; gives whether there was anything.
pub(crate) fn cancel(state: &mut State, effects: &mut Vec<Effect>) -> bool {
    if state.giving.making.is_none() {
        return false;
    }
    effects.push(Effect::Cancel);
    state.show_message(Message::info("cancelling"));
    true
}

/// Makes again what was refused because of a file that is there, over it.
pub(crate) fn over(state: &mut State, mut order: Box<Order>, effects: &mut Vec<Effect>) {
    if !busy(state) {
        order.over = true;
        begin(state, "making", &order.path);
        effects.push(Effect::Give(order));
    }
}

/// Takes how far the work is.
pub(crate) fn progress(state: &mut State, percent: u8) {
    if let Some(making) = &mut state.giving.making {
        making.percent = Some(percent);
    }
}

/// Takes the end of what was made.
pub(crate) fn given(state: &mut State, result: Result<String, Ungiven>) {
    state.giving.making = None;
    match result {
        Ok(words) => state.show_message(Message::info(words)),
        Err(error) => ungiven(state, error),
    }
}

/// Takes why something was not made or read.
pub(crate) fn ungiven(state: &mut State, error: Ungiven) {
    match error {
        Ungiven::Cancelled => state.show_message(Message::info("cancelled; nothing was written")),
        Ungiven::Taken(order, file) => state.pending_overwrite = Some(PendingOverwrite::Order(order, file)),
        Ungiven::Failed(words) => state.show_message(Message::warning(words)),
    }
}
