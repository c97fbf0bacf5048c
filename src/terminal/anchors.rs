//! The list of the anchors of the recording: goes to one of them, or removes it.

use crate::rhythm::{Anchor, AnchorMap, Fraction, Groove, Micros, Place, expected};
use crate::session::Command;
use crate::terminal::recording::require_recording;
use crate::terminal::{Overlay, State, lists, run_command};

pub(crate) fn open(state: &mut State) {
    if !require_recording(state) {
        return;
    }
    let Some(recording) = state.groove().recording() else { return };
    if recording.anchors().is_empty() {
        let key = state.key_or_name("anchor");
        return state.info(format!("no anchors yet; {key} says when the cursor's cell is heard in the recording"));
    }
    let cursor = state.session.grid_place();
    let after = recording.anchors().partition_point(|a| Some(a.place) <= cursor);
    state.overlay = Overlay::Anchors(after.saturating_sub(1));
}

fn anchor(state: &State, at: usize) -> Option<Anchor> {
    let anchors = state.groove().recording()?.anchors();
    anchors.get(at).or(anchors.last()).copied()
}

/// Moves the cursor to an anchor, in its layer.
pub(crate) fn go_to(state: &mut State, at: usize) {
    let Some(anchor) = anchor(state, at) else { return };
    let layer = state.session.cursor().place.layer;
    let place = state.groove().grid_time(anchor.place).map(|(section, _, offset)| {
        let groove = state.groove();
        let cell = groove
            .layers()
            .get(layer)
            .map_or(0, |_| groove.part(layer, section).cell_at(offset, groove.context(layer, section)));
        Place { layer, section, cell }
    });
    match place {
        Some(place) => lists::go_to(state, place),
        None => state.info("the groove has no such place; only its recording goes that far"),
    }
}

/// Removes the selected anchor; does nothing in other lists.
pub(crate) fn remove(state: &mut State) {
    let Overlay::Anchors(at) = state.overlay else { return };
    if let Some(anchor) = anchor(state, at) {
        run_command(state, Command::RemoveAnchor(Some(anchor.place)));
    }
    if anchor(state, 0).is_none() {
        state.overlay = Overlay::None;
    }
}

/// Reads `12.345`, `1:02.5`, with at most six decimals.
pub(crate) fn parse_instant(text: &str) -> Result<Micros, String> {
    let error = || expected("a time in the recording, like 12.345 or 1:02.5", format!("'{text}'"));
    let (minutes, rest) = text.split_once(':').unwrap_or(("0", text));
    let minutes: i64 = minutes.parse().map_err(|_| error())?;
    let micros = Fraction::parse(rest).and_then(|s| s.times(Fraction::whole(1_000_000))).filter(|m| m.denom() == 1);
    let rest_fits = text.contains(':').then_some(60_000_000);
    let micros = micros.map(Fraction::numer).filter(|m| *m >= 0 && rest_fits.is_none_or(|most| *m < most));
    let whole = minutes.checked_mul(60_000_000).filter(|m| *m >= 0);
    whole.zip(micros).and_then(|(a, b)| a.checked_add(b)).map(Micros).ok_or_else(error)
}

/// Beats per minute from an anchor to the next one, in the beat of its section's tempo; `None` for the last one and outside the
/// groove.
pub(crate) fn tempo_after(groove: &Groove, at: usize) -> Option<f64> {
    let anchors = groove.recording()?.anchors();
    let (one, next) = (anchors.get(at)?, anchors.get(at + 1)?);
    let (section, ..) = groove.grid_time(one.place)?;
    let pass = AnchorMap::of(groove)?.pass_length();
    let written = groove.score_time_of(next.place, pass)? - groove.score_time_of(one.place, pass)?;
    let played = (next.at.0 - one.at.0) * 1000;
    let bpm = groove.sections()[section].tempo.bpm();
    Some(bpm.numer() as f64 / bpm.denom() as f64 * written as f64 / played as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_is_read_with_and_without_minutes() {
        assert_eq!(parse_instant("12.345"), Ok(Micros(12_345_000)));
        assert_eq!(parse_instant("1:02.5"), Ok(Micros(62_500_000)));
        assert_eq!(parse_instant("90"), Ok(Micros(90_000_000)));
        for wrong in ["", "x", "1:60", "-1", "1:2:3", "1.1234567", "1/3", "0:-1", "99999999999999999:00"] {
            assert!(parse_instant(wrong).is_err(), "{wrong}");
        }
    }
}
