//! Requests to the analysis, the newest report, and the hearings the user has selected in it.

use crate::analysis::{AnalysisOptions, Finding, Hearing, HearingKind, Limits, Report, Scope};
use crate::jobs::HearingKey;
use crate::jobs::play_request::HearingClicks;
use crate::rhythm::Groove;
use crate::terminal::playback::practice;
use crate::terminal::variants::VariantList;
use crate::terminal::{Effect, State, replay};
use std::mem;
use std::sync::Arc;

#[derive(Debug, Clone, Default)]
pub(crate) struct HearingsState {
    pub focus: Focus,
    pub limits: Limits,
    pub result: Option<AnalysisResult>,
    /// The hearing of the strip, if the user has selected one.
    pub selected: Option<HearingKey>,
    /// Hearings that click in addition to that of the strip.
    pub extra: Vec<HearingKey>,
}

/// The attacks to analyse.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) enum Focus {
    /// The first layer with attacks.
    #[default]
    First,
    Layer(TrackedLayer),
    All,
    /// The selection; without one [`Focus::All`].
    Selection,
}

/// A layer that can be found again after an edit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TrackedLayer {
    layer: usize,
    name: String,
    /// Number of layers of the groove.
    count: usize,
}

impl TrackedLayer {
    fn new(groove: &Groove, layer: usize) -> Option<Self> {
        let layers = groove.layers();
        Some(Self { layer, name: layers.get(layer)?.name.clone(), count: layers.len() })
    }

    /// The layer after an edit: the one of the same name, or if the number of layers is unchanged, the one in its place.
    fn follow(&self, groove: &Groove) -> Option<Self> {
        let named = groove.layers().iter().position(|l| l.name == self.name);
        Self::new(groove, named.or((groove.layers().len() == self.count).then_some(self.layer))?)
    }
}

#[derive(Debug, Clone)]
pub(crate) struct AnalysisResult {
    pub revision: u64,
    pub options: AnalysisOptions,
    pub report: Arc<Report>,
    /// Whether the slow parts belong to this report; otherwise they are kept from the previous one.
    pub is_refined: bool,
}

impl State {
    /// The newest report, and whether it is a report of the current revision; while the list of variants is open, that of the selected
    /// one as soon as it is there, unless the original is heard beside it.
    pub(crate) fn report(&self) -> Option<(&Report, bool)> {
        let is_heard =
            |list: &&VariantList| practice::groove_of_pair(self).is_none_or(|g| !Arc::ptr_eq(g, &list.groove));
        let of_variant = self.overlay.variants().filter(is_heard).and_then(|list| Some((list.report()?, true)));
        of_variant.or_else(|| self.hearings.result.as_ref().map(|r| (&*r.report, r.revision == self.revision())))
    }

    /// Describes the focus of the newest report, and says whether that is the current request.
    pub(crate) fn focus_label(&self) -> Option<(String, bool)> {
        let result = self.hearings.result.as_ref()?;
        let name = |l: &usize| self.groove().layers().get(*l).map(|l| l.name.clone());
        let layers: Vec<String> = result.report.focus.iter().filter_map(name).collect();
        let mut cells = self.groove().layers().iter().flat_map(|l| &l.parts).flat_map(|p| p.stored());
        let attacks = cells.any(|c| c.attack().is_some());
        let text = match (&result.options.scope.region, &layers[..]) {
            (Some(_), [_] | []) => "selection".to_owned(),
            (Some(_), several) => format!("selection of {} layers", several.len()),
            (None, [only]) if result.report.focus.iter().any(|l| !self.groove().is_audible(*l)) => {
                format!("{only}, muted")
            }
            (None, [only]) => only.clone(),
            (None, []) if attacks => "no layer".to_owned(),
            (None, []) => "an empty groove".to_owned(),
            (None, several) => format!("{} layers", several.len()),
        };
        Some((text, result.options == self.analysis_options()))
    }

    /// The hearing of the strip: the selected one, or else the rival of the written beat.
    pub(crate) fn strip_hearing(&self) -> Option<(usize, &Hearing)> {
        let (report, _) = self.report()?;
        let selected = self.hearings.selected.and_then(|key| self.find_hearing(key));
        selected.or_else(|| report.rival().map(|i| (i, &report.hearings[i])))
    }

    /// The hearing of the newest report that is most like this one.
    pub(crate) fn find_hearing(&self, key: HearingKey) -> Option<(usize, &Hearing)> {
        let hearings = &self.report()?.0.hearings;
        key.index_in(hearings).map(|i| (i, &hearings[i]))
    }

