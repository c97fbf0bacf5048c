//! Voices: every sound is synthesized once into a buffer that schedules share.

mod click;
mod drum;
mod metal;
mod string;
#[cfg(test)]
mod tests;
mod tools;

use crate::rhythm::{Accent, Pitch, Voice};
use crate::sound::units::SampleRate;
use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// Number of click tones for hearings; higher numbers repeat them.
pub(crate) const CLICK_TONES: u8 = click::CLICK_TONES;

/// What is synthesized.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Tone {
    /// A voice, with the pitch of the attack if the voice is pitched.
    Voice(Voice, Option<Pitch>),
    /// The click of the written beat.
    Beat,
    /// The click of a hearing.
    Line(u8),
}

/// Where the samples of a note come from; equal sources have equal samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum SampleSource {
    /// Synthesized, which is possible anywhere.
    Synth(SynthKey),
    /// The user's own sample, which must be available.
    User {
        /// Hash of the samples, see [`super::UserSample::hash`].
        hash: u64,
        /// Sample rate of the samples.
        rate: SampleRate,
    },
}

/// Key of a synthesized sound: mono samples at one rate, at most 1 in magnitude, deterministic.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct SynthKey {
    pub(super) rate: SampleRate,
    pub(super) tone: Tone,
    pub(super) accent: Accent,
}

impl SynthKey {
    /// The sound of an attack; an unpitched voice drops the pitch.
    pub(super) fn new(rate: SampleRate, voice: Voice, pitch: Option<Pitch>, accent: Accent) -> Self {
        Self { rate, tone: Tone::Voice(voice, pitch.filter(|_| voice.is_pitched())), accent }
    }

    /// Whether the sound is damped at the end of its attack; all others decay naturally.
    pub(super) fn is_held(self) -> bool {
        matches!(self.tone, Tone::Voice(Voice::Bass | Voice::Pluck | Voice::Bell, _))
    }

    /// Synthesizes the sound.
    pub(super) fn synthesise(self) -> Vec<f32> {
        let touch = HitParams::of(self.accent);
        let rate = f64::from(self.rate.hertz());
        match self.tone {
            Tone::Beat => click::beat(rate, self.accent),
            Tone::Line(tone) => click::line(rate, tone, touch),
            Tone::Voice(voice, pitch) => {
                let key = f64::from(pitch.map(Pitch::key).or(voice.default_pitch()).unwrap_or(69));
                let hertz = tools::playable(440.0 * ((key - 69.0) / 12.0).exp2(), rate);
                match voice {
                    Voice::Kick => drum::kick(rate, touch),
                    Voice::Snare => drum::snare(rate, touch),
                    Voice::Tom => drum::tom(rate, touch, hertz),
                    Voice::Rim => drum::rim(rate, touch),
                    Voice::Wood => drum::wood(rate, touch),
                    Voice::Clap => drum::clap(rate, touch),
                    Voice::Hat => metal::hat(rate, touch),
                    Voice::OpenHat => metal::open_hat(rate, touch),
                    Voice::Shaker => metal::shaker(rate, touch),
                    Voice::Bell => metal::bell(rate, touch, hertz),
                    Voice::Bass => string::bass(rate, touch, hertz),
                    Voice::Pluck => string::pluck(rate, touch, hertz),
                }
            }
        }
    }
}

/// How an accent changes a sound.
#[derive(Debug, Clone, Copy)]
struct HitParams {
    /// Factor of the peak: ghost -14 dB, plain -4.4 dB, accent 0 dB.
    level: f64,
    /// Brightness, 0 to 1.
    bright: f64,
}

impl HitParams {
    fn of(accent: Accent) -> Self {
        match accent {
            Accent::Ghost => Self { level: 0.2, bright: 0.35 },
            Accent::Plain => Self { level: 0.6, bright: 0.7 },
            Accent::Accent => Self { level: 1.0, bright: 1.0 },
        }
    }
}

/// Gain of an attack with this accent in addition to the level of its samples: a voice is synthesized with its accents, a user
/// sample (`own`) is as loud as an accent. With a depth in dB a plain attack keeps its level, an accent is that much louder and
/// a ghost that much quieter.
pub(super) fn level(accent: Accent, depth: Option<u8>, own: bool) -> f32 {
    let has = if own { 1.0 } else { HitParams::of(accent).level };
    let plain = HitParams::of(Accent::Plain).level;
    let wanted = match (depth, accent) {
        (None, accent) => HitParams::of(accent).level,
        (Some(_), Accent::Plain) => plain,
        (Some(depth), Accent::Accent) => plain * 10_f64.powf(f64::from(depth) / 20.0),
        (Some(depth), Accent::Ghost) => plain * 10_f64.powf(-f64::from(depth) / 20.0),
    };
    (wanted / has) as f32
}

/// Bytes of unused sounds that are kept.
const SPARE: usize = 16 << 20;

/// All sounds so far. A sound is freed only here, when nothing else holds it, so the audio thread never frees one.
static BANK: LazyLock<Mutex<HashMap<SampleSource, Arc<[f32]>>>> = LazyLock::new(Mutex::default);

/// The sound from the bank, synthesized if it is not there.
pub(super) fn sound(strike: SynthKey) -> Arc<[f32]> {
    banked(SampleSource::Synth(strike), || strike.synthesise())
}

/// Adds a user sample to the bank.
pub(super) fn keep(origin: SampleSource, samples: Vec<f32>) -> Arc<[f32]> {
    banked(origin, || samples)
}

fn banked(origin: SampleSource, make: impl FnOnce() -> Vec<f32>) -> Arc<[f32]> {
    let mut bank = BANK.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = bank.get(&origin) {
        return Arc::clone(known);
    }
    if bank.values().map(|s| size_of_val::<[f32]>(s)).sum::<usize>() > SPARE {
        bank.retain(|_, sound| Arc::strong_count(sound) > 1);
    }
    let made: Arc<[f32]> = make().into();
    bank.insert(origin, Arc::clone(&made));
    made
}
