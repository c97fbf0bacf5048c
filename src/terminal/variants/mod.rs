//! The list of variants: opened on the selection, moved through while the loop plays, and taken, kept or left.

mod list;
mod scope;

pub(crate) use list::VariantList;

use crate::analysis::{AnalysisOptions, Scope};
use crate::jobs::Range;
use crate::jobs::variants::{
    Aim, AnswerPart, Entry, Heard, ListId, Subject, Variant, VariantsAnswer, VariantsRequest, Work,
};
use crate::rhythm::{Cell, Edit, Groove, Place, count};
use crate::terminal::hearings::{Focus, clicked_pulses};
use crate::terminal::playback::practice;
use crate::terminal::{Effect, Overlay, State, replay};
use scope::{VariedScope, subject};
use std::collections::HashMap;
use std::sync::Arc;

/// The hints of the list, most important first.
pub(crate) const HINTS: &str = "variant-take variant-close variant-keep variant-pair variant-order variant-scope \
    variant-play variant-help";

/// Most bars of a loop that is played twice in a take.
const MAX_BARS_TWICE: usize = 4;

/// What is varied and how it is sorted, as in the list before.
#[derive(Debug, Clone, Copy)]
pub(crate) struct VariantHabits {
    scope: Option<VariedScope>,
    aim: Aim,
}

impl Default for VariantHabits {
    fn default() -> Self {
        Self { scope: None, aim: Aim::Near }
    }
}

/// Opens the list for the selection or, without one, for the layer in a short section or in the bar of the cursor.
pub(crate) fn open(state: &mut State) {
    if state.groove().layers().is_empty() {
        return state.warn(format!("no layer yet; {} adds one", state.key("add-layer")));
    }
    // As in the list before, unless cells are selected or there is no such thing here.
    let before = state.variant_habits.scope.filter(|_| state.session.selection().is_none());
    let found = before.and_then(|scope| Some((scope, subject(state, scope).ok()?)));
    let found = found.map_or_else(
        || {
            let scope = VariedScope::of_cursor(state);
            subject(state, scope).map(|found| (scope, found))
        },
        Ok,
    );
    match found {
        Ok((scope, found)) => {
            let groove = state.groove().clone();
            start(state, (groove, 0), scope, found);
        }
        Err(why) => state.warn(why),
    }
}

/// Opens a list for a groove and the number of its sections that were kept already.
fn start(
    state: &mut State,
    (groove, kept): (Arc<Groove>, usize),
    scope: VariedScope,
    (subject, what): (Subject, String),
) {
    // Heard as in the pane, but always in the layer that is varied.
    let layers = match state.hearings.focus {
        Focus::All => (0..state.groove().layers().len()).collect(),
        _ => vec![subject.layer],
    };
    state.variant_lists = state.variant_lists.wrapping_add(1);
    let id = ListId(state.variant_lists);
    let scope_of_ear = Scope { layers, region: None };
    let speed = state.report().map_or(1.0, |(report, _)| report.speed);
    let bpm = state.strip_hearing().map(|(_, hearing)| hearing.bpm(speed));
    let aim = match (state.variant_habits.aim, bpm) {
        (Aim::Hearing(_), None) => Aim::Near,
        (Aim::Hearing(_), Some(bpm)) => Aim::Hearing(bpm),
        (aim, _) => aim,
    };
    let options = AnalysisOptions { scope: scope_of_ear, ..state.analysis_options() };
    let work = Work::Make(subject.clone());
    let request = VariantsRequest { list: id, groove: groove.clone(), options: options.clone(), work };
    let list = VariantList {
        id,
        revision: state.revision(),
        shown: groove.clone(),
        groove,
        scope,
        subject,
        what,
        options,
        bpm,
        aim,
        variants: None,
        order: Vec::new(),
        ranks: None,
        progress: None,
        selected: 0,
        has_moved: true,
        effects: HashMap::new(),
        report: None,
        kept,
    };
    state.overlay = Overlay::Variants(Box::new(list));
    state.effects.push(Effect::Variants(Some(Box::new(request))));
}

