//! The recording that lies under the grid, and the anchors that tie instants of it to places of the grid.

use super::anchor_map::AnchorMap;
use super::bounds::{ANCHOR_BAR, ANCHOR_BEAT, ANCHOR_PASS, ANCHORS, FILE_NAME, OutOfBound, RECORDING_TIME};
use super::edit::Edit;
use super::edit_error::EditError;
use super::groove::Groove;
use super::time::{Fraction, Time};

/// An instant of a recording, in microseconds from its first frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Micros(pub i64);

impl Micros {
    /// The instant, if it is within the bounds of an anchor.
    pub(crate) fn checked(self) -> Result<Self, OutOfBound> {
        RECORDING_TIME.check(self.0.div_euclid(1_000_000)).map(|_| self)
    }
}

/// A beat of the groove as it is played, with all passes of its sections, over and over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct GridPlace {
    /// Pass of the whole groove, from 0.
    pub pass: u32,
    /// Bar of that pass in playing order, from 0.
    pub bar: u32,
    /// Beats from the start of the bar, at least 0.
    pub beat: Fraction,
}

/// An instant of the recording that is a place of the grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Anchor {
    /// The place.
    pub place: GridPlace,
    /// The instant.
    pub at: Micros,
}

/// A sound file with the anchors that lay the grid over it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Recording {
    /// Path of the file, absolute or from the groove's folder.
    pub file: String,
    /// What identifies the file's content, if it was ever opened.
    pub fingerprint: Option<String>,
    anchors: Vec<Anchor>,
}

impl Recording {
    /// A recording without anchors.
    pub fn new(file: &str, fingerprint: Option<String>) -> Self {
        Self { file: file.to_owned(), fingerprint, anchors: Vec::new() }
    }

    /// The same recording with these anchors, sorted by place.
    #[must_use]
    pub fn with_anchors(mut self, mut anchors: Vec<Anchor>) -> Self {
        anchors.sort_unstable();
        self.anchors = anchors;
        self
    }

    /// The anchors, by place.
    pub fn anchors(&self) -> &[Anchor] {
        &self.anchors
    }

    /// Sets the anchor at a place, or moves the one that is there.
    fn set_anchor(&mut self, anchor: Anchor) {
        match self.anchors.binary_search_by_key(&anchor.place, |a| a.place) {
            Ok(found) => self.anchors[found] = anchor,
            Err(at) => self.anchors.insert(at, anchor),
        }
    }

    pub(super) fn check(&self) -> Result<(), EditError> {
        FILE_NAME.check(self.file.chars().count() as i64)?;
        ANCHORS.check(self.anchors.len() as i64)?;
        for anchor in &self.anchors {
            let GridPlace { pass, bar, beat } = anchor.place;
            ANCHOR_PASS.check(i64::from(pass) + 1)?;
            ANCHOR_BAR.check(i64::from(bar) + 1)?;
            ANCHOR_BEAT.check(beat.floor() + 1)?;
            anchor.at.checked()?;
        }
        for pair in self.anchors.windows(2) {
            if pair[0].place == pair[1].place {
                return Err(EditError::Impossible("two anchors are at the same place of the grid"));
            }
            if pair[0].at >= pair[1].at {
                return Err(EditError::AnchorOrder { bar: pair[1].place.bar as usize + 1 });
            }
        }
        Ok(())
    }
}

/// A bar within the sections.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct SectionBar {
    section: usize,
    pass: usize,
    bar: usize,
}

impl Groove {
    /// Its recording.
    pub fn recording(&self) -> Option<&Recording> {
        self.recording.as_deref()
    }

    /// The groove with another recording, or without one.
    ///
    /// # Errors
    /// The recording's file name or an anchor is out of bounds, or the anchors are not in order.
    pub fn with_recording(mut self, recording: Option<Recording>) -> Result<Self, EditError> {
        recording.as_ref().map_or(Ok(()), Recording::check)?;
        self.recording = recording.map(Into::into);
        Ok(self)
    }

    /// Number of bars of one pass through all sections.
    pub fn bars_in_pass(&self) -> usize {
        self.sections.iter().map(|s| usize::from(s.bars) * usize::from(s.times)).sum()
    }

