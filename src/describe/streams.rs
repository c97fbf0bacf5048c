//! A plain-text picture of streams: one line per stream over a common time axis, one mark per pulse.

use crate::analysis::clock::wholes;
use crate::analysis::{Report, Stream, StreamSource, limits};
use crate::rhythm::Groove;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Minimum width of a picture in columns.
pub(crate) const MIN_COLUMNS: usize = 40;
/// Maximum number of streams in a picture.
const MAX_LINES: usize = 8;
/// Seconds within which the first meeting is searched.
const MAX_SEARCH_SECONDS: f64 = 60.0;
/// Bars shown if the streams meet later or never.
const SHOWN_BARS: f64 = 4.0;
/// Minimum columns from one pulse of a stream to the next.
const MIN_PULSE_COLUMNS: f64 = 2.0;

/// A stream to draw.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StreamLine {
    pub(crate) name: String,
    pub(crate) stream: Stream,
}

/// The marks of a picture, one column wide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Marks {
    /// A pulse that coincides with no other.
    pub(crate) pulse: char,
    /// A pulse within 20 ms of another stream's ([`limits::COINCIDENCE`]).
    pub(crate) coincidence: char,
}

pub(crate) const PLAIN: Marks = Marks { pulse: '|', coincidence: '#' };

/// The picture of some of a report's streams, by index.
pub(crate) fn draw_streams(
    groove: &Groove,
    report: &Report,
    streams: &[usize],
    width: usize,
    marks: Marks,
) -> Vec<String> {
    let line = |i: &usize| {
        let s = report.streams.get(*i)?;
        let what = match s.source {
            StreamSource::Written => "written beat".to_owned(),
            StreamSource::Hearing { hearing, stretch } => {
                let stretch = stretch.map(|s| format!(" {}", s + 1)).unwrap_or_default();
                format!("{}{stretch}", report.hearings.get(hearing)?.kind.short())
            }
            StreamSource::Layer(l) => groove.layers().get(l)?.name.clone(),
        };
        Some(StreamLine { name: format!("{:>5.1} {what}", 60.0 / s.period), stream: s.clone() })
    };
    let lines: Vec<StreamLine> = streams.iter().filter_map(line).collect();
    let bar = groove.sections().first().map_or(0.0, |s| wholes(s.meter.bar()));
    let bar = bar * report.clock.seconds_per_whole(0).unwrap_or(1.0) / report.speed;
    draw(&lines, bar, width, marks)
}