/// Asks for what the screen lacks: the effects of the visible rows, then those of the pages around them, then the order.
fn request(state: &mut State) {
    let page = rows_on_a_page(state);
    let Some(list) = state.overlay.variants_mut() else { return };
    let Some(variants) = list.variants.clone() else { return };
    let (at, all) = (list.selected, list.order.len());
    let rows = [0].into_iter().chain(at..=(at + 2 * page).min(all)).chain((at.saturating_sub(2 * page)..at).rev());
    let mut wanted: Vec<Entry> = Vec::new();
    for entry in rows.filter_map(|row| list.entry(row)).filter(|entry| list.effect(*entry).is_none()) {
        if !wanted.contains(&entry) {
            wanted.push(entry);
        }
    }
    let selected = list.entry(at).filter(|entry| list.report.as_ref().is_none_or(|(of, _)| of != entry));
    let aim = Some(list.aim).filter(|aim| *aim != Aim::Near && list.ranks.is_none());
    let work = Work::Hear { variants, reported: selected, wanted, aim };
    let (groove, options) = (list.groove.clone(), list.options.clone());
    state.effects.push(Effect::Variants(Some(Box::new(VariantsRequest { list: list.id, groove, options, work }))));
}

/// Rows that a page of the list has at least.
pub(crate) fn rows_on_a_page(state: &State) -> usize {
    let pane = state.layout().map_or(0, |layout| usize::from(layout.pane.height));
    (pane.saturating_sub(2) / 2).max(1)
}

/// Notes a part of an answer, unless it is about another list or another revision of the groove.
pub(crate) fn on_answer(state: &mut State, VariantsAnswer { list: id, part }: VariantsAnswer) {
    let Some(list) = state.overlay.variants_mut().filter(|list| list.id == id) else { return };
    match part {
        AnswerPart::Made(made) if made.found.is_empty() => {
            let text = format!("no variants of {}; select more cells", list.what);
            state.overlay = Overlay::None;
            state.warn(text);
        }
        AnswerPart::Made(made) => {
            list.variants = Some(made);
            let wanted = std::mem::replace(&mut list.aim, Aim::Near);
            list.sort();
            list.aim = wanted;
            request(state);
        }
        AnswerPart::Heard(all) => {
            let selected = list.entry(list.selected);
            let before = clicked_pulses(state);
            if let Some(list) = state.overlay.variants_mut() {
                for Heard { entry, effect, report } in all {
                    list.effects.insert(entry, effect);
                    if let Some(report) = report.filter(|_| selected == Some(entry)) {
                        list.report = Some((entry, report));
                    }
                }
            }
            if before != clicked_pulses(state) {
                replay(state);
            }
        }
        AnswerPart::Ranking(percent) => list.progress = Some(percent),
        AnswerPart::Ranked(aim, ranks) => {
            if list.aim == aim {
                (list.ranks, list.progress) = (Some(ranks), None);
                list.sort();
                request(state);
            }
        }
        AnswerPart::Failed => state.warn("internal error in the variants; the groove is unchanged"),
    }
}

/// Closes the list if the groove was changed otherwise than by it.
pub(crate) fn drop_stale(state: &mut State) {
    let revision = state.revision();
    if state.overlay.variants().is_some_and(|list| list.revision != revision) {
        state.overlay = Overlay::None;
        practice::end_pair(state);
    }
}

pub(crate) fn select(state: &mut State, row: usize) {
    let Some(list) = state.overlay.variants_mut().filter(|list| list.selected != row) else { return };
    list.has_moved = true;
    list.select(row);
    practice::end_pair(state);
    request(state);
}

/// Sorts by the next aim, or by the one before, and selects the first row unless the original is selected.
pub(crate) fn next_order(state: &mut State, by: isize) {
    let Some(list) = state.overlay.variants_mut() else { return };
    let aims = list.aims();
    let now = aims.iter().position(|aim| *aim == list.aim).unwrap_or(0) as isize;
    list.aim = aims[(now + by).rem_euclid(aims.len() as isize) as usize];
    (list.ranks, list.progress, list.has_moved) = (None, None, list.selected == 0);
    list.sort();
    state.variant_habits.aim = list.aim;
    request(state);
}

