//! The spectrum of an onset: how much the energy rises in each of many narrow bands, while it sounds and just after.
//!
//! Energies of sounds that begin together add up, and each band has its own background. So a sound that is known can be taken away
//! from an onset, and where a louder one covers it, that can be told as well.

use super::progress::Progress;
use super::signal::{Mono, Signal};
use super::{Onset, level};
use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::f64::consts::PI;
use std::ops::Range;
use std::sync::Arc;

/// Edges of the bands in hertz: a third to a half of an octave each.
const EDGES: [f64; BANDS + 1] = [
    40.0, 90.0, 150.0, 230.0, 350.0, 530.0, 800.0, 1_200.0, 1_800.0, 2_700.0, 4_000.0, 5_500.0, 7_500.0, 10_000.0,
    14_000.0,
];
/// Bands of the low and of the middle part; the high part has the others. The parts meet near 200 and at 2700 Hz.
const LOW: Range<usize> = 0..3;
const MID: Range<usize> = 3..9;
/// Number of bands.
const BANDS: usize = 14;
/// Energy just after an onset, in terms of that while it sounds, where nothing else is known: a drum's (common practice, no source).
const USUAL_DECAY: f64 = 0.25;
/// Energies of a timbre: those of the bands while the onset sounds, then those just after.
pub const ENERGIES: usize = 2 * BANDS;
/// Seconds from the onset of the background, of the sound, and of what follows.
///
/// Strokes that nearly coincide are one onset, at the time of any of them. So where a band is quieter further back, that is the
/// background, and what came between belongs to this onset, unless it was one itself.
const BACKGROUND: Range<f64> = -0.028..-0.002;
const FURTHER_BACK: Range<f64> = -0.054..-0.028;
const SOUND: Range<f64> = -0.001..0.025;
const AFTER: Range<f64> = 0.025..0.075;
/// Seconds over which each of them fades in and out.
const FADE: f64 = 0.002;

/// How the energy in narrow bands rises at an onset, and how much there was before.
///
/// The unit is the same for all onsets of a recording. All zeros if it was not measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Timbre {
    /// By how much the energies rise; 0 where they do not.
    pub rise: [f32; ENERGIES],
    /// The energies before.
    pub background: [f32; ENERGIES],
}

impl Timbre {
    /// A timbre of which no more is known than linear strengths of the low, middle and high band, from silence.
    pub fn of_bands(bands: [f64; 3]) -> Self {
        let mut timbre = Self::default();
        for (band, rise) in timbre.rise.iter_mut().enumerate() {
            let part = part_of(band);
            let width = [LOW.len(), MID.len(), BANDS - MID.end][part];
            let decay = if band < BANDS { 1.0 } else { USUAL_DECAY };
            *rise = (decay * bands[part].powi(2) / width as f64) as f32;
        }
        timbre
    }

    /// Whether it was measured, and anything sounded.
    pub fn is_known(&self) -> bool {
        self.rise.iter().any(|rise| *rise > 0.0)
    }
}

/// The part of the spectrum in which an energy of a timbre lies: low 0, middle 1, high 2.
fn part_of(energy: usize) -> usize {
    let band = energy % BANDS;
    if LOW.contains(&band) { 0 } else { 1 + usize::from(!MID.contains(&band)) }
}

/// Linear strengths of the low, middle and high part of such energies while the onset sounds.
pub fn strengths(energies: &[f64; ENERGIES]) -> [f64; 3] {
    let mut sums = [0.0; 3];
    for (band, energy) in energies[..BANDS].iter().enumerate() {
        sums[part_of(band)] += energy;
    }
    sums.map(f64::sqrt)
}

/// Of such energies while the onset sounds, the share between two frequencies in hertz: in the bands that lie wholly between them.
pub fn share_between(energies: &[f64; ENERGIES], hertz: Range<f64>) -> f64 {
    let is_between = |band: &usize| hertz.start <= EDGES[*band] && EDGES[*band + 1] <= hertz.end;
    let sum: f64 = energies[..BANDS].iter().sum();
    (0..BANDS).filter(is_between).map(|band| energies[band]).sum::<f64>() / sum.max(f64::MIN_POSITIVE)
}