    /// The bar of the playing order at a place within the sections.
    pub(crate) fn bar_in_order(&self, section: usize, pass: usize, bar: usize) -> Option<usize> {
        let s = self.sections.get(section)?;
        if pass >= usize::from(s.times) || bar >= usize::from(s.bars) {
            return None;
        }
        let before: usize = self.sections[..section].iter().map(|s| usize::from(s.bars) * usize::from(s.times)).sum();
        Some(before + pass * usize::from(s.bars) + bar)
    }

    fn section_bar(&self, bar: usize) -> Option<SectionBar> {
        let mut left = bar;
        for (section, s) in self.sections.iter().enumerate() {
            let (bars, all) = (usize::from(s.bars), usize::from(s.bars) * usize::from(s.times));
            if left < all {
                return Some(SectionBar { section, pass: left / bars, bar: left % bars });
            }
            left -= all;
        }
        None
    }

    /// The time from the start of its section's pass to a place, with the section and its pass; `None` if the groove does not
    /// have it.
    pub(crate) fn grid_time(&self, place: GridPlace) -> Option<(usize, usize, Time)> {
        let SectionBar { section, pass, bar } = self.section_bar(place.bar as usize)?;
        let meter = &self.sections[section].meter;
        let within = meter.beat().scaled(place.beat).filter(|t| *t < meter.bar())?;
        Some((section, pass, meter.bar().repeated(bar)?.plus(within)?))
    }

    /// The place at a time from the start of a section's pass, in a pass of the whole groove.
    pub(crate) fn grid_place(&self, whole_pass: u32, section: usize, pass: usize, offset: Time) -> Option<GridPlace> {
        let meter = &self.sections.get(section)?.meter;
        let bar = offset.ratio_to(meter.bar())?.floor();
        let within = offset.minus(meter.bar().repeated(usize::try_from(bar).ok()?)?)?;
        let bar = self.bar_in_order(section, pass, bar as usize)?;
        Some(GridPlace { pass: whole_pass, bar: bar as u32, beat: within.ratio_to(meter.beat())? })
    }

    /// Applies an edit of the recording; `None` if it is another edit.
    pub(super) fn change_recording(&mut self, edit: &Edit) -> Option<Result<(), EditError>> {
        let changed = match edit {
            Edit::Recording(recording) => {
                self.recording = recording.clone().map(Into::into);
                return Some(Ok(()));
            }
            Edit::Anchors(_) | Edit::SetAnchor(_) | Edit::RemoveAnchor(_) => self.recording.as_deref().cloned(),
            _ => return None,
        };
        let Some(mut recording) = changed else {
            return Some(Err(EditError::Impossible("the groove has no recording")));
        };
        match edit {
            Edit::Anchors(anchors) => recording = recording.with_anchors(anchors.clone()),
            Edit::SetAnchor(anchor) => recording.set_anchor(*anchor),
            Edit::RemoveAnchor(place) => match recording.anchors.binary_search_by_key(place, |a| a.place) {
                Ok(at) => drop(recording.anchors.remove(at)),
                Err(_) => return Some(Err(EditError::NoSuchPlace("anchor"))),
            },
            _ => {}
        }
        self.recording = Some(recording.into());
        Some(Ok(()))
    }

