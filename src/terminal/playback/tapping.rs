//! Tapping along: what is tapped, live figures, the report that stays, and the calibration.

use crate::analysis::limits;
use crate::analysis::tap::{TapOptions, TapReport, calibrate, tap_report};
use crate::analysis::{Clock, Report};
use crate::describe::tap::{self as tap_words, ReportLine, TapContext, TapOffset};
use crate::jobs::play_request::{LoopRequest, PlayRequest};
use crate::jobs::{Click, Range};
use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time};
use crate::terminal::event::Effect;
use crate::terminal::input::key_time::KeyTime;
use crate::terminal::overlay::Overlay;
use crate::terminal::playback::practice;
use crate::terminal::playback::request::Heard;
use crate::terminal::playback::transport;
use crate::terminal::state::{Message, State};
use std::sync::Arc;

/// Taps from which the live figures are made: enough to be sure, few enough to show a change soon.
const LIVE: usize = 32;
/// Most taps that are kept.
const MOST: usize = 20_000;
/// Taps of a calibration.
pub(crate) const CALIBRATING: usize = 16;
/// Beats per minute of the calibration's clicks, and seconds from one to the next.
const CLICKS: i32 = 100;
const PERIOD: f64 = 0.6;
/// Clicks before the first tap counts: a bar to get in.
const LEAD: f64 = 4.0 * PERIOD;
/// An offset less sure than this, in ms, is not kept (ours, no source).
const UNSURE: f64 = 20.0;

/// What is tapped to.
#[derive(Debug, Clone)]
pub(crate) enum To {
    /// The loop.
    Loop,
    /// The plain clicks of the calibration.
    Clicks,
}

/// All that the state knows of tapping.
#[derive(Debug, Clone, Default)]
pub(crate) struct Taps {
    /// Taps under way.
    pub now: Option<Box<Tapping>>,
    /// The last tapping that has ended.
    pub last: Option<Arc<FinishedTapping>>,
    /// What is taken off every tap.
    pub offset: TapOffset,
    /// Whether keys come over a line of unknown delay.
    pub far_line: bool,
}

impl Taps {
    /// Whether what sounds is the groove's loop, and not the clicks of the calibration.
    pub(crate) fn follows_the_loop(&self) -> bool {
        self.now.as_ref().is_none_or(|t| matches!(t.to, To::Loop))
    }
}

/// Taps under way.
#[derive(Debug, Clone)]
pub(crate) struct Tapping {
    pub to: To,
    /// Seconds of heard time at full speed from the loop's start, turn after turn counted on.
    pub taps: Vec<f64>,
    /// Taps that came faster than a finger taps: a key held down.
    pub held: usize,
    /// What the last taps say.
    pub live: TapReport,
    /// What a calibration has come to, and whether it can be used.
    pub done: Option<(String, bool)>,
    about: Material,
}

/// What taps are measured against.
#[derive(Debug, Clone)]
struct Material {
    groove: Arc<Groove>,
    report: Arc<Report>,
    ask: TapOptions,
    /// A device buffer in ms.
    buffer_ms: Option<f64>,
}

/// A tapping that has ended.
#[derive(Debug, Clone)]
pub(crate) struct FinishedTapping {
    report: TapReport,
    about: Material,
    offset: TapOffset,
}

impl FinishedTapping {
    /// The report in lines.
    pub(crate) fn lines(&self, state: &State) -> Vec<ReportLine> {
        let a = &self.about;
        let about =
            TapContext { options: a.ask, offset: self.offset, buffer_ms: a.buffer_ms, over_ssh: state.taps.far_line };
        tap_words::report_lines(&a.groove, &a.report, &self.report, &about)
    }
}

impl Tapping {
    fn new(to: To, about: Material) -> Self {
        Self { to, taps: Vec::new(), held: 0, live: TapReport::default(), done: None, about }
    }

