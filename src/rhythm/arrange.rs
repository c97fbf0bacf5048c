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
                let parts = self.sections.iter().map(|s| rests(s, *division)).collect();
                self.layers.insert(*at, Arc::new(Layer::new(name, *voice, *division, parts)));
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
                for layer in self.layers.iter_mut().map(Arc::make_mut) {
                    let division = layer.divisions[at.saturating_sub(1)];
                    layer.insert_section(*at, Arc::new(rests(section, division)), division);
                }
                self.sections.insert(*at, section.clone());
            }
            Edit::CopySection(at, name) => {
                let copy = Section { name: name.clone(), ..self.section_mut(*at)?.clone() };
                self.sections.insert(at + 1, copy);
                for layer in self.layers.iter_mut().map(Arc::make_mut) {
                    layer.insert_section(at + 1, layer.parts[*at].clone(), layer.divisions[*at]);
                }
            }
            Edit::RemoveSection(at) => {
                self.section_mut(*at)?;
                if self.sections.len() == 1 {
                    return Err(EditError::Impossible("a groove needs at least one section"));
                }
                self.sections.remove(*at);
                for layer in self.layers.iter_mut().map(Arc::make_mut) {
                    layer.remove_section(*at);
                }
            }
            Edit::MoveSection(from, to) => {
                self.section_mut(*from)?;
                self.section_mut(*to)?;
                let section = self.sections.remove(*from);
                self.sections.insert(*to, section);
                for layer in self.layers.iter_mut().map(Arc::make_mut) {
                    let (part, division) = layer.remove_section(*from);
                    layer.insert_section(*to, part, division);
                }
            }
            Edit::RenameSection(at, name) => self.section_mut(*at)?.name.clone_from(name),
            Edit::Tempo(at, tempo) => self.section_mut(*at)?.tempo = *tempo,
            Edit::Times(at, times) => self.section_mut(*at)?.times = *times,
            Edit::Swing(at, swing) => self.section_mut(*at)?.swing = *swing,
            Edit::Meter(at, meter) => {
                self.section_mut(*at)?.meter = meter.clone();
                self.change_parts(*at, divide::refit);
            }
            Edit::Bars(at, bars) => {
                BARS.check(i64::from(*bars))?;
                self.section_mut(*at)?.bars = *bars;
                self.change_parts(*at, divide::refit);
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
}

impl Layer {
    pub(super) fn insert_section(&mut self, at: usize, part: Arc<Part>, division: u16) {
        self.parts.insert(at, part);
        self.divisions.insert(at, division);
    }

    pub(super) fn remove_section(&mut self, at: usize) -> (Arc<Part>, u16) {
        (self.parts.remove(at), self.divisions.remove(at))
    }
}

fn rests(section: &Section, division: u16) -> Part {
    Part::rests(PartContext { meter: &section.meter, bars: usize::from(section.bars), division, swing: None })
}
