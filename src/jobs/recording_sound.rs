//! How a recording is heard beside its groove, and how that is written in prompts and options.

use crate::rhythm::bounds::Bound;
use crate::rhythm::{Anchor, AnchorMap, Edit, GridPlace, Groove, Micros, expected};
use crate::sound::take::Take;
use crate::sound::{Channels, RecordingPlay, RecordingTone};
use std::sync::Arc;

/// The bands that have names, in Hz: those in which onsets are measured.
const BANDS: [(&str, (u32, u32)); 3] = [("low", (20, 200)), ("mid", (200, 2700)), ("high", (2700, 20_000))];
/// The position of what is heard on the right alone.
const RIGHT: i8 = 100;

static BAND_EDGE: Bound = Bound { what: "the edge of a band", least: 20, greatest: 20_000, unit: "Hz" };
static SEMITONES: Bound = Bound { what: "the transposition", least: -24, greatest: 24, unit: "semitones" };
static LEVEL: Bound = Bound { what: "the level of the recording", least: -60, greatest: 12, unit: "dB" };

/// What is heard of a groove and its recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RecordingMix {
    Groove,
    #[default]
    Both,
    /// Both, the groove on the left and the recording on the right.
    Split,
    Recording,
}

/// How a recording is heard. This is not part of the groove.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RecordingSound {
    pub mix: RecordingMix,
    pub tone: RecordingTone,
    pub level_db: i8,
}

impl RecordingSound {
    /// What a loop or a take needs of it, which then plays its layers or not. Without music, as in a take of clicks alone, only
    /// the times of the recording count.
    pub(crate) fn play(self, music: bool) -> Option<(RecordingPlay, bool)> {
        let pan = if self.mix == RecordingMix::Split { RIGHT } else { 0 };
        let play = RecordingPlay { pass: 0, db: self.level_db.into(), pan, tone: self.tone, is_silent: !music };
        (self.mix != RecordingMix::Groove).then_some((play, music && self.mix != RecordingMix::Recording))
    }

    /// Adds the recording to a take.
    pub(crate) fn add_to(self, take: &mut Take) {
        if let Some((play, layers)) = self.play(take.layers) {
            (take.recording, take.layers) = (Some(play), layers);
        }
    }

    /// The groove as it is played with its recording: its layers on the left if they are to be there, and with an anchor where the
    /// recording begins if it has none. `None` without a recording.
    pub(crate) fn groove(self, groove: &Arc<Groove>) -> Option<Arc<Groove>> {
        groove.recording()?;
        let mut groove = Arc::clone(groove);
        if AnchorMap::of(&groove).is_none() {
            let anchor = Anchor { place: GridPlace::default(), at: Micros(0) };
            groove = Arc::new(groove.edited(&Edit::SetAnchor(anchor)).ok()?);
        }
        if self.mix == RecordingMix::Split {
            let left = |groove: Groove, layer| groove.edited(&Edit::Pan(layer, -RIGHT)).unwrap_or(groove);
            groove = Arc::new((0..groove.layers().len()).fold(Groove::clone(&groove), left));
        }
        Some(groove)
    }

    /// What differs from the recording as it is: `left 80-400 Hz +12 st -3 dB`; empty if nothing does.
    pub(crate) fn words(self) -> String {
        let RecordingTone { channels, band, semitones } = self.tone;
        let words = [
            (channels != Channels::Both).then(|| channels_name(channels).to_owned()),
            band.map(|_| self.band()),
            (semitones != 0).then(|| format!("{semitones:+} st")),
            (self.level_db != 0).then(|| format!("{:+} dB", self.level_db)),
        ];
        words.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    /// The band as it is typed.
    pub(crate) fn band(self) -> String {
        let Some((low, high)) = self.tone.band else { return "off".to_owned() };
        let named = BANDS.iter().find(|(_, band)| *band == (low, high));
        named.map_or_else(|| format!("{low}-{high} Hz"), |(name, _)| (*name).to_owned())
    }
}

const CHANNELS: [(&str, Channels); 5] = [
    ("both", Channels::Both),
    ("left", Channels::Left),
    ("right", Channels::Right),
    ("middle", Channels::Middle),
    ("side", Channels::Side),
];

fn channels_name(channels: Channels) -> &'static str {
    CHANNELS.iter().find(|(_, other)| *other == channels).map_or("both", |(name, _)| name)
}

