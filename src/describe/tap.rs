//! What a tap report says in words, for the screen and the command line alike. It must not know how wide the lines are, nor
//! how they are drawn.

use crate::analysis::Report;
use crate::analysis::limits;
use crate::analysis::tap::{FEWEST, Figures, Follows, Rate, Slip, TapAsk, TapReport, TapStretch, What};
use crate::describe;
use crate::rhythm::{Groove, Place, Time};

/// Odds from which on a stretch is said to be sure (ours, no source).
const SURE: f64 = 20.0;
/// Errors from which on a drift is one (two standard errors).
const TOLD: f64 = 2.0;
/// Places of slips that are listed.
const SLIPS: usize = 40;

/// What is taken off every tap, and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum TapOffset {
    /// Nothing is known.
    #[default]
    Unknown,
    /// The user's number in ms.
    Set(f64),
    /// Measured by tapping to clicks, with its standard error in ms.
    Measured {
        /// The offset in ms; plus is late.
        ms: f64,
        /// Its standard error in ms.
        error_ms: f64,
    },
}

impl TapOffset {
    /// The offset in ms; 0 where none is known.
    pub fn ms(self) -> f64 {
        match self {
            TapOffset::Unknown => 0.0,
            TapOffset::Set(ms) | TapOffset::Measured { ms, .. } => ms,
        }
    }
}

/// What the figures rest on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct About {
    /// What was asked.
    pub ask: TapAsk,
    /// What was taken off.
    pub offset: TapOffset,
    /// A buffer of the sound device in ms, where taps were timed against one.
    pub grain_ms: Option<f64>,
    /// Whether the keys come over a line of unknown delay.
    pub far_line: bool,
}

/// How a line is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// A heading.
    Heading,
    /// A figure.
    Plain,
    /// What figures rest on.
    Faint,
}

/// One line.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// How it is meant.
    pub look: Look,
    /// Columns it is moved in.
    pub by: usize,
    /// Its words.
    pub words: String,
    /// Where in the groove it leads.
    pub place: Option<Place>,
}

/// What is followed, by the groove's names and tempos at the playing speed.
pub fn follows(groove: &Groove, report: &Report, follows: Follows) -> String {
    match follows {
        Follows::Hearing(h, rate) => {
            let Some(hearing) = report.hearings.get(h) else { return String::new() };
            let name = format!("{} ({:.1})", hearing.kind, hearing.bpm(report.speed));
            match rate {
                Rate::Each => name,
                Rate::On => format!("{name}, going on where it restarts"),
                Rate::Double => format!("{name}, tapped twice a pulse"),
                Rate::Half => format!("{name}, on every second pulse"),
                Rate::Between => format!("{name}, on its off-beats"),
            }
        }
        Follows::Attacks => match report.focus[..] {
            [only] => format!("attacks of {}", groove.layers().get(only).map_or("", |l| &l.name)),
            _ => "attacks".to_owned(),
        },
        Follows::Nothing => "no pulse of this groove".to_owned(),
    }
}

/// How sure it is.
pub fn sure(groove: &Groove, report: &Report, s: &TapStretch) -> String {
    let odds = s.margin.exp();
    let other = s.second.map(|f| follows(groove, report, f)).unwrap_or_default();
    if odds < SURE {
        format!("not sure: {other} fits nearly as well (odds {odds:.1} to 1)")
    } else if odds > 1000.0 {
        format!("odds over 1000 to 1 against {other}")
    } else {
        format!("odds {odds:.0} to 1 against {other}")
    }
}

/// The mean asynchrony with its standard error.
pub fn mean(f: &Figures) -> String {
    let side = if f.mean_ms.abs() < (TOLD * f.error_ms).max(1.0) {
        "on the pulse"
    } else if f.mean_ms < 0.0 {
        "early"
    } else {
        "late"
    };
    format!("mean {:+.0} ms ±{:.0}, {side}", f.mean_ms, f.error_ms)
}

/// The spread.
pub fn spread(f: &Figures) -> String {
    format!("spread {:.0} ms ({:.1}% of the pulse)", f.spread_ms, f.spread * 100.0)
}

/// The drift, or that there is none that could be told.
pub fn drift(f: &Figures) -> String {
    if f.drift_ms.abs() < TOLD * f.drift_error_ms || f.drift_ms.abs() < 0.005 {
        return format!("no drift that can be told ({:+.2} ms a pulse ±{:.2})", f.drift_ms, f.drift_error_ms);
    }
    let how = if f.tempo_percent > 0.0 { "faster" } else { "slower" };
    let (ms, error) = (f.drift_ms, f.drift_error_ms);
    format!("drift {ms:+.2} ms a pulse ±{error:.2}, {:.2}% {how} than it", f.tempo_percent.abs())
}

/// The cell that sounds at so many seconds, in the first layer looked at.
pub fn place(groove: &Groove, report: &Report, seconds: f64) -> Option<Place> {
    let layer = report.focus.first().copied()?;
    // A pulse a hair before a cell is that cell's.
    let moment = report.clock.moment(seconds + 0.005).or_else(|| report.clock.moment(seconds))?;
    let time = Time::new((moment.wholes * 3840.0) as i64, 3840)?;
    let cell = groove.part(layer, moment.section).cell_at(time, groove.context(layer, moment.section));
    Some(Place { layer, section: moment.section, cell })
}