/// Draws two to eight streams over one time axis, from one meeting of all of them to the next, or over four bars of `bar` seconds if
/// that takes longer. The axis in seconds and a legend are below the streams. No line is wider than `width` columns (at least 40).
/// Streams without a usable period are omitted; the result is empty for fewer than two.
pub(crate) fn draw(lines: &[StreamLine], bar: f64, width: usize, marks: Marks) -> Vec<String> {
    let drawable = |l: &&StreamLine| l.stream.period > 1e-3 && (l.stream.period + l.stream.start).is_finite();
    let lines: Vec<&StreamLine> = lines.iter().filter(drawable).take(MAX_LINES).collect();
    let streams: Vec<&Stream> = lines.iter().map(|l| &l.stream).collect();
    if lines.len() < 2 || !bar.is_finite() || bar <= 0.0 {
        return Vec::new();
    }
    let close = limits::COINCIDENCE.value / 1000.0;
    let width = width.max(MIN_COLUMNS);
    let names = lines.iter().map(|l| l.name.width()).max().unwrap_or(0).min(width * 3 / 8);
    let columns = width - names - 1;
    // What ends is drawn where it sounds.
    let ends = streams.iter().filter_map(|s| s.end()).reduce(f64::max);
    let meeting = if ends.is_none() { meeting(&streams, SHOWN_BARS * bar, close) } else { None };
    let from = meeting.map_or_else(|| streams.iter().map(|s| s.start).fold(f64::MAX, f64::min), |m| m.0);
    let next = meeting.and_then(|m| m.1);
    let asked = ends.or(next).map_or(SHOWN_BARS * bar, |to| to - from);
    let fastest = streams.iter().map(|s| s.period).fold(f64::MAX, f64::min);
    let length = asked.min((columns - 1) as f64 / MIN_PULSE_COLUMNS * fastest);
    // A pulse that coincides with one outside the picture is drawn alone.
    let drawn = from - close..=from + length + close;
    let mut out = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        let mut cells = vec![' '; columns];
        for time in line.stream.between(*drawn.start(), *drawn.end()) {
            let meets = |other: &Stream| other.distance(time) <= close && drawn.contains(&other.nearest(time));
            let coincides = streams.iter().enumerate().any(|(j, other)| j != i && meets(other));
            // What coincides is in one column, also where the times would round to two.
            let shown = streams[..i].iter().find(|other| meets(other)).map_or(time, |other| other.nearest(time));
            let column = ((shown - from) / length * (columns - 1) as f64).round().clamp(0.0, (columns - 1) as f64);
            cells[column as usize] = if coincides { marks.coincidence } else { marks.pulse };
        }
        let name = truncate(&line.name, names);
        let room = " ".repeat(names - name.width() + 1);
        out.push(format!("{name}{room}{}", cells.iter().collect::<String>()).trim_end().to_owned());
    }
    let (left, right) = (format!("{from:.2} s"), format!("{:.2} s", from + length));
    let space = columns.saturating_sub(left.len() + right.len()).max(1);
    out.push(format!("{}{left}{}{right}", " ".repeat(names + 1), " ".repeat(space)));
    let millis = limits::COINCIDENCE.value;
    out.push(format!("{} pulse  {} within {millis:.0} ms of another", marks.pulse, marks.coincidence));
    let never = if ends.is_some() {
        "each pulse is drawn only where it sounds"
    } else if lines.len() > 2 {
        "they never all coincide"
    } else {
        "they never coincide"
    };
    out.push(match (next, length < asked - 1e-9) {
        (Some(_), false) => format!("time between coincidences: {length:.2} s"),
        (Some(_), true) => format!("starts at a coincidence; next: {:.2} s", from + asked),
        (None, false) if meeting.is_some() => "four bars, starting at a coincidence".to_owned(),
        (None, false) if ends.is_some() => never.to_owned(),
        (None, false) => format!("four bars; {never}"),
        (None, true) if meeting.is_some() => "starts at a coincidence".to_owned(),
        (None, true) => format!("an excerpt; {never}"),
    });
    out
}

/// The first pulse of the slowest stream at which all coincide within `close` seconds, and the next such one within `within`
/// seconds.
fn meeting(streams: &[&Stream], within: f64, close: f64) -> Option<(f64, Option<f64>)> {
    let slowest = streams.iter().max_by(|a, b| a.period.total_cmp(&b.period))?;
    let all = |time: f64| streams.iter().all(|s| s.distance(time) <= close);
    let time = |pulse: usize| slowest.start + pulse as f64 * slowest.period;
    let last = (MAX_SEARCH_SECONDS / slowest.period) as usize;
    let first = (0..=last).find(|p| all(time(*p)))?;
    let end = first + (within / slowest.period + 1e-6) as usize;
    let next = (first + 1..=end).find(|p| all(time(*p)));
    Some((time(first), next.map(time)))
}