/// Reads `both`, `left`, `right`, `middle` or `side`.
pub(crate) fn parse_channels(text: &str) -> Result<Channels, String> {
    let found = CHANNELS.iter().find(|(name, _)| *name == text).map(|(_, channels)| *channels);
    found.ok_or_else(|| expected("both, left, right, middle or side", format!("'{text}'")))
}

/// Reads `80-400`, `80-400 Hz`, `low`, `mid`, `high` or `off`: the lowest and the highest frequency in Hz, `None` for all.
pub(crate) fn parse_band(text: &str) -> Result<Option<(u32, u32)>, String> {
    if let Some((_, band)) = BANDS.iter().find(|(name, _)| *name == text) {
        return Ok(Some(*band));
    }
    if matches!(text, "off" | "") {
        return Ok(None);
    }
    let edge = |text: &str| text.trim().parse::<i64>().ok();
    let numbers = text.strip_suffix("Hz").or(text.strip_suffix("hz")).unwrap_or(text);
    let edges = numbers.split_once('-').and_then(|(low, high)| Some((edge(low)?, edge(high)?)));
    let (low, high) = edges.ok_or_else(|| expected("80-400, low, mid, high or off", format!("'{text}'")))?;
    for edge in [low, high] {
        BAND_EDGE.check(edge).map_err(|e| expected(e.bound.range(), edge))?;
    }
    if low >= high {
        return Err(expected("the lower frequency first, like 80-400", format!("{low}-{high}")));
    }
    Ok(Some((low as u32, high as u32)))
}

/// Reads semitones.
pub(crate) fn parse_semitones(text: &str) -> Result<i8, String> {
    number(text, &SEMITONES)
}

/// Reads a level in dB.
pub(crate) fn parse_level(text: &str) -> Result<i8, String> {
    number(text, &LEVEL)
}

fn number(text: &str, bound: &'static Bound) -> Result<i8, String> {
    let number = text.strip_suffix(bound.unit).unwrap_or(text).trim();
    let n = number.parse().map_err(|_| expected(bound.range(), format!("'{text}'")))?;
    bound.check(n).map(|_| n as i8).map_err(|e| expected(e.bound.range(), n))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_is_two_frequencies_in_order_or_a_name() {
        for (text, wanted) in [
            ("80-400", Some((80, 400))),
            ("80 - 400 Hz", Some((80, 400))),
            ("low", Some((20, 200))),
            ("high", Some((2700, 20_000))),
            ("off", None),
            ("", None),
        ] {
            assert_eq!(parse_band(text), Ok(wanted), "{text}");
        }
        for wrong in ["80", "400-80", "80-80", "1-400", "80-20001", "-80-400", "x-y", "lo"] {
            assert!(parse_band(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn numbers_have_bounds_and_may_have_their_unit() {
        assert_eq!((parse_semitones("-24"), parse_semitones("+12 semitones")), (Ok(-24), Ok(12)));
        assert_eq!(parse_level("-6 dB"), Ok(-6));
        assert_eq!(parse_semitones("25").expect_err("too high"), "expected -24 to 24 semitones, found 25");
        assert!(parse_level("13").is_err() && parse_level("x").is_err());
    }

    #[test]
    fn only_what_differs_is_named() {
        let mut sound = RecordingSound::default();
        assert_eq!(sound.words(), "");
        sound.tone = RecordingTone { channels: Channels::Side, band: Some((80, 400)), semitones: 12 };
        sound.level_db = -3;
        assert_eq!(sound.words(), "side 80-400 Hz +12 st -3 dB");
        sound.tone.band = Some((200, 2700));
        assert_eq!(sound.words(), "side mid +12 st -3 dB");
    }
}