fn at(groove: &Groove, report: &Report, seconds: f64) -> String {
    place(groove, report, seconds).map_or_else(|| "the end".to_owned(), |p| describe::place(groove, p))
}

/// The whole report.
pub fn told(groove: &Groove, report: &Report, told: &TapReport, about: &About) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut add = |look, by, words: String, place| lines.push(Line { look, by, words, place });
    let seconds = (about.ask.range.1 - about.ask.range.0) / about.ask.speed;
    let percent = about.ask.speed * 100.0;
    let taps = if told.taps == 1 { "1 tap".to_owned() } else { format!("{} taps", told.taps) };
    add(Look::Heading, 0, format!("{taps} along with a loop of {seconds:.2} s at {percent:.0}% speed"), None);
    if told.left > 0 {
        add(Look::Faint, 2, format!("the last of them; {} before were too many to look at", told.left), None);
    }
    if told.is_too_short() {
        add(Look::Plain, 2, format!("too few taps: nothing is said of fewer than {FEWEST}"), None);
    }
    let several = told.stretches.len() > 1;
    for (i, s) in told.stretches.iter().enumerate() {
        let number = if several { format!("{}. ", i + 1) } else { String::new() };
        let name = follows(groove, report, s.follows);
        let (from, turn) = (at(groove, report, s.at), s.turn + 1);
        let here = place(groove, report, s.at);
        let words = format!("{number}{} taps, from {from} in turn {turn} on: {name}", s.taps);
        add(Look::Heading, 0, words, here);
        add(Look::Plain, 2, format!("{:.1} taps a minute; {}", s.rate, sure(groove, report, s)), None);
        let Some(f) = &s.figures else { continue };
        add(Look::Plain, 2, format!("{}; {}", mean(f), spread(f)), None);
        add(Look::Plain, 2, drift(f), None);
        if f.spread * 100.0 > limits::AGREES.value {
            let words = "the taps run through the pulse and do not stay with it: a tempo of their own, near it";
            add(Look::Plain, 2, words.to_owned(), None);
        }
        if f.slips.is_empty() {
            add(Look::Plain, 2, "no slip".to_owned(), None);
        } else {
            let count = f.slips.len();
            add(Look::Plain, 2, format!("{count} slip{}:", if count == 1 { "" } else { "s" }), None);
        }
        let grouped = grouped(&f.slips);
        for slips in grouped.iter().take(SLIPS) {
            let words = format!("{}: {}", at(groove, report, slips[0].at), slips_at(slips));
            add(Look::Plain, 4, words, place(groove, report, slips[0].at));
        }
        if grouped.len() > SLIPS {
            add(Look::Plain, 4, format!("and at {} places more", grouped.len() - SLIPS), None);
        }
    }
    add(Look::Heading, 0, "What the figures hold".to_owned(), None);
    for words in rests(about) {
        add(Look::Faint, 2, words, None);
    }
    lines
}

/// Slips at one place of the groove together, the place with most of them first.
fn grouped(slips: &[Slip]) -> Vec<Vec<Slip>> {
    let mut order = slips.to_vec();
    order.sort_by(|a, b| a.at.total_cmp(&b.at).then(a.turn.cmp(&b.turn)));
    let mut groups: Vec<Vec<Slip>> = order.chunk_by(|a, b| b.at - a.at < 1e-3).map(<[Slip]>::to_vec).collect();
    groups.sort_by_key(|g| std::cmp::Reverse(g.len()));
    groups
}

fn slips_at(slips: &[Slip]) -> String {
    let one = |s: &Slip| {
        let turn = s.turn + 1;
        match s.what {
            What::Far(ms) if ms < 0.0 => format!("{:.0} ms early in turn {turn}", -ms),
            What::Far(ms) => format!("{ms:.0} ms late in turn {turn}"),
            What::Missed => format!("no tap in turn {turn}"),
            What::Pause(n) => format!("a pause of {n} pulses in turn {turn}"),
            What::Twice => format!("tapped twice in turn {turn}"),
        }
    };
    slips.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// What the figures rest on and how far they can be trusted.
pub fn rests(about: &About) -> Vec<String> {
    let mut lines = vec![match about.offset {
        TapOffset::Unknown => {
            "no offset is known: the means hold the device's delay and your own habit (taps commonly fall 20 to 80 ms \
             early); the command tap-calibrate measures both together"
                .to_owned()
        }
        TapOffset::Set(ms) => format!("{ms:+.1} ms were taken off every tap, as set"),
        TapOffset::Measured { ms, error_ms } => format!(
            "{ms:+.1} ms were taken off every tap, measured to ±{error_ms:.1} ms by tapping to plain clicks: the device's \
             delay and your own habit together"
        ),
    }];
    if let Some(grain) = about.grain_ms {
        lines.push(format!(
            "the place heard is known to a part of the device's buffer of {grain:.0} ms; a keyboard tells its keys in \
             steps of some ms (8 ms at 125 reports a second)"
        ));
    }
    if about.far_line {
        lines.push(
            "the keys come over SSH: the line's delay is not known; it is in every mean, and its changes in every spread"
                .to_owned(),
        );
    }
    lines.push("± is one standard error; spread is the standard deviation of the taps that did not slip".to_owned());
    lines
}
