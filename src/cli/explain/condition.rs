//! Conditions on grooves in words: `meter is 7/8 and heard tempo over 130`.

use super::facts::Facts;
use crate::analysis::Reason;
use crate::rhythm::expected;

/// The expected forms, for messages.
const FORM: &str = "conditions such as 'meter is 7/8', 'tempo over 120', 'heard tempo between 130 and 150', 'ratio is 6:5', \
'probability under 30%', 'hardness over 0.5' or 'reason is cross-rhythm', joined by 'and', 'or' and 'not'";

/// How near a heard tempo must be to a ratio, as a share: the smallest difference of tempos that is noticed.
const RATIO_TOLERANCE: f64 = crate::analysis::limits::TEMPO_CHANGE.value / 100.0;

/// A condition on a groove.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Condition {
    All(Vec<Condition>),
    Any(Vec<Condition>),
    Not(Box<Condition>),
    /// One of the sections has this meter.
    Meter(String),
    Number(Quantity, Comparison),
    /// The likeliest hearing stands in this ratio to the written beat.
    Ratio(u32, u32),
    /// The name of a reason.
    Reason(String),
}

/// A number of a groove.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Quantity {
    /// The tempo of one of the sections.
    Tempo,
    /// Probability that the written beat is kept.
    Probability,
    Hardness,
    /// The tempo of the likeliest hearing.
    HeardTempo,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Comparison {
    Over(f64),
    Under(f64),
    /// From the first to the second, both included.
    Between(f64, f64),
}

/// How much work a condition needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Cost {
    File,
    Listener,
    Report,
}

impl Comparison {
    fn holds(self, x: f64) -> bool {
        match self {
            Self::Over(limit) => x > limit,
            Self::Under(limit) => x < limit,
            Self::Between(from, to) => (from..=to).contains(&x),
        }
    }
}

impl Condition {
    /// Reads a condition.
    ///
    /// # Errors
    /// A message for any other text.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let lower = text.to_lowercase();
        let words: Vec<&str> = lower.split_whitespace().collect();
        let mut reader = Reader { words: &words, at: 0 };
        let condition = reader.any()?;
        if reader.at < words.len() { Err(reader.error("'and', 'or' or the end")) } else { Ok(condition) }
    }

    fn cost(&self) -> Cost {
        match self {
            Self::All(all) | Self::Any(all) => all.iter().map(Self::cost).max().unwrap_or(Cost::File),
            Self::Not(inner) => inner.cost(),
            Self::Meter(_) | Self::Number(Quantity::Tempo, _) => Cost::File,
            Self::Number(Quantity::Probability | Quantity::Hardness, _) => Cost::Listener,
            Self::Number(Quantity::HeardTempo, _) | Self::Ratio(..) | Self::Reason(_) => Cost::Report,
        }
    }

    /// Whether a groove fulfils the condition. What needs most work is looked at last.
    pub(super) fn holds(&self, facts: &Facts<'_>) -> bool {
        match self {
            Self::All(all) => all.iter().all(|c| c.holds(facts)),
            Self::Any(any) => any.iter().any(|c| c.holds(facts)),
            Self::Not(inner) => !inner.holds(facts),
            Self::Meter(meter) => facts.groove.sections().iter().any(|s| s.meter.to_string() == *meter),
            Self::Number(quantity, comparison) => facts.numbers(*quantity).iter().any(|x| comparison.holds(*x)),
            Self::Ratio(pulses, beats) => {
                let wanted = f64::from(*pulses) / f64::from(*beats);
                facts.ratio().is_some_and(|r| (r / wanted - 1.0).abs() < RATIO_TOLERANCE)
            }
            Self::Reason(name) => facts.reasons().iter().any(|r| r == name),
        }
    }

    /// The numbers that the condition is about, each once.
    pub(super) fn quantities(&self, found: &mut Vec<Quantity>) {
        match self {
            Self::All(all) | Self::Any(all) => all.iter().for_each(|c| c.quantities(found)),
            Self::Not(inner) => inner.quantities(found),
            Self::Number(quantity, _) => found.push(*quantity),
            Self::Ratio(..) => found.push(Quantity::HeardTempo),
            Self::Meter(_) | Self::Reason(_) => {}
        }
        found.sort_unstable();
        found.dedup();
    }

    /// Conditions joined, the cheapest first.
    fn joined(mut parts: Vec<Condition>, join: impl Fn(Vec<Condition>) -> Condition) -> Condition {
        parts.sort_by_key(Self::cost);
        if parts.len() == 1 { parts.remove(0) } else { join(parts) }
    }
}

