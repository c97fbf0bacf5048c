//! Tapping along: the taps, live statistics, the final report, and the calibration.

use crate::analysis::limits;
use crate::analysis::tap::{TapOptions, TapReport, calibrate, tap_report};
use crate::analysis::{Clock, Report};
use crate::describe::tap::{self as describe_tap, ReportLine, TapContext, TapOffset};
use crate::jobs::play_request::TapPosition;
use crate::jobs::play_request::{LoopSpec, PlayRequest, ResumePoint};
use crate::jobs::{Click, Position, Range};
use crate::rhythm::{Fraction, Groove};
use crate::terminal::playback::playing::Mix;
use crate::terminal::playback::{practice, transport};
use crate::terminal::{Effect, KeyTime, Overlay, State, grid_search};
use std::sync::Arc;

/// Number of taps in the live statistics: enough to be sure, few enough to show a change soon.
const LIVE_TAPS: usize = 32;
const MAX_TAPS: usize = 20_000;
pub(crate) const CALIBRATION_TAPS: usize = 16;
const CALIBRATION_BPM: i32 = 100;
/// Seconds between the clicks of a calibration.
const CLICK_PERIOD: f64 = 0.6;
/// Seconds before the first tap counts: one bar of clicks.
const COUNT_IN: f64 = 4.0 * CLICK_PERIOD;
/// A less certain offset, in ms, is not kept (ours, no source).
const MAX_OFFSET_ERROR: f64 = 20.0;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TapTarget {
    Loop,
    Calibration,
    /// The recording, whose beats are wanted.
    Recording,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct Taps {
    pub current: Option<Box<Tapping>>,
    /// The last one that was finished.
    pub last: Option<Arc<Tapping>>,
    /// Subtracted from every tap.
    pub offset: TapOffset,
    /// Keys arrive after an unknown delay.
    pub over_ssh: bool,
}

impl Taps {
    /// The lines of the last report; `calibrate` is the command that measures the offset.
    fn report_lines(&self, calibrate: &str) -> Vec<ReportLine> {
        let Some(Tapping { report, setup, .. }) = self.last.as_deref() else { return Vec::new() };
        let TapSetup { groove, report: analysis, options, offset, buffer_ms } = setup;
        let (options, offset, buffer_ms, over_ssh) = (*options, *offset, *buffer_ms, self.over_ssh);
        let context = TapContext { options, offset, buffer_ms, calibrate, over_ssh };
        describe_tap::report_lines(groove, analysis, report, &context)
    }

    /// Whether something else than the groove plays, which has no position in it.
    pub(crate) fn has_other_loop(&self) -> bool {
        self.current.as_ref().is_some_and(|t| t.target != TapTarget::Loop)
    }
}

impl State {
    /// The lines of the last report.
    pub(crate) fn tap_report_lines(&self) -> Vec<ReportLine> {
        self.playback.taps.report_lines(&self.key_or_name("tap-calibrate"))
    }
}

#[derive(Debug, Clone)]
pub(crate) struct Tapping {
    pub target: TapTarget,
    /// In seconds at full speed from the start of the first pass of the loop.
    pub taps: Vec<f64>,
    /// Number of taps faster than a finger, as of a key held down.
    pub ignored: usize,
    /// Report of the last taps; at the end, of all.
    pub report: TapReport,
    /// The result of a calibration, or why it cannot be used.
    pub calibration: Option<Result<String, String>>,
    pub setup: TapSetup,
}

/// What taps are measured against.
#[derive(Debug, Clone)]
pub(crate) struct TapSetup {
    pub groove: Arc<Groove>,
    pub report: Arc<Report>,
    options: TapOptions,
    offset: TapOffset,
    /// Length of a device buffer in ms.
    buffer_ms: Option<f64>,
}

impl Tapping {
    fn new(target: TapTarget, setup: TapSetup) -> Self {
        Self { target, taps: Vec::new(), ignored: 0, report: TapReport::default(), calibration: None, setup }
    }
}

pub(crate) fn begin(state: &mut State) {
    let result = state.hearings.result.as_ref();
    let Some(result) = result.filter(|r| r.revision == state.revision() && r.options == state.analysis_options())
    else {
        return state.warn("analysis is still running; try again");
    };
    if result.report.attacks.is_empty() {
        return state.warn("nothing to tap along with yet; enter some attacks first");
    }
    let report = result.report.clone();
    let range = state.loop_range();
    let analyzed = result.options.scope.region.as_ref().map(|r| Range::within(r.section, r.from, r.to));
    if analyzed.is_some_and(|analyzed| analyzed != range) {
        let (focus, looped) = (state.key("focus"), state.key("loop-region"));
        state.warn(format!("only the selection is analyzed: loop it ({looped}) or analyze something else ({focus})"));
        return;
    }
    let Some(range) = seconds(state, &report.clock, range).filter(|(from, to)| from < to) else {
        return state.warn("the loop is empty");
    };
    let speed = f64::from(state.playback.speed_percent) / 100.0;
    let offset = state.playback.taps.offset;
    let options = TapOptions { speed, range, offset: offset.ms() / 1000.0 };
    let setup = TapSetup { groove: state.groove().clone(), report, options, offset, buffer_ms: None };
    open(state, TapTarget::Loop, setup);
    practice::continue_as_loop(state);
    if !state.playback.is_playing {
        transport::start(state, None);
    }
}

/// Starts the calibration: plays plain clicks instead of the groove.
pub(crate) fn begin_calibrating(state: &mut State) {
    // A bar without attacks, whose beat clicks.
    let groove = Arc::new(Groove::in_four(CALIBRATION_BPM, 1));
    let report = Arc::new(Report { clock: Clock::new(&groove), ..Report::default() });
    let options = TapOptions { speed: 1.0, range: (0.0, COUNT_IN), offset: 0.0 };
    let setup = TapSetup { groove, report, options, offset: TapOffset::Unknown, buffer_ms: None };
    open(state, TapTarget::Calibration, setup);
    practice::end_sequence(state);
    start_clicks(state);
}

/// Plays the recording alone, from the start of the cursor's bar, to tap its beats.
pub(crate) fn begin_on_recording(state: &mut State) {
    if grid_search::ready_onsets(state).is_none() {
        return;
    }
    let Some(groove) = grid_search::recording_time_groove(state.groove()).filter(|_| state.is_recording_heard()) else {
        let key = state.key_or_name("recording-mix");
        return state.warn(format!("the recording is not heard; {key} changes what is"));
    };
    let clock = Clock::new(&groove);
    let options = TapOptions { speed: 1.0, range: (0.0, clock.total()), offset: 0.0 };
    let report = Arc::new(Report { clock, ..Report::default() });
    let offset = state.playback.taps.offset;
    open(state, TapTarget::Recording, TapSetup { groove, report, options, offset, buffer_ms: None });
    practice::end_sequence(state);
    start_recording(state);
}

fn start_recording(state: &mut State) {
    let Some(tapping) = &state.playback.taps.current else { return };
    let moment = tapping.setup.report.clock.moment(grid_search::start_of_taps(state));
    let position = moment.map(|m| Position { section: m.section, pass: m.pass, wholes: m.wholes });
    let request = Box::new(state.play_request());
    (state.playback.is_playing, state.playback.position) = (true, None);
    state.effects.push(Effect::Play(request, position.map(|position| ResumePoint { position, passes: 0 })));
}

/// What plays while the beats of the recording are tapped.
pub(crate) fn recording_loop(state: &State) -> Option<LoopSpec> {
    let tapping = state.playback.taps.current.as_ref().filter(|t| t.target == TapTarget::Recording)?;
    let mix = Mix { layers: false, beat: false, hearing: false };
    let spec = LoopSpec {
        groove: tapping.setup.groove.clone(),
        range: Range::Whole,
        hearings: Vec::new(),
        ..state.loop_spec_with(mix)
    };
    Some(state.with_recording(spec))
}

fn open(state: &mut State, target: TapTarget, setup: TapSetup) {
    state.playback.taps.current = Some(Box::new(Tapping::new(target, setup)));
    state.overlay = Overlay::Tap;
}

fn start_clicks(state: &mut State) {
    let Some(tapping) = &state.playback.taps.current else { return };
    let spec = LoopSpec {
        groove: tapping.setup.groove.clone(),
        speed: Fraction::ONE,
        range: Range::Whole,
        layers: true,
        beat: Click::Written,
        click_db: state.playback.sound.click_db as f32,
        click_sound: state.playback.sound.click_sound,
        hearings: Vec::new(),
        recording: None,
    };
    state.playback.is_playing = true;
    state.playback.position = None;
    state.effects.push(Effect::Play(Box::new(PlayRequest::Loop(spec)), None));
}

/// Start and end of a loop in seconds at full speed.
fn seconds(state: &State, clock: &Clock, range: Range) -> Option<(f64, f64)> {
    match range {
        Range::Whole => Some((0.0, clock.total())),
        Range::Section(section) => clock.range(section, 0),
        Range::Region { first, from, last, to } => {
            Some((clock.seconds(first, state.first_pass(range), from)?, clock.seconds(last, 0, to)?))
        }
    }
}

pub(crate) fn tap(state: &mut State, arrival: KeyTime) {
    if state.overlay == Overlay::Tap && state.playback.is_playing {
        state.effects.push(Effect::Tap(arrival));
    }
}

pub(crate) fn on_tap(state: &mut State, tap: TapPosition) {
    if state.overlay != Overlay::Tap || !state.playback.is_playing {
        return;
    }
    let Some(tapping) = &mut state.playback.taps.current else { return };
    let Tapping { target, setup, taps, ignored, report, .. } = &mut **tapping;
    let Position { section, pass, wholes } = tap.position;
    let Some((start, end)) = setup.report.clock.range(section, pass) else { return };
    let whole = setup.report.clock.seconds_per_whole(section).unwrap_or(0.0);
    let (from, to) = setup.options.range;
    let within = (start + wholes * whole).clamp(start, end) - from;
    let time = tap.loop_passes as f64 * (to - from) + within;
    setup.buffer_ms = Some(tap.buffer_ms);
    let interval = |last: &f64| (time - last).abs() / setup.options.speed * 1000.0;
    // Half of what a finger can do leaves room for a slip and none for a key that repeats.
    if taps.last().is_some_and(|last| interval(last) < limits::TAP_FASTEST.value / 2.0) {
        *ignored += 1;
        return;
    }
    match target {
        TapTarget::Calibration => {
            if time >= COUNT_IN - CLICK_PERIOD / 4.0 {
                taps.push(time);
            }
            if taps.len() >= CALIBRATION_TAPS {
                finish_calibration(state);
            }
        }
        TapTarget::Recording => {
            let played = time - f64::from(state.playback.speed_percent) / 100.0 * setup.offset.ms() / 1000.0;
            if taps.len() < MAX_TAPS && taps.last().is_none_or(|last| *last < played) {
                taps.push(played);
            }
        }
        TapTarget::Loop => {
            if taps.len() < MAX_TAPS {
                taps.push(time);
            }
            let last = &taps[taps.len().saturating_sub(LIVE_TAPS)..];
            *report = tap_report(&setup.report, &setup.options, last);
        }
    }
}

fn finish_calibration(state: &mut State) {
    let Some(tapping) = &mut state.playback.taps.current else { return };
    let Some(found) = calibrate(&tapping.taps, CLICK_PERIOD) else { return };
    let offset = format!("{:+.0} ms, ±{:.0}", found.ms, found.error_ms);
    let is_set = matches!(state.playback.taps.offset, TapOffset::Set(_));
    let usable = found.error_ms <= MAX_OFFSET_ERROR;
    tapping.calibration = Some(if !usable {
        Err(format!("measured {offset}, but the taps were too uneven; the tap offset is unchanged"))
    } else if is_set {
        Ok(format!(
            "measured {offset}: output latency and your habit of tapping early or late; the config file's offset still applies"
        ))
    } else {
        Ok(format!(
            "tap offset {offset}: output latency and your habit of tapping early or late; subtracted from every tap from now on"
        ))
    });
    if usable && !is_set {
        state.playback.taps.offset = TapOffset::Measured { ms: found.ms, error_ms: found.error_ms };
    }
    transport::stop(state);
    if usable {
        state.effects.push(Effect::SaveOffset(found));
    }
}

/// Discards the taps and plays from the start of the loop.
pub(crate) fn restart(state: &mut State) {
    let Some(tapping) = &mut state.playback.taps.current else { return };
    **tapping = Tapping::new(tapping.target, tapping.setup.clone());
    match tapping.target {
        TapTarget::Calibration => start_clicks(state),
        TapTarget::Recording => start_recording(state),
        TapTarget::Loop => transport::start(state, None),
    }
}

/// Stops and shows the report, if there are taps.
pub(crate) fn end(state: &mut State) {
    let Some(mut tapping) = state.playback.taps.current.take() else { return };
    state.overlay = Overlay::None;
    transport::stop(state);
    if tapping.target == TapTarget::Recording {
        if tapping.taps.is_empty() {
            return state.info("no beat tapped; the grid is unchanged");
        }
        return grid_search::lay_taps(state, tapping.taps);
    }
    if tapping.target == TapTarget::Calibration {
        if tapping.calibration.is_none() {
            state.info("calibration stopped; the offset is unchanged");
        }
    } else if !tapping.taps.is_empty() {
        tapping.report = tap_report(&tapping.setup.report, &tapping.setup.options, &tapping.taps);
        state.playback.taps.last = Some(Arc::from(tapping));
        show_report(state);
    }
}

pub(crate) fn show_report(state: &mut State) {
    if state.playback.taps.last.is_some() {
        state.overlay = Overlay::TapReport(0);
    } else {
        state.info(format!("no taps yet; {} starts tapping", state.key("tap")));
    }
}