    pub(crate) fn groove_and_report(&self) -> (&Groove, &Report) {
        (&self.about.groove, &self.about.report)
    }
}

/// Begins to tap along with the loop, which plays from now on.
pub(crate) fn begin(state: &mut State, effects: &mut Vec<Effect>) {
    let Some((shown, true)) =
        state.report.as_ref().map(|s| (s, s.revision == state.revision() && s.ask == state.ask()))
    else {
        state.show_message(Message::warning("analysis is still running; try again"));
        return;
    };
    if shown.report.attacks.is_empty() {
        state.show_message(Message::warning("nothing to tap along with yet; enter some attacks first"));
        return;
    }
    let report = shown.report.clone();
    let looped = state.playing().range;
    if shown.ask.scope.region.is_some() && !matches!(looped, Range::Region { .. }) {
        let (focus, looped) = (state.keymap.first("focus"), state.keymap.first("loop"));
        state.show_message(Message::warning(format!(
            "only the selection is analysed: loop it ({looped}) or analyse something else ({focus})"
        )));
        return;
    }
    let Some(range) = range(&report.clock, looped).filter(|(from, to)| from < to) else {
        state.show_message(Message::warning("the loop is empty"));
        return;
    };
    let speed = f64::from(state.play.percent) / 100.0;
    let ask = TapOptions { speed, range, offset: state.taps.offset.ms() / 1000.0 };
    let about = Material { groove: state.groove().clone(), report, ask, buffer_ms: None };
    state.taps.now = Some(Box::new(Tapping::new(To::Loop, about)));
    state.overlay = Overlay::Tap;
    practice::settle(state, effects);
    if !state.play.on {
        transport::start(state, None, effects);
    }
}

/// Begins the calibration: plain clicks in the place of whatever sounds.
pub(crate) fn begin_calibrating(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(groove) = clicks() else { return };
    let groove = Arc::new(groove);
    let report = Arc::new(Report { clock: Clock::new(&groove), ..Report::default() });
    let ask = TapOptions { speed: 1.0, range: (0.0, LEAD), offset: 0.0 };
    let about = Material { groove, report, ask, buffer_ms: None };
    state.taps.now = Some(Box::new(Tapping::new(To::Clicks, about)));
    state.overlay = Overlay::Tap;
    practice::leave(state, effects);
    start_clicks(state, effects);
}

fn start_clicks(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(tapping) = &state.taps.now else { return };
    let playing = LoopRequest {
        groove: tapping.about.groove.clone(),
        speed: Fraction::ONE,
        range: Range::Whole,
        layers: true,
        beat: Click::Written,
        click_db: state.play.levels.click_db,
        lines: Vec::new(),
    };
    state.play.on = true;
    state.play.head = None;
    effects.push(Effect::Play(Box::new(PlayRequest::Loop(playing)), None));
}

/// A bar without an attack, whose beat is clicked.
fn clicks() -> Option<Groove> {
    let tempo = Tempo::new(Fraction::whole(CLICKS), Time::new(1, 4)?).ok()?;
    Groove::blank(Meter::parse("4/4").ok()?, tempo, 1).ok()
}

/// Start and end of a loop in seconds at full speed.
fn range(clock: &Clock, looped: Range) -> Option<(f64, f64)> {
    match looped {
        Range::Whole => Some((0.0, clock.total())),
        Range::Section(section) => clock.range(section, 0),
        Range::Region { section, from, to } => Some((clock.seconds(section, 0, from)?, clock.seconds(section, 0, to)?)),
    }
}

/// A key was tapped.
pub(crate) fn tap(state: &mut State, arrival: KeyTime, effects: &mut Vec<Effect>) {
    if state.play.on {
        effects.push(Effect::Tap(arrival));
    }
}