    /// Moves the anchors with their bars after an edit of the sections; those of bars that are gone are removed.
    pub(super) fn move_anchors(&mut self, before: &Groove, edit: &Edit) {
        let moved = |at: SectionBar| -> Option<SectionBar> {
            let SectionBar { section, bar, .. } = at;
            Some(match edit {
                Edit::AddSection(new, _) if section >= *new => SectionBar { section: section + 1, ..at },
                Edit::CopySection(of, _) if section > *of => SectionBar { section: section + 1, ..at },
                Edit::RemoveSection(gone) if section == *gone => return None,
                Edit::RemoveSection(gone) if section > *gone => SectionBar { section: section - 1, ..at },
                Edit::InsertBars(of, from, count) if section == *of && bar >= *from => {
                    SectionBar { bar: bar + usize::from(*count), ..at }
                }
                Edit::DeleteBars(of, gone) if section == *of && gone.contains(&bar) => return None,
                Edit::DeleteBars(of, gone) if section == *of && bar >= gone.end => {
                    SectionBar { bar: bar - gone.len(), ..at }
                }
                _ => at,
            })
        };
        let is_of_bars = matches!(
            edit,
            Edit::AddSection(..)
                | Edit::CopySection(..)
                | Edit::RemoveSection(_)
                | Edit::InsertBars(..)
                | Edit::DeleteBars(..)
                | Edit::Bars(..)
                | Edit::Times(..)
        );
        let Some(recording) = self.recording.clone().filter(|r| is_of_bars && !r.anchors.is_empty()) else { return };
        let bar_after = |bar: usize| {
            let at = moved(before.section_bar(bar)?)?;
            self.bar_in_order(at.section, at.pass, at.bar)
        };
        // The start of the next pass is the end of the last bar, unless more of the next pass is anchored.
        let is_end = |anchor: &Anchor| {
            let GridPlace { pass, bar, beat } = anchor.place;
            pass > 0 && bar == 0 && beat == Fraction::ZERO && recording.anchors.last() == Some(anchor)
        };
        let end = |anchor: &Anchor| -> Option<Anchor> {
            let (old, new, pass) = (before.bars_in_pass(), self.bars_in_pass(), anchor.place.pass);
            if let Some(last) = old.checked_sub(1).and_then(bar_after) {
                let (pass, bar) = if last + 1 < new { (pass - 1, last as u32 + 1) } else { (pass, 0) };
                return Some(Anchor { place: GridPlace { pass, bar, beat: Fraction::ZERO }, ..*anchor });
            }
            // The end is now that of an earlier bar.
            let first_gone = 1 + (0..old).rev().find(|bar| bar_after(*bar).is_some_and(|bar| bar + 1 == new))?;
            let map = AnchorMap::of(before)?;
            let gone = GridPlace { pass: pass - 1, bar: first_gone as u32, beat: Fraction::ZERO };
            let nanos = map.recording_time(before.score_time_of(gone, map.pass_length())?);
            Some(Anchor { at: Micros((nanos + 500).div_euclid(1000)), ..*anchor })
        };
        let anchors = recording.anchors.iter().filter_map(|anchor| {
            if is_end(anchor) {
                return end(anchor);
            }
            // An anchor outside the groove stays as it is written.
            let Some(at) = before.section_bar(anchor.place.bar as usize) else { return Some(*anchor) };
            let at = moved(at)?;
            let bar = self.bar_in_order(at.section, at.pass, at.bar)? as u32;
            Some(Anchor { place: GridPlace { bar, ..anchor.place }, ..*anchor })
        });
        let mut kept: Vec<Anchor> = anchors.collect();
        kept.sort_unstable();
        kept.dedup_by_key(|a| a.place);
        kept.dedup_by(|later, earlier| later.at <= earlier.at);
        self.recording = Some(Recording { anchors: kept, ..(*recording).clone() }.into());
    }
}

#[cfg(test)]
mod tests {
    use super::super::groove::Section;
    use super::super::meter::{Meter, Tempo};
    use super::*;

    /// Two sections: two bars of 4/4 played twice, then a bar of 3+2/8.
    fn groove() -> Groove {
        let section = |name: &str, meter: &str, bars, times| {
            let meter = Meter::parse(meter).expect("a meter");
            let tempo = Tempo::new(Fraction::whole(120), meter.beat()).expect("a tempo");
            Section { name: name.into(), meter, tempo, bars, times, swing: None }
        };
        let sections = vec![section("pull", "4/4", 2, 2), section("turn", "3+2/8", 1, 1)];
        Groove::new("winch", "", sections, Vec::new()).expect("a groove")
    }

    fn anchor(bar: u32, at: i64) -> Anchor {
        Anchor { place: GridPlace { pass: 0, bar, beat: Fraction::ZERO }, at: Micros(at) }
    }

    fn anchored() -> Groove {
        let recording =
            Recording::new("winch.flac", None).with_anchors((0..5).map(|b| anchor(b, 1000 * i64::from(b))).collect());
        groove().with_recording(Some(recording)).expect("anchors in order")
    }

    fn bars(groove: &Groove) -> Vec<(u32, i64)> {
        groove.recording().expect("a recording").anchors().iter().map(|a| (a.place.bar, a.at.0 / 1000)).collect()
    }

