//! From a command to edits and the groove they make. It must not know the screen or what gave the command.

use super::command::Command;
use super::cursor::{Cursor, next_attack, previous_attack};
use super::{Outcome, Session, count, select};
use crate::rhythm::{Accent, Attack, Cell, Clip, Edit, Fraction, Groove, Layer, Place, Refusal, Tempo, Time, Voice};
use std::cmp::Ordering;
use std::collections::HashSet;

const NO_LAYER: &str = "there is no layer; add one first";
/// What a lay at the end of the groove says; the screen adds the key.
pub(super) const FULL: &str = "this is the end of the groove: add a bar or a section to go on";

/// What a command makes: the groove, where the cursor goes, and words.
struct Made {
    groove: Groove,
    cursor: Option<Cursor>,
    label: String,
    words: Option<String>,
}

impl Made {
    fn of(groove: Groove, label: impl Into<String>) -> Self {
        Self { groove, cursor: None, label: label.into(), words: None }
    }

    fn to(self, cursor: Cursor) -> Self {
        Self { cursor: Some(cursor), ..self }
    }

    fn saying(self, words: impl Into<String>) -> Self {
        Self { words: Some(words.into()), ..self }
    }
}

type Result<T> = std::result::Result<T, Refusal>;

impl Session {
    /// Does a command that changes the groove.
    pub(super) fn edit(&mut self, command: Command) -> Outcome {
        let needs_layer = !matches!(
            command,
            Command::AddLayer(..)
                | Command::AddSection(_)
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
            return Outcome::Refused(NO_LAYER.into());
        }
        let before = self.cursor;
        if command == Command::Cut
            && let Outcome::Refused(words) = self.copy()
        {
            return Outcome::Refused(words);
        }
        let drops = matches!(command, Command::Paste | Command::Lay(_) | Command::LayLine(_) | Command::Repeat(_));
        match self.made(command) {
            Ok(made) => {
                if drops {
                    self.anchor = None;
                }
                let cursor = made.cursor;
                let outcome = self.take(made.groove, made.label, before, made.words);
                if let Some(cursor) = cursor {
                    self.cursor = Cursor { past_end: cursor.past_end, ..cursor.settled(&self.groove) };
                }
                outcome
            }
            Err(refusal) => Outcome::Refused(refusal.to_string()),
        }
    }

