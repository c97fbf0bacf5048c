//! Turns commands into edits and the resulting groove.

use super::command::{Command, Keep, Overflow, PasteInCycle, Sections};
use super::cursor::{Cursor, next_attack, previous_attack};
use super::{Outcome, Session, Step, TimeChange, messages, select};
use crate::rhythm::bounds::{BARS, GAIN};
use crate::rhythm::{
    Accent, Attack, Cell, Edit, EditError, Fraction, Groove, Layer, LengthScale, Pitch, Place, Region, Section, Tempo,
    Time, Voice, count,
};
use std::ops::Range;

/// The message at the end of the groove. The screen adds the keys.
pub(super) const END_OF_GROOVE: &str = "end of the groove; add a bar or a section to go on";

/// The voices of a drum kit, from the lowest.
const KIT: [Voice; 3] = [Voice::Kick, Voice::Snare, Voice::Hat];

pub(super) struct EditResult {
    groove: Groove,
    cursor: Option<Cursor>,
    change: TimeChange,
    label: String,
    message: Option<String>,
}

impl EditResult {
    pub(super) fn new(groove: Groove, label: impl Into<String>) -> Self {
        Self { groove, cursor: None, change: TimeChange::Nothing, label: label.into(), message: None }
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
    pub(super) fn edit(&mut self, command: &Command) -> Outcome {
        let choice = match command {
            Command::Paste(content, PasteInCycle::Ask) => self.paste_choice(*content),
            Command::EnterGroups(groups, Overflow::Ask) => self.overflow_choice(groups),
            _ => None,
        };
        if let Some(choice) = choice {
            return Outcome::Choice(choice);
        }
        let before = self.step_here();
        let clears_selection = matches!(
            command,
            Command::Paste(..) | Command::EnterGroup(_) | Command::EnterGroups(..) | Command::Repeat(_)
        );
        if *command == Command::Cut
            && !self.groove.layers().is_empty()
            && let Outcome::Error(message) = self.copy()
        {
            return Outcome::Error(message);
        }
        let EditResult { groove, cursor, change, label, message } = match self.build_edit(command) {
            Ok(Some(result)) => result,
            Ok(None) => return Outcome::NoLayer,
            Err(error) => return Outcome::Error(error.to_string()),
        };
        if clears_selection {
            self.anchor = None;
        }
        let outcome = self.commit(groove, Step { change, label, ..before }, message);
        if let Some(cursor) = cursor {
            self.cursor = Cursor { past_end: cursor.past_end, ..cursor.settled(&self.groove) };
        }
        outcome
    }

    /// Builds an edit; `None` if it needs a layer and there is none.
    fn build_edit(&self, command: &Command) -> Result<Option<EditResult>> {
        if let Some(result) = self.build_recording_edit(command)? {
            return Ok(Some(result));
        }
        match self.build_section_edit(command)? {
            None if !self.groove.layers().is_empty() => self.build_layer_edit(command.clone()).map(Some),
            result => Ok(result),
        }
    }

    fn build_layer_edit(&self, command: Command) -> Result<EditResult> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let layer = &g.layers()[at.layer];
        let cell = || self.target(select::cell).ok_or(EditError::NoSuchPlace("cell"));
        let bar = || self.target(select::bar).ok_or(EditError::NoSuchPlace("bar"));
        let section = || self.target(select::section).ok_or(EditError::NoSuchPlace("section"));
        let simple = |edit: Edit, label: &str| g.edited(&edit).map(|new| EditResult::new(new, label));
        let setting = |edit: Edit, label: &str| {
            let message = messages::layer_setting(g, at.layer, &edit);
            Ok(EditResult { message, ..simple(edit, label)? })
        };
        match command {
            Command::EnterGroup(cells) => {
                self.enter_groups(&[cells.min(65_536) as u32], Overflow::Cut, format!("enter a group of {cells}"))
            }
            Command::EnterGroups(groups, overflow) => self.enter_groups(&groups, overflow, "enter groups".into()),
            Command::Attack(accent) => {
                let attack = Attack { accent, pitch: self.inherited_pitch(), ..Attack::default() };
                self.step(Cell::Attack(attack), "attack")
            }
            Command::AcceptOnsets(places) => self.accept_onsets(&places),
            Command::Hold => self.step(Cell::Hold, "hold"),
            Command::Rest => self.step(Cell::Rest, "rest"),
            Command::Toggle => {
                let cell = match g.cell(at) {
                    Cell::Attack(_) => Cell::Rest,
                    _ => Cell::Attack(Attack { pitch: self.inherited_pitch(), ..Attack::default() }),
                };
                simple(Edit::Set(at, cell), "toggle")
            }
            Command::Erase => self.erase(&cell()?, "erase"),
            Command::Cut => self.erase(&bar()?, "cut"),
            Command::DeletePrevious => self.delete_previous(),
            Command::CycleAccent => {
                let region = cell()?;
                let clip = g.clip(&region)?;
                let first = clip.cells().find_map(Cell::attack);
                let next = match first.ok_or(EditError::Impossible("no attack here to accent"))?.accent {
                    Accent::Plain | Accent::Strong => Accent::Accent,
                    Accent::Accent => Accent::Ghost,
                    Accent::Ghost | Accent::Soft => Accent::Plain,
                };
                simple(Edit::Accent(region, next), "accent")
            }
            Command::AccentBy(steps) => self.step_accents(steps),
            Command::ToggleFlam => self.toggle_flam(),
            Command::Pitch(pitch) => {
                let result = simple(Edit::Pitch(self.sounding()?, pitch), "pitch")?;
                // Without a selection the cursor moves on, so that pitches can be entered in a row.
                let next = if self.selection().is_none() { next_attack(g, at) } else { None };
                Ok(EditResult { cursor: next.map(|next| Cursor::at(g, next)), ..result })
            }
            Command::Transpose(by) => simple(Edit::Transpose(self.sounding()?, by), "transpose"),
            Command::Tuplet { cells, beats } => simple(Edit::Tuplet { at, beats, cells }, "tuplet"),
            Command::EvenBeat => {
                // This also splits a tuplet over several beats.
                simple(Edit::Tuplet { at, beats: 1, cells: usize::from(layer.divisions[at.section]) }, "even beat")
            }
            Command::Paste(content, in_cycle) => self.paste(content, in_cycle),
            Command::Repeat(repeats) => self.repeat(repeats),
            Command::ScaleLengths(stretch) => {
                let region =
                    self.selection().ok_or(EditError::Impossible("first select the cells to lengthen or shorten"))?;
                let result = simple(Edit::ScaleLengths(region, stretch), "change of length")?;
                let lost = messages::lost_attacks(g, &result.groove);
                let words = if stretch == LengthScale::Double { "twice as long" } else { "half as long" };
                Ok(result.with_message(format!("{words}{lost}")))
            }
            Command::Rotate(by) => simple(Edit::Rotate(section()?, by), "rotate"),
            Command::Shift(by) => {
                let result = simple(Edit::Shift(section()?, by), "shift")?;
                let lost = messages::lost_attacks(g, &result.groove);
                Ok(if lost.is_empty() { result } else { result.with_message(format!("shifted{lost}")) })
            }
            Command::RemoveLayer => {
                let message =
                    format!("layer '{}' deleted{}", layer.name, messages::attacks_lost_with_layer(g, at.layer));
                Ok(simple(Edit::RemoveLayer(at.layer), "delete layer")?.with_message(message))
            }
            Command::CopyLayer => self.copy_layer(),
            Command::MoveLayer(by) => {
                let to = (at.layer as i64 + i64::from(by)).clamp(0, g.layers().len() as i64 - 1) as usize;
                let result = simple(Edit::MoveLayer(at.layer, to), "move layer")?;
                Ok(result.with_cursor(Cursor { place: Place { layer: to, ..at }, ..self.cursor }))
            }
            Command::RenameLayer(name) => setting(Edit::RenameLayer(at.layer, name), "rename layer"),
            Command::Voice(voice) => setting(Edit::Voice(at.layer, voice), "voice"),
            Command::NextVoice(by) => {
                let index = Voice::ALL.iter().position(|v| *v == layer.voice).unwrap_or(0) as i64 + i64::from(by);
                let voice = Voice::ALL[index.rem_euclid(Voice::ALL.len() as i64) as usize];
                setting(Edit::Voice(at.layer, voice), "voice")
            }
            Command::Division(division, sections, keep) => {
                let section = if sections == Sections::All { None } else { Some(at.section) };
                let edit = match keep {
                    Keep::NoteValues => Edit::Division(at.layer, section, division),
                    Keep::Cells => Edit::DivisionKeepingCells(at.layer, section, division),
                };
                let result = simple(edit, "division")?;
                let message = messages::after_division(g, &result.groove, at.layer, section);
                Ok(if result.groove == *g { result } else { result.with_message(message) })
            }
            Command::Cycle(cells) => {
                if cells.is_none() && !g.part(at.layer, at.section).is_cycle() {
                    return Err(EditError::Impossible("no cycle in this layer and section"));
                }
                let result = simple(Edit::Cycle { layer: at.layer, section: at.section, cells }, "cycle")?;
                let message = messages::after_cycle(g, &result.groove, at.layer, at.section);
                Ok(result.with_message(message))
            }
            Command::LayerSwing(swing) => setting(Edit::LayerSwing(at.layer, swing), "swing"),
            Command::SoundFile(sound) => setting(Edit::SoundFile(at.layer, sound), "sound file"),
            Command::AccentDepth(depth) => setting(Edit::AccentDepth(at.layer, depth), "accent depth"),
            Command::Gain(gain) => setting(Edit::Gain(at.layer, gain), "gain"),
            Command::GainBy(by) => {
                let gain = layer.gain.saturating_add(by).clamp(GAIN.least as i8, GAIN.greatest as i8);
                setting(Edit::Gain(at.layer, gain), "gain")
            }
            Command::Pan(pan) => setting(Edit::Pan(at.layer, pan), "pan"),
            Command::Mute => setting(Edit::Mute(at.layer, !layer.mute), "mute"),
            Command::Solo => setting(Edit::Solo(at.layer, !layer.solo), "solo"),
            _ => Err(EditError::Impossible("not an editing command")),
        }
    }

