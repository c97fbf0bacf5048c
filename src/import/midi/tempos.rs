//! The tempo of each bar of a MIDI file.

use super::read::{Origin, Song};
use super::to_draft::TickScale;
use crate::import::Warnings;
use crate::notation::teeter_meta::MetaEvent;
use crate::rhythm::bounds::TEMPO;
use crate::rhythm::{Fraction, Meter, Tempo, Time};

/// Tempos by bar, asked for in order.
#[derive(Default)]
pub(super) struct Tempos {
    /// Microseconds per quarter from a time on.
    changes: Vec<(Time, u32)>,
    /// Exact tempos of the section events of this program.
    exact_changes: Vec<(Time, Tempo)>,
    /// Index of the change in force.
    current_change: usize,
    /// Bars in which the tempo changes, and the first of them.
    changing_bars: usize,
    first_changing_bar: usize,
    /// Bars whose tempo is out of range.
    clamped_bars: usize,
    /// Mostly serves the next bar too.
    last_conversion: Option<Conversion>,
}

struct Conversion {
    us: u32,
    meter: Meter,
    tempo: Tempo,
    clamped: bool,
}

impl Tempos {
    pub(super) fn new(song: &Song, scale: TickScale, warnings: &mut Warnings) -> Self {
        let mut changes = vec![(Time::ZERO, 500_000)];
        if song.counts_smpte_frames {
            warnings.add("header", "times are SMPTE frames, not beats; read at 120 quarters per minute");
        } else {
            let known = song.tempos.iter().filter(|t| *t.1 > 0);
            for (tick, _) in song.tempos.iter().filter(|t| *t.1 == 0) {
                warnings.add(format!("tick {tick}"), "ignored a tempo of 0 microseconds per quarter");
            }
            if song.origin == Origin::Other && song.tempos.get(&0).is_none_or(|us| *us == 0) {
                let message = match known.clone().next() {
                    None => "the file has no tempo; read at 120 quarters per minute".to_owned(),
                    Some((tick, _)) => {
                        format!("the file has no tempo before tick {tick}; read at 120 quarters per minute until then")
                    }
                };
                warnings.add("tempo", message);
            }
            changes.extend(known.filter_map(|(tick, us)| Some((scale.time(*tick)?, *us))));
        }
        let exact = song.sections.iter().filter_map(|(tick, section)| match section {
            MetaEvent::Section { tempo, .. } => Some((scale.time(*tick)?, *tempo)),
            _ => None,
        });
        Self { changes, exact_changes: exact.collect(), ..Self::default() }
    }

    /// The tempo of a bar: the one in force, or the mean of a bar in which it changes.
    pub(super) fn tempo_of_bar(&mut self, from: Time, to: Time, meter: &Meter, number: usize) -> Tempo {
        while self.changes.get(self.current_change + 1).is_some_and(|c| c.0 <= from) {
            self.current_change += 1;
        }
        let (since, us) = self.changes[self.current_change];
        let mut later = self.changes[self.current_change + 1..].iter().take_while(|c| c.0 < to).peekable();
        if later.peek().is_none() {
            // An exact tempo holds until another one is set after it.
            let exact =
                self.exact_changes.partition_point(|e| e.0 <= from).checked_sub(1).map(|i| self.exact_changes[i]);
            if let Some((_, tempo)) = exact.filter(|e| e.0 >= since) {
                return tempo;
            }
            let cached = self.last_conversion.take().filter(|c| c.us == us && c.meter == *meter);
            let conversion = cached.unwrap_or_else(|| {
                let (tempo, clamped) = tempo_of(Fraction::whole(us as i32), meter, TempoSource::File);
                Conversion { us, meter: meter.clone(), tempo, clamped }
            });
            self.clamped_bars += usize::from(conversion.clamped);
            return self.last_conversion.insert(conversion).tempo;
        }
        if self.changing_bars == 0 {
            self.first_changing_bar = number;
        }
        self.changing_bars += 1;
        let wholes = |t: Time| t.numer() as f64 / t.denom() as f64;
        let (mut at, mut current, mut sum) = (from, us, 0.0);
        for &(time, next) in later {
            sum += (wholes(time) - wholes(at)) * f64::from(current);
            (at, current) = (time, next);
        }
        sum += (wholes(to) - wholes(at)) * f64::from(current);
        let mean = sum / (wholes(to) - wholes(from));
        let mean = Fraction::new((mean * 1000.0).round() as i64, 1000).unwrap_or(Fraction::ONE);
        let (tempo, clamped) = tempo_of(mean, meter, TempoSource::Mean);
        self.clamped_bars += usize::from(clamped);
        tempo
    }

    pub(super) fn warn(&self, warnings: &mut Warnings) {
        let n = self.changing_bars;
        warnings.add_counted(
            format_args!("bar {}", self.first_changing_bar),
            n,
            "the tempo changes within this bar; replaced by one tempo with the same duration",
            format_args!("the tempo changes within {n} bars, first here; each got one tempo with the same duration"),
        );
        let one = "1 bar has a tempo outside the range of a groove; replaced by the nearest one";
        let n = self.clamped_bars;
        let many = format!("{n} bars have a tempo outside the range of a groove; replaced by the nearest one");
        warnings.add_counted("tempo", n, one, many);
    }
}

/// Where a number of microseconds per quarter comes from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum TempoSource {
    File,
    Mean,
}

/// Beats per minute for microseconds per quarter, and whether they had to be clamped. A number from the file becomes the shortest
/// decimal that is written as the same number of microseconds.
fn tempo_of(us: Fraction, meter: &Meter, source: TempoSource) -> (Tempo, bool) {
    let units = [Some(meter.beat()), Time::new(1, 4), Time::new(1, 1), Time::new(1, 16), Time::new(1, 64)];
    for unit in units.into_iter().flatten() {
        let per_minute = |us: Fraction| Fraction::whole(15_000_000).over(us)?.over(unit.wholes());
        let Some(exact) = per_minute(us).filter(|b| *b > Fraction::ZERO) else { continue };
        let short = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000].into_iter().find_map(|scale| {
            let decimal = Fraction::new(exact.times(Fraction::new(scale, 1)?)?.round(), scale)?;
            let back = Fraction::whole(15_000_000).over(decimal.times(unit.wholes())?)?;
            // Some programs truncate instead of rounding.
            let is_same = [back.round(), back.floor()].contains(&us.round());
            (is_same && (source == TempoSource::File || scale == 1000)).then_some(decimal)
        });
        if let Ok(tempo) = Tempo::new(short.unwrap_or(exact), unit) {
            return (tempo, false);
        }
    }
    let bpm = if us > Fraction::whole(1_000_000) { TEMPO.least } else { TEMPO.greatest };
    (Tempo::new(Fraction::whole(bpm as i32), meter.beat()).expect("a bound is within the bounds"), true)
}
