//! Turns commands into edits and the resulting groove.

use super::command::Command;
use super::cursor::{Cursor, next_attack, previous_attack};
use super::{Outcome, Session, count, messages, select};
use crate::rhythm::{Accent, Attack, Cell, Edit, EditError, Fraction, Groove, Layer, Place, Tempo, Voice};

const NO_LAYER: &str = "no layer; add one first";
/// Message at the end of the groove; the screen adds the key.
pub(super) const FULL: &str = "end of the groove; add a bar or a section to go on";

/// The result of a command: the groove, where the cursor goes, and a message.
pub(super) struct EditResult {
    groove: Groove,
    cursor: Option<Cursor>,
    label: String,
    message: Option<String>,
}

impl EditResult {
    pub(super) fn of(groove: Groove, label: impl Into<String>) -> Self {
        Self { groove, cursor: None, label: label.into(), message: None }
    }

    pub(super) fn with_cursor(self, cursor: Cursor) -> Self {
        Self { cursor: Some(cursor), ..self }
    }

    pub(super) fn with_message(self, message: impl Into<String>) -> Self {
        Self { message: Some(message.into()), ..self }
    }
}

pub(super) type Result<T> = std::result::Result<T, EditError>;

impl Session {
    /// Runs a command that changes the groove.
    pub(super) fn edit(&mut self, command: Command) -> Outcome {
        let needs_layer = !matches!(
            command,
            Command::AddLayer(..)
                | Command::AddSection(..)
                | Command::CopySection
                | Command::RemoveSection
                | Command::MoveSection(_)
                | Command::RenameSection(_)
                | Command::Meter(_)
                | Command::Tempo(_)
                | Command::TempoBy(_)
                | Command::Bars(_)
                | Command::BarsBy(_)
                | Command::Times(_)
                | Command::Swing(_)
                | Command::Title(_)
                | Command::Note(_)
        );
        if needs_layer && self.groove.layers().is_empty() {
            return Outcome::Error(NO_LAYER.into());
        }
        let before = self.cursor;
        if command == Command::Cut
            && let Outcome::Error(words) = self.copy()
        {
            return Outcome::Error(words);
        }
        let drops = matches!(command, Command::Paste | Command::Lay(_) | Command::LayLine(_) | Command::Repeat(_));
        match self.build_edit(command) {
            Ok(made) => {
                if drops {
                    self.anchor = None;
                }
                let cursor = made.cursor;
                let outcome = self.commit(made.groove, made.label, before, made.message);
                if let Some(cursor) = cursor {
                    self.cursor = Cursor { past_end: cursor.past_end, ..cursor.settled(&self.groove) };
                }
                outcome
            }
            Err(refusal) => Outcome::Error(refusal.to_string()),
        }
    }

