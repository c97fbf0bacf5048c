//! The text of a tap report.

use crate::analysis::Report;
use crate::analysis::limits;
use crate::analysis::tap::{
    FollowedPulse, MIN_TAPS, Slip, SlipKind, TapOptions, TapRate, TapReport, TapStats, TapStretch,
};
use crate::describe;
use crate::rhythm::{Groove, Place, Time, count};

/// Odds from which a pulse counts as certain (no source).
const CERTAIN_ODDS: f64 = 20.0;
/// Standard errors from which a mean or a drift is significant.
const SIGNIFICANT_ERRORS: f64 = 2.0;
/// Maximum number of positions listed for slips.
const MAX_SLIPS: usize = 40;

/// The offset subtracted from every tap, and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) enum TapOffset {
    #[default]
    Unknown,
    /// Set by the user, in ms.
    Set(f64),
    /// Measured by calibration.
    Measured {
        /// Positive is late.
        ms: f64,
        /// The standard error.
        error_ms: f64,
    },
}

impl TapOffset {
    pub(crate) fn ms(self) -> f64 {
        match self {
            TapOffset::Unknown => 0.0,
            TapOffset::Set(ms) | TapOffset::Measured { ms, .. } => ms,
        }
    }
}

/// How the taps were timed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TapContext<'a> {
    pub(crate) options: TapOptions,
    pub(crate) offset: TapOffset,
    /// Length of the output device's buffer; `None` if the taps were not timed against playback.
    pub(crate) buffer_ms: Option<f64>,
    /// The command that measures the offset, as the reader calls it.
    pub(crate) calibrate: &'a str,
    /// Whether the keys arrive over SSH.
    pub(crate) over_ssh: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LineStyle {
    Heading,
    Plain,
    Faint,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ReportLine {
    pub(crate) style: LineStyle,
    pub(crate) indent: usize,
    pub(crate) text: String,
    /// The position in the groove it is about.
    pub(crate) place: Option<Place>,
}

/// Names the followed pulse, with its tempo at the playing speed.
pub(crate) fn follows(groove: &Groove, report: &Report, follows: FollowedPulse) -> String {
    match follows {
        FollowedPulse::Hearing(h, rate) => {
            let Some(hearing) = report.hearings.get(h) else { return String::new() };
            let name = format!("{} ({:.1})", hearing.kind, hearing.bpm(report.speed));
            match rate {
                TapRate::Pulse => name,
                TapRate::Continued => format!("{name}, continued across the loop point"),
                TapRate::Double => format!("{name}, two taps per pulse"),
                TapRate::Half => format!("{name}, every second pulse"),
                TapRate::Offbeat => format!("{name}, on its off-beats"),
            }
        }
        FollowedPulse::Attacks => match report.focus[..] {
            [only] => format!("the attacks of {}", groove.layers().get(only).map_or("", |l| &l.name)),
            _ => "the attacks".to_owned(),
        },
        FollowedPulse::None => "none of the pulses found in this groove".to_owned(),
    }
}

/// How much likelier the pulse is than the second-best one.
pub(crate) fn confidence(groove: &Groove, report: &Report, s: &TapStretch) -> String {
    let odds = s.margin.exp();
    let other = s.runner_up.map(|f| follows(groove, report, f)).unwrap_or_default();
    if odds < CERTAIN_ODDS {
        format!("uncertain: only {odds:.1} times as likely as {other}")
    } else if odds > 1000.0 {
        format!("over 1000 times as likely as {other}")
    } else {
        format!("{odds:.0} times as likely as {other}")
    }
}

/// The mean asynchrony with its standard error.
pub(crate) fn mean(f: &TapStats) -> String {
    let side = if f.mean_ms.abs() < (SIGNIFICANT_ERRORS * f.error_ms).max(1.0) {
        "on the pulse"
    } else if f.mean_ms < 0.0 {
        "early"
    } else {
        "late"
    };
    format!("mean {:+.0} ms ±{:.0}, {side}", f.mean_ms, f.error_ms)
}

pub(crate) fn spread(f: &TapStats) -> String {
    format!("spread {:.0} ms ({:.1}% of the pulse)", f.spread_ms, f.spread * 100.0)
}

/// The drift, or that it is not significant.
pub(crate) fn drift(f: &TapStats) -> String {
    if f.drift_ms.abs() < SIGNIFICANT_ERRORS * f.drift_error_ms || f.drift_ms.abs() < 0.005 {
        return format!("no significant drift ({:+.2} ms per pulse ±{:.2})", f.drift_ms, f.drift_error_ms);
    }
    let how = if f.tempo_percent > 0.0 { "faster" } else { "slower" };
    let (ms, error) = (f.drift_ms, f.drift_error_ms);
    format!("drift {ms:+.2} ms per pulse ±{error:.2}, {:.2}% {how} than the pulse", f.tempo_percent.abs())
}

/// The cell at a time in seconds, in the first layer of the focus.
pub(crate) fn place(groove: &Groove, report: &Report, seconds: f64) -> Option<Place> {
    let layer = report.focus.first().copied()?;
    // A pulse up to 5 ms before a cell belongs to that cell.
    let moment = report.clock.moment(seconds + 0.005).or_else(|| report.clock.moment(seconds))?;
    let time = Time::new((moment.wholes * 3840.0) as i64, 3840)?;
    let cell = groove.part(layer, moment.section).cell_at(time, groove.context(layer, moment.section));
    Some(Place { layer, section: moment.section, cell })
}

fn position(groove: &Groove, report: &Report, seconds: f64) -> String {
    place(groove, report, seconds).map_or_else(|| "the end".to_owned(), |p| describe::place(groove, p))
}

pub(crate) fn report_lines(
    groove: &Groove,
    report: &Report,
    taps: &TapReport,
    context: &TapContext<'_>,
) -> Vec<ReportLine> {
    let mut lines = Vec::new();
    let mut add = |style, indent, text: String, place| lines.push(ReportLine { style, indent, text, place });
    let seconds = (context.options.range.1 - context.options.range.0) / context.options.speed;
    let percent = context.options.speed * 100.0;
    let count_of_taps = count(taps.taps, "tap");
    let text = format!("{count_of_taps}; the loop lasts {seconds:.2} s at {percent:.0}% speed");
    add(LineStyle::Heading, 0, text, None);
    if taps.dropped > 0 {
        let text = format!("only the latest taps are analyzed; {} earlier taps are ignored", taps.dropped);
        add(LineStyle::Faint, 2, text, None);
    }
    if taps.has_too_few_taps() {
        add(LineStyle::Plain, 2, format!("too few taps: at least {MIN_TAPS} are needed"), None);
    }
    let several = taps.stretches.len() > 1;
    for (i, s) in taps.stretches.iter().enumerate() {
        let number = if several { format!("{}. ", i + 1) } else { String::new() };
        let name = follows(groove, report, s.follows);
        let (from, pass) = (position(groove, report, s.at), s.pass + 1);
        let here = place(groove, report, s.at);
        let text = format!("{number}{} taps from {from} in pass {pass}: {name}", s.taps);
        add(LineStyle::Heading, 0, text, here);
        add(LineStyle::Plain, 2, format!("{:.1} taps per minute; {}", s.rate, confidence(groove, report, s)), None);
        let Some(f) = &s.stats else { continue };
        add(LineStyle::Plain, 2, format!("{}; {}", mean(f), spread(f)), None);
        add(LineStyle::Plain, 2, drift(f), None);
        if f.spread * 100.0 > limits::PULSE_TOLERANCE.value {
            let words = "the taps drift off the pulse: their tempo is steady but slightly different";
            add(LineStyle::Plain, 2, words.to_owned(), None);
        }
        let slips = count(f.slips.len(), "slip");
        add(LineStyle::Plain, 2, if f.slips.is_empty() { "no slips".to_owned() } else { format!("{slips}:") }, None);
        let grouped = grouped(&f.slips);
        for slips in grouped.iter().take(MAX_SLIPS) {
            let words = format!("{}: {}", position(groove, report, slips[0].at), slip_list(slips));
            add(LineStyle::Plain, 4, words, place(groove, report, slips[0].at));
        }
        if grouped.len() > MAX_SLIPS {
            add(LineStyle::Plain, 4, format!("and at {} more positions", grouped.len() - MAX_SLIPS), None);
        }
    }
    add(LineStyle::Heading, 0, "Accuracy".to_owned(), None);
    for text in accuracy_notes(context) {
        add(LineStyle::Faint, 2, text, None);
    }
    lines
}

/// Slips grouped by position, the position with most of them first.
fn grouped(slips: &[Slip]) -> Vec<Vec<Slip>> {
    let mut order = slips.to_vec();
    order.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.pass.cmp(&b.pass)));
    let mut groups: Vec<Vec<Slip>> = order.chunk_by(|a, b| b.at - a.at < 1e-3).map(<[Slip]>::to_vec).collect();
    groups.sort_by_key(|g| std::cmp::Reverse(g.len()));
    groups
}

