//! Voices: every sound is synthesized once into a buffer that schedules share.

mod click;
mod drum;
mod metal;
mod string;
#[cfg(test)]
mod tests;
mod tools;

use crate::rhythm::{Accent, ClickSound, Pitch, Voice};
use crate::sound::units::SampleRate;
use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// Number of click tones for hearings; higher numbers repeat them.
pub(super) const CLICK_TONES: u8 = click::CLICK_TONES;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Tone {
    /// A voice, with the pitch of the attack if the voice is pitched.
    Voice(Voice, Option<Pitch>),
    /// The click of the written beat.
    Beat(ClickSound),
    /// The click of a hearing.
    Line(ClickSound, u8),
}

/// Where the samples of a note come from; equal sources have equal samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum SampleSource {
    Synth(SynthKey),
    /// A sample of the user, by its hash (see [`super::UserSample`]). It must be available.
    User {
        hash: u64,
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

    pub(super) fn synthesize(self) -> Vec<f32> {
        let hit = HitParams::of(self.accent);
        let rate = f64::from(self.rate.hertz());
        match self.tone {
            Tone::Beat(sound) => click::beat(rate, sound, self.accent),
            Tone::Line(sound, tone) => click::line(rate, sound, tone, hit),
            Tone::Voice(voice, pitch) => {
                let key = f64::from(pitch.map(Pitch::key).or(voice.default_pitch()).unwrap_or(69));
                let hertz = tools::playable(440.0 * ((key - 69.0) / 12.0).exp2(), rate);
                match voice {
                    Voice::Kick => drum::kick(rate, hit),
                    Voice::Snare => drum::snare(rate, hit),
                    Voice::Tom => drum::tom(rate, hit, hertz, 0.14),
                    Voice::LowTom => drum::tom(rate, hit, hertz, 0.18),
                    Voice::Rim => drum::rim(rate, hit),
                    Voice::Wood => drum::wood(rate, hit),
                    Voice::Clap => drum::clap(rate, hit),
                    Voice::Hat => metal::hat(rate, hit),
                    Voice::OpenHat => metal::open_hat(rate, hit),
                    Voice::Ride => metal::ride(rate, hit),
                    Voice::Crash => metal::crash(rate, hit),
                    Voice::Cowbell => metal::cowbell(rate, hit),
                    Voice::Shaker => metal::shaker(rate, hit),
                    Voice::Bell => metal::bell(rate, hit, hertz),
                    Voice::Bass => string::bass(rate, hit, hertz),
                    Voice::Pluck => string::pluck(rate, hit, hertz),
                }
            }
        }
    }
}

/// How an accent changes a sound.
#[derive(Debug, Clone, Copy)]
struct HitParams {
    /// Factor of the peak: ghost -14 dB, plain -4.4 dB, accent 0 dB; soft and strong are halfway between their neighbours in dB.
    level: f64,
    /// Brightness, 0 to 1.
    bright: f64,
}

impl HitParams {
    fn of(accent: Accent) -> Self {
        match accent {
            Accent::Ghost => Self { level: 0.2, bright: 0.35 },
            Accent::Soft => Self::between(Accent::Ghost, Accent::Plain),
            Accent::Plain => Self { level: 0.6, bright: 0.7 },
            Accent::Strong => Self::between(Accent::Plain, Accent::Accent),
            Accent::Accent => Self { level: 1.0, bright: 1.0 },
        }
    }

    fn between(softer: Accent, louder: Accent) -> Self {
        let (a, b) = (Self::of(softer), Self::of(louder));
        Self { level: (a.level * b.level).sqrt(), bright: f64::midpoint(a.bright, b.bright) }
    }
}

/// Gain of an attack with this accent in addition to the level of its samples: a voice is synthesized with its accents, a user
/// sample is as loud as an accent. With a depth in dB a plain attack keeps its level, an accent is that much louder and a ghost
/// that much quieter; strong and soft are half of it away.
pub(super) fn level(accent: Accent, depth: Option<u8>, source: SampleSource) -> f32 {
    let synthesized = match source {
        SampleSource::Synth(_) => HitParams::of(accent).level,
        SampleSource::User { .. } => 1.0,
    };
    let plain = HitParams::of(Accent::Plain).level;
    let wanted = match depth.map(f64::from) {
        None => HitParams::of(accent).level,
        Some(depth) => plain * 10_f64.powf(depth * f64::from(accent.level()) / 40.0),
    };
    (wanted / synthesized) as f32
}

/// Bytes in the bank above which unused sounds are freed.
const MAX_BANK_BYTES: usize = 16 << 20;

/// All sounds so far. A sound is freed only here, when nothing else holds it, so the audio thread never frees one.
static BANK: LazyLock<Mutex<HashMap<SampleSource, Arc<[f32]>>>> = LazyLock::new(Mutex::default);

/// The sound from the bank, synthesized if it is not there.
pub(super) fn sound(key: SynthKey) -> Arc<[f32]> {
    share(SampleSource::Synth(key), || key.synthesize())
}

/// The samples from the bank; `samples` makes them if they are not there.
pub(super) fn share(source: SampleSource, samples: impl FnOnce() -> Vec<f32>) -> Arc<[f32]> {
    let mut bank = BANK.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = bank.get(&source) {
        return Arc::clone(known);
    }
    if bank.values().map(|s| size_of_val::<[f32]>(s)).sum::<usize>() > MAX_BANK_BYTES {
        bank.retain(|_, sound| Arc::strong_count(sound) > 1);
    }
    let new: Arc<[f32]> = samples().into();
    bank.insert(source, Arc::clone(&new));
    new
}
