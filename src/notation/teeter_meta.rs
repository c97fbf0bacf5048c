//! The text events of our MIDI files: what MIDI cannot hold, as `key=value` pairs.

use crate::rhythm::bounds::{ACCENT_DEPTH, DIVISION, GAIN, PAN, SOUND_NAME};
use crate::rhythm::{Fraction, Layer, Meter, Section, Swing, Tempo, Voice, parse_note_value};

const PREFIX: &str = "teeter ";

const SOUND_KEY: &str = " sound=";

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum MetaEvent {
    /// At the start of the first track: whether every time is exact.
    File { exact: bool },
    /// Where a section begins.
    Section { meter: Meter, tempo: Tempo, swing: Option<Swing> },
    /// At the start of a layer's track: the layer without its name and its parts.
    Layer(Layer),
    /// At the start of a track with the clicks of a hearing.
    Click,
    /// The note of the groove.
    Note(String),
}

pub(crate) fn file(exact: bool) -> String {
    format!("{PREFIX}file times={}", if exact { "exact" } else { "rounded" })
}

pub(crate) fn section(s: &Section) -> String {
    let (bpm, unit) = (s.tempo.bpm(), s.tempo.unit());
    let swing = s.swing.map_or(String::new(), |s| format!(" swing={s}"));
    format!("{PREFIX}section meter={} tempo={}/{} beat={unit}{swing}", s.meter, bpm.numer(), bpm.denom())
}

/// The divisions are those in `sections`.
pub(crate) fn layer(l: &Layer, sections: &[usize]) -> String {
    let flags = [(l.mute, " mute"), (l.solo, " solo")];
    let flags: String = flags.iter().filter(|f| f.0).map(|f| f.1).collect();
    let swing = l.swing.map_or(String::new(), |s| format!(" swing={s}"));
    let depth = l.depth.map_or(String::new(), |d| format!(" accent-depth={d}"));
    // The name may contain spaces, so it is last.
    let sound = l.sound.as_ref().map_or(String::new(), |s| format!("{SOUND_KEY}{s}"));
    let Layer { voice, gain, pan, .. } = l;
    let divisions: Vec<String> = sections.iter().map(|s| l.divisions[*s].to_string()).collect();
    let division = divisions.first().map_or("1", |d| d);
    let differ = divisions.iter().any(|d| d != division);
    let by_section = if differ { format!(" divisions={}", divisions.join(",")) } else { String::new() };
    format!(
        "{PREFIX}layer voice={voice} division={division}{by_section} gain={gain} pan={pan}{swing}{depth}{flags}{sound}"
    )
}

pub(crate) fn click() -> String {
    format!("{PREFIX}click")
}

pub(crate) fn note(text: &str) -> String {
    format!("{PREFIX}note {text}")
}

/// `None` for a text event of another program, and for a malformed one.
pub(crate) fn parse(text: &str) -> Option<MetaEvent> {
    let text = text.strip_prefix(PREFIX)?;
    let (kind, rest) = text.split_once(' ').unwrap_or((text, ""));
    let (rest, sound) = match rest.split_once(SOUND_KEY) {
        Some((rest, sound)) if kind == "layer" => (rest, Some(sound)),
        _ => (rest, None),
    };
    let words: Vec<&str> = rest.split_ascii_whitespace().collect();
    let value = |key: &str| words.iter().find_map(|w| w.strip_prefix(key)?.strip_prefix('='));
    let swing = value("swing").map(|words| Swing::parse(words).ok_or(())).transpose().ok()?;
    match kind {
        "file" => Some(MetaEvent::File { exact: value("times")? == "exact" }),
        "section" => {
            let unit = value("beat")?;
            let unit = parse_note_value(unit).or_else(|| {
                let whole = Fraction::parse(unit).filter(|n| *n > Fraction::ZERO)?;
                crate::rhythm::Time::new(whole.numer(), whole.denom())
            })?;
            let tempo = Tempo::new(Fraction::parse(value("tempo")?)?, unit).ok()?;
            // Other units could overflow the exact arithmetic of seconds.
            let is_bounded = unit.numer() < 1000 && unit.denom() < 1000;
            is_bounded.then_some(MetaEvent::Section { meter: Meter::parse(value("meter")?).ok()?, tempo, swing })
        }
        "layer" => {
            let within = |key: &str, bound: &'static crate::rhythm::bounds::Bound| {
                value(key)?.parse::<i64>().ok().and_then(|n| bound.check(n).ok())
            };
            let (voice, division) = (Voice::parse(value("voice")?)?, within("division", &DIVISION)? as u16);
            let one = |word: &str| word.parse().ok().and_then(|n| DIVISION.check(n).ok()).map(|n| n as u16);
            let divisions = match value("divisions") {
                Some(words) => words.split(',').map(one).collect::<Option<_>>()?,
                None => vec![division],
            };
            Some(MetaEvent::Layer(Layer {
                divisions,
                gain: within("gain", &GAIN)? as i8,
                pan: within("pan", &PAN)? as i8,
                mute: words.contains(&"mute"),
                solo: words.contains(&"solo"),
                swing,
                depth: within("accent-depth", &ACCENT_DEPTH).map(|d| d as u8),
                sound: sound.filter(|s| SOUND_NAME.check(s.chars().count() as i64).is_ok()).map(str::to_owned),
                ..Layer::new("", voice, division, Vec::new())
            }))
        }
        "click" => Some(MetaEvent::Click),
        "note" => Some(MetaEvent::Note(rest.to_owned())),
        _ => None,
    }
}