/// Decibels by which such energies are greater just after the onset than while it sounds; negative if the sound dies away.
pub fn decibels_after(energies: &[f64; ENERGIES]) -> f64 {
    let [during, after] = [&energies[..BANDS], &energies[BANDS..]].map(|part| part.iter().sum::<f64>());
    10.0 * (after.max(f64::MIN_POSITIVE) / during.max(f64::MIN_POSITIVE)).log10()
}

/// Measures the timbres of onsets, which are in order of time, in the sound where they were found. The result is `None` if
/// `goes_on` stopped it.
pub fn measure_timbres(
    sound: &dyn Mono,
    sample_rate: u32,
    onsets: &mut [Onset],
    goes_on: &dyn Fn() -> bool,
) -> Option<()> {
    let mut signal = Signal::new(sound, sample_rate);
    let gain = level::gain(&mut signal, &mut Progress::new(&mut |_| goes_on()))?;
    signal.set_gain(gain);
    let mut meter = TimbreMeter::new(signal.rate());
    let mut previous = None;
    for onset in onsets {
        goes_on().then_some(())?;
        onset.timbre = meter.timbre(&mut signal, onset.seconds, previous);
        previous = Some(onset.seconds);
    }
    Some(())
}

/// Measures timbres.
struct TimbreMeter {
    rate: f64,
    forward: Arc<dyn RealToComplex<f32>>,
    input: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// The first bin of every band, and the end of the last one.
    bins: [usize; BANDS + 1],
}

impl TimbreMeter {
    fn new(rate: f64) -> Self {
        let longest = ((AFTER.end - AFTER.start) * rate).ceil() as usize;
        let size = (2 * longest.max(1)).next_power_of_two();
        let forward = RealFftPlanner::new().plan_fft_forward(size);
        let bins = EDGES.map(|edge| ((edge * size as f64 / rate).ceil() as usize).min(size / 2 + 1));
        Self {
            rate,
            input: vec![0.0; size],
            spectrum: forward.make_output_vec(),
            scratch: vec![Complex::default(); forward.get_scratch_len()],
            forward,
            bins,
        }
    }

    /// The timbre of an onset at so many seconds, given the onset before it.
    fn timbre(&mut self, signal: &mut Signal, onset: f64, previous: Option<f64>) -> Timbre {
        let mut before = self.energies(signal, onset, &BACKGROUND);
        if previous.is_none_or(|previous| previous < onset + FURTHER_BACK.start) {
            let further_back = self.energies(signal, onset, &FURTHER_BACK);
            before.iter_mut().zip(further_back).for_each(|(energy, other)| *energy = energy.min(other));
        }
        let parts = [self.energies(signal, onset, &SOUND), self.energies(signal, onset, &AFTER)];
        let mut timbre = Timbre::default();
        for (energy, part) in (0..ENERGIES).zip(parts.iter().flatten()) {
            let background = before[energy % BANDS];
            timbre.rise[energy] = (part - background).max(0.0) as f32;
            timbre.background[energy] = background as f32;
        }
        timbre
    }