/// Truncates text to a number of columns.
fn truncate(text: &str, width: usize) -> String {
    let mut used = 0;
    let has_room = |c: &char| {
        used += c.width().unwrap_or(0);
        used <= width
    };
    text.chars().take_while(has_room).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(name: &str, period: f64, start: f64) -> StreamLine {
        StreamLine { name: name.into(), stream: Stream::endless(StreamSource::Written, period, start) }
    }

    fn check(lines: &[StreamLine], bar: f64, width: usize, expected: &[&str]) {
        assert_eq!(draw(lines, bar, width, PLAIN), expected);
    }

    #[test]
    fn two_against_three_from_meeting_to_meeting() {
        check(
            &[line("beat", 0.6, 0.0), line("bow", 0.4, 0.0)],
            2.4,
            42,
            &[
                "beat #                 |                 #",
                "bow  #           |           |           #",
                "     0.00 s                         1.20 s",
                "| pulse  # within 20 ms of another",
                "time between coincidences: 1.20 s",
            ],
        );
    }

    #[test]
    fn a_meeting_that_comes_late_is_cut_to_four_bars() {
        // Thirteen against twelve: together again after 12 pulses of half a second, beyond four bars of 1 s.
        check(
            &[line("oars", 0.5, 0.25), line("hull", 6.0 / 13.0, 0.25)],
            1.0,
            46,
            &[
                "oars #    |    |    |    |    |    |    |    |",
                "hull #    |   |    |   |    |    |   |    |",
                "     0.25 s                             4.25 s",
                "| pulse  # within 20 ms of another",
                "four bars, starting at a coincidence",
            ],
        );
    }

    #[test]
    fn streams_that_never_meet_and_three_at_once() {
        check(
            &[line("a", 0.5, 0.0), line("b", 0.5, 0.25)],
            1.0,
            83,
            &[
                "a |         |         |         |         |         |         |         |         |",
                "b      |         |         |         |         |         |         |         |",
                "  0.00 s                                                                     4.00 s",
                "| pulse  # within 20 ms of another",
                "four bars; they never coincide",
            ],
        );
        check(
            &[line("a", 0.5, 0.0), line("b", 0.25, 0.0), line("a long name that is cut", 1.0, 0.0)],
            1.0,
            40,
            &[
                "a               #           #          #",
                "b               #     |     #    |     #",
                "a long name tha #                      #",
                "                0.00 s            1.00 s",
                "| pulse  # within 20 ms of another",
                "time between coincidences: 1.00 s",
            ],
        );
    }

    #[test]
    fn streams_without_a_period_are_left_out() {
        assert!(draw(&[line("a", 0.5, 0.0)], 1.0, 40, PLAIN).is_empty());
        assert!(draw(&[line("a", 0.5, 0.0), line("b", f64::NAN, 0.0)], 1.0, 40, PLAIN).is_empty());
        assert!(draw(&[line("a", 0.5, 0.0), line("b", 0.0, 0.0)], 1.0, 40, PLAIN).is_empty());
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        /// Every pulse has a mark of its own, coincidences are mutual, and no line is too wide.
        #[test]
        fn a_mark_for_every_pulse_at_any_width(
            periods in prop::collection::vec((0.05_f64..3.0, 0.0_f64..2.0), 2..5),
            bar in 0.1_f64..20.0,
            width in 0_usize..220,
        ) {
            let lines: Vec<StreamLine> = periods.iter().enumerate().map(|(i, (p, s))| line(&format!("stream {i} 漢"), *p, *s)).collect();
            let drawn = draw(&lines, bar, width, PLAIN);
            prop_assert_eq!(drawn.len(), lines.len() + 3);
            for l in &drawn {
                prop_assert!(l.width() <= width.max(MIN_COLUMNS), "{}", l);
            }
            let axis: Vec<f64> = drawn[lines.len()].split('s').filter_map(|n| n.trim().parse().ok()).collect();
            let length = axis[1] - axis[0];
            let mut met = 0;
            for (l, text) in lines.iter().zip(&drawn) {
                let marks = text.chars().filter(|c| "|#".contains(*c)).count() as f64;
                // The axis is rounded to hundredths, and a pulse may be up to 20 ms outside of it.
                let period = l.stream.period;
                let pulses = length / period;
                prop_assert!(marks >= (pulses - 0.02 / period).floor() && marks <= (pulses + 0.06 / period).ceil() + 1.0, "{} {}", marks, pulses);
                met += usize::from(text.contains('#'));
            }
            prop_assert!(met != 1, "{:?}", drawn);
        }
    }
}
