//! Tapping the tempo of a section: only the arrival times of the keys count, so nothing needs to play.

use crate::analysis::limits;
use crate::analysis::tap::median;
use crate::rhythm::{Fraction, Tempo, Time};
use crate::session::Command;
use crate::terminal::{KeyTime, Overlay, State, run_command};

/// Fewest taps that set a tempo.
pub(crate) const MIN_TEMPO_TAPS: usize = 4;
/// Taps that count: enough to be sure, few enough to follow a change.
const MAX_TEMPO_TAPS: usize = 16;
/// A longer pause, in seconds, starts anew; it is the beat of 20 beats per minute (ours, no source).
const MAX_PAUSE: f64 = 3.0;

/// The taps since the last pause.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct TempoTaps {
    /// Arrival of the first key, from which the seconds of the taps count.
    first: KeyTime,
    seconds: Vec<f64>,
    /// Number of taps faster than a finger, as of a key held down.
    pub ignored: usize,
}

impl TempoTaps {
    pub(crate) fn count(&self) -> usize {
        self.seconds.len()
    }

    fn add(&mut self, at: f64) {
        if let Some(last) = self.seconds.last() {
            let pause = at - last;
            if pause * 1000.0 < limits::TAP_FASTEST.value / 2.0 {
                self.ignored += 1;
                return;
            }
            if pause > MAX_PAUSE {
                (self.seconds, self.ignored) = (Vec::new(), 0);
            }
        }
        self.seconds.push(at);
        let extra = self.seconds.len().saturating_sub(MAX_TEMPO_TAPS);
        self.seconds.drain(..extra);
    }

    /// The intervals between the taps, in seconds.
    pub(crate) fn intervals(&self) -> Vec<f64> {
        self.seconds.windows(2).map(|pair| pair[1] - pair[0]).collect()
    }

    /// The tempo of the median interval, in whole beats per minute: taps are not more exact than that.
    pub(crate) fn tempo(&self, unit: Time) -> Option<Tempo> {
        let interval = median(&self.intervals()).filter(|_| self.count() >= MIN_TEMPO_TAPS)?;
        Tempo::new(Fraction::whole((60.0 / interval).round() as i32), unit).ok()
    }
}

pub(crate) fn begin(state: &mut State) {
    state.overlay = Overlay::TapTempo(TempoTaps::default());
}

pub(crate) fn tap(state: &mut State, arrival: KeyTime) {
    if let (Overlay::TapTempo(taps), Some(at)) = (&mut state.overlay, arrival) {
        let first = *taps.first.get_or_insert(at);
        taps.add(at.saturating_duration_since(first).as_secs_f64());
    }
}

/// Sets the tempo of the cursor's section, if there are enough taps.
pub(crate) fn set(state: &mut State) {
    let section = state.session.cursor().place.section;
    let old = state.groove().sections()[section].tempo;
    let Overlay::TapTempo(taps) = &state.overlay else { return };
    let Some(tempo) = taps.tempo(old.unit()) else {
        return state.warn(format!("at least {MIN_TEMPO_TAPS} taps are needed for a tempo"));
    };
    state.overlay = Overlay::None;
    run_command(state, Command::Tempo(tempo));
    let name = &state.groove().sections()[section].name;
    let text = format!("section '{name}': tempo {}, was {}", tempo.bpm(), old.bpm());
    state.info(text);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tapped(ms: &[u64]) -> TempoTaps {
        let mut taps = TempoTaps::default();
        for tap in ms {
            taps.add(*tap as f64 / 1000.0);
        }
        taps
    }

    fn bpm(taps: &TempoTaps) -> Option<Fraction> {
        taps.tempo(Time::new(1, 4).expect("quarter")).map(Tempo::bpm)
    }

    #[test]
    fn the_median_interval_of_four_taps_or_more_is_the_tempo() {
        assert_eq!(bpm(&tapped(&[0, 500, 1000])), None);
        assert_eq!(bpm(&tapped(&[0, 500, 1000, 1500])), Some(Fraction::whole(120)));
        // One late tap changes two intervals, and not their median.
        assert_eq!(bpm(&tapped(&[0, 500, 1090, 1500, 2000, 2500])), Some(Fraction::whole(120)));
        // A key held down, and a pause.
        let repeated = tapped(&[0, 30, 60, 500, 530, 1000, 1500]);
        assert_eq!((bpm(&repeated), repeated.ignored), (Some(Fraction::whole(120)), 3));
        let after_pause = tapped(&[0, 300, 600, 4000, 4500]);
        assert_eq!((after_pause.count(), bpm(&after_pause)), (2, None));
    }

    #[test]
    fn the_last_taps_count() {
        let faster: Vec<u64> = (0..12).map(|k| 1000 * k).chain((1..=16).map(|k| 11_000 + 500 * k)).collect();
        let taps = tapped(&faster);
        assert_eq!((taps.count(), bpm(&taps)), (MAX_TEMPO_TAPS, Some(Fraction::whole(120))));
    }
}