    /// Mean energies of the bands in a span of seconds from an onset.
    fn energies(&mut self, signal: &mut Signal, onset: f64, span: &Range<f64>) -> [f64; BANDS] {
        let from = ((onset + span.start) * self.rate).floor() as i64;
        let len = (((span.end - span.start) * self.rate) as usize).clamp(1, self.input.len());
        self.input.fill(0.0);
        self.input[..len].copy_from_slice(signal.samples(from, len));
        let faded = ((FADE * self.rate) as usize).min(len / 2);
        for i in 0..faded {
            let factor = (0.5 - 0.5 * (PI * (i as f64 + 0.5) / faded as f64).cos()) as f32;
            self.input[i] *= factor;
            self.input[len - 1 - i] *= factor;
        }
        // The lengths were made to fit.
        let _ = self.forward.process_with_scratch(&mut self.input, &mut self.spectrum, &mut self.scratch);
        let sum = |bins: &[Complex<f32>]| bins.iter().map(|x| f64::from(x.norm_sqr())).sum::<f64>();
        std::array::from_fn(|band| sum(&self.spectrum[self.bins[band]..self.bins[band + 1]]) / len as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(sound: &[f32], onset: f64, previous: Option<f64>) -> Timbre {
        let sound = &sound;
        let mut signal = Signal::new(sound, 44_100);
        TimbreMeter::new(44_100.0).timbre(&mut signal, onset, previous)
    }

    /// A tone that begins after half a second, on another one.
    fn tones(hertz: f64, level: f64, under: f64) -> Vec<f32> {
        let tone = |hertz: f64, t: f64| (2.0 * PI * hertz * t).sin();
        let at = |t: f64| 0.1 * tone(under, t) + if t >= 0.5 { level * tone(hertz, t) } else { 0.0 };
        (0..44_100).map(|i| at(f64::from(i) / 44_100.0) as f32).collect()
    }

    #[test]
    fn a_tone_rises_in_its_band_and_what_sounded_before_is_background() {
        let timbre = measured(&tones(1_000.0, 0.5, 3_300.0), 0.5, None);
        let most = |of: &[f32]| (0..BANDS).max_by(|&a, &b| of[a].total_cmp(&of[b])).expect("bands");
        assert_eq!((most(&timbre.rise), most(&timbre.rise[BANDS..]), most(&timbre.background)), (6, 6, 9));
        assert!(timbre.rise[9] < 0.02 * timbre.rise[6], "{timbre:?}");
        assert!((strengths(&timbre.rise.map(f64::from))[1].powi(2) / f64::from(timbre.rise[6]) - 1.0).abs() < 0.1);
    }

    #[test]
    fn energies_of_sounds_that_begin_together_add_up() {
        let (a, b) = (tones(200.0, 0.5, 20.0), tones(6_000.0, 0.2, 20.0));
        let both: Vec<f32> = a.iter().zip(&b).map(|(a, b)| a + b).collect();
        let [a, b, both] = [a, b, both].map(|sound| measured(&sound, 0.5, None));
        for band in [2, 11] {
            assert!((both.rise[band] / (a.rise[band] + b.rise[band]) - 1.0).abs() < 0.05, "{band}");
        }
    }

    #[test]
    fn a_stroke_just_before_belongs_to_the_onset_unless_it_was_one() {
        let sound = tones(1_000.0, 0.5, 3_300.0);
        let rise = |previous: Option<f64>| measured(&sound, 0.52, previous).rise[6];
        let whole = measured(&sound, 0.5, None).rise[6];
        assert!((rise(None) / whole - 1.0).abs() < 0.1);
        assert!(rise(Some(0.5)) < 0.5 * whole);
    }

    #[test]
    fn three_bands_spread_evenly_keep_their_strengths() {
        let timbre = Timbre::of_bands([0.5, 0.2, 0.1]);
        for (found, expected) in strengths(&timbre.rise.map(f64::from)).into_iter().zip([0.5, 0.2, 0.1]) {
            assert!((found - expected).abs() < 1e-6);
        }
        assert!(timbre.is_known() && !Timbre::default().is_known());
    }

    #[test]
    fn shares_and_decay_are_those_of_the_energies() {
        let mut energies = [1.0; ENERGIES];
        energies[BANDS..].fill(0.1);
        assert!((share_between(&energies, 0.0..230.0) - 3.0 / 14.0).abs() < 1e-9);
        assert!((share_between(&energies, 5_000.0..f64::INFINITY) - 3.0 / 14.0).abs() < 1e-9);
        assert!((decibels_after(&energies) + 10.0).abs() < 1e-9);
        assert_eq!(share_between(&[0.0; ENERGIES], 0.0..230.0), 0.0);
    }
}