    fn made(&self, command: Command) -> Result<Made> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let cell = || self.target(select::cell).ok_or(Refusal::NoSuchPlace("cell"));
        let bar = || self.target(select::bar).ok_or(Refusal::NoSuchPlace("bar"));
        let section = || self.target(select::section).ok_or(Refusal::NoSuchPlace("section"));
        let simple = |edit: Edit, label: &str| g.edited(&edit).map(|new| Made::of(new, label));
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
                let next = match first.ok_or(Refusal::Nothing("there is no attack here to accent"))?.accent {
                    Accent::Plain => Accent::Accent,
                    Accent::Accent => Accent::Ghost,
                    Accent::Ghost => Accent::Plain,
                };
                simple(Edit::Accent(region, next), "accent")
            }
            Command::Pitch(pitch) => {
                let made = simple(Edit::Pitch(self.sounding()?, pitch), "pitch")?;
                // A line of single pitches is given one after the other.
                let next = if self.selection().is_none() { next_attack(g, at) } else { None };
                Ok(match next {
                    Some(next) => made.to(Cursor::at(g, next)),
                    None => made,
                })
            }
            Command::Transpose(by) => simple(Edit::Transpose(self.sounding()?, by), "transpose"),
            Command::Tuplet { cells, beats } => simple(Edit::Tuplet { at, beats, cells }, "tuplet"),
            Command::EvenBeat => {
                let cells = usize::from(g.layers()[at.layer].division);
                // One beat at the division cuts whatever tuplet lies over it into even beats.
                simple(Edit::Tuplet { at, beats: 1, cells }, "even beat")
            }
            Command::Paste => self.paste(),
            Command::Repeat(times) => {
                let region = bar()?;
                let made = simple(Edit::Repeat(region.clone(), times), "repeat")?;
                let end = region.to.minus(region.from).and_then(|l| region.to.plus(l.repeated(times)?));
                let end = end.unwrap_or(region.to).min(g.sections()[at.section].length());
                Ok(made.to(self.landed(at, end)))
            }
            Command::Rotate(by) => simple(Edit::Rotate(section()?, by), "rotate"),
            Command::Shift(by) => simple(Edit::Shift(section()?, by), "shift"),
            Command::AddLayer(name, voice) => {
                let row = if g.layers().is_empty() { 0 } else { at.layer + 1 };
                let division = g.layers().get(at.layer).map_or(4, |l| l.division);
                let made = simple(Edit::AddLayer(row, name, voice, division), "add layer")?;
                // The new layer is empty: one begins at its beginning.
                Ok(made.to(Cursor { place: Place { layer: row, cell: 0, ..at }, ..Cursor::default() }))
            }
            Command::RemoveLayer => {
                let name = g.layers()[at.layer].name.clone();
                Ok(simple(Edit::RemoveLayer(at.layer), "remove layer")?.saying(format!("layer '{name}' removed")))
            }
            Command::CopyLayer => self.copy_layer(),
            Command::MoveLayer(by) => {
                let to = (at.layer as i64 + i64::from(by)).clamp(0, g.layers().len() as i64 - 1) as usize;
                let made = simple(Edit::MoveLayer(at.layer, to), "move layer")?;
                Ok(made.to(Cursor { place: Place { layer: to, ..at }, ..self.cursor }))
            }
            Command::RenameLayer(name) => simple(Edit::RenameLayer(at.layer, name), "rename layer"),
            Command::Voice(voice) => simple(Edit::Voice(at.layer, voice), "voice"),
            Command::NextVoice(by) => {
                let now = Voice::ALL.iter().position(|v| *v == g.layers()[at.layer].voice).unwrap_or(0);
                let next = (now as i64 + i64::from(by)).rem_euclid(Voice::ALL.len() as i64) as usize;
                let voice = Voice::ALL[next];
                Ok(simple(Edit::Voice(at.layer, voice), "voice")?.saying(format!("voice {voice}: {}", voice.words())))
            }
            Command::Division(division) => {
                let made = simple(Edit::Division(at.layer, division), "division")?;
                let words = divided(g, &made.groove, at.layer);
                Ok(if made.groove == *g { made } else { made.saying(words) })
            }
            Command::Cycle(cells) => {
                if cells.is_none() && !g.part(at.layer, at.section).is_cycle() {
                    return Err(Refusal::Nothing("the layer has no cycle in this section"));
                }
                simple(Edit::Cycle { layer: at.layer, section: at.section, cells }, "cycle")
            }
            Command::LayerSwing(swing) => simple(Edit::LayerSwing(at.layer, swing), "swing"),
            Command::Gain(gain) => simple(Edit::Gain(at.layer, gain), "gain"),
            Command::GainBy(by) => {
                let gain = g.layers()[at.layer].gain.saturating_add(by).clamp(-60, 12);
                Ok(simple(Edit::Gain(at.layer, gain), "gain")?.saying(format!("gain {gain:+} dB")))
            }
            Command::Pan(pan) => simple(Edit::Pan(at.layer, pan), "pan"),
            Command::PanBy(by) => {
                let pan = g.layers()[at.layer].pan.saturating_add(by).clamp(-100, 100);
                Ok(simple(Edit::Pan(at.layer, pan), "pan")?.saying(format!("pan {pan:+} (- left, + right)")))
            }
            Command::Mute => simple(Edit::Mute(at.layer, !g.layers()[at.layer].mute), "mute"),
            Command::Solo => simple(Edit::Solo(at.layer, !g.layers()[at.layer].solo), "solo"),
            other => self.made_of_section(other),
        }
    }

    fn made_of_section(&self, command: Command) -> Result<Made> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let here = &g.sections()[at.section];
        let simple = |edit: Edit, label: &str| g.edited(&edit).map(|new| Made::of(new, label));
        let to_section = |section| Cursor { place: Place { section, cell: 0, ..at }, ..Cursor::default() };
        match command {
            Command::AddSection(name) => {
                let name = name.unwrap_or_else(|| self.free_section_name());
                let new = crate::rhythm::Section { name, times: 1, ..here.clone() };
                Ok(simple(Edit::AddSection(at.section + 1, new), "add section")?.to(to_section(at.section + 1)))
            }
            Command::CopySection => {
                let name = self.free_section_name();
                Ok(simple(Edit::CopySection(at.section, name), "copy section")?.to(to_section(at.section + 1)))
            }
            Command::RemoveSection => {
                let words = format!("section '{}' removed", here.name);
                Ok(simple(Edit::RemoveSection(at.section), "remove section")?.saying(words))
            }
            Command::MoveSection(by) => {
                let to = (at.section as i64 + i64::from(by)).clamp(0, g.sections().len() as i64 - 1) as usize;
                let made = simple(Edit::MoveSection(at.section, to), "move section")?;
                Ok(made.to(Cursor { place: Place { section: to, ..at }, ..self.cursor }))
            }
            Command::RenameSection(name) => simple(Edit::RenameSection(at.section, name), "rename section"),
            Command::Meter(meter) => simple(Edit::Meter(at.section, meter), "meter"),
            Command::Tempo(tempo) => simple(Edit::Tempo(at.section, tempo), "tempo"),
            Command::TempoBy(by) => {
                let bpm = here.tempo.bpm().plus(Fraction::whole(by)).ok_or(Refusal::NoSuchPlace("tempo"))?;
                simple(Edit::Tempo(at.section, Tempo::new(bpm, here.tempo.unit())?), "tempo")
            }
            Command::Bars(bars) => simple(Edit::Bars(at.section, bars), "bars"),
            Command::BarsBy(by) => {
                let bars = i64::from(here.bars) + i64::from(by);
                let bars = crate::rhythm::bounds::BARS.check(bars)? as u16;
                let made = simple(Edit::Bars(at.section, bars), if by > 0 { "add bar" } else { "remove bar" })?;
                let words = format!("section '{}' has {} now", here.name, count(usize::from(bars), "bar"));
                let made = made.saying(words);
                if self.cursor.past_end && by > 0 {
                    return Ok(made.to(Cursor { column: here.length(), past_end: false, ..self.cursor }));
                }
                Ok(made)
            }
            Command::Times(times) => simple(Edit::Times(at.section, times), "times through"),
            Command::Swing(swing) => simple(Edit::Swing(at.section, swing), "swing"),
            Command::Title(title) => simple(Edit::Title(title), "title"),
            Command::Note(note) => Ok(Made::of(g.titled(g.title(), &note), "note")),
            _ => Err(Refusal::Nothing("this command changes no groove")),
        }
    }

    /// A pitch for a new attack: that of the attack before it, or the next one after, so that a line goes on as it was.
    fn near_pitch(&self) -> Option<crate::rhythm::Pitch> {
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
            return Err(Refusal::Nothing("no attack sounds here"));
        }
        select::cell(&self.groove, at).ok_or(Refusal::NoSuchPlace("cell"))
    }

    /// The cursor at a time of its section; at the section's end in the next one, or past the end of the groove.
    fn landed(&self, at: Place, time: crate::rhythm::Time) -> Cursor {
        let length = self.groove.sections()[at.section].length();
        if time < length {
            return Cursor { place: at, column: time, past_end: false }.settled(&self.groove);
        }
        if at.section + 1 < self.groove.sections().len() {
            return Cursor::at(&self.groove, Place { section: at.section + 1, cell: 0, ..at });
        }
        Cursor { past_end: true, ..Cursor::at(&self.groove, Place { cell: usize::MAX, ..at }) }
    }

    /// The cursor so many cells on from a place.
    fn beyond(&self, at: Place, cells: usize) -> Cursor {
        let mut at = at;
        let mut left = cells;
        loop {
            let room = self.groove.cells(at.layer, at.section) - at.cell;
            if left < room {
                return Cursor::at(&self.groove, Place { cell: at.cell + left, ..at });
            }
            if at.section + 1 == self.groove.sections().len() {
                let last = Cursor::at(&self.groove, Place { cell: usize::MAX, ..at });
                return Cursor { past_end: true, ..last };
            }
            left -= room;
            at = Place { section: at.section + 1, cell: 0, ..at };
        }
    }

    fn lay(&self, groups: &[u32], label: String) -> Result<Made> {
        if self.cursor.past_end {
            return Err(Refusal::Nothing(FULL));
        }
        let attack = Attack { accent: Accent::Plain, pitch: self.near_pitch() };
        let mut groove = (*self.groove).clone();
        let mut cursor = self.cursor;
        let mut laid = 0;
        for &cells in groups {
            let mut at = cursor.place;
            if cursor.past_end {
                break;
            }
            let mut left = (cells as usize).max(1);
            let mut edit = Edit::Lay { at, cells: left, attack };
            // A group that is longer than its section goes on sounding in the next one.
            loop {
                groove = groove.edited(&edit)?;
                let room = groove.cells(at.layer, at.section) - at.cell;
                if left <= room || at.section + 1 == groove.sections().len() {
                    break;
                }
                left -= room;
                at = Place { section: at.section + 1, cell: 0, ..at };
                let cells = left.min(groove.cells(at.layer, at.section));
                edit = Edit::Paste(at, Clip { rows: vec![vec![Cell::Hold; cells]] });
            }
            cursor = self.beyond(cursor.place, (cells as usize).max(1));
            laid += 1;
        }
        let made = Made::of(groove, label).to(cursor);
        Ok(if laid < groups.len() {
            made.saying(format!("{laid} of {} groups laid; {FULL}", groups.len()))
        } else if cursor.past_end {
            made.saying(FULL)
        } else {
            made
        })
    }

    fn step(&self, cell: Cell, label: &str) -> Result<Made> {
        if self.cursor.past_end {
            return Err(Refusal::Nothing(FULL));
        }
        let at = self.cursor.place;
        let groove = self.groove.edited(&Edit::Set(at, cell))?;
        if cell == Cell::Hold && groove.cell(at) != Cell::Hold {
            return Err(Refusal::Nothing("nothing sounds before this cell that could go on"));
        }
        let cursor = self.beyond(at, 1);
        let made = Made::of(groove, label).to(cursor);
        Ok(if cursor.past_end { made.saying(FULL) } else { made })
    }

    fn take_back(&self) -> Result<Made> {
        let at = self.cursor.place;
        let from = if self.cursor.past_end && self.groove.cell(at).attack().is_some() {
            at
        } else {
            previous_attack(&self.groove, at).ok_or(Refusal::Nothing("there is no attack before this cell"))?
        };
        let mut groove = self.groove.edited(&Edit::Set(from, Cell::Rest))?;
        let mut held = Place { cell: from.cell + 1, ..from };
        while groove.cell(held) == Cell::Hold {
            groove = groove.edited(&Edit::Set(held, Cell::Rest))?;
            held.cell += 1;
        }
        Ok(Made::of(groove, "take back").to(Cursor::at(&self.groove, from)))
    }

    fn paste(&self) -> Result<Made> {
        let at = self.cursor.place;
        if self.clip.rows.is_empty() {
            return Err(Refusal::Nothing("nothing has been copied yet"));
        }
        if self.cursor.past_end {
            return Err(Refusal::Nothing(FULL));
        }
        let groove = self.groove.edited(&Edit::Paste(at, self.clip.clone()))?;
        let cells = self.clip.rows[0].len();
        let room = self.groove.cells(at.layer, at.section) - at.cell;
        let made = Made::of(groove, "paste").to(self.beyond(at, cells.min(room)));
        let cut = (cells > room).then_some("cut at the end of the section");
        let words: Vec<&str> = self.other_cells(at).into_iter().chain(cut).collect();
        Ok(if words.is_empty() { made } else { made.saying(words.join("; ")) })
    }

    /// What is told where the cells from a place on are not as long as those that were copied.
    fn other_cells(&self, at: Place) -> Option<&'static str> {
        self.clip_cells.iter().enumerate().find_map(|(row, copied)| {
            let layer = at.layer + row;
            if layer >= self.groove.layers().len() {
                return None;
            }
            let from = self.groove.written_at(at);
            let first = self.groove.part(layer, at.section).cell_at(from, self.groove.frame(layer, at.section));
            let here = select::lengths(&self.groove, Place { layer, cell: first, ..at }, copied.len());
            let (old, new) = copied.iter().zip(&here).find(|(old, new)| old != new)?;
            let all_one_way = copied.iter().zip(&here).all(|(o, n)| o.cmp(n) == old.cmp(new));
            Some(match old.cmp(new) {
                Ordering::Greater if all_one_way => "pasted cell by cell; the cells are shorter here",
                Ordering::Less if all_one_way => "pasted cell by cell; the cells are longer here",
                _ => "pasted cell by cell; some cells have another length here",
            })
        })
    }

    fn copy_layer(&self) -> Result<Made> {
        let at = self.cursor.place;
        let g = &*self.groove;
        let mut layers: Vec<Layer> = g.layers().iter().map(|l| (**l).clone()).collect();
        let mut copy = layers[at.layer].clone();
        copy.name = free_name(&copy.name, |name| layers.iter().any(|l| l.name == name));
        layers.insert(at.layer + 1, copy);
        let groove = Groove::new(g.title(), g.note(), g.sections().to_vec(), layers)?;
        Ok(Made::of(groove, "copy layer").to(Cursor { place: Place { layer: at.layer + 1, ..at }, ..self.cursor }))
    }

    /// The first letter, or pair of letters, that names no section.
    fn free_section_name(&self) -> String {
        let taken = |name: &str| self.groove.sections().iter().any(|s| s.name == name);
        let one = ('A'..='Z').map(String::from);
        let two = ('A'..='Z').flat_map(|a| ('A'..='Z').map(move |b| format!("{a}{b}")));
        one.chain(two).find(|name| !taken(name)).expect("there are fewer sections than pairs of letters")
    }
}

