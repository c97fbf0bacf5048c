//! What is played against what is written: onsets without an attack, attacks without an onset, and the largest deviations.

use super::section_onsets::{CellOnset, SectionOnsets};
use crate::jobs::{Band, Onset};
use crate::rhythm::{Place, Region};
use crate::terminal::{Overlay, State, lists};
use std::collections::{BTreeMap, BTreeSet};

/// Deviations that are listed, the largest first.
const MAX_DEVIATIONS: usize = 20;

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum DifferenceKind {
    OnsetAlone {
        band: Band,
        confidence: f32,
    },
    AttackAlone,
    /// So many milliseconds after the start of the cell, negative if it is early.
    Deviation(f64),
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Difference {
    pub kind: DifferenceKind,
    pub place: Place,
    /// Pass of the section, from 0.
    pub pass: usize,
    /// The time in the recording.
    pub seconds: f64,
}

/// Compares the layers that sound with the recording, in the selection or everywhere.
pub(crate) fn open(state: &mut State) {
    let Some(()) = super::onsets_here(state) else { return };
    let found = compare(state);
    if found.is_empty() {
        return state.info("nothing of the groove and no onset is in the recording here");
    }
    state.transcription.differences = found;
    state.overlay = Overlay::Differences(0);
}

/// Moves the cursor to the place of a difference.
pub(crate) fn go_to(state: &mut State, at: usize) {
    let place = state.transcription.differences.get(at).map(|difference| difference.place);
    if let Some(place) = place {
        lists::go_to(state, place);
    }
}

/// How many onsets are without an attack, how many attacks without an onset, and the largest deviation in milliseconds.
pub(crate) fn totals(differences: &[Difference]) -> (usize, usize, Option<f64>) {
    let onsets = differences.iter().filter(|d| matches!(d.kind, DifferenceKind::OnsetAlone { .. })).count();
    let attacks = differences.iter().filter(|d| d.kind == DifferenceKind::AttackAlone).count();
    let largest =
        differences.iter().find_map(|d| if let DifferenceKind::Deviation(ms) = d.kind { Some(ms) } else { None });
    (onsets, attacks, largest)
}

fn onset_alone(onset: &Onset) -> DifferenceKind {
    DifferenceKind::OnsetAlone { band: onset.band(), confidence: onset.confidence }
}

fn compare(state: &State) -> Vec<Difference> {
    let (selected, groove) = (state.session.selection(), state.groove());
    let Some(recording) = state.loaded_recording() else { return Vec::new() };
    let duration = recording.frames as f64 / f64::from(recording.rate.max(1));
    let (mut onsets, mut attacks, mut deviations) = (Vec::new(), Vec::new(), Vec::new());
    for (section, s) in groove.sections().iter().enumerate() {
        if selected.as_ref().is_some_and(|region| region.section != section) {
            continue;
        }
        for pass in 0..usize::from(s.times) {
            let Some(here) = state.section_onsets(section, pass) else { break };
            if here.seconds(0.0) > duration {
                break;
            }
            let mut found = Found::default();
            for layer in (0..groove.layers().len()).filter(|layer| groove.is_audible(*layer)) {
                if selected.as_ref().is_none_or(|region| region.layers.contains(&layer)) {
                    found.add_layer(state, &here, (layer, section), selected.as_ref(), duration);
                }
            }
            let difference = |place, seconds, kind| Difference { kind, place, pass, seconds };
            for (index, (place, onset)) in &found.onsets {
                match found.matched.get(index) {
                    Some(ms) => deviations.push(difference(*place, onset.seconds, DifferenceKind::Deviation(*ms))),
                    None => onsets.push(difference(*place, onset.seconds, onset_alone(onset))),
                }
            }
            attacks
                .extend(found.attacks.iter().map(|(place, at)| difference(*place, *at, DifferenceKind::AttackAlone)));
        }
    }
    attacks.sort_by(|a, b| a.seconds.total_cmp(&b.seconds));
    let size = |d: &Difference| if let DifferenceKind::Deviation(ms) = d.kind { ms.abs() } else { 0.0 };
    deviations.sort_by(|a, b| size(b).total_cmp(&size(a)));
    deviations.truncate(MAX_DEVIATIONS);
    [onsets, attacks, deviations].concat()
}

/// What is found in a pass of a section.
#[derive(Default)]
struct Found {
    /// The onsets that fall into a cell, by their index, with the cell of the cursor's layer or of the first layer that shows them.
    onsets: BTreeMap<usize, (Place, Onset)>,
    /// The deviations of onsets from the attacks that they are.
    matched: BTreeMap<usize, f64>,
    /// Attacks without an onset, and their seconds.
    attacks: Vec<(Place, f64)>,
}

impl Found {
    fn add_layer(
        &mut self,
        state: &State,
        here: &SectionOnsets<'_>,
        (layer, section): (usize, usize),
        region: Option<&Region>,
        duration: f64,
    ) {
        let groove = state.groove();
        let cells = region.map_or(0..groove.cells(layer, section), |region| groove.cells_in(layer, region));
        let is_cursors = state.session.cursor().place.layer == layer;
        let mut nearest: BTreeMap<usize, CellOnset<'_>> = BTreeMap::new();
        for found in here.in_cells(groove, layer, cells.clone(), state.band(layer)) {
            let place = Place { layer, section, cell: found.cell };
            let known = self.onsets.entry(found.index).or_insert((place, *found.onset));
            let is_attack = groove.cell(place).attack().is_some();
            if is_cursors || (is_attack && !self.matched.contains_key(&found.index)) {
                known.0 = place;
            }
            let is_nearer = |old: &CellOnset<'_>| here.deviation_ms(&found).abs() < here.deviation_ms(old).abs();
            if is_attack && nearest.get(&found.cell).is_none_or(is_nearer) {
                nearest.insert(found.cell, found);
            }
        }
        for found in nearest.values() {
            self.matched.entry(found.index).or_insert_with(|| here.deviation_ms(found));
        }
        let heard: BTreeSet<usize> = nearest.into_keys().collect();
        let context = groove.context(layer, section);
        for attack in groove.part(layer, section).attacks(context) {
            let seconds = attack.start.ratio_to(context.meter.beat()).map(|b| b.numer() as f64 / b.denom() as f64);
            let seconds = seconds.map(|beats| here.seconds(beats)).filter(|at| (0.0..duration).contains(at));
            if let Some(seconds) = seconds.filter(|_| cells.contains(&attack.cell) && !heard.contains(&attack.cell)) {
                self.attacks.push((Place { layer, section, cell: attack.cell }, seconds));
            }
        }
    }
}