fn slip_list(slips: &[Slip]) -> String {
    let one = |s: &Slip| {
        let pass = s.pass + 1;
        match s.kind {
            SlipKind::Off(ms) if ms < 0.0 => format!("{:.0} ms early in pass {pass}", -ms),
            SlipKind::Off(ms) => format!("{ms:.0} ms late in pass {pass}"),
            SlipKind::Missed => format!("no tap in pass {pass}"),
            SlipKind::Pause(n) => format!("a pause of {n} pulses in pass {pass}"),
            SlipKind::Double => format!("tapped twice in pass {pass}"),
        }
    };
    slips.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// Notes on how accurate the numbers are.
pub(crate) fn accuracy_notes(context: &TapContext<'_>) -> Vec<String> {
    let mut lines = vec![match context.offset {
        TapOffset::Unknown => format!(
            "no tap offset is set: the means include the output latency and your habit of tapping early or late \
             (taps commonly come 20 to 80 ms early); {} measures both together",
            context.calibrate
        ),
        TapOffset::Set(ms) => format!("{ms:+.1} ms is subtracted from every tap (from the config file)"),
        TapOffset::Measured { ms, error_ms } => format!(
            "{ms:+.1} ms (±{error_ms:.1}) is subtracted from every tap, measured by {}: output latency and your habit of \
             tapping early or late together",
            context.calibrate
        ),
    }];
    if let Some(buffer) = context.buffer_ms {
        lines.push(format!(
            "tap times are accurate only to a fraction of the device buffer ({buffer:.0} ms) and to the interval at which \
             the keyboard reports keys (8 ms at 125 reports per second)"
        ));
    }
    if context.over_ssh {
        lines.push(
            "keys arrive over SSH: the means include the network delay (with a remote speaker, only the error of its \
             estimate), and the spreads include its jitter"
                .to_owned(),
        );
    }
    lines.push("± is one standard error; spread is the standard deviation of the taps that did not slip".to_owned());
    lines
}