/// Varies the next of: the selection or the bar, the section, the figure.
pub(crate) fn next_scope(state: &mut State) {
    let Some(list) = state.overlay.variants() else { return };
    let (now, old, base) = (list.scope, list.subject.clone(), (list.groove.clone(), list.kept));
    let first = if state.session.selection().is_some() { VariedScope::Selection } else { VariedScope::Bar };
    let all = [first, VariedScope::Section, VariedScope::Figure];
    let at = all.iter().position(|scope| *scope == now).unwrap_or(0);
    let others = [all[(at + 1) % 3], all[(at + 2) % 3]];
    let found = others.into_iter().find_map(|scope| {
        let (subject, what) = subject(state, scope).ok()?;
        (subject != old).then_some((scope, subject, what))
    });
    match found {
        Some((scope, subject, what)) => {
            practice::end_pair(state);
            state.variant_habits.scope = Some(scope).filter(|scope| *scope != VariedScope::Selection);
            start(state, base, scope, (subject, what));
        }
        None if scope::is_whole_cycle(&base.0, &old) => {
            let key = state.key_or_name("cycle-off");
            state.info(format!("the cycle is varied as a whole; {key} writes it out, for variants of single bars"));
        }
        None => state.info("there is nothing else to vary here: no figure that is repeated, and no other cells"),
    }
}

/// The selected variant and how it was made; says so if it is the original.
fn selected(state: &mut State) -> Option<(Variant, String)> {
    let list = state.overlay.variants()?;
    let variant = list.entry(list.selected).and_then(|entry| list.variant(entry)).cloned();
    if variant.is_none() {
        state.info("this is the original; move down to a variant");
    }
    variant.map(|variant| {
        let made = variant.made.first().map(ToString::to_string).unwrap_or_default();
        (variant, made)
    })
}

/// The cells of the varied layer and section in a variant, at their place.
fn varied_cells(variant: &Variant, &Subject { layer, section, .. }: &Subject) -> (Place, Vec<Cell>) {
    let part = variant.groove.part(layer, section);
    let cells = (0..part.stored().len())
        .map(|cell| if part.is_cycle() { part.cell(cell) } else { part.stored()[cell] })
        .collect();
    (Place { layer, section, cell: 0 }, cells)
}

/// Puts the selected variant in place of the original, as one step.
pub(crate) fn take(state: &mut State) {
    let Some((variant, made)) = selected(state) else { return };
    let Some(subject) = state.overlay.variants().map(|list| list.subject.clone()) else { return };
    let (place, cells) = varied_cells(&variant, &subject);
    match state.groove().edited(&Edit::Cells(place, cells)) {
        Err(why) => state.warn(why.to_string()),
        Ok(groove) => {
            state.overlay = Overlay::None;
            practice::end_pair(state);
            state.session.lay(groove, &format!("variant: {made}"));
            let undo = state.key_or_name("undo");
            state.info(format!("variant taken: {made} ({undo} undoes)"));
        }
    }
}

/// Inserts a copy of the section with the selected variant, after those kept before, as one step. The list stays as it is.
pub(crate) fn keep(state: &mut State) {
    let Some((variant, made)) = selected(state) else { return };
    let Some((subject, kept)) = state.overlay.variants().map(|list| (list.subject.clone(), list.kept)) else { return };
    let (Place { layer, section, .. }, cells) = varied_cells(&variant, &subject);
    // The section kept last differs from the original only in the cells that are replaced.
    match state.session.keep_as_section((layer, section + kept), cells, &format!("keep a variant: {made}")) {
        Err(why) => state.warn(why.to_string()),
        Ok(name) => {
            let revision = state.revision();
            if let Some(list) = state.overlay.variants_mut() {
                (list.revision, list.kept) = (revision, kept + 1);
            }
            let undo = state.key_or_name("undo");
            state.info(format!("kept as section {name} ({undo} undoes, after the list is closed)"));
        }
    }
}

/// Plays the original and then the selected variant as takes.
pub(crate) fn play_pair(state: &mut State) {
    let Some(_) = selected(state) else { return };
    let Some(list) = state.overlay.variants() else { return };
    let grooves = [list.groove.clone(), list.shown.clone()];
    let bars: usize = grooves[0].sections().iter().map(|s| usize::from(s.bars) * usize::from(s.times)).sum();
    let is_long = matches!(state.loop_range(), Range::Whole) && bars > MAX_BARS_TWICE;
    let times = if is_long { 1 } else { 2 };
    practice::play_pair(state, grooves, times);
    state.info(format!("takes: the original {}, then the variant", count(times as usize, "time")));
}

/// Says what changed, after the list was closed.
pub(crate) fn leave(state: &mut State, list: &VariantList) {
    if practice::groove_of_pair(state).is_some() {
        practice::end_pair(state);
        replay(state);
    }
    state.info(match list.kept {
        0 => "the groove is unchanged".to_owned(),
        kept => format!("{} kept as {}", count(kept, "variant"), if kept == 1 { "a section" } else { "sections" }),
    });
}