struct Reader<'a> {
    words: &'a [&'a str],
    at: usize,
}

impl<'a> Reader<'a> {
    fn peek(&self) -> Option<&'a str> {
        self.words.get(self.at).copied()
    }

    fn takes(&mut self, word: &str) -> bool {
        let is_next = self.peek() == Some(word);
        self.at += usize::from(is_next);
        is_next
    }

    fn error(&self, wanted: &str) -> String {
        expected(wanted, self.peek().map_or_else(|| "the end".to_owned(), |word| format!("'{word}'")))
    }

    fn any(&mut self) -> Result<Condition, String> {
        let mut parts = vec![self.all()?];
        while self.takes("or") {
            parts.push(self.all()?);
        }
        Ok(Condition::joined(parts, Condition::Any))
    }

    fn all(&mut self) -> Result<Condition, String> {
        let mut parts = vec![self.one()?];
        while self.takes("and") {
            parts.push(self.one()?);
        }
        Ok(Condition::joined(parts, Condition::All))
    }

    fn one(&mut self) -> Result<Condition, String> {
        if self.takes("not") {
            return Ok(Condition::Not(Box::new(self.one()?)));
        }
        let quantity = match self.peek() {
            Some("meter") => {
                self.at += 1;
                self.takes("is");
                let meter = self.word("a meter such as 7/8")?;
                let parsed = crate::rhythm::Meter::parse(meter).map_err(|e| e.to_string())?;
                return Ok(Condition::Meter(parsed.to_string()));
            }
            Some("ratio") => {
                self.at += 1;
                self.takes("is");
                let wanted = "a ratio such as 6:5, heard pulses to beats";
                let at = self.at;
                let terms =
                    self.word(wanted)?.split_once(':').and_then(|(a, b)| Some((a.parse().ok()?, b.parse().ok()?)));
                self.at = at;
                let (pulses, beats) = terms.filter(|(a, b)| *a > 0 && *b > 0).ok_or_else(|| self.error(wanted))?;
                self.at += 1;
                return Ok(Condition::Ratio(pulses, beats));
            }
            Some("reason") => {
                self.at += 1;
                self.takes("is");
                let names = || Reason::NAMES.join(", ");
                let name = self
                    .peek()
                    .filter(|n| Reason::NAMES.contains(n))
                    .ok_or_else(|| self.error(&format!("one of: {}", names())))?;
                self.at += 1;
                return Ok(Condition::Reason(name.to_owned()));
            }
            Some("tempo") => Quantity::Tempo,
            Some("probability") => Quantity::Probability,
            Some("hardness") => Quantity::Hardness,
            Some("heard") if self.words.get(self.at + 1) == Some(&"tempo") => {
                self.at += 1;
                Quantity::HeardTempo
            }
            _ => return Err(self.error(FORM)),
        };
        self.at += 1;
        let comparison = match self.peek() {
            Some("over") => {
                self.at += 1;
                Comparison::Over(self.number(quantity)?)
            }
            Some("under") => {
                self.at += 1;
                Comparison::Under(self.number(quantity)?)
            }
            Some("between") => {
                self.at += 1;
                let from = self.number(quantity)?;
                if !self.takes("and") {
                    return Err(self.error("'and' and another number"));
                }
                Comparison::Between(from, self.number(quantity)?)
            }
            _ => {
                self.takes("is");
                let x = self.number(quantity)?;
                Comparison::Between(x - quantity.tolerance(), x + quantity.tolerance())
            }
        };
        Ok(Condition::Number(quantity, comparison))
    }

    fn word(&mut self, wanted: &str) -> Result<&'a str, String> {
        let word = self.peek().ok_or_else(|| self.error(wanted))?;
        self.at += 1;
        Ok(word)
    }

    fn number(&mut self, quantity: Quantity) -> Result<f64, String> {
        let wanted = "over, under, between or is, and a number";
        let word = self.peek().ok_or_else(|| self.error(wanted))?;
        let (digits, is_percent) = word.strip_suffix('%').map_or((word, false), |digits| (digits, true));
        let parsed = digits.parse::<f64>().ok().filter(|x| x.is_finite());
        let is_share = matches!(quantity, Quantity::Probability | Quantity::Hardness);
        let number = parsed.filter(|_| is_share || !is_percent).map(|x| if is_percent { x / 100.0 } else { x });
        let number = number.ok_or_else(|| self.error(wanted))?;
        self.at += 1;
        Ok(number)
    }
}