    fn build_edit(&self, command: Command) -> Result<EditResult> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let cell = || self.target(select::cell).ok_or(EditError::NoSuchPlace("cell"));
        let bar = || self.target(select::bar).ok_or(EditError::NoSuchPlace("bar"));
        let section = || self.target(select::section).ok_or(EditError::NoSuchPlace("section"));
        let simple = |edit: Edit, label: &str| g.edited(&edit).map(|new| EditResult::of(new, label));
        match command {
            Command::Lay(cells) => self.lay(&[cells.min(65_536) as u32], format!("lay {cells}")),
            Command::LayLine(groups) => self.lay(&groups, "lay groups".into()),
            Command::Attack(accent) => {
                let attack = Attack { accent, pitch: self.near_pitch() };
                self.step(Cell::Attack(attack), "attack")
            }
            Command::Hold => self.step(Cell::Hold, "hold"),
            Command::Rest => self.step(Cell::Rest, "rest"),
            Command::Toggle => {
                let cell = match g.cell(at) {
                    Cell::Attack(_) => Cell::Rest,
                    _ => Cell::Attack(Attack { accent: Accent::Plain, pitch: self.near_pitch() }),
                };
                simple(Edit::Set(at, cell), "toggle")
            }
            Command::Erase => simple(Edit::Erase(cell()?), "erase"),
            Command::Cut => simple(Edit::Erase(bar()?), "cut"),
            Command::TakeBack => self.take_back(),
            Command::CycleAccent => {
                let region = cell()?;
                let first = region.layers.clone().find_map(|l| {
                    g.cells_in(l, &region)
                        .find_map(|c| g.cell(Place { layer: l, section: region.section, cell: c }).attack())
                });
                let next = match first.ok_or(EditError::Nothing("no attack here to accent"))?.accent {
                    Accent::Plain => Accent::Accent,
                    Accent::Accent => Accent::Ghost,
                    Accent::Ghost => Accent::Plain,
                };
                simple(Edit::Accent(region, next), "accent")
            }
            Command::Pitch(pitch) => {
                let made = simple(Edit::Pitch(self.sounding()?, pitch), "pitch")?;
                // Without a selection, pitches are entered one after the other.
                let next = if self.selection().is_none() { next_attack(g, at) } else { None };
                Ok(match next {
                    Some(next) => made.with_cursor(Cursor::at(g, next)),
                    None => made,
                })
            }
            Command::Transpose(by) => simple(Edit::Transpose(self.sounding()?, by), "transpose"),
            Command::Tuplet { cells, beats } => simple(Edit::Tuplet { at, beats, cells }, "tuplet"),
            Command::EvenBeat => {
                let cells = usize::from(g.layers()[at.layer].division);
                // One beat at the division splits a tuplet over it into even beats.
                simple(Edit::Tuplet { at, beats: 1, cells }, "even beat")
            }
            Command::Paste => self.paste(),
            Command::Repeat(times) => {
                let region = bar()?;
                let made = simple(Edit::Repeat(region.clone(), times), "repeat")?;
                let end = region.to.minus(region.from).and_then(|l| region.to.plus(l.repeated(times)?));
                let end = end.unwrap_or(region.to).min(g.sections()[at.section].length());
                Ok(made.with_cursor(self.landed(at, end)))
            }
            Command::Rotate(by) => simple(Edit::Rotate(section()?, by), "rotate"),
            Command::Shift(by) => simple(Edit::Shift(section()?, by), "shift"),
            Command::AddLayer(name, voice) => {
                let row = if g.layers().is_empty() { 0 } else { at.layer + 1 };
                let division = g.layers().get(at.layer).map_or(4, |l| l.division);
                let made = simple(Edit::AddLayer(row, name, voice, division), "add layer")?;
                // The new layer is empty: start at its first cell.
                Ok(made.with_cursor(Cursor { place: Place { layer: row, cell: 0, ..at }, ..Cursor::default() }))
            }
            Command::RemoveLayer => {
                let words =
                    format!("layer '{}' removed{}", g.layers()[at.layer].name, messages::lost_with(g, at.layer));
                Ok(simple(Edit::RemoveLayer(at.layer), "remove layer")?.with_message(words))
            }
            Command::CopyLayer => self.copy_layer(),
            Command::MoveLayer(by) => {
                let to = (at.layer as i64 + i64::from(by)).clamp(0, g.layers().len() as i64 - 1) as usize;
                let made = simple(Edit::MoveLayer(at.layer, to), "move layer")?;
                Ok(made.with_cursor(Cursor { place: Place { layer: to, ..at }, ..self.cursor }))
            }
            Command::RenameLayer(name) => simple(Edit::RenameLayer(at.layer, name), "rename layer"),
            Command::Voice(voice) => simple(Edit::Voice(at.layer, voice), "voice"),
            Command::NextVoice(by) => {
                let now = Voice::ALL.iter().position(|v| *v == g.layers()[at.layer].voice).unwrap_or(0);
                let next = (now as i64 + i64::from(by)).rem_euclid(Voice::ALL.len() as i64) as usize;
                let voice = Voice::ALL[next];
                Ok(simple(Edit::Voice(at.layer, voice), "voice")?
                    .with_message(format!("voice {voice}: {}", voice.words())))
            }
            Command::Division(division) => {
                let made = simple(Edit::Division(at.layer, division), "division")?;
                let words = messages::divided(g, &made.groove, at.layer);
                Ok(if made.groove == *g { made } else { made.with_message(words) })
            }
            Command::Cycle(cells) => {
                if cells.is_none() && !g.part(at.layer, at.section).is_cycle() {
                    return Err(EditError::Nothing("no cycle in this layer and section"));
                }
                let made = simple(Edit::Cycle { layer: at.layer, section: at.section, cells }, "cycle")?;
                let words = messages::cycled(g, &made.groove, (at.layer, at.section));
                Ok(made.with_message(words))
            }
            Command::LayerSwing(swing) => simple(Edit::LayerSwing(at.layer, swing), "swing"),
            Command::SoundFile(sound) => {
                let words = match &sound {
                    Some(name) => format!("sound: the file '{name}'"),
                    None => format!("sound: the voice {}", g.layers()[at.layer].voice),
                };
                Ok(simple(Edit::OwnSound(at.layer, sound), "sound file")?.with_message(words))
            }
            Command::AccentDepth(depth) => simple(Edit::AccentDepth(at.layer, depth), "accent depth"),
            Command::Gain(gain) => simple(Edit::Gain(at.layer, gain), "gain"),
            Command::GainBy(by) => {
                let gain = g.layers()[at.layer].gain.saturating_add(by).clamp(-60, 12);
                Ok(simple(Edit::Gain(at.layer, gain), "gain")?.with_message(format!("gain {gain:+} dB")))
            }
            Command::Pan(pan) => simple(Edit::Pan(at.layer, pan), "pan"),
            Command::Mute => simple(Edit::Mute(at.layer, !g.layers()[at.layer].mute), "mute"),
            Command::Solo => simple(Edit::Solo(at.layer, !g.layers()[at.layer].solo), "solo"),
            other => self.build_section_edit(other),
        }
    }

    fn build_section_edit(&self, command: Command) -> Result<EditResult> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let here = &g.sections()[at.section];
        let simple = |edit: Edit, label: &str| g.edited(&edit).map(|new| EditResult::of(new, label));
        let to_section = |section| Cursor { place: Place { section, cell: 0, ..at }, ..Cursor::default() };
        match command {
            Command::AddSection(name, meter) => {
                let name = name.unwrap_or_else(|| self.free_section_name());
                let mut new = crate::rhythm::Section { name, times: 1, ..here.clone() };
                let other = meter.filter(|m| *m != new.meter).map(|m| new.meter = m).is_some();
                let made = simple(Edit::AddSection(at.section + 1, new), "add section")?
                    .with_cursor(to_section(at.section + 1));
                let words = other.then(|| messages::metered(g, &made.groove, at.layer, at.section + 1));
                Ok(EditResult { message: words, ..made })
            }
            Command::CopySection => {
                let name = self.free_section_name();
                Ok(simple(Edit::CopySection(at.section, name), "copy section")?.with_cursor(to_section(at.section + 1)))
            }
            Command::RemoveSection => {
                let made = simple(Edit::RemoveSection(at.section), "remove section")?;
                let words = format!("section '{}' removed{}", here.name, messages::lost(g, &made.groove));
                Ok(made.with_message(words))
            }
            Command::MoveSection(by) => {
                let to = (at.section as i64 + i64::from(by)).clamp(0, g.sections().len() as i64 - 1) as usize;
                let made = simple(Edit::MoveSection(at.section, to), "move section")?;
                Ok(made.with_cursor(Cursor { place: Place { section: to, ..at }, ..self.cursor }))
            }
            Command::RenameSection(name) => simple(Edit::RenameSection(at.section, name), "rename section"),
            Command::Meter(meter) => {
                let new = messages::cells_kept(g, g.edited(&Edit::Meter(at.section, meter))?, at.section);
                let words = messages::metered(g, &new, at.layer, at.section);
                Ok(EditResult::of(new, "meter").with_message(words))
            }
            Command::Tempo(tempo) => simple(Edit::Tempo(at.section, tempo), "tempo"),
            Command::TempoBy(by) => {
                let bpm = here.tempo.bpm().plus(Fraction::whole(by)).ok_or(EditError::NoSuchPlace("tempo"))?;
                simple(Edit::Tempo(at.section, Tempo::new(bpm, here.tempo.unit())?), "tempo")
            }
            Command::Bars(bars) => self.bars(bars, "bars"),
            Command::BarsBy(by) => {
                let bars = i64::from(here.bars) + i64::from(by);
                let bars = crate::rhythm::bounds::BARS.check(bars)? as u16;
                let made = self.bars(bars, if by > 0 { "add bar" } else { "remove bar" })?;
                if self.cursor.past_end && by > 0 {
                    return Ok(made.with_cursor(Cursor { column: here.length(), past_end: false, ..self.cursor }));
                }
                Ok(made)
            }
            Command::Times(times) => simple(Edit::Times(at.section, times), "times through"),
            Command::Swing(swing) => simple(Edit::Swing(at.section, swing), "swing"),
            Command::Title(title) => simple(Edit::Title(title), "title"),
            Command::Note(note) => Ok(EditResult::of(g.titled(g.title(), &note), "note")),
            _ => Err(EditError::Nothing("not an editing command")),
        }
    }

    fn bars(&self, bars: u16, label: &str) -> Result<EditResult> {
        let g = &*self.groove;
        let at = self.cursor.place.section;
        let made = EditResult::of(g.edited(&Edit::Bars(at, bars))?, label);
        let (name, lost) = (&g.sections()[at].name, messages::lost(g, &made.groove));
        let words = format!("section '{name}': {}{lost}", count(usize::from(bars), "bar"));
        Ok(made.with_message(words))
    }

    /// The pitch for a new attack: that of the attack in the cell or before it.
    pub(super) fn near_pitch(&self) -> Option<crate::rhythm::Pitch> {
        let at = self.cursor.place;
        if let Some(here) = self.groove.cell(at).attack() {
            return here.pitch;
        }
        let before = previous_attack(&self.groove, at)?;
        self.groove.cell(before).attack().and_then(|a| a.pitch)
    }

    /// The selection, or the attack that sounds in the cell.
    fn sounding(&self) -> Result<crate::rhythm::Region> {
        if let Some(region) = self.selection() {
            return Ok(region);
        }
        let mut at = self.cursor.place;
        while at.cell > 0 && self.groove.cell(at) == Cell::Hold {
            at.cell -= 1;
        }
        if self.groove.cell(at).attack().is_none() {
            return Err(EditError::Nothing("no attack sounds here"));
        }
        select::cell(&self.groove, at).ok_or(EditError::NoSuchPlace("cell"))
    }

    fn copy_layer(&self) -> Result<EditResult> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let mut layers: Vec<Layer> = g.layers().iter().map(|l| (**l).clone()).collect();
        let mut copy = layers[at.layer].clone();
        copy.name = free_name(&copy.name, |name| layers.iter().any(|l| l.name == name));
        layers.insert(at.layer + 1, copy);
        let groove = Groove::new(g.title(), g.note(), g.sections().to_vec(), layers)?;
        Ok(EditResult::of(groove, "copy layer")
            .with_cursor(Cursor { place: Place { layer: at.layer + 1, ..at }, ..self.cursor }))
    }

    /// The first letter, or pair of letters, that names no section.
    fn free_section_name(&self) -> String {
        let taken = |name: &str| self.groove.sections().iter().any(|s| s.name == name);
        let one = ('A'..='Z').map(String::from);
        let two = ('A'..='Z').flat_map(|a| ('A'..='Z').map(move |b| format!("{a}{b}")));
        one.chain(two).find(|name| !taken(name)).expect("there are fewer sections than pairs of letters")
    }
}

/// `name 2`, `name 3`, ...: the first that is free.
fn free_name(name: &str, taken: impl Fn(&str) -> bool) -> String {
    let base: String = name.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end().chars().take(56).collect();
    let base = if base.is_empty() { "layer".to_owned() } else { base };
    (2..u32::MAX).map(|n| format!("{base} {n}")).find(|name| !taken(name)).expect("layers are bounded")
}
