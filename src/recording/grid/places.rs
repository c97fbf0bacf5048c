//! Lays beats with known seconds over a groove, from one of its places on.

use super::{micros, rounded_tempo};
use crate::rhythm::bounds::BARS;
use crate::rhythm::{Anchor, Edit, EditError, GridPlace, Groove, Time};

/// Time from the start of the first pass through a groove to a place, in playing order.
fn time_of(groove: &Groove, place: GridPlace) -> Option<Time> {
    let (section, pass, offset) = groove.grid_time(place)?;
    let mut time = Time::ZERO;
    for (k, s) in groove.sections().iter().enumerate().take(section + 1) {
        let times = if k == section { pass } else { usize::from(s.times) };
        time = time.plus(s.length().repeated(times)?)?;
    }
    time.plus(offset)
}

/// The place at a time from the start of the first pass, in playing order, over and over.
fn place_at(groove: &Groove, time: Time) -> Option<GridPlace> {
    let mut whole = Time::ZERO;
    for s in groove.sections() {
        whole = whole.plus(s.length().repeated(usize::from(s.times))?)?;
    }
    let passes = time.ratio_to(whole)?.floor();
    let mut left = time.minus(whole.repeated(usize::try_from(passes).ok()?)?)?;
    for (section, s) in groove.sections().iter().enumerate() {
        for pass in 0..usize::from(s.times) {
            if left < s.length() {
                return groove.grid_place(u32::try_from(passes).ok()?, section, pass, left);
            }
            left = left.minus(s.length())?;
        }
    }
    None
}

/// Anchors at places that lie a length apart, from a place on.
pub fn repeated(groove: &Groove, start: GridPlace, length: Time, seconds: &[f64]) -> Option<Vec<Anchor>> {
    let first = time_of(groove, start)?;
    let anchor = |(k, seconds): (usize, &f64)| {
        let place = place_at(groove, first.plus(length.repeated(k)?)?)?;
        Some(Anchor { place, at: micros(*seconds) })
    };
    seconds.iter().enumerate().map(anchor).collect()
}

/// Lays beats over a groove, the first of them at `start`: anchors at every bar line, at the first and the last beat. Other anchors stay
/// where they do not contradict. A groove of one section without attacks gets as many bars as the beats fill, and without other anchors the
/// tempo of the beats.
///
/// # Errors
/// There are fewer than two beats, the place is not in the groove, or a bound is exceeded.
pub fn lay_beats(groove: &Groove, start: GridPlace, beats: &[f64]) -> Result<Groove, EditError> {
    let missing = EditError::NoSuchPlace("beat");
    let (section, ..) = groove.grid_time(start).ok_or(EditError::NoSuchPlace("cell"))?;
    let &[first, .., last] = beats else { return Err(EditError::Impossible("at least two beats are needed")) };
    let mut laid = groove.clone();
    let s = &groove.sections()[section];
    let is_empty = (0..groove.layers().len()).all(|layer| groove.events(layer).is_empty());
    let old = groove.recording().map_or(&[][..], |r| r.anchors());
    if groove.sections().len() == 1 && old.is_empty() {
        let length = (last - first) / (beats.len() - 1) as f64;
        let in_units = s.meter.beat().ratio_to(s.tempo.unit()).map_or(1.0, |r| r.numer() as f64 / r.denom() as f64);
        let tempo = rounded_tempo(60.0 * in_units / length, s.tempo.unit()).ok_or(missing.clone())?;
        laid = laid.edited(&Edit::Tempo(0, tempo))?;
        let end = s.meter.beat().repeated(beats.len() - 1).and_then(|l| time_of(groove, start)?.plus(l));
        let bars = end
            .and_then(|end| end.ratio_to(s.meter.bar()))
            .map_or(0, |bars| bars.floor() + i64::from(bars.denom() > 1));
        if is_empty && s.times == 1 && bars > i64::from(s.bars) {
            laid = laid.edited(&Edit::Bars(0, bars.min(BARS.greatest) as u16))?;
        }
    }
    let all = repeated(&laid, start, s.meter.beat(), beats).ok_or(missing)?;
    let end = all.len() - 1;
    let kept_beats = all.iter().enumerate().filter(|(k, a)| *k == 0 || *k == end || a.place.beat.numer() == 0);
    let mut anchors: Vec<Anchor> = kept_beats.map(|(_, anchor)| *anchor).collect();
    let (from, to) = (all[0], all[end]);
    let agrees = |a: &&Anchor| (a.place < from.place && a.at < from.at) || (a.place > to.place && a.at > to.at);
    anchors.extend(old.iter().filter(agrees));
    laid.edited(&Edit::Anchors(anchors))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Fraction, Recording};

    fn groove() -> Groove {
        let recording = Recording::new("winch.flac", None);
        Groove::in_four(120, 4).with_recording(Some(recording)).expect("a recording")
    }

    fn place(bar: u32, beat: i32) -> GridPlace {
        GridPlace { pass: 0, bar, beat: Fraction::whole(beat) }
    }

    #[test]
    fn beats_become_anchors_at_bar_lines_and_at_both_ends() {
        let beats: Vec<f64> = (0..23).map(|k| 1.0 + 0.4 * f64::from(k)).collect();
        let laid = lay_beats(&groove(), place(0, 2), &beats).expect("laid");
        let anchors = laid.recording().expect("a recording").anchors();
        let place = |a: &Anchor| (a.place.pass, a.place.bar, a.place.beat.numer(), a.at.0 / 1000);
        let found: Vec<_> = anchors.iter().map(place).collect();
        // The last beat is the bar line at the end, which is the first one of the next pass.
        let lines = (1..6).map(|bar| (0, bar, 0, 1000 + 400 * (4 * i64::from(bar) - 2)));
        let expected: Vec<_> = std::iter::once((0, 0, 2, 1000)).chain(lines).chain([(1, 0, 0, 9800)]).collect();
        assert_eq!(found, expected);
        assert_eq!((laid.sections()[0].bars, laid.sections()[0].tempo.bpm()), (6, Fraction::whole(150)));
    }

    #[test]
    fn other_anchors_stay_unless_they_contradict() {
        let laid = lay_beats(&groove(), place(0, 0), &[1.0, 1.5, 2.0]).expect("laid");
        let both = lay_beats(&laid, place(2, 0), &[9.0, 9.5, 10.0]).expect("laid");
        assert_eq!(both.recording().expect("a recording").anchors().len(), 4);
        let earlier = lay_beats(&both, place(3, 0), &[0.2, 0.7]).expect("laid");
        assert_eq!(earlier.recording().expect("a recording").anchors().len(), 2);
        assert!(lay_beats(&laid, place(9, 0), &[1.0, 2.0]).is_err() && lay_beats(&laid, place(0, 0), &[1.0]).is_err());
    }

    #[test]
    fn places_repeat_with_the_groove() {
        let groove = groove();
        let thirteen = Time::new(13, 16).expect("a length");
        let anchors = repeated(&groove, place(0, 0), thirteen, &[0.0, 1.0, 2.0, 3.0, 4.0, 5.0]).expect("anchors");
        let last = anchors[5].place;
        // 65 sixteenths are four bars and a sixteenth.
        assert_eq!((last.pass, last.bar, last.beat), (1, 0, Fraction::new(1, 4).expect("a number")));
    }
}
