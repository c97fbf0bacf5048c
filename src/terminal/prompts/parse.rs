//! Answers of several words, as `riff.wav x4 44100hz` or `50-100/10 x4 key`: what they say, and the words they are read from.

use crate::describe::ladder;
use crate::jobs::{PictureStyle, PictureTheme};
use crate::rhythm::Fraction;
use crate::terminal::prompts::question::Question;
use std::ops::RangeInclusive;
use std::str::FromStr;

/// The ladder's words before any were typed.
const USUAL: &str = "50-100/10";
/// Most times through a take or a step.
const MOST: u32 = 64;

/// A ladder as it was asked for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ladder {
    /// `50-100/10`.
    pub range: String,
    pub speeds: Vec<Fraction>,
    /// Times through each step.
    pub loops: u32,
    /// Whether the next step waits for a key.
    pub by_key: bool,
    /// Every how manyth time through falls silent at first.
    pub silence: Option<u32>,
}

impl Default for Ladder {
    fn default() -> Self {
        let speeds = ladder::speeds(USUAL).unwrap_or_default();
        Self { range: USUAL.into(), speeds, loops: 4, by_key: false, silence: None }
    }
}

impl Ladder {
    /// From words as `50-100/10 x4 key 1/4`: all but the first may be left out.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let mut words = text.split_whitespace();
        let range = words.next()?.to_owned();
        let mut read = Self { speeds: ladder::speeds(&range)?, range, ..Self::default() };
        for word in words {
            if word == "key" {
                read.by_key = true;
            } else if let Some(loops) = word.strip_prefix('x') {
                read.loops = within(loops, 1..=MOST)?;
            } else {
                read.silence = Some(within(word.strip_prefix("1/")?, 2..=64)?);
            }
        }
        Some(read)
    }

    /// The words it is read from.
    pub(crate) fn words(&self) -> String {
        let key = if self.by_key { " key" } else { "" };
        let silence = self.silence.map(|n| format!(" 1/{n}")).unwrap_or_default();
        format!("{} x{}{key}{silence}", self.range, self.loops)
    }
}

/// Times through each take, and whether they are counted in, from `2` or `2 count`.
pub(crate) fn times(text: &str) -> Option<(u32, bool)> {
    let (times, count) = match text.split_once(char::is_whitespace) {
        Some((times, word)) if word.trim() == "count" => (times, true),
        Some(_) => return None,
        None => (text, false),
    };
    Some((within(times, 1..=MOST)?, count))
}

/// A file of sound and how much goes into it, as typed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct RenderArgs {
    pub name: String,
    pub times: Option<u32>,
    pub seconds: Option<f64>,
    pub count: bool,
    pub hertz: Option<u32>,
}

impl RenderArgs {
    /// From words as `riff.wav x4 44100hz`; the words after the name may be left out. `None` where no name is left.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let (mut words, mut rest) = (Self::default(), text.trim());
        while let Some((before, word)) = rest.rsplit_once(char::is_whitespace) {
            if !words.take(word) {
                break;
            }
            rest = before.trim_end();
        }
        words.name = path(rest)?;
        Some(words)
    }

    fn take(&mut self, word: &str) -> bool {
        if word == "count" {
            self.count = true;
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

    /// Whether every number lies where it may, and no word stands that this question does not know.
    pub(crate) fn allowed(&self, question: Question) -> bool {
        let (times, seconds, count) = match question {
            Question::RenderWav => (true, true, false),
            Question::TakesWav => (true, false, true),
            _ => (false, false, false),
        };
        self.times.is_none_or(|n| times && (1..=10_000).contains(&n))
            && self.seconds.is_none_or(|s| seconds && self.times.is_none() && (0.01..=36_000.0).contains(&s))
            && (count || !self.count)
            && self.hertz.is_none_or(|h| (8_000..=384_000).contains(&h))
    }
}

/// A path as typed; `None` where there is none.
pub(crate) fn path(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty() && !text.contains('\0')).then(|| text.to_owned())
}

/// A file to import and a tolerance in ms after it: `song.mid 20ms`.
pub(crate) fn source(text: &str) -> Option<(String, Fraction)> {
    let usual = Fraction::whole(5);
    if let Some((before, word)) = text.trim().rsplit_once(char::is_whitespace)
        && let Some(ms) = word.strip_suffix("ms").and_then(Fraction::parse)
    {
        let within = ms >= Fraction::ZERO && ms <= Fraction::whole(100);
        return path(before).filter(|_| within).map(|p| (p, ms));
    }
    path(text).map(|p| (p, usual))
}

/// How pictures and notation look, from words as `print 1000 x2 beams group over groups under landings`; each may be left out.
pub(crate) fn look(text: &str) -> Option<PictureStyle> {
    let mut look = PictureStyle::default();
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        match word {
            "beams" | "over" | "under" => look.notation.take(word, words.next()?)?,
            "print" => look.theme = PictureTheme::Print,
            "screen" => look.theme = PictureTheme::Screen,
            _ => match word.strip_prefix('x') {
                Some(scale) => look.scale = Some(within(scale, 0.1..=8.0)?),
                None => look.width = within(word, 480.0..=4000.0)?,
            },
        }
    }
    Some(look)
}

/// The words a look is read from.
pub(crate) fn look_words(look: &PictureStyle) -> String {
    let theme = match look.theme {
        PictureTheme::Print => "print",
        PictureTheme::Screen => "screen",
    };
    let scale = look.scale.map_or_else(String::new, |s| format!(" x{s}"));
    format!("{} {}{scale} {}", theme, look.width, look.notation)
}

/// A number within its range.
fn within<T: FromStr + PartialOrd>(text: &str, range: RangeInclusive<T>) -> Option<T> {
    text.parse().ok().filter(|n| range.contains(n))
}
