//! The voices: each strike is synthesised once into a buffer that schedules share. It must not know grooves, schedules
//! or devices.

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

/// Number of click tones that a hearing may have; higher numbers begin again.
pub const CLICK_TONES: u8 = click::CLICK_TONES;

/// What a strike sounds like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Tone {
    /// A voice, with the pitch of the attack where the voice sounds one.
    Voice(Voice, Option<Pitch>),
    /// The click of the written beat.
    Beat,
    /// The click of a hearing.
    Line(u8),
}

/// Where a sound of a schedule comes from; two sounds of one origin are the same samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum SampleSource {
    /// It is synthesised, and can be synthesised anywhere.
    Synth(SynthKey),
    /// It is the user's own; only whoever has its samples can sound it.
    User {
        /// Hash of its samples, see [`super::UserSample::hash`].
        hash: u64,
        /// Frames per second of its samples.
        rate: SampleRate,
    },
}

/// One synthesised sound: mono samples at one rate, at most 1 in magnitude, deterministic.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct SynthKey {
    pub(super) rate: SampleRate,
    pub(super) tone: Tone,
    pub(super) accent: Accent,
}

impl SynthKey {
    /// The strike of an attack: the pitch is dropped where the voice sounds none.
    pub(super) fn new(rate: SampleRate, voice: Voice, pitch: Option<Pitch>, accent: Accent) -> Self {
        Self { rate, tone: Tone::Voice(voice, pitch.filter(|_| voice.is_pitched())), accent }
    }

    /// Whether the sound lasts as long as its attack and is then damped; all others ring out.
    pub(super) fn is_held(self) -> bool {
        matches!(self.tone, Tone::Voice(Voice::Bass | Voice::Pluck | Voice::Bell, _))
    }

    /// Synthesises the sound.
    pub(super) fn synthesise(self) -> Vec<f32> {
        let touch = HitParams::of(self.accent);
        let rate = f64::from(self.rate.hertz());
        match self.tone {
            Tone::Beat => click::beat(rate, self.accent),
            Tone::Line(tone) => click::line(rate, tone, touch),
            Tone::Voice(voice, pitch) => {
                let key = f64::from(pitch.map(Pitch::key).or(voice.own_pitch()).unwrap_or(69));
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
    /// Factor on the peak: ghost -14 dB, plain -4.4 dB, accent 0 dB.
    level: f64,
    /// Share of the sound's brightness, 0 to 1.
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

/// The factor that gives an attack of this accent its level, on top of what its sound has: a voice comes with its accents,
/// a sound of the user's own (`own`) is as loud as an accent. With a depth in dB a plain attack keeps its level, an accent
/// stands that much above it and a ghost that much below.
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

/// Bytes of sounds kept although no schedule uses them any more.
const SPARE: usize = 16 << 20;

/// Every sound made or taken in so far. A sound is dropped only here, when nobody else holds it: whoever gives up a sound
/// elsewhere, as the audio thread does, therefore never frees memory.
static BANK: LazyLock<Mutex<HashMap<SampleSource, Arc<[f32]>>>> = LazyLock::new(Mutex::default);

/// The sound of a strike, from the bank, synthesised if it is not there yet.
pub(super) fn sound(strike: SynthKey) -> Arc<[f32]> {
    banked(SampleSource::Synth(strike), || strike.synthesise())
}

/// Takes a sound of the user's own into the bank.
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
