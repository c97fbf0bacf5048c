//! The list of variants: opened on the selection, moved through while the loop plays, and taken, kept or left.

mod list;
mod scope;

pub(crate) use list::VariantList;

use crate::analysis::{AnalysisOptions, Scope};
use crate::jobs::Range;
use crate::jobs::variants::{
    Aim, AnswerPart, Entry, Heard, ListId, Subject, Variant, VariantsAnswer, VariantsRequest, Work,
};
use crate::rhythm::{Cell, Edit, Place, count};
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

/// Opens the list for the selection or, without one, for the layer in a short section or in the bar of the cursor.
pub(crate) fn open(state: &mut State) {
    if state.groove().layers().is_empty() {
        return state.warn(format!("no layer yet; {} adds one", state.key("add-layer")));
    }
    let scope = VariedScope::of_cursor(state);
    match subject(state, scope) {
        Ok((subject, what)) => start(state, scope, (subject, what), Aim::Near),
        Err(why) => state.warn(why),
    }
}

fn start(state: &mut State, scope: VariedScope, (subject, what): (Subject, String), aim: Aim) {
    // Heard as in the pane, but always in the layer that is varied.
    let layers = match state.hearings.focus {
        Focus::All => (0..state.groove().layers().len()).collect(),
        _ => vec![subject.layer],
    };
    let scope_of_ear = Scope { layers, region: None };
    let speed = state.report().map_or(1.0, |(report, _)| report.speed);
    let list = VariantList {
        id: ListId::default(),
        groove: state.groove().clone(),
        scope,
        subject,
        what,
        options: AnalysisOptions { scope: scope_of_ear, ..state.analysis_options() },
        bpm: state.strip_hearing().map(|(_, hearing)| hearing.bpm(speed)),
        aim,
        variants: None,
        order: Vec::new(),
        ranks: None,
        progress: None,
        selected: 0,
        has_moved: true,
        effects: HashMap::new(),
        report: None,
        kept: 0,
        shown: state.groove().clone(),
    };
    state.overlay = Overlay::Variants(Box::new(list));
    make(state);
}

/// Asks for the variants of the open list in the groove as it is now.
fn make(state: &mut State) {
    state.variant_lists = state.variant_lists.wrapping_add(1);
    let (id, groove) = (ListId { number: state.variant_lists, revision: state.revision() }, state.groove().clone());
    let Some(list) = state.overlay.variants_mut() else { return };
    (list.id, list.groove) = (id, groove.clone());
    (list.variants, list.ranks, list.progress) = (None, None, None);
    list.effects.clear();
    let (options, work) = (list.options.clone(), Work::Make(list.subject.clone()));
    state.effects.push(Effect::Variants(Some(Box::new(VariantsRequest { list: id, groove, options, work }))));
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
            let is_known = list.order.len() == made.found.len();
            list.variants = Some(made);
            if is_known {
                // Made again in another revision: the rows are the same.
                list.report = None;
                list.select(list.selected);
            } else {
                let wanted = std::mem::replace(&mut list.aim, Aim::Near);
                list.sort();
                list.aim = wanted;
            }
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

/// Closes a list of another revision of the groove.
pub(crate) fn drop_stale(state: &mut State) {
    let revision = state.revision();
    if state.overlay.variants().is_some_and(|list| list.id.revision != revision) {
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

/// Sorts by the next aim, or by the one before.
pub(crate) fn next_order(state: &mut State, by: isize) {
    let Some(list) = state.overlay.variants_mut() else { return };
    let aims = list.aims();
    let now = aims.iter().position(|aim| *aim == list.aim).unwrap_or(0) as isize;
    list.aim = aims[(now + by).rem_euclid(aims.len() as isize) as usize];
    (list.ranks, list.progress, list.has_moved) = (None, None, false);
    list.sort();
    request(state);
}

/// Varies the next of: the selection or the bar, the section, the figure.
pub(crate) fn next_scope(state: &mut State) {
    let Some(list) = state.overlay.variants() else { return };
    let (now, old, aim) = (list.scope, list.subject.clone(), list.aim);
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
            start(state, scope, (subject, what), aim);
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

/// Makes the selected variant the groove, as one step.
pub(crate) fn take(state: &mut State) {
    let Some((variant, made)) = selected(state) else { return };
    state.overlay = Overlay::None;
    practice::end_pair(state);
    state.session.lay(variant.groove, &format!("variant: {made}"));
    let undo = state.key_or_name("undo");
    state.info(format!("variant taken: {made} ({undo} undoes)"));
}

/// Inserts a copy of the section with the selected variant, as one step. The list stays open.
pub(crate) fn keep(state: &mut State) {
    let Some((variant, made)) = selected(state) else { return };
    let Some(Subject { layer, section, .. }) = state.overlay.variants().map(|list| list.subject.clone()) else {
        return;
    };
    let part = variant.groove.part(layer, section);
    let cells: Vec<Cell> = (0..part.stored().len())
        .map(|cell| if part.is_cycle() { part.cell(cell) } else { part.stored()[cell] })
        .collect();
    match state.session.keep_as_section((layer, section), cells.clone(), &format!("keep a variant: {made}")) {
        Err(why) => state.warn(why.to_string()),
        Ok(name) => {
            practice::end_pair(state);
            // What is drawn and heard stays the variant until it is made again.
            let held = state.groove().edited(&Edit::Cells(Place { layer, section, cell: 0 }, cells));
            if let (Some(list), Ok(held)) = (state.overlay.variants_mut(), held) {
                list.shown = Arc::new(held);
                list.kept += 1;
            }
            make(state);
            let undo = state.key_or_name("undo");
            state.info(format!("kept as section {name} ({undo} undoes, after the list is closed)"));
        }
    }
}

/// Plays the original and then the selected variant as takes.
pub(crate) fn play_pair(state: &mut State) {
    let Some(_) = selected(state) else { return };
    let grooves = [state.groove().clone(), state.previewed().clone()];
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
