//! Applies edits of layers and sections to a groove.

use super::bounds::{BARS, DIVISION};
use super::divide;
use super::edit::Edit;
use super::edit_error::EditError;
use super::groove::{Groove, Layer, Section};
use super::part::{Part, PartContext};
use std::sync::Arc;

impl Groove {
    pub(super) fn change_structure(&mut self, edit: &Edit) -> Result<(), EditError> {
        match edit {
            Edit::AddLayer(at, name, voice, division) => {
                DIVISION.check(i64::from(*division))?;
                if *at > self.layers.len() {
                    return Err(EditError::NoSuchPlace("layer"));
                }
                let mut layer = Layer::new(name, *voice, *division, Vec::new());
                layer.parts = self.sections.iter().map(|s| Arc::new(rests(s, *division))).collect();
                layer.divisions = vec![*division; self.sections.len()];
                self.layers.insert(*at, Arc::new(layer));
            }
            Edit::RemoveLayer(at) => {
                self.layer_mut(*at)?;
                self.layers.remove(*at);
            }
            Edit::MoveLayer(from, to) => {
                self.layer_mut(*from)?;
                self.layer_mut(*to)?;
                let layer = self.layers.remove(*from);
                self.layers.insert(*to, layer);
            }
            Edit::RenameLayer(at, name) => self.layer_mut(*at)?.name.clone_from(name),
            Edit::Voice(at, voice) => self.layer_mut(*at)?.voice = *voice,
            Edit::SoundFile(at, sound) => self.layer_mut(*at)?.sound.clone_from(sound),
            Edit::AccentDepth(at, depth) => self.layer_mut(*at)?.depth = *depth,
            Edit::LayerSwing(at, swing) => self.layer_mut(*at)?.swing = *swing,
            Edit::Gain(at, gain) => self.layer_mut(*at)?.gain = *gain,
            Edit::Pan(at, pan) => self.layer_mut(*at)?.pan = *pan,
            Edit::Mute(at, mute) => self.layer_mut(*at)?.mute = *mute,
            Edit::Solo(at, solo) => self.layer_mut(*at)?.solo = *solo,
            Edit::AddSection(at, section) => {
                if *at > self.sections.len() {
                    return Err(EditError::NoSuchPlace("section"));
                }
                BARS.check(i64::from(section.bars))?;
                for layer in &mut self.layers {
                    let layer = Arc::make_mut(layer);
                    let division = layer.divisions[at.saturating_sub(1)];
                    layer.divisions.insert(*at, division);
                    layer.parts.insert(*at, Arc::new(rests(section, division)));
                }
                self.sections.insert(*at, section.clone());
            }
            Edit::CopySection(at, name) => {
                let copy = Section { name: name.clone(), ..self.section_mut(*at)?.clone() };
                self.sections.insert(at + 1, copy);
                for layer in &mut self.layers {
                    let layer = Arc::make_mut(layer);
                    layer.parts.insert(at + 1, layer.parts[*at].clone());
                    layer.divisions.insert(at + 1, layer.divisions[*at]);
                }
            }
            Edit::RemoveSection(at) => {
                self.section_mut(*at)?;
                if self.sections.len() == 1 {
                    return Err(EditError::Impossible("a groove needs at least one section"));
                }
                self.sections.remove(*at);
                self.layers.iter_mut().for_each(|l| Arc::make_mut(l).remove_section(*at));
            }
            Edit::MoveSection(from, to) => {
                self.section_mut(*from)?;
                self.section_mut(*to)?;
                let section = self.sections.remove(*from);
                self.sections.insert(*to, section);
                for layer in &mut self.layers {
                    let layer = Arc::make_mut(layer);
                    let (part, division) = (layer.parts.remove(*from), layer.divisions.remove(*from));
                    layer.parts.insert(*to, part);
                    layer.divisions.insert(*to, division);
                }
            }
            Edit::RenameSection(at, name) => self.section_mut(*at)?.name.clone_from(name),
            Edit::Tempo(at, tempo) => self.section_mut(*at)?.tempo = *tempo,
            Edit::Times(at, times) => self.section_mut(*at)?.times = *times,
            Edit::Swing(at, swing) => self.section_mut(*at)?.swing = *swing,
            Edit::Meter(at, meter) => self.refit(*at, |s| s.meter = meter.clone())?,
            Edit::Bars(at, bars) => {
                BARS.check(i64::from(*bars))?;
                self.refit(*at, |s| s.bars = *bars)?;
            }
            Edit::MeterKeepingTimes(at, meter) => self.rebar(*at, meter)?,
            Edit::InsertBars(section, at, bars) => self.insert_bars(*section, *at, usize::from(*bars))?,
            Edit::DeleteBars(section, bars) => self.delete_bars(*section, bars.clone())?,
            Edit::SplitSection(section, bar, name) => self.split_section(*section, *bar, name)?,
            Edit::JoinSections(section) => self.join_sections(*section)?,
            Edit::Title(title) => self.title.clone_from(title),
            _ => unreachable!("`change` applies the edits of cells"),
        }
        Ok(())
    }

    pub(super) fn layer_mut(&mut self, at: usize) -> Result<&mut Layer, EditError> {
        self.layers.get_mut(at).map(Arc::make_mut).ok_or(EditError::NoSuchPlace("layer"))
    }

    pub(super) fn section_mut(&mut self, at: usize) -> Result<&mut Section, EditError> {
        self.sections.get_mut(at).ok_or(EditError::NoSuchPlace("section"))
    }

    /// Changes a section's meter or length and fits the parts to it.
    pub(super) fn refit(&mut self, at: usize, change: impl FnOnce(&mut Section)) -> Result<(), EditError> {
        change(self.section_mut(at)?);
        for layer in 0..self.layers.len() {
            let part = divide::refit(self.part(layer, at), self.context(layer, at));
            self.with_part(layer, at, |p| *p = part);
        }
        Ok(())
    }
}

impl Layer {
    pub(super) fn remove_section(&mut self, at: usize) {
        self.parts.remove(at);
        self.divisions.remove(at);
    }
}

fn rests(section: &Section, division: u16) -> Part {
    Part::rests(PartContext { meter: &section.meter, bars: usize::from(section.bars), division, swing: None })
}