/// The place a tap fell on is known.
pub(crate) fn tapped(state: &mut State, heard: Heard, effects: &mut Vec<Effect>) {
    if state.overlay != Overlay::Tap || !state.play.on {
        return;
    }
    let Some(tapping) = &mut state.taps.now else { return };
    let about = &mut tapping.about;
    let Some((start, end)) = about.report.clock.range(heard.section, heard.pass) else { return };
    let whole = about.report.clock.seconds_per_whole(heard.section).unwrap_or(0.0);
    let (from, to) = about.ask.range;
    let within = (start + heard.wholes * whole).clamp(start, end) - from;
    let time = heard.turns as f64 * (to - from) + within;
    about.buffer_ms = Some(heard.grain_ms);
    let apart = |last: &f64| (time - last).abs() / about.ask.speed * 1000.0;
    // Half of what a finger can do leaves room for a slip and none for a key that repeats.
    if tapping.taps.last().is_some_and(|last| apart(last) < limits::TAP_FASTEST.value / 2.0) {
        tapping.held += 1;
        return;
    }
    if matches!(tapping.to, To::Clicks) {
        if time >= LEAD - PERIOD / 4.0 {
            tapping.taps.push(time);
        }
        if tapping.taps.len() >= CALIBRATING {
            calibrated(state, effects);
        }
        return;
    }
    if tapping.taps.len() < MOST {
        tapping.taps.push(time);
    }
    let last = &tapping.taps[tapping.taps.len().saturating_sub(LIVE)..];
    tapping.live = tap_report(&tapping.about.report, &tapping.about.ask, last);
}

/// Ends the clicks; what they said is shown until it is left, so that a tap too many does nothing.
fn calibrated(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(tapping) = &mut state.taps.now else { return };
    let Some(found) = calibrate(&tapping.taps, PERIOD) else { return };
    let offset = format!("{:+.0} ms, ±{:.0}", found.ms, found.error_ms);
    let good = found.error_ms <= UNSURE;
    let set = matches!(state.taps.offset, TapOffset::Set(_));
    let words = if !good {
        format!("{offset}: too uneven to use; the offset is unchanged")
    } else if set {
        format!("{offset}: device latency and your own habit; the config file's offset still applies")
    } else {
        format!("{offset}: device latency and your own habit; subtracted from every tap from now on")
    };
    tapping.done = Some((words, good));
    transport::stop(state, effects);
    if good {
        if !set {
            state.taps.offset = TapOffset::Measured { ms: found.ms, error_ms: found.error_ms };
        }
        effects.push(Effect::KeepOffset(found));
    }
}

fn stop(state: &mut State, effects: &mut Vec<Effect>) {
    state.taps.now = None;
    state.overlay = Overlay::None;
    transport::stop(state, effects);
}

/// Forgets the taps and plays from the loop's start.
pub(crate) fn again(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(tapping) = &mut state.taps.now else { return };
    (tapping.taps, tapping.held, tapping.live, tapping.done) = (Vec::new(), 0, TapReport::default(), None);
    if matches!(tapping.to, To::Clicks) {
        return start_clicks(state, effects);
    }
    transport::start(state, None, effects);
}

/// Ends: the sound stops and the report is shown, if there was a tap.
pub(crate) fn end(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(tapping) = state.taps.now.take() else { return };
    stop(state, effects);
    if matches!(tapping.to, To::Clicks) {
        if tapping.done.is_none() {
            state.show_message(Message::info("calibration stopped; the offset is unchanged"));
        }
        return;
    }
    if tapping.taps.is_empty() {
        return;
    }
    let report = tap_report(&tapping.about.report, &tapping.about.ask, &tapping.taps);
    state.taps.last = Some(Arc::new(FinishedTapping { report, about: tapping.about, offset: state.taps.offset }));
    show(state);
}

/// Shows the last report.
pub(crate) fn show(state: &mut State) {
    if state.taps.last.is_some() {
        state.overlay = Overlay::TapReport(0);
    } else {
        let key = state.keymap.first("tap");
        state.show_message(Message::info(format!("no taps yet; {key} starts tapping")));
    }
}