    pub(crate) fn written_beat(&self) -> Option<&Hearing> {
        self.report()?.0.hearings.iter().find(|h| h.kind == HearingKind::Written)
    }

    pub(crate) fn findings(&self) -> &[Finding] {
        self.report().map_or(&[], |(report, _)| &report.findings)
    }

    pub(crate) fn analysis_options(&self) -> AnalysisOptions {
        let region = self.session.selection().filter(|_| self.hearings.focus == Focus::Selection);
        let layers = match &self.hearings.focus {
            Focus::First | Focus::Selection => Vec::new(),
            Focus::Layer(tracked) => vec![tracked.layer],
            Focus::All => (0..self.groove().layers().len()).collect(),
        };
        AnalysisOptions { scope: Scope { layers, region }, speed: self.speed(), limits: self.hearings.limits }
    }
}

pub(crate) fn select(state: &mut State, index: usize) {
    if let Some(key) = state.report().and_then(|(r, _)| r.hearings.get(index)).map(HearingKey::of) {
        state.hearings.selected = Some(key);
    }
}

/// Whether there is a hearing to select; otherwise shows a message.
pub(crate) fn require_hearing(state: &mut State) -> bool {
    let found = state.strip_hearing().is_some();
    if !found {
        state.warn("no hearing yet; enter some attacks first");
    }
    found
}

/// Selects the next hearing, after the last one the first.
pub(crate) fn select_next(state: &mut State) {
    let count = state.report().map_or(0, |(r, _)| r.hearings.len());
    if count == 0 {
        return state.warn("no hearing yet; enter some attacks first");
    }
    let next = state.strip_hearing().map_or(0, |(i, _)| (i + 1) % count);
    select(state, next);
    replay(state);
}

/// Changes the focus: the first layer, the one at the cursor, all, the selection, then the first again.
pub(crate) fn next_focus(state: &mut State) {
    let layer = state.session.cursor().place.layer;
    let selected = state.session.selection().is_some();
    state.hearings.focus = match state.hearings.focus {
        Focus::First => TrackedLayer::new(state.groove(), layer).map_or(Focus::All, Focus::Layer),
        Focus::Layer(_) => Focus::All,
        Focus::All if selected => Focus::Selection,
        Focus::All | Focus::Selection => Focus::First,
    };
    let text = match &state.hearings.focus {
        Focus::Selection => "analyzing the selection".to_owned(),
        Focus::First => "analyzing the first layer with attacks".to_owned(),
        Focus::Layer(tracked) => format!("analyzing layer '{}'", tracked.name),
        Focus::All => "analyzing all layers together".to_owned(),
    };
    state.info(text);
}

/// Changes the focus if its selection or layer is gone.
pub(crate) fn drop_stale_focus(state: &mut State) {
    match &state.hearings.focus {
        Focus::Selection if state.session.selection().is_none() => state.hearings.focus = Focus::All,
        Focus::Layer(tracked) => {
            state.hearings.focus = tracked.follow(state.groove()).map_or(Focus::First, Focus::Layer);
        }
        _ => {}
    }
}

pub(crate) fn analyse(state: &State) -> Effect {
    Effect::Analyse { revision: state.revision(), groove: state.groove().clone(), options: state.analysis_options() }
}

/// Keeps a report unless it is older than the current one.
pub(crate) fn on_analysis(state: &mut State, mut result: AnalysisResult) {
    if state.hearings.result.as_ref().is_some_and(|old| old.revision > result.revision) {
        return;
    }
    if let (false, Some(old)) = (result.is_refined, &state.hearings.result)
        && old.options.scope == result.options.scope
    {
        let report = Arc::make_mut(&mut result.report);
        report.speeds.clone_from(&old.report.speeds);
        // The order of the reasons takes longer, too.
        let old_place = |new: &Finding| {
            let is_same = |old: &Finding| mem::discriminant(&old.reason) == mem::discriminant(&new.reason);
            old.report.findings.iter().position(is_same).unwrap_or(usize::MAX)
        };
        report.findings.sort_by_key(old_place);
    }
    let before = clicked_pulses(state);
    state.hearings.result = Some(result);
    if before != clicked_pulses(state) {
        replay(state);
    }
}

/// The hearings' clicks while something plays; empty otherwise.
pub(crate) fn clicked_pulses(state: &State) -> Vec<HearingClicks> {
    if state.playback.is_playing { state.loop_spec().hearings } else { Vec::new() }
}
