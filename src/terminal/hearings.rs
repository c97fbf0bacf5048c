//! What is asked of the analysis, the newest report, and the hearing the user has chosen in it.

use crate::analysis::{Ask, Finding, Hearing, Kind, Report, Scope};
use crate::jobs::HearingKey;
use crate::rhythm::Groove;
use crate::terminal::event::Effect;
use crate::terminal::playback::transport::replay;
use crate::terminal::state::{Message, State};
use std::sync::Arc;

/// Whose attacks the hearings are found for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) enum Focus {
    /// The first heard layer with attacks.
    #[default]
    First,
    /// One layer, wherever it goes.
    Layer(TrackedLayer),
    /// All heard layers.
    All,
    /// The selection, while there is one; then all again, which stands before it in the round.
    Selection,
}

/// A layer that is to be known again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TrackedLayer {
    layer: usize,
    name: String,
    /// Layers in all.
    of: usize,
}

impl TrackedLayer {
    fn new(groove: &Groove, layer: usize) -> Option<Self> {
        let layers = groove.layers();
        Some(Self { layer, name: layers.get(layer)?.name.clone(), of: layers.len() })
    }

    /// The layer in a groove that is one edit further: that of its name, or where no layer came or went one that was renamed.
    fn found(&self, groove: &Groove) -> Option<Self> {
        let named = groove.layers().iter().position(|l| l.name == self.name);
        Self::new(groove, named.or((groove.layers().len() == self.of).then_some(self.layer))?)
    }
}

/// The newest report there is, and what it is of.
#[derive(Debug, Clone)]
pub(crate) struct Shown {
    pub revision: u64,
    pub ask: Ask,
    pub report: Arc<Report>,
}

impl State {
    /// The newest report, and whether it is of this groove.
    pub(crate) fn report(&self) -> Option<(&Report, bool)> {
        self.report.as_ref().map(|shown| (&*shown.report, shown.revision == self.revision()))
    }

    /// Whose attacks the newest report's hearings are found for, in words, and whether that is what is asked now.
    pub(crate) fn heard_in(&self) -> Option<(String, bool)> {
        let shown = self.report.as_ref()?;
        let name = |l: &usize| self.groove().layers().get(*l).map(|l| l.name.clone());
        let layers: Vec<String> = shown.report.focus.iter().filter_map(name).collect();
        let mut cells = self.groove().layers().iter().flat_map(|l| &l.parts).flat_map(|p| p.stored());
        let attacks = cells.any(|c| c.attack().is_some());
        let words = match (&shown.ask.scope.region, &layers[..]) {
            (Some(_), [_] | []) => "selection".to_owned(),
            (Some(_), several) => format!("selection of {} layers", several.len()),
            (None, [only]) => only.clone(),
            (None, []) if attacks => "no layer".to_owned(),
            (None, []) => "nothing yet".to_owned(),
            (None, several) => format!("{} layers", several.len()),
        };
        Some((words, shown.ask == self.ask()))
    }

    /// The hearing of the strip: the chosen one, or else the rival of the written beat.
    pub(crate) fn strip(&self) -> Option<(usize, &Hearing)> {
        let (report, _) = self.report()?;
        let chosen = self.selected_hearing.and_then(|c| self.find(c));
        chosen.or_else(|| report.rival().map(|i| (i, &report.hearings[i])))
    }

    /// The hearing that is most like the one that was chosen.
    pub(crate) fn find(&self, chosen: HearingKey) -> Option<(usize, &Hearing)> {
        let hearings = &self.report()?.0.hearings;
        chosen.index_in(hearings).map(|i| (i, &hearings[i]))
    }

    /// The written beat among the hearings.
    pub(crate) fn written(&self) -> Option<&Hearing> {
        self.report()?.0.hearings.iter().find(|h| h.kind == Kind::Written)
    }

    pub(crate) fn findings(&self) -> &[Finding] {
        self.report.as_ref().map_or(&[], |shown| &shown.report.findings)
    }

