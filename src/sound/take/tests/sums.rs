//! The samples of takes by plain exact sums: every sound at its exact second, rounded once.

use super::*;
use crate::rhythm::{Accent, ClickSound, MeterKind, Section};
use crate::sound::MIX_DB;
use crate::sound::units::Gain;
use crate::sound::voice::{self, SynthKey, Tone};

/// Exact seconds of a section at full speed.
pub(super) fn seconds(section: &Section, t: Time) -> BigRational {
    let (bpm, unit) = (section.tempo.bpm(), section.tempo.unit());
    big(60, 1) * big(t.numer(), t.denom()) / (big(bpm.numer(), bpm.denom()) * big(unit.numer(), unit.denom()))
}

pub(super) fn length(groove: &Groove) -> BigRational {
    groove.sections().iter().map(|s| seconds(s, s.length()) * BigInt::from(s.times)).sum()
}

/// Each sound: seconds at full speed from the cue, tone, accent, level, pan.
type Sounds = Vec<(BigRational, Tone, Accent, f32, i8)>;

/// The clicks of the written beat in one time through a section, from `from`.
fn beats(section: &Section, from: &BigRational, click: Click, bars: u16) -> Sounds {
    let parts = match click {
        Click::Off => return Vec::new(),
        Click::Written | Click::Strong => 1,
        Click::OffBeat => 2,
        Click::Divided(n) => i64::from(n),
    };
    let (meter, strong) = (&section.meter, section.meter.strong_beats());
    let mut sounds = Vec::new();
    for k in 0..meter.beats() as i64 * i64::from(bars) * parts {
        let beat = (k / parts) as usize % meter.beats();
        let at = from + seconds(section, meter.beat()) * big(k, parts);
        let weak = meter.kind() == MeterKind::Additive && beat > 0 && !strong.contains(&beat);
        let accent = if beat == 0 { Accent::Accent } else { [Accent::Plain, Accent::Ghost][usize::from(weak)] };
        if click == Click::Strong && beat > 0 && !strong.contains(&beat) {
            continue;
        }
        if click == Click::OffBeat {
            sounds.extend((k % 2 == 1).then_some((at, Tone::Beat(ClickSound::Tick), accent, 1.0, 0)));
        } else if k % parts > 0 {
            sounds.push((at, Tone::Beat(ClickSound::Tick), Accent::Ghost, 0.708, 0));
        } else {
            sounds.push((at, Tone::Beat(ClickSound::Tick), accent, 1.0, 0));
        }
    }
    sounds
}

/// Everything that sounds in one time through a take.
fn once(groove: &Groove, take: &Take, silent: bool) -> Sounds {
    let (mut sounds, mut start) = (Sounds::new(), BigRational::zero());
    for (s, section) in groove.sections().iter().enumerate() {
        for pass in 0..usize::from(section.times) {
            for (l, layer) in groove.layers().iter().enumerate().filter(|_| take.layers) {
                for e in groove.events(l).iter().filter(|e| e.section == s && e.pass == pass) {
                    let at = &start + seconds(section, e.offset);
                    let tone = Tone::Voice(layer.voice, e.attack.pitch.filter(|_| layer.voice.is_pitched()));
                    sounds.push((at, tone, e.attack.accent, Gain::from_db(f32::from(layer.gain)).linear(), layer.pan));
                }
            }
            sounds.extend(beats(section, &start, take.click, section.bars));
            start += seconds(section, section.length());
        }
    }
    for line in &take.lines {
        for moment in &line.moments {
            let (Moment::Pulse(t) | Moment::Division(t)) = *moment;
            let accent = if matches!(moment, Moment::Division(_)) { Accent::Ghost } else { Accent::Plain };
            sounds.push((
                BigRational::from_f64(t).expect("finite"),
                Tone::Line(ClickSound::Tick, line.tone),
                accent,
                1.0,
                line.side,
            ));
        }
    }
    if silent {
        let until = seconds(&groove.sections()[0], plain("a").audible_prefix(groove));
        sounds.retain(|s| s.0 < until);
    }
    sounds
}

/// The count-in of a take and its length in seconds at full speed.
fn counted_in(groove: &Groove, take: &Take) -> Option<(Sounds, BigRational)> {
    let section = &groove.sections()[0];
    match take.count_in {
        CountIn::Off => None,
        CountIn::Bar => {
            let bar = seconds(section, section.meter.bar());
            Some((beats(section, &BigRational::zero(), Click::Written, 1), bar))
        }
        CountIn::Pulse { first, period, tone, side } => {
            let exact = |t: f64| BigRational::from_f64(t).expect("finite");
            let pulse =
                |k: u32| (exact(period * f64::from(k)), Tone::Line(ClickSound::Tick, tone), Accent::Plain, 1.0, side);
            // The test's pulse begins within one period, so that the fourth click stands one period before the first.
            Some(((0..4).map(pulse).collect(), exact(period) * BigInt::from(4) - exact(first)))
        }
    }
}

/// The samples by plain sums, cue by cue, and the frames of the cues. No limiter: nothing may be loud.
pub(super) fn reference(groove: &Groove, takes: &[Take], rate: SampleRate) -> (Vec<(f64, f64)>, Vec<i64>) {
    let mut mixed: Vec<(f64, f64)> = Vec::new();
    let mut cues = Vec::new();
    let mut cue = 0_i64;
    let mut put = |frame: i64, (_, tone, accent, level, side): &(BigRational, Tone, Accent, f32, i8)| {
        let (left, right) = Gain::from_db(0.0).panned(*side);
        let master = f64::from(Gain::from_db(MIX_DB).linear()) * f64::from(*level);
        let samples = voice::sound(SynthKey { rate, tone: *tone, accent: *accent });
        let frame = usize::try_from(frame).expect("after the start");
        mixed.resize(mixed.len().max(frame + samples.len()), (0.0, 0.0));
        for (sum, x) in mixed[frame..].iter_mut().zip(samples.iter()) {
            sum.0 += f64::from(x * left) * master;
            sum.1 += f64::from(x * right) * master;
        }
    };
    for take in takes {
        let scale = big(i64::from(rate.hertz()) * take.speed.denom(), take.speed.numer());
        if let Some((sounds, lasts)) = counted_in(groove, take) {
            cues.push(cue);
            for s in &sounds {
                put(cue + rounded(&(&s.0 * &scale)), s);
            }
            cue += rounded(&(lasts * &scale));
        }
        cues.push(cue);
        let lasts = length(groove) * &scale;
        for pass in 0..take.times {
            for s in &once(groove, take, take.muted_passes.contains(&pass)) {
                put(cue + rounded(&(&lasts * BigInt::from(pass) + &s.0 * &scale)), s);
            }
        }
        cue += rounded(&(lasts * BigInt::from(take.times)));
    }
    mixed.resize(mixed.len().max(cue as usize), (0.0, 0.0));
    (mixed, cues)
}
