//! Parses and prints answers of several words, as `riff.wav x4 44100hz` or `50-100/10 x4 key`.

use crate::describe::ladder;
use crate::jobs::{MAX_COUNT_IN_BARS, PictureStyle, PictureTheme};
use crate::rhythm::Fraction;
use crate::terminal::Question;
use std::ops::RangeInclusive;
use std::str::FromStr;

const DEFAULT_RANGE: &str = "50-100/10";
/// Maximum passes of a take or a step.
const MAX_PASSES: u32 = 64;

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ladder {
    /// `50-100/10`.
    pub range: String,
    pub speeds: Vec<Fraction>,
    pub loops: u32,
    /// The next step waits for a key.
    pub by_key: bool,
    /// One in so many passes is silent after its opening.
    pub silence: Option<u32>,
}

impl Default for Ladder {
    fn default() -> Self {
        let speeds = ladder::speeds(DEFAULT_RANGE).unwrap_or_default();
        Self { range: DEFAULT_RANGE.into(), speeds, loops: 4, by_key: false, silence: None }
    }
}

impl Ladder {
    /// Parses `50-100/10 x4 key 1/4`; all but the first word are optional.
    pub(crate) fn parse(text: &str) -> Option<Self> {
        let mut words = text.split_whitespace();
        let range = words.next()?.to_owned();
        let mut ladder = Self { speeds: ladder::speeds(&range)?, range, ..Self::default() };
        for word in words {
            if word == "key" {
                ladder.by_key = true;
            } else if let Some(loops) = word.strip_prefix('x') {
                ladder.loops = parse_within(loops, 1..=MAX_PASSES)?;
            } else {
                ladder.silence = Some(parse_within(word.strip_prefix("1/")?, 2..=64)?);
            }
        }
        Some(ladder)
    }

    /// The text that [`Ladder::parse`] reads.
    pub(crate) fn to_text(&self) -> String {
        let key = if self.by_key { " key" } else { "" };
        let silence = self.silence.map(|n| format!(" 1/{n}")).unwrap_or_default();
        format!("{} x{}{key}{silence}", self.range, self.loops)
    }

    /// Passes of a step; `None` for no limit, as of the last one.
    pub(crate) fn times(&self, step: usize) -> Option<u32> {
        (!self.by_key && step + 1 < self.speeds.len()).then_some(self.loops)
    }
}

/// Passes of each take, and whether there is a count-in, from `2` or `2 count`.
pub(crate) fn takes(text: &str) -> Option<(u32, bool)> {
    let (times, word) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let count_in = !word.is_empty();
    Some((parse_within(times, 1..=MAX_PASSES)?, count_in)).filter(|_| !count_in || word.trim() == "count")
}

#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct RenderArgs {
    pub name: String,
    pub times: Option<u32>,
    pub seconds: Option<f64>,
    /// Bars of the count-in; 0 for none.
    pub count_in: u32,
    pub hertz: Option<u32>,
}

impl RenderArgs {
    /// Parses `riff.wav x4 44100hz`; all but the name are optional.
    pub(crate) fn parse(text: &str) -> Option<Self> {
        let (mut args, mut rest) = (Self::default(), text.trim());
        while let Some((before, word)) = rest.rsplit_once(char::is_whitespace) {
            if !args.set(word) {
                break;
            }
            rest = before.trim_end();
        }
        args.name = path(rest)?;
        Some(args)
    }

    fn set(&mut self, word: &str) -> bool {
        if word == "count" {
            self.count_in = 1;
        } else if let Some(bars) = word.strip_prefix("count").and_then(|n| n.parse().ok()) {
            self.count_in = bars;
        } else if let Some(n) = word.strip_prefix('x').and_then(|n| n.parse().ok()) {
            self.times = Some(n);
        } else if let Some(n) = word.strip_suffix("hz").and_then(|n| n.parse().ok()) {
            self.hertz = Some(n);
        } else if let Some(s) = word.strip_suffix('s').and_then(|n| n.parse().ok()) {
            self.seconds = Some(s);
        } else {
            return false;
        }
        true
    }

    /// Whether all numbers are in range, and all words apply to this question.
    pub(crate) fn is_valid(&self, question: Question) -> bool {
        let (times, seconds, count_in) = match question {
            Question::RenderWav => (true, true, true),
            Question::TakesWav => (true, false, true),
            _ => (false, false, false),
        };
        self.times.is_none_or(|n| times && (1..=10_000).contains(&n))
            && self.seconds.is_none_or(|s| seconds && self.times.is_none() && (0.01..=36_000.0).contains(&s))
            && (self.count_in == 0 || count_in && self.seconds.is_none() && self.count_in <= MAX_COUNT_IN_BARS)
            && self.hertz.is_none_or(|h| (8_000..=384_000).contains(&h))
    }
}

/// A path as typed; `None` if it is empty.
pub(crate) fn path(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty() && !text.contains('\0')).then(|| text.to_owned())
}

/// A file to import, and a tolerance in ms: `song.mid 20ms`.
pub(crate) fn import(text: &str) -> Option<(String, Fraction)> {
    if let Some((before, word)) = text.trim().rsplit_once(char::is_whitespace)
        && let Some(ms) = word.strip_suffix("ms").and_then(Fraction::parse)
    {
        let within = ms >= Fraction::ZERO && ms <= Fraction::whole(100);
        return path(before).filter(|_| within).map(|p| (p, ms));
    }
    path(text).map(|p| (p, Fraction::whole(5)))
}

/// Parses `print 1000 x2 beams group over groups under landings`; every word is optional.
pub(crate) fn picture_style(text: &str) -> Option<PictureStyle> {
    let mut style = PictureStyle::default();
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        match word {
            "beams" | "lengths" | "kit" | "over" | "under" => style.notation.set(word, words.next()?)?,
            "print" => style.theme = PictureTheme::Print,
            "screen" => style.theme = PictureTheme::Screen,
            _ => match word.strip_prefix('x') {
                Some(scale) => style.scale = Some(parse_within(scale, 0.1..=8.0)?),
                None => style.width = parse_within(word, 480.0..=4000.0)?,
            },
        }
    }
    Some(style)
}

/// The text that [`picture_style`] reads.
pub(crate) fn picture_style_text(style: &PictureStyle) -> String {
    let theme = match style.theme {
        PictureTheme::Print => "print",
        PictureTheme::Screen => "screen",
    };
    let scale = style.scale.map_or_else(String::new, |s| format!(" x{s}"));
    format!("{} {}{scale} {}", theme, style.width, style.notation)
}

fn parse_within<T: FromStr + PartialOrd>(text: &str, range: RangeInclusive<T>) -> Option<T> {
    text.parse().ok().filter(|n| range.contains(n))
}