    #[test]
    fn a_bar_of_the_playing_order_is_a_bar_of_a_pass() {
        let groove = groove();
        assert_eq!(groove.bars_in_pass(), 5);
        let all: Vec<_> = (0..6).map(|b| groove.section_bar(b).map(|b| (b.section, b.pass, b.bar))).collect();
        assert_eq!(all, [Some((0, 0, 0)), Some((0, 0, 1)), Some((0, 1, 0)), Some((0, 1, 1)), Some((1, 0, 0)), None]);
        for bar in 0..5 {
            let SectionBar { section, pass, bar: within } = groove.section_bar(bar).expect("a bar");
            assert_eq!(groove.bar_in_order(section, pass, within), Some(bar));
            let beat = Fraction::new(3, 2).expect("a number");
            let place = GridPlace { pass: 7, bar: bar as u32, beat };
            let (section, pass, offset) = groove.grid_time(place).expect("a place");
            assert_eq!(groove.grid_place(7, section, pass, offset), Some(place));
        }
        let behind = GridPlace { pass: 0, bar: 4, beat: Fraction::whole(5) };
        assert_eq!(groove.grid_time(behind), None, "five eighths fill the bar");
    }

    #[test]
    fn anchors_move_with_their_bars() {
        let edited = |edit: &Edit| bars(&anchored().edited(edit).expect("an edit"));
        assert_eq!(edited(&Edit::Title("t".into())), [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4)]);
        // Both passes of the section get the bar.
        assert_eq!(edited(&Edit::InsertBars(0, 1, 1)), [(0, 0), (2, 1), (3, 2), (5, 3), (6, 4)]);
        assert_eq!(edited(&Edit::DeleteBars(0, 0..1)), [(0, 1), (1, 3), (2, 4)]);
        assert_eq!(edited(&Edit::Times(0, 1)), [(0, 0), (1, 1), (2, 4)]);
        assert_eq!(edited(&Edit::RemoveSection(0)), [(0, 4)]);
        let section = Section { name: "wait".into(), ..groove().sections()[1].clone() };
        assert_eq!(edited(&Edit::AddSection(1, section)), [(0, 0), (1, 1), (2, 2), (3, 3), (5, 4)]);
    }

    #[test]
    fn the_end_stays_at_the_end_of_its_bar() {
        let end = Anchor { place: GridPlace { pass: 1, ..GridPlace::default() }, at: Micros(5000) };
        let recording = Recording::new("winch.flac", None).with_anchors(vec![anchor(0, 0), anchor(4, 4000), end]);
        let groove = groove().with_recording(Some(recording)).expect("anchors in order");
        let edited = |edit: &Edit| {
            let edited = groove.edited(edit).expect("an edit");
            let anchors = edited.recording().expect("a recording").anchors().to_vec();
            anchors.into_iter().map(|a| (a.place.pass, a.place.bar, a.at.0)).collect::<Vec<_>>()
        };
        // Bars after the last one do not take its time.
        assert_eq!(edited(&Edit::InsertBars(1, 1, 2)), [(0, 0, 0), (0, 4, 4000), (0, 5, 5000)]);
        assert_eq!(edited(&Edit::InsertBars(1, 0, 1)), [(0, 0, 0), (0, 5, 4000), (1, 0, 5000)]);
        assert_eq!(edited(&Edit::CopySection(1, "wait".into())), [(0, 0, 0), (0, 4, 4000), (0, 5, 5000)]);
        // The new end is where the bar that is gone began.
        assert_eq!(edited(&Edit::RemoveSection(1)), [(0, 0, 0), (1, 0, 4000)]);
    }

    #[test]
    fn anchors_are_set_moved_and_removed() {
        let edit = |g: &Groove, e: &Edit| g.edited(e);
        let groove = edit(&anchored(), &Edit::SetAnchor(anchor(2, 2500))).expect("moved");
        assert_eq!(groove.recording().expect("a recording").anchors()[2].at, Micros(2500));
        let removed = edit(&groove, &Edit::RemoveAnchor(anchor(2, 0).place)).expect("removed");
        assert_eq!(bars(&removed), [(0, 0), (1, 1), (3, 3), (4, 4)]);
        let again = edit(&removed, &Edit::RemoveAnchor(anchor(2, 0).place));
        assert_eq!(again, Err(EditError::NoSuchPlace("anchor")));
        let early = edit(&groove, &Edit::SetAnchor(anchor(3, 2500)));
        assert_eq!(early, Err(EditError::AnchorOrder { bar: 4 }));
        let without = edit(&groove, &Edit::Recording(None)).expect("removed");
        assert_eq!(
            edit(&without, &Edit::SetAnchor(anchor(0, 0))),
            Err(EditError::Impossible("the groove has no recording"))
        );
    }
}
