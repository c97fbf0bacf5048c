//! Edits of the recording and of its anchors at the cursor.

use super::edits::{EditResult, Result};
use super::{Command, Session};
use crate::rhythm::{self, Edit, EditError, Fraction, GridPlace, Groove, Micros, Recording};

/// An instant as minutes, seconds and milliseconds: `1:02.500`.
pub(crate) fn print_instant(at: Micros) -> String {
    let ms = (at.0 + 500) / 1000;
    format!("{}:{:02}.{:03}", ms / 60_000, ms / 1000 % 60, ms % 1000)
}

/// A place as players count: `bar 3 beat 2`, with the pass through the groove from the second on.
pub(crate) fn print_place(place: GridPlace) -> String {
    let pass = if place.pass > 0 { format!("pass {} ", place.pass + 1) } else { String::new() };
    let beat = place.beat.plus(Fraction::ONE).unwrap_or(place.beat);
    format!("{pass}bar {} beat {beat}", place.bar + 1)
}

impl Session {
    /// Notes the fingerprint of the recording's file in the groove. That is no edit: it can neither be undone nor heard.
    /// Says whether it was another one.
    pub(crate) fn set_fingerprint(&mut self, fingerprint: &str) -> bool {
        let Some(recording) = self.groove.recording().filter(|r| r.fingerprint.as_deref() != Some(fingerprint)) else {
            return false;
        };
        let identified =
            Recording::new(&recording.file, Some(fingerprint.to_owned())).with_anchors(recording.anchors().to_vec());
        let groove = Groove::clone(&self.groove).with_recording(Some(identified));
        groove.map(|groove| self.groove = groove.into()).is_ok()
    }

    /// The place of the cursor, in the first pass through the groove and its section.
    pub(crate) fn grid_place(&self) -> Option<GridPlace> {
        self.groove.grid_place(0, self.cursor.place.section, 0, self.cursor.column)
    }

    /// The anchor at the cursor, or the last one before it.
    fn anchor_before(&self) -> Result<rhythm::Anchor> {
        let none = EditError::Impossible("there is no anchor at the cursor or before it");
        let (Some(recording), Some(place)) = (self.groove.recording(), self.grid_place()) else { return Err(none) };
        let anchors = recording.anchors();
        let after = anchors.partition_point(|a| a.place <= place);
        after.checked_sub(1).map(|at| anchors[at]).ok_or(none)
    }

    /// Builds an edit of the recording; `None` if the command is another one.
    pub(super) fn build_recording_edit(&self, command: &Command) -> Result<Option<EditResult>> {
        let g: &Groove = &self.groove;
        Ok(Some(match command {
            Command::Recording(file) => {
                let old = g.recording();
                let new = file.as_ref().map(|file| match old {
                    // The anchors stay: the same music may stand in another file.
                    Some(old) => Recording::new(file, None).with_anchors(old.anchors().to_vec()),
                    None => Recording::new(file, None),
                });
                let message = match (&new, old) {
                    (Some(new), _) => format!("recording: {}", new.file),
                    (None, Some(old)) => format!("recording removed: {}", old.file),
                    (None, None) => return Err(EditError::Impossible("the groove has no recording")),
                };
                EditResult::new(g.edited(&Edit::Recording(new))?, "recording").with_message(message)
            }
            Command::SetAnchor(at) => {
                let place = self.grid_place().ok_or(EditError::NoSuchPlace("cell"))?;
                let new = g.edited(&Edit::SetAnchor(rhythm::Anchor { place, at: *at }))?;
                let message = format!("anchor: {} is at {}", print_place(place), print_instant(*at));
                EditResult::new(new, "set anchor").with_message(message)
            }
            Command::MoveAnchor(by) => {
                let anchor = self.anchor_before()?;
                let at = Micros((anchor.at.0 + by).max(0));
                let new = g.edited(&Edit::SetAnchor(rhythm::Anchor { at, ..anchor }))?;
                let message = format!("anchor at {}: {}", print_place(anchor.place), print_instant(at));
                EditResult::new(new, "move anchor").with_message(message)
            }
            Command::RemoveAnchor(place) => {
                let place = place.map_or_else(|| self.anchor_before().map(|a| a.place), Ok)?;
                let new = g.edited(&Edit::RemoveAnchor(place))?;
                EditResult::new(new, "remove anchor").with_message(format!("anchor removed: {}", print_place(place)))
            }
            Command::RemoveAnchors => {
                let count = g.recording().map_or(0, |r| r.anchors().len());
                if count == 0 {
                    return Err(EditError::Impossible("there are no anchors"));
                }
                let new = g.edited(&Edit::Anchors(Vec::new()))?;
                EditResult::new(new, "remove all anchors")
                    .with_message(format!("{} removed", rhythm::count(count, "anchor")))
            }
            _ => return Ok(None),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_and_places_are_printed_as_they_are_read_aloud() {
        let instant = |micros| print_instant(Micros(micros));
        assert_eq!((instant(0), instant(62_500_000)), ("0:00.000".into(), "1:02.500".into()));
        assert_eq!((instant(1_234_567), instant(3_600_000_000)), ("0:01.235".into(), "60:00.000".into()));
        let beat = Fraction::new(3, 2).expect("a number");
        assert_eq!(print_place(GridPlace { pass: 0, bar: 2, beat }), "bar 3 beat 2.5");
        assert_eq!(print_place(GridPlace { pass: 1, bar: 0, beat: Fraction::ZERO }), "pass 2 bar 1 beat 1");
    }
}
