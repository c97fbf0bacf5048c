//! What the model is asked: attacks, playing speed, constants, and the written meter for telling the answer afterwards.

use super::params::Params;
use crate::analysis::attacks::LayerAttacks;
use crate::analysis::clock::wholes;
use crate::rhythm::{Accent, MeterKind, Region, Voice};

/// One attack of one layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct VoicedAttack {
    /// Seconds from the start of the loop at full speed.
    pub(crate) seconds: f64,
    pub(crate) accent: Accent,
    pub(crate) voice: Voice,
    pub(crate) layer: usize,
}

/// A run of bars of one meter and tempo, every time through counted.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TimedSection {
    /// Start in seconds at full speed.
    pub(crate) start: f64,
    /// End in seconds at full speed.
    pub(crate) end: f64,
    /// Length of a whole note in seconds at full speed: sections in a row that share it are heard as one.
    pub(crate) whole: f64,
    pub(crate) meter: WrittenMeter,
}

impl TimedSection {
    /// The section that lasts longest, of equal ones the first: a pickup does not say what the beat is.
    pub(crate) fn longest(sections: &[Self]) -> Option<&Self> {
        sections.iter().reduce(|a, b| if b.end - b.start > (a.end - a.start) * (1.0 + 1e-9) { b } else { a })
    }
}

/// The written meter in seconds at full speed. The model itself does not know it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct WrittenMeter {
    /// A bar line at or before the section's start.
    pub(crate) origin: f64,
    pub(crate) bar: f64,
    /// Length of a beat: of a lower unit in a simple or additive meter, of three in a compound one.
    pub(crate) beat: f64,
    /// Parts of the beat that are counted with it: 2, or 3 in a compound meter.
    pub(crate) parts: u8,
    /// Where the groups of an additive meter start within a bar, from 0; empty otherwise.
    pub(crate) heads: Vec<f64>,
}

/// A pulse that was heard before and goes on into what is asked about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Carried {
    pub(crate) probability: f64,
    /// Its period in seconds at full speed.
    pub(crate) period: f64,
    /// Its next pulse in seconds at full speed from the start of what is asked about.
    pub(crate) next: f64,
}

/// One question to the model.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Input {
    /// The attacks of the layers listened to, in any order.
    pub(crate) attacks: Vec<VoicedAttack>,
    /// The sections from 0 to the end of the loop, without a gap.
    pub(crate) sections: Vec<TimedSection>,
    /// Playing speed as a part of the written tempos.
    pub(crate) speed: f64,
    pub(crate) params: Params,
    /// What the listener brings along.
    pub(crate) context: Context,
}

/// What a listener brings along into a part of a groove.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Context {
    /// Nothing: each section of another tempo starts without a pulse.
    Cold,
    /// The pulse heard before, from the part that comes just before this one, if there is any.
    After(Option<Box<Input>>),
}

impl Input {
    /// The attacks of some layers of a groove, or of a region of it. A single section is one time through: how often it is repeated
    /// has no meaning for a loop.
    pub(crate) fn new(layer_attacks: &LayerAttacks<'_>, layers: &[usize], region: Option<&Region>, speed: f64) -> Self {
        let (groove, clock) = (layer_attacks.groove, layer_attacks.clock);
        let single = groove.sections().len() == 1;
        let mut sections = Vec::new();
        let mut window = (0.0, f64::INFINITY);
        for (index, section) in groove.sections().iter().enumerate() {
            let last = if single { 0 } else { usize::from(section.times).saturating_sub(1) };
            let (Some((start, _)), Some((_, end))) = (clock.range(index, 0), clock.range(index, last)) else {
                continue;
            };
            let per_whole = clock.seconds_per_whole(index).unwrap_or(1.0);
            let meter = &section.meter;
            let additive = meter.kind() == MeterKind::Additive;
            let beat = wholes(meter.beat()) * per_whole;
            let strong = meter.strong_beats();
            let heads = std::iter::once(0).chain(strong).filter(|_| additive).map(|b| b as f64 * beat).collect();
            let parts = if meter.kind() == MeterKind::Compound { 3 } else { 2 };
            let written = WrittenMeter { origin: start, bar: wholes(meter.bar()) * per_whole, beat, parts, heads };
            if let Some(r) = region.filter(|r| r.section == index) {
                let to = section.length().min(r.to);
                let at = |time| clock.seconds(index, 0, time).unwrap_or(start);
                window = (at(r.from), at(to));
            }
            sections.push(TimedSection { start, end, whole: per_whole, meter: written });
        }
        let mut attacks = Vec::new();
        for &layer in layers.iter().filter(|l| **l < groove.layers().len()) {
            let voice = groove.layers()[layer].voice;
            let of_layer = layer_attacks.layer(layer);
            let of_loop = of_layer.iter().filter(|a| !single || a.pass == 0);
            attacks.extend(of_loop.map(|a| VoicedAttack { seconds: a.seconds, accent: a.accent, voice, layer }));
        }
        let input = Self { attacks, sections, speed, params: Params::default(), context: Context::After(None) };
        input.between(window.0, window.1)
    }

    /// The part from one time to another as a loop of its own; the times start from 0 there.
    #[must_use]
    pub(crate) fn between(mut self, from: f64, to: f64) -> Self {
        let to = to.min(self.length());
        if from <= 0.0 && to >= self.length() {
            return self;
        }
        self.sections.retain(|s| s.end > from + 1e-9 && s.start < to - 1e-9);
        for s in &mut self.sections {
            s.start = s.start.max(from) - from;
            s.end = s.end.min(to) - from;
            s.meter.origin -= from;
        }
        self.attacks.retain(|a| a.seconds >= from - 1e-9 && a.seconds < to - 1e-9);
        self.attacks.iter_mut().for_each(|a| a.seconds = (a.seconds - from).max(0.0));
        self
    }

    /// The same without one layer.
    #[must_use]
    pub(crate) fn without(mut self, layer: usize) -> Self {
        self.attacks.retain(|a| a.layer != layer);
        self
    }

    /// Length of the loop in seconds at full speed.
    pub(crate) fn length(&self) -> f64 {
        self.sections.last().map_or(0.0, |s| s.end)
    }
}
