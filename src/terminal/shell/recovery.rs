//! Prepares the unsaved work of earlier sessions for the question whether to recover it.

use crate::describe::{difference, visible};
use crate::rhythm::{Groove, count};
use crate::store::{self, UnsavedJournal};
use crate::terminal::files::recovery::UnsavedWork;
use std::collections::VecDeque;
use std::time::{Duration, SystemTime};

pub(super) struct OpenedGroove<'a> {
    pub groove: &'a Groove,
    /// Text of its file, if it exists.
    pub text: Option<&'a str>,
    /// What a groove without a file starts from.
    pub blank: &'a Groove,
}

/// The journals of the work on offer, by its number; `None` once the user has decided.
pub(super) type OfferedJournals = Vec<Option<UnsavedJournal>>;

/// What is to be offered. Work that equals the groove or what it started from is no work; its journal is removed.
pub(super) fn prepare(
    found: Vec<UnsavedJournal>,
    opened: &OpenedGroove<'_>,
) -> (OfferedJournals, VecDeque<UnsavedWork>) {
    let (mut offered_journals, mut offered) = (Vec::new(), VecDeque::new());
    for unsaved in found {
        let contents = &unsaved.contents;
        let parse = |text: &str| store::parse(text, "unsaved changes").map(|l| l.groove).map_err(|e| e.to_string());
        let groove = contents.text.as_deref().map_or(Err("the autosave journal cannot be read".to_owned()), parse);
        let base = contents.base.as_deref().map_or_else(|| Ok(opened.blank.clone()), parse);
        if !contents.is_damaged && groove.as_ref().is_ok_and(|g| g == opened.groove || base.as_ref() == Ok(g)) {
            unsaved.discard();
            continue;
        }
        let mut lines = Vec::new();
        if contents.is_damaged || groove.is_err() {
            lines.push(format!("The autosave journal cannot be read to the end: {}", unsaved.path().display()));
        }
        lines.extend(groove.as_ref().err().cloned());
        match (contents.base.as_deref(), opened.text) {
            (Some(_), None) => lines.push("The file no longer exists.".to_owned()),
            (base, Some(text)) if base != Some(text) => {
                lines.push("The file was modified on disk after these changes began.".to_owned());
            }
            _ => {}
        }
        lines.extend(groove.iter().flat_map(|g| difference(opened.groove, g)));
        let shown = |line: &str| visible(line).into_owned();
        let text = contents.text.as_ref().unwrap_or(&unsaved.raw).lines().map(shown).collect();
        let age = unsaved.modified.and_then(|at| SystemTime::now().duration_since(at).ok());
        let age = age.map_or("age unknown".to_owned(), age_text);
        offered.push_back(UnsavedWork { id: offered_journals.len(), age, groove, difference: lines, text });
        offered_journals.push(Some(unsaved));
    }
    (offered_journals, offered)
}

/// `3 minutes ago`.
fn age_text(age: Duration) -> String {
    let minutes = age.as_secs() / 60;
    let (n, unit) = match minutes {
        0 => return "less than a minute ago".to_owned(),
        1..60 => (minutes, "minute"),
        60..1440 => (minutes / 60, "hour"),
        _ => (minutes / 1440, "day"),
    };
    format!("{} ago", count(n as usize, unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_are_whole_units() {
        let rows = [
            (0, "less than a minute ago"),
            (119, "1 minute ago"),
            (3599, "59 minutes ago"),
            (7200, "2 hours ago"),
            (86_400, "1 day ago"),
            (864_000, "10 days ago"),
        ];
        for (seconds, text) in rows {
            assert_eq!(age_text(Duration::from_secs(seconds)), text);
        }
    }
}