/// What a new division has done to a layer: its cells, and how many attacks are at another time or gone, each time through
/// of a section counted once.
fn divided(old: &Groove, new: &Groove, layer: usize) -> String {
    let once = |g: &Groove| -> Vec<(usize, Time)> {
        g.events(layer).iter().filter(|e| e.pass == 0).map(|e| (e.section, e.offset)).collect()
    };
    let (before, after) = (once(old), once(new));
    let kept: HashSet<_> = before.iter().collect();
    let moved = after.iter().filter(|a| !kept.contains(a)).count();
    let lost = before.len().saturating_sub(after.len());
    let layer = &new.layers()[layer];
    let name: String = layer.name.chars().take(16).collect();
    let everywhere = if new.sections().len() > 1 { " in all sections" } else { "" };
    let change = match (moved, lost) {
        (0, 0) => "no attack moved".to_owned(),
        (0, lost) => format!("{} lost", count(lost, "attack")),
        (moved, 0) => format!("{} moved", count(moved, "attack")),
        (moved, lost) => format!("{} moved, {lost} lost", count(moved, "attack")),
    };
    format!("{name}: {} a beat{everywhere}; {change}", count(usize::from(layer.division), "cell"))
}

/// `name 2`, `name 3`, ...: the first that is free.
fn free_name(name: &str, taken: impl Fn(&str) -> bool) -> String {
    let base: String = name.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end().chars().take(56).collect();
    let base = if base.is_empty() { "layer".to_owned() } else { base };
    (2..u32::MAX).map(|n| format!("{base} {n}")).find(|name| !taken(name)).expect("layers are bounded")
}
