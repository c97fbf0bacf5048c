//! The loop region: two marks in the groove that stay where they are while the cursor moves, and follow edits.

use crate::rhythm::{Edit, Groove, Time};

/// A time in a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Mark {
    pub section: usize,
    /// From the section's start.
    pub at: Time,
}

/// From the loop start to the loop end, which comes later and is not part of it. Both are within their sections; the start is
/// before the end of its section, and the end after the start of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LoopRegion {
    pub start: Mark,
    pub end: Mark,
}

impl LoopRegion {
    /// The region of these marks, cut to the groove; `None` if nothing is left.
    pub(super) fn new(groove: &Groove, start: Mark, end: Mark) -> Option<Self> {
        let sections = groove.sections();
        let Mark { section, at } = start;
        // A start at the end of a section is the start of the next one; an end at the start of a section is the end of the one before.
        let start = match sections.get(section)? {
            s if at >= s.length() => Mark { section: section + 1, at: Time::ZERO },
            _ => Mark { section, at: at.max(Time::ZERO) },
        };
        let Mark { section, at } = end;
        let end = match sections.get(section) {
            Some(s) if at > Time::ZERO => Mark { section, at: at.min(s.length()) },
            _ => {
                let section = section.min(sections.len()).checked_sub(1)?;
                Mark { section, at: sections[section].length() }
            }
        };
        (start < end && start.section < sections.len()).then_some(Self { start, end })
    }

    /// The region after a change; `None` if it is gone.
    pub(super) fn after(self, change: TimeChange, groove: &Groove) -> Option<Self> {
        let (start, end) = (change.moved(self.start, Side::Start)?, change.moved(self.end, Side::End)?);
        Self::new(groove, start, end)
    }
}

/// What an edit does to the times of a groove.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TimeChange {
    /// Nothing, or only the lengths of sections change.
    Nothing,
    InsertTime {
        at: Mark,
        length: Time,
    },
    RemoveTime {
        at: Mark,
        length: Time,
    },
    InsertSection(usize),
    RemoveSection(usize),
    MoveSection {
        from: usize,
        to: usize,
    },
    /// The section ends at the mark, and what followed it is the next one.
    Split(Mark),
    /// The next section is joined to that of the mark, which is its end.
    Join(Mark),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Start,
    End,
}

impl TimeChange {
    /// The change that an edit of a groove makes.
    pub(super) fn from_edit(edit: &Edit, groove: &Groove) -> Self {
        let bars = |section: usize, first: usize, count: usize| {
            let bar = groove.sections().get(section)?.meter.bar();
            Some((Mark { section, at: bar.repeated(first)? }, bar.repeated(count)?))
        };
        let change = match edit {
            Edit::InsertBars(section, bar, count) => {
                bars(*section, *bar, usize::from(*count)).map(|(at, length)| Self::InsertTime { at, length })
            }
            Edit::DeleteBars(section, range) => {
                bars(*section, range.start, range.len()).map(|(at, length)| Self::RemoveTime { at, length })
            }
            Edit::AddSection(section, _) => Some(Self::InsertSection(*section)),
            Edit::CopySection(section, _) => Some(Self::InsertSection(section + 1)),
            Edit::RemoveSection(section) => Some(Self::RemoveSection(*section)),
            Edit::MoveSection(from, to) => Some(Self::MoveSection { from: *from, to: *to }),
            Edit::SplitSection(section, bar, _) => bars(*section, *bar, 0).map(|(at, _)| Self::Split(at)),
            Edit::JoinSections(section) => {
                groove.sections().get(*section).map(|s| Self::Join(Mark { section: *section, at: s.length() }))
            }
            _ => None,
        };
        change.unwrap_or(Self::Nothing)
    }

    pub(super) fn inverse(self) -> Self {
        match self {
            Self::Nothing => Self::Nothing,
            Self::InsertTime { at, length } => Self::RemoveTime { at, length },
            Self::RemoveTime { at, length } => Self::InsertTime { at, length },
            Self::InsertSection(section) => Self::RemoveSection(section),
            Self::RemoveSection(section) => Self::InsertSection(section),
            Self::MoveSection { from, to } => Self::MoveSection { from: to, to: from },
            Self::Split(at) => Self::Join(at),
            Self::Join(at) => Self::Split(at),
        }
    }

    /// Where a mark is after the change; `None` if its section is gone.
    fn moved(self, mark: Mark, side: Side) -> Option<Mark> {
        let Mark { section, at } = mark;
        // An end at the place of a change belongs to what is before it.
        let is_after =
            |place: Mark| section == place.section && (at > place.at || at == place.at && side == Side::Start);
        Some(match self {
            Self::InsertTime { at: place, length } if is_after(place) => Mark { section, at: at.plus(length)? },
            Self::RemoveTime { at: place, length } if is_after(place) => {
                Mark { section, at: at.minus(length)?.max(place.at) }
            }
            Self::InsertSection(new) if section >= new => Mark { section: section + 1, at },
            Self::RemoveSection(old) if section == old => return None,
            Self::RemoveSection(old) if section > old => Mark { section: section - 1, at },
            Self::MoveSection { from, to } if section == from => Mark { section: to, at },
            Self::MoveSection { from, to } if (from + 1..=to).contains(&section) => Mark { section: section - 1, at },
            Self::MoveSection { from, to } if (to..from).contains(&section) => Mark { section: section + 1, at },
            Self::Split(place) if is_after(place) => Mark { section: section + 1, at: at.minus(place.at)? },
            Self::Split(place) if section > place.section => Mark { section: section + 1, at },
            Self::Join(place) if section == place.section + 1 => {
                Mark { section: place.section, at: place.at.plus(at)? }
            }
            Self::Join(place) if section > place.section => Mark { section: section - 1, at },
            _ => mark,
        })
    }
}