    /// What is asked of the analysis.
    pub(crate) fn ask(&self) -> Ask {
        let region = self.session.selection().filter(|_| self.focus == Focus::Selection);
        let layers = match &self.focus {
            Focus::First | Focus::Selection => Vec::new(),
            Focus::Layer(watched) => vec![watched.layer],
            Focus::All => (0..self.groove().layers().len()).filter(|l| self.groove().is_audible(*l)).collect(),
        };
        Ask { scope: Scope { layers, region }, speed: self.speed(), limits: self.limits }
    }
}

/// Takes a hearing to the strip and the click.
pub(crate) fn choose(state: &mut State, index: usize) {
    if let Some(mark) = state.report().and_then(|(r, _)| r.hearings.get(index)).map(HearingKey::of) {
        state.selected_hearing = Some(mark);
    }
}

/// Whether there is a hearing to choose or to click; if not, that is told.
pub(crate) fn any(state: &mut State) -> bool {
    let any = state.strip().is_some();
    if !any {
        state.show_message(Message::warning("no hearing to click yet; enter some attacks first"));
    }
    any
}

/// The next hearing comes to the strip, round and round.
pub(crate) fn next(state: &mut State, effects: &mut Vec<Effect>) {
    let count = state.report().map_or(0, |(r, _)| r.hearings.len());
    if count == 0 {
        state.show_message(Message::warning("no hearing yet; enter some attacks first"));
        return;
    }
    let next = state.strip().map_or(0, |(i, _)| (i + 1) % count);
    choose(state, next);
    replay(state, effects);
}

/// Other attacks are listened to: the first layer, the cursor's, all, the selection, round and round.
pub(crate) fn next_focus(state: &mut State) {
    let layer = state.session.cursor().place.layer;
    let selected = state.session.selection().is_some();
    state.focus = match state.focus {
        Focus::First => TrackedLayer::new(state.groove(), layer).map_or(Focus::All, Focus::Layer),
        Focus::Layer(_) => Focus::All,
        Focus::All if selected => Focus::Selection,
        Focus::All | Focus::Selection => Focus::First,
    };
    let words = match &state.focus {
        Focus::Selection => "analysing the selection".to_owned(),
        Focus::First => "analysing the first layer with attacks".to_owned(),
        Focus::Layer(watched) => format!("analysing layer '{}'", watched.name),
        Focus::All => "analysing all layers together".to_owned(),
    };
    state.show_message(Message::info(words));
}

/// Tells whose attacks are listened to now, where a layer that was silenced or is heard again has changed that.
pub(crate) fn announce_focus(state: &mut State, old: &Groove) {
    let scope = Scope::default();
    let (was, is) = (scope.layers_of(old), scope.layers_of(state.groove()));
    let Some(layer) = is.first().filter(|_| state.focus == Focus::First && was != is && !was.is_empty()) else {
        return;
    };
    let (name, key) = (&state.groove().layers()[*layer].name, state.keymap.first("focus"));
    state.show_message(Message::info(format!("now analysing layer '{name}'; {key} changes this")));
}

/// Lets go of a selection or a layer that is there no more.
pub(crate) fn drop_stale_focus(state: &mut State) {
    match &state.focus {
        // What was heard before comes back when the selection goes.
        Focus::Selection if state.session.selection().is_none() => state.focus = Focus::All,
        Focus::Layer(watched) => state.focus = watched.found(state.groove()).map_or(Focus::First, Focus::Layer),
        _ => {}
    }
}

/// Asks for the report of the groove as it is now.
pub(crate) fn analyse(state: &State) -> Effect {
    Effect::Analyse { revision: state.revision(), groove: state.groove().clone(), ask: state.ask() }
}

/// Takes a report, if it is not older than the one that is there.
pub(crate) fn on_analysis(state: &mut State, shown: Shown, effects: &mut Vec<Effect>) {
    if state.report.as_ref().is_some_and(|old| old.revision > shown.revision) {
        return;
    }
    let before = clicked_pulses(state);
    state.report = Some(shown);
    // The clicks of hearings are those of the newest report.
    if before != clicked_pulses(state) {
        replay(state, effects);
    }
}

/// The pulses that are clicked now.
fn clicked_pulses(state: &State) -> Vec<Vec<f64>> {
    if !state.play.on {
        return Vec::new();
    }
    state.playing().lines.iter().map(|l| l.seconds.to_vec()).collect()
}