impl Quantity {
    /// How far a number may be from one that it is to be.
    fn tolerance(self) -> f64 {
        match self {
            Self::Tempo => 1e-6,
            Self::HeardTempo => 0.5,
            Self::Probability | Self::Hardness => 0.005,
        }
    }

    /// The key in JSON.
    pub(super) fn key(self) -> &'static str {
        match self {
            Self::Tempo => "bpm",
            Self::Probability => "written",
            Self::Hardness => "hardness",
            Self::HeardTempo => "heard_bpm",
        }
    }

    /// The number with its name.
    pub(super) fn text(self, x: f64) -> String {
        match self {
            Self::Tempo => format!("tempo {x:.1}"),
            Self::Probability => format!("probability {x:.2}"),
            Self::Hardness => format!("hardness {x:.2}"),
            Self::HeardTempo => format!("heard {x:.1}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conditions_are_read_as_they_are_said() {
        use Comparison::{Between, Over, Under};
        let number = Condition::Number;
        let rows = [
            ("tempo over 120", number(Quantity::Tempo, Over(120.0))),
            ("Heard tempo between 130 and 150", number(Quantity::HeardTempo, Between(130.0, 150.0))),
            ("probability under 30%", number(Quantity::Probability, Under(0.3))),
            ("hardness is 0.5", number(Quantity::Hardness, Between(0.495, 0.505))),
            ("ratio is 6:5", Condition::Ratio(6, 5)),
            ("meter 7/8", Condition::Meter("7/8".into())),
            ("not reason is cross-rhythm", Condition::Not(Box::new(Condition::Reason("cross-rhythm".into())))),
        ];
        for (text, expected) in rows {
            assert_eq!(Condition::parse(text), Ok(expected), "{text}");
        }
    }

    #[test]
    fn what_needs_most_work_is_looked_at_last() {
        let condition = Condition::parse(
            "reason is odd-bar and heard tempo over 1 and probability under 1 and meter 4/4 or tempo 120",
        );
        let Ok(Condition::Any(parts)) = condition else { panic!("{condition:?}") };
        assert_eq!(parts[0], Condition::parse("tempo 120").expect("a condition"));
        let Condition::All(all) = &parts[1] else { panic!("{parts:?}") };
        assert!(all.is_sorted_by_key(Condition::cost));
        assert_eq!(all[0], Condition::Meter("4/4".into()));
    }

    #[test]
    fn other_words_are_errors_that_name_what_was_found() {
        for bad in [
            "",
            "tempo",
            "tempo over",
            "tempo over fast",
            "tempo over 120 and",
            "tempo 120 meter 4/4",
            "reason is dull",
            "ratio 6/5",
            "tempo under 30%",
            "tempo between 3",
            "meter x",
        ] {
            assert!(Condition::parse(bad).is_err(), "{bad}");
        }
        assert_eq!(
            Condition::parse("tempo over fast"),
            Err("expected over, under, between or is, and a number, found 'fast'".to_owned())
        );
    }
}
