//! What is to be heard as the state says it: the switches, what is played round, the speed.

use crate::jobs::play_request::{ClickedPulses, LoopRequest, PlayRequest};
use crate::jobs::{Click, Range};
use crate::rhythm::bounds::Bound;
use crate::rhythm::{Fraction, Time};
use crate::terminal::playback::practice::{self, RunningSequence};
use crate::terminal::playback::request::{Head, Switches};
use crate::terminal::state::State;
use std::sync::Arc;

/// Slowest and fastest playing speed, in percent of the written tempo.
pub(crate) static SPEED: Bound = Bound { what: "the playing speed", least: 20, greatest: 200, unit: "percent" };

/// Bounds of the master volume and of the click volume.
pub(crate) static VOLUME: Bound = Bound { what: "the volume", least: -40, greatest: 0, unit: "dB" };
pub(crate) static CLICK_VOLUME: Bound = Bound { what: "the click volume", least: -40, greatest: 6, unit: "dB" };

/// Volumes in dB; 0 is the level that exported files have.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct SoundLevels {
    /// Of everything.
    pub volume_db: f32,
    /// Of the clicks, on top of that.
    pub click_db: f32,
}

/// What sounds.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Play {
    pub on: bool,
    pub percent: u16,
    pub levels: SoundLevels,
    pub looped: LoopMode,
    pub switches: Switches,
    /// How the pulses are clicked when they are.
    pub beat_cut: Click,
    pub hearing_cut: Click,
    /// The takes or the ladder that is played.
    pub running: Option<RunningSequence>,
    /// Sequences begun so far.
    pub sequences: u32,
    pub head: Option<Head>,
    /// Why there is no sound.
    pub silent: Option<String>,
    /// Whether the ladder's steps are shown to be read, since nothing sounds.
    pub read_only: bool,
    /// The far speaker, while one is connected.
    pub far: Option<RemoteSpeaker>,
    /// Ticks since the last key, to follow the playhead while nobody edits.
    pub idle: u32,
}

impl Default for Play {
    fn default() -> Self {
        Self {
            on: false,
            percent: 100,
            levels: SoundLevels::default(),
            looped: LoopMode::All,
            switches: Switches { layers: true, beat: false, hearing: false },
            beat_cut: Click::Written,
            hearing_cut: Click::Written,
            running: None,
            sequences: 0,
            head: None,
            silent: None,
            read_only: false,
            far: None,
            idle: 0,
        }
    }
}

/// A far speaker that is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct RemoteSpeaker {
    /// Whether its line is lost for now.
    pub lost: bool,
}

/// What is asked to be played round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LoopMode {
    All,
    Section,
    Selection,
}

impl State {
    /// Playing speed, exact.
    pub(crate) fn speed(&self) -> Fraction {
        Fraction::new(i64::from(self.play.percent), 100).unwrap_or(Fraction::ONE)
    }

    /// The hearings that are clicked: the one of the strip if it is, and the others.
    pub(crate) fn clicked(&self, strip: bool, also: bool) -> Vec<usize> {
        let mut clicked: Vec<usize> = self.strip().filter(|_| strip).map(|(i, _)| i).into_iter().collect();
        for (i, _) in self.extra_hearings.iter().filter(|_| also).filter_map(|c| self.find(*c)) {
            if !clicked.contains(&i) {
                clicked.push(i);
            }
        }
        clicked
    }

    /// What is to be heard: the takes or the ladder that is played, or else the loop.
    pub(crate) fn sounding(&self) -> PlayRequest {
        practice::sequence(self).map_or_else(|| PlayRequest::Loop(self.playing()), PlayRequest::Sequence)
    }

    /// What is played round.
    pub(crate) fn range(&self) -> Range {
        let section = self.session.cursor().place.section;
        match (self.play.looped, self.session.selection()) {
            (LoopMode::Selection, Some(r)) => Range::Region { section: r.section, from: r.from, to: r.to },
            (LoopMode::Section | LoopMode::Selection, _) => Range::Section(section),
            (LoopMode::All, _) => Range::Whole,
        }
    }

    /// The loop that is to be heard.
    pub(crate) fn playing(&self) -> LoopRequest {
        self.playing_as(self.play.switches, true)
    }

    /// The loop that is to be heard with these switches, and with the other hearings or without.
    pub(crate) fn playing_as(&self, switches: Switches, also: bool) -> LoopRequest {
        let range = self.range();
        LoopRequest {
            groove: self.groove().clone(),
            speed: self.speed(),
            range,
            layers: switches.layers,
            beat: if switches.beat { self.play.beat_cut } else { Click::Off },
            click_db: self.play.levels.click_db,
            lines: self.lines(range, &self.clicked(switches.hearing, also)),
        }
    }

    fn lines(&self, range: Range, clicked: &[usize]) -> Vec<ClickedPulses> {
        let Some((report, _)) = self.report() else { return Vec::new() };
        let clock = &report.clock;
        let start = match range {
            Range::Whole => Some(0.0),
            Range::Section(section) => clock.seconds(section, 0, Time::ZERO),
            Range::Region { section, from, .. } => clock.seconds(section, 0, from),
        };
        let line = |(index, hearing): (usize, usize)| {
            Some(ClickedPulses {
                seconds: Arc::new(report.hearings.get(hearing)?.pulses.clone()),
                length: clock.total(),
                click: self.play.hearing_cut,
                index: index as u8,
                loop_start: start.unwrap_or(0.0),
            })
        };
        clicked.iter().copied().enumerate().filter_map(line).collect()
    }
}
