//! Making files of a groove and bringing grooves in, as far as the state goes: what is chosen, asked for, under way and over.
//! It must not know formats, files or how anything is made.

use super::action::Question;
use super::event::Effect;
use super::order::{Arrived, Choice, Length, Look, Mark, Offer, Offers, Order, Ungiven, What};
use super::prompt::Answer;
use super::state::{Focus, Looped, Overlay, Refused, State, Strips};
use super::update::ask;
use super::{practice, saving};
use crate::analysis::Kind;
use crate::rhythm::Fraction;
use std::path::Path;

/// What is remembered of it.
#[derive(Debug, Clone, Default)]
pub(super) struct Giving {
    pub offers: Offers,
    /// What was chosen last from the list.
    picked: Option<(Choice, usize)>,
    pub look: Look,
    /// What is under way.
    pub making: Option<Making>,
    /// What the last import had to say.
    pub remarks: Vec<String>,
    /// A groove that came in and waits until nothing else is asked.
    pub arrived: Option<Box<Arrived>>,
    /// The same while what stands here is saved first.
    pub waiting: Option<Box<Arrived>>,
}

/// Work that is under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Making {
    /// `making`, `reading`.
    pub doing: &'static str,
    pub percent: Option<u8>,
}

/// The offers that hold every word typed, best first.
pub(super) fn found<'a>(state: &'a State, choice: Choice, text: &str) -> Vec<(usize, &'a Offer)> {
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
pub(super) fn choose(state: &mut State, choice: Choice) {
    if !busy(state) {
        state.overlay = Overlay::Offers { choice, text: String::new(), chosen: 0 };
    }
}

/// Whether something is under way, which is then told.
pub(super) fn busy(state: &mut State) -> bool {
    let busy = state.giving.making.is_some();
    if busy {
        state.tell("one thing at a time: something is being made still; Esc cancels it", true);
    }
    busy
}

/// Takes a line of the list: asks where it goes.
pub(super) fn pick(state: &mut State, choice: Choice, text: &str, chosen: usize) {
    let Some(index) = found(state, choice, text).get(chosen).map(|f| f.0) else {
        state.overlay = Overlay::Offers { choice, text: text.to_owned(), chosen };
        return;
    };
    state.giving.picked = Some((choice, index));
    ask(state, if choice == Choice::Handout { Question::HandoutInto } else { Question::ExportAs });
}

fn picked(state: &State) -> Option<(Choice, &Offer)> {
    let (choice, index) = state.giving.picked?;
    Some((choice, list(state, choice).get(index)?))
}

/// The text a question begins with.
pub(super) fn begins(state: &State, question: Question) -> Option<String> {
    let file = Path::new(state.file.as_deref().unwrap_or("groove.toml"));
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
        Question::PicturesAs => look_words(state.giving.look),
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

/// Does what an answer asks for.
pub(super) fn answered(state: &mut State, question: Question, answer: Answer, effects: &mut Vec<Effect>) {
    if let Answer::Look(look) = answer {
        state.giving.look = look;
        return state.tell(format!("pictures are made for {}", look_words(look)), false);
    }
    if busy(state) {
        return;
    }
    if let Answer::Bring(path, tolerance) = answer {
        begin(state, "reading", &path);
        return effects.push(Effect::Bring { path, tolerance });
    }
    let (path, sound) = match answer {
        Answer::Path(path) => (path, SoundWords::default()),
        Answer::Sound(words) => (words.name.clone(), words),
        _ => return,
    };
    let what = match question {
        Question::ExportAs => {
            let Some((choice, offer)) = picked(state) else { return };
            let section = (choice == Choice::Section).then(|| state.session.cursor().place.section);
            What::Format { offer: offer.name.clone(), section, look: state.giving.look }
        }
        Question::HandoutInto => {
            let Some((_, offer)) = picked(state) else { return };
            What::Handout(offer.name.clone())
        }
        Question::RenderWav => {
            let times = Length::Times(sound.times.unwrap_or(1));
            What::Sound(Box::new(state.playing()), sound.seconds.map_or(times, Length::Seconds))
        }
        Question::TakesWav => {
            What::Takes { times: sound.times.unwrap_or(2), count_in: sound.count, speed: state.speed() }
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
        file: state.file.clone(),
        path,
        over: false,
        limits: state.limits,
        layers: state.ask().scope.layers,
        hearings,
        hertz: sound.hertz.unwrap_or(48_000),
        what,
    };
    begin(state, "making", &order.path);
    effects.push(Effect::Give(Box::new(order)));
}

fn begin(state: &mut State, doing: &'static str, path: &str) {
    state.giving.making = Some(Making { doing, percent: None });
    state.tell(format!("{doing} {path}; Esc cancels"), false);
}

/// Cancels what is under way; gives whether there was anything.
pub(super) fn cancel(state: &mut State, effects: &mut Vec<Effect>) -> bool {
    if state.giving.making.is_none() {
        return false;
    }
    effects.push(Effect::Cancel);
    state.tell("cancelling", false);
    true
}

/// Makes again what was refused because of a file that is there, over it.
pub(super) fn over(state: &mut State, mut order: Box<Order>, effects: &mut Vec<Effect>) {
    if !busy(state) {
        order.over = true;
        begin(state, "making", &order.path);
        effects.push(Effect::Give(order));
    }
}

/// Takes how far the work is.
pub(super) fn progress(state: &mut State, percent: u8) {
    if let Some(making) = &mut state.giving.making {
        making.percent = Some(percent);
    }
}

/// Takes the end of what was made.
pub(super) fn given(state: &mut State, result: Result<String, Ungiven>) {
    state.giving.making = None;
    match result {
        Ok(words) => state.tell(words, false),
        Err(error) => ungiven(state, error),
    }
}

fn ungiven(state: &mut State, error: Ungiven) {
    match error {
        Ungiven::Cancelled => state.tell("cancelled; nothing was written", false),
        Ungiven::Taken(order, file) => state.refused = Some(Refused::Order(order, file)),
        Ungiven::Failed(words) => state.tell(words, true),
    }
}

/// Takes a groove that came in.
pub(super) fn brought(state: &mut State, result: Result<Box<Arrived>, Ungiven>) {
    state.giving.making = None;
    match result {
        Ok(arrived) => state.giving.arrived = Some(arrived),
        Err(Ungiven::Cancelled) => state.tell("cancelled; the groove is as it was", false),
        Err(error) => ungiven(state, error),
    }
}

/// Opens the groove that came in, after a question if what is here is not saved.
pub(super) fn arrive(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(arrived) = state.giving.arrived.take_if(|_| state.overlay == Overlay::None) else { return };
    if state.session.is_changed() {
        state.overlay = Overlay::Replacing(arrived);
    } else {
        replace(state, *arrived, effects);
    }
}

/// Opens the groove the question is about.
pub(super) fn replace_asked(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::Replacing(arrived) = std::mem::take(&mut state.overlay) {
        replace(state, *arrived, effects);
    }
}

/// Saves, and then opens the groove the question is about.
pub(super) fn save_first(state: &mut State, effects: &mut Vec<Effect>) {
    if let Overlay::Replacing(arrived) = std::mem::take(&mut state.overlay) {
        state.giving.waiting = Some(arrived);
        saving::save(state, effects);
    }
}

/// The groove that came in becomes the one of the editor, under no name; undo brings the other one back.
fn replace(state: &mut State, arrived: Arrived, effects: &mut Vec<Effect>) {
    practice::leave(state, effects);
    state.session.replace(arrived.groove, format!("import of {}", arrived.from));
    state.file = None;
    state.progress = None;
    (state.scroll, state.top_layer, state.marking) = (0, 0, false);
    (state.chosen, state.focus, state.play.looped) = (None, Focus::First, Looped::All);
    state.also.clear();
    effects.push(Effect::Unname);
    let (undo, save) = (state.keymap.first("undo"), state.keymap.first("save"));
    state.tell(format!("imported {}; {save} saves it, {undo} undoes", arrived.from), false);
    state.giving.remarks = arrived.remarks;
    if !state.giving.remarks.is_empty() {
        state.overlay = Overlay::Remarks(0);
    }
}

/// Shows again what the last import had to say.
pub(super) fn remarks(state: &mut State) {
    if state.giving.remarks.is_empty() {
        state.tell("no import had anything to say", false);
    } else {
        state.overlay = Overlay::Remarks(0);
    }
}

/// A file of sound and how much goes into it, as typed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct SoundWords {
    pub name: String,
    pub times: Option<u32>,
    pub seconds: Option<f64>,
    pub count: bool,
    pub hertz: Option<u32>,
}

impl SoundWords {
    /// From words as `riff.wav x4 44100hz`; the words after the name may be left out. `None` where no name is left.
    pub(super) fn read(text: &str) -> Option<Self> {
        let (mut words, mut rest) = (Self::default(), text.trim());
        while let Some((before, word)) = rest.rsplit_once(char::is_whitespace) {
            if !words.take(word) {
                break;
            }
            rest = before.trim_end();
        }
        words.name = path(rest)?;
        Some(words)
    }

    fn take(&mut self, word: &str) -> bool {
        if word == "count" {
            self.count = true;
        } else if let Some(n) = word.strip_prefix('x').and_then(|n| n.parse().ok()) {
            self.times = Some(n);
        } else if let Some(n) = word.strip_suffix("hz").and_then(|n| n.parse().ok()) {
            self.hertz = Some(n);
        } else if let Some(s) = word.strip_suffix('s').and_then(|n| n.parse().ok()) {
            self.seconds = Some(s);
        } else {
            return false;
        }
        true
    }

    /// Whether every number lies where it may, and no word stands that this question does not know.
    pub(super) fn allowed(&self, question: Question) -> bool {
        let (times, seconds, count) = match question {
            Question::RenderWav => (true, true, false),
            Question::TakesWav => (true, false, true),
            _ => (false, false, false),
        };
        self.times.is_none_or(|n| times && (1..=10_000).contains(&n))
            && self.seconds.is_none_or(|s| seconds && self.times.is_none() && (0.01..=36_000.0).contains(&s))
            && (count || !self.count)
            && self.hertz.is_none_or(|h| (8_000..=384_000).contains(&h))
    }
}

/// A path as typed; `None` where there is none.
pub(super) fn path(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty() && !text.contains('\0')).then(|| text.to_owned())
}

/// A file to import and a tolerance in ms after it: `song.mid 20ms`.
pub(super) fn source(text: &str) -> Option<(String, Fraction)> {
    let usual = Fraction::whole(5);
    if let Some((before, word)) = text.trim().rsplit_once(char::is_whitespace)
        && let Some(ms) = word.strip_suffix("ms").and_then(Fraction::parse)
    {
        let within = ms >= Fraction::ZERO && ms <= Fraction::whole(100);
        return path(before).filter(|_| within).map(|p| (p, ms));
    }
    path(text).map(|p| (p, usual))
}

/// How pictures look, from words as `print 1000 x2`; each may be left out.
pub(super) fn look(text: &str) -> Option<Look> {
    let mut look = Look::default();
    for word in text.split_whitespace() {
        match word {
            "print" => look.screen = false,
            "screen" => look.screen = true,
            _ => match word.strip_prefix('x') {
                Some(scale) => look.scale = Some(scale.parse().ok().filter(|s| (0.1..=8.0).contains(s))?),
                None => look.width = word.parse().ok().filter(|w| (480.0..=4000.0).contains(w))?,
            },
        }
    }
    Some(look)
}

fn look_words(look: Look) -> String {
    let scale = look.scale.map_or_else(String::new, |s| format!(" x{s}"));
    format!("{} {}{scale}", if look.screen { "screen" } else { "print" }, look.width)
}