    /// Builds an edit that needs no layer; `None` for other commands.
    fn build_section_edit(&self, command: &Command) -> Result<Option<EditResult>> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let here = &g.sections()[at.section];
        let simple = |edit: Edit, label: &str| {
            let change = TimeChange::from_edit(&edit, g);
            g.edited(&edit).map(|new| EditResult { change, ..EditResult::new(new, label) })
        };
        let new_row = if g.layers().is_empty() { 0 } else { at.layer + 1 };
        let at_start = |layer, section| Cursor { place: Place { layer, section, cell: 0 }, ..Cursor::default() };
        let result = match command {
            Command::AddLayer(name, voice) => {
                let new = self.with_layer(g, new_row, name.clone(), *voice)?;
                EditResult::new(new, "add layer").with_cursor(at_start(new_row, at.section))
            }
            Command::AddKit => {
                let layers = (new_row..).zip(KIT);
                let new = layers.clone().try_fold(g.clone(), |new, (row, voice)| {
                    let name = voice.name().to_owned();
                    let taken = |name: &str| new.layers().iter().any(|l| l.name == name);
                    let name = if taken(&name) { free_name(&name, taken) } else { name };
                    self.with_layer(&new, row, name, voice)
                })?;
                let names: Vec<&str> = layers.map(|(row, _)| new.layers()[row].name.as_str()).collect();
                let message = format!("layers added: {}", names.join(", "));
                EditResult::new(new, "add kit").with_message(message).with_cursor(at_start(new_row, at.section))
            }
            Command::AddSection(name, meter) => {
                let name = name.clone().unwrap_or_else(|| self.free_section_name());
                let meter = meter.as_ref().unwrap_or(&here.meter);
                let new = Section { name, times: 1, meter: meter.clone(), ..here.clone() };
                let new = g.edited(&Edit::AddSection(at.section + 1, new))?;
                let new = messages::keep_sixteenths(new, at.section + 1, here.meter.beat());
                let result = EditResult::new(new, "add section").with_cursor(at_start(at.layer, at.section + 1));
                let message = || messages::after_meter(g, &result.groove, at.layer, at.section + 1);
                EditResult { message: (*meter != here.meter).then(message), ..result }
            }
            Command::CopySection => {
                simple(Edit::CopySection(at.section, self.free_section_name()), "duplicate section")?
                    .with_cursor(at_start(at.layer, at.section + 1))
            }
            Command::RemoveSection => {
                let result = simple(Edit::RemoveSection(at.section), "delete section")?;
                let message = format!("section '{}' deleted{}", here.name, messages::lost_attacks(g, &result.groove));
                result.with_message(message)
            }
            Command::MoveSection(by) => {
                let to = (at.section as i64 + i64::from(*by)).clamp(0, g.sections().len() as i64 - 1) as usize;
                let cursor = Cursor { place: Place { section: to, ..at }, ..self.cursor };
                simple(Edit::MoveSection(at.section, to), "move section")?.with_cursor(cursor)
            }
            Command::RenameSection(name) => simple(Edit::RenameSection(at.section, name.clone()), "rename section")?,
            Command::Meter(meter, keep) => {
                let new = match keep {
                    Keep::NoteValues => g.edited(&Edit::MeterKeepingTimes(at.section, meter.clone()))?,
                    Keep::Cells => {
                        let new = g.edited(&Edit::Meter(at.section, meter.clone()))?;
                        messages::keep_sixteenths(new, at.section, here.meter.beat())
                    }
                };
                let message = messages::after_meter(g, &new, at.layer, at.section);
                EditResult::new(new, "meter").with_message(message)
            }
            Command::Tempo(tempo) => simple(Edit::Tempo(at.section, *tempo), "tempo")?,
            Command::TempoBy(by) => {
                let bpm = here.tempo.bpm().plus(Fraction::whole(*by)).ok_or(EditError::NoSuchPlace("tempo"))?;
                simple(Edit::Tempo(at.section, Tempo::new(bpm, here.tempo.unit())?), "tempo")?
            }
            Command::Bars(bars) => self.bars(*bars, "bars")?,
            Command::BarsBy(by) => {
                let bars = BARS.check(i64::from(here.bars) + i64::from(*by))? as u16;
                let result = self.bars(bars, if *by > 0 { "add bar" } else { "remove bar" })?;
                let goes_on = self.cursor.past_end && *by > 0;
                let cursor = Cursor { column: here.length(), past_end: false, ..self.cursor };
                EditResult { cursor: goes_on.then_some(cursor), ..result }
            }
            Command::InsertBar => {
                let bar = self.bar_at_cursor();
                let result = simple(Edit::InsertBars(at.section, bar, 1), "insert bar")?;
                let column = here.meter.bar().repeated(bar).ok_or(EditError::NoSuchPlace("bar"))?;
                let cursor = Cursor { column, past_end: false, ..self.cursor };
                result.with_message(format!("bar {} inserted", bar + 1)).with_cursor(cursor)
            }
            Command::DeleteBars => {
                let bars = self.selected_bars();
                let result = simple(Edit::DeleteBars(at.section, bars.clone()), "delete bars")?;
                let column = here.meter.bar().repeated(bars.start).ok_or(EditError::NoSuchPlace("bar"))?;
                let (lost, what) = (messages::lost_attacks(g, &result.groove), messages::bar_range(&bars));
                let cursor = Cursor { column, past_end: false, ..self.cursor };
                result.with_message(format!("{what} deleted{lost}")).with_cursor(cursor)
            }
            Command::SplitSection => {
                let (bar, name) = (self.bar_at_cursor(), self.free_section_name());
                let message = format!("section '{name}' begins at this bar");
                simple(Edit::SplitSection(at.section, bar, name), "split section")?
                    .with_message(message)
                    .with_cursor(at_start(at.layer, at.section + 1))
            }
            Command::JoinSections => {
                let result = simple(Edit::JoinSections(at.section), "join sections")?;
                let bars = count(usize::from(result.groove.sections()[at.section].bars), "bar");
                result.with_message(format!("section '{}': {bars}", here.name))
            }
            Command::Times(times) => simple(Edit::Times(at.section, *times), "times through")?,
            Command::Swing(swing) => simple(Edit::Swing(at.section, *swing), "swing")?,
            Command::Title(title) => simple(Edit::Title(title.clone()), "title")?,
            Command::Note(note) => EditResult::new(g.titled(g.title(), note), "note"),
            _ => return Ok(None),
        };
        Ok(Some(result))
    }

    /// The groove with another layer of rests in this row, divided as the cursor's.
    fn with_layer(&self, groove: &Groove, row: usize, name: String, voice: Voice) -> Result<Groove> {
        let divisions = self.groove.layers().get(self.cursor.place.layer).map_or(&[4][..], |l| &l.divisions);
        let mut new = groove.edited(&Edit::AddLayer(row, name, voice, divisions[0]))?;
        for (section, division) in divisions.iter().enumerate().filter(|(_, d)| **d != divisions[0]) {
            new = new.edited(&Edit::Division(row, Some(section), *division))?;
        }
        Ok(new)
    }

    /// The bar at the cursor, from 0.
    fn bar_at_cursor(&self) -> usize {
        let bar = self.groove.sections()[self.cursor.place.section].meter.bar();
        self.cursor.column.ratio_to(bar).map_or(0, |r| usize::try_from(r.floor()).unwrap_or(0))
    }

    /// The bars that the selection touches, or the cursor's.
    pub(super) fn selected_bars(&self) -> Range<usize> {
        let bar = self.groove.sections()[self.cursor.place.section].meter.bar();
        let number = |time: Time| time.ratio_to(bar).map(|r| (r.floor().max(0) as usize, r.denom() > 1));
        let selected = self.selection().and_then(|r| {
            let (start, (end, is_part)) = (number(r.from)?.0, number(r.to)?);
            Some(start..end + usize::from(is_part))
        });
        selected.unwrap_or_else(|| self.bar_at_cursor()..self.bar_at_cursor() + 1)
    }

    /// The groove after an editing command, which is not carried out.
    pub(crate) fn preview(&self, command: &Command) -> std::result::Result<Groove, String> {
        match self.build_edit(command) {
            Ok(result) => result.map(|result| result.groove).ok_or_else(|| "no layer".to_owned()),
            Err(error) => Err(error.to_string()),
        }
    }

    fn bars(&self, bars: u16, label: &str) -> Result<EditResult> {
        let g = &*self.groove;
        let at = self.cursor.place.section;
        let result = EditResult::new(g.edited(&Edit::Bars(at, bars))?, label);
        let (name, lost) = (&g.sections()[at].name, messages::lost_attacks(g, &result.groove));
        let message = format!("section '{name}': {}{lost}", count(usize::from(bars), "bar"));
        Ok(result.with_message(message))
    }

    /// Erases a region; a message says if a cycle loses attacks in all its repeats.
    fn erase(&self, region: &Region, label: &str) -> Result<EditResult> {
        let result = EditResult::new(self.groove.edited(&Edit::Erase(region.clone()))?, label);
        let is_cycle = |l: &usize| self.groove.part(*l, region.section).is_cycle();
        let changed = |l: &usize| self.groove.part(*l, region.section) != result.groove.part(*l, region.section);
        match region.layers.clone().find(|l| is_cycle(l) && changed(l)) {
            Some(layer) => {
                let name = messages::layer_name(&self.groove, layer);
                Ok(result.with_message(format!("{name}: erased in every repeat of the cycle")))
            }
            None => Ok(result),
        }
    }

    /// The pitch of a new attack at the cursor: that of the attack in the cell or before it.
    pub(super) fn inherited_pitch(&self) -> Option<Pitch> {
        pitch_at(&self.groove, self.cursor.place)
    }

    /// The selection, or the attack that sounds at the cursor.
    fn sounding(&self) -> Result<Region> {
        if let Some(region) = self.selection() {
            return Ok(region);
        }
        let mut at = self.cursor.place;
        while at.cell > 0 && self.groove.cell(at) == Cell::Hold {
            at.cell -= 1;
        }
        if self.groove.cell(at).attack().is_none() {
            return Err(EditError::Impossible("no attack sounds here"));
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
        let groove = groove.with_recording(g.recording().cloned())?;
        Ok(EditResult::new(groove, "duplicate layer")
            .with_cursor(Cursor { place: Place { layer: at.layer + 1, ..at }, ..self.cursor }))
    }

    /// The first letter, or pair of letters, that names no section.
    pub(super) fn free_section_name(&self) -> String {
        let taken = |name: &str| self.groove.sections().iter().any(|s| s.name == name);
        let one = ('A'..='Z').map(String::from);
        let two = ('A'..='Z').flat_map(|a| ('A'..='Z').map(move |b| format!("{a}{b}")));
        one.chain(two).find(|name| !taken(name)).expect("there are fewer sections than pairs of letters")
    }
}

/// The pitch of the attack at a place, or of the one before it in its layer.
pub(super) fn pitch_at(groove: &Groove, at: Place) -> Option<Pitch> {
    let here = groove.cell(at).attack().or_else(|| groove.cell(previous_attack(groove, at)?).attack());
    here.and_then(|attack| attack.pitch)
}

/// The first free name of `name 2`, `name 3`, ...
fn free_name(name: &str, taken: impl Fn(&str) -> bool) -> String {
    let base: String = name.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end().chars().take(56).collect();
    let base = if base.is_empty() { "layer".to_owned() } else { base };
    (2..u32::MAX).map(|n| format!("{base} {n}")).find(|name| !taken(name)).expect("layers are bounded")
}
