//! The state of playback, and the play request that follows from it.

use crate::jobs::play_request::{HearingClicks, LoopSpec, PlayRequest};
use crate::jobs::{Click, Position, Range, SoundSettings};
use crate::rhythm::bounds::Bound;
use crate::rhythm::{Fraction, Time};
use crate::session::LoopRegion;
use crate::terminal::playback::practice::{self, RunningSequence};
use crate::terminal::playback::tapping::{self, Taps};
use crate::terminal::prompts::parse::Ladder;
use crate::terminal::{State, grid_search};
use std::sync::Arc;

/// In percent of the written tempo.
pub(crate) static SPEED: Bound = Bound { what: "the playing speed", least: 20, greatest: 200, unit: "percent" };

pub(crate) static VOLUME: Bound = Bound { what: "the volume", least: -40, greatest: 0, unit: "dB" };
pub(crate) static CLICK_VOLUME: Bound = Bound { what: "the click volume", least: -40, greatest: 6, unit: "dB" };

#[derive(Debug, Clone)]
pub(crate) struct Playback {
    pub is_playing: bool,
    /// Speed in percent of the written tempo.
    pub speed_percent: u16,
    pub sound: SoundSettings,
    pub loop_mode: LoopMode,
    pub mix: Mix,
    /// How the written beat clicks while its click is on.
    pub beat_click: Click,
    pub hearing_click: Click,
    /// The takes or the ladder that plays.
    pub sequence: Option<RunningSequence>,
    pub sequence_count: u32,
    pub position: Option<Position>,
    /// The beat of the count-in that is heard, from 1.
    pub count_in_beat: Option<usize>,
    pub no_sound_reason: Option<String>,
    /// Gaps in the sound since playback was last started.
    pub gaps: u64,
    /// Without sound, the steps of the ladder are only shown.
    pub ladder_shown: bool,
    pub remote: Option<RemoteLink>,
    /// Ticks since the last key, after some of which the grid follows the playhead.
    pub idle_ticks: u32,
    /// The last ladder.
    pub ladder: Ladder,
    /// The practice log of the groove, in one line.
    pub progress: Option<String>,
    pub taps: Taps,
}

impl Default for Playback {
    fn default() -> Self {
        Self {
            is_playing: false,
            speed_percent: 100,
            sound: SoundSettings::default(),
            loop_mode: LoopMode::All,
            mix: Mix::GROOVE,
            beat_click: Click::Written,
            hearing_click: Click::Written,
            sequence: None,
            sequence_count: 0,
            position: None,
            count_in_beat: None,
            no_sound_reason: None,
            gaps: 0,
            ladder_shown: false,
            remote: None,
            idle_ticks: 0,
            ladder: Ladder::default(),
            progress: None,
            taps: Taps::default(),
        }
    }
}

/// What sounds in a take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Mix {
    pub layers: bool,
    /// The click of the written beat.
    pub beat: bool,
    /// The click of the hearing of the strip.
    pub hearing: bool,
}

impl Mix {
    pub(crate) const GROOVE: Self = Self { layers: true, beat: false, hearing: false };
    pub(crate) const GROOVE_AND_BEAT: Self = Self { layers: true, beat: true, hearing: false };
    pub(crate) const GROOVE_AND_HEARING: Self = Self { layers: true, beat: false, hearing: true };
    pub(crate) const PULSES: Self = Self { layers: false, beat: true, hearing: true };
    pub(crate) const ALL: Self = Self { layers: true, beat: true, hearing: true };
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RemoteLink {
    Connected,
    Lost,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LoopMode {
    All,
    Section,
    Region,
}

impl State {
    /// Playback speed; 1 is as written.
    pub(crate) fn speed(&self) -> Fraction {
        Fraction::new(i64::from(self.playback.speed_percent), 100).unwrap_or(Fraction::ONE)
    }

    /// Indices of the hearings of the newest report that click: the one of the strip, if it does, and the extra ones.
    pub(crate) fn clicked_hearings(&self, strip_clicks: bool) -> Vec<usize> {
        let mut clicked = Vec::new();
        let extra = self.hearings.extra.iter().filter_map(|key| self.find_hearing(*key));
        for (i, _) in self.strip_hearing().filter(|_| strip_clicks).into_iter().chain(extra) {
            if !clicked.contains(&i) {
                clicked.push(i);
            }
        }
        clicked
    }

    /// The sequence that plays, or else the loop.
    pub(crate) fn play_request(&self) -> PlayRequest {
        if let Some(spec) = grid_search::preview(self).or_else(|| tapping::recording_loop(self)) {
            return PlayRequest::Loop(spec);
        }
        practice::sequence(self).map_or_else(|| PlayRequest::Loop(self.loop_spec()), PlayRequest::Sequence)
    }

    /// The same with what comes before it when it is started.
    pub(crate) fn start_request(&self) -> PlayRequest {
        match self.play_request() {
            PlayRequest::Loop(spec) if self.playback.sound.count_in => PlayRequest::CountedLoop(spec),
            request => request,
        }
    }

    pub(crate) fn loop_range(&self) -> Range {
        match (self.playback.loop_mode, self.session.loop_region()) {
            (LoopMode::Region, Some(LoopRegion { start, end })) => {
                Range::Region { first: start.section, from: start.at, last: end.section, to: end.at }
            }
            (LoopMode::Section, _) => Range::Section(self.session.cursor().place.section),
            (LoopMode::All | LoopMode::Region, _) => Range::Whole,
        }
    }

    /// The first pass that a loop has of its first section.
    pub(crate) fn first_pass(&self, range: Range) -> usize {
        match range {
            Range::Region { first, last, .. } if first < last => {
                self.groove().sections().get(first).map_or(0, |s| usize::from(s.times).saturating_sub(1))
            }
            _ => 0,
        }
    }

    pub(crate) fn loop_spec(&self) -> LoopSpec {
        self.with_recording(self.loop_spec_with(self.playback.mix))
    }

    /// The loop with another mix, without the recording.
    pub(crate) fn loop_spec_with(&self, mix: Mix) -> LoopSpec {
        let range = self.loop_range();
        LoopSpec {
            groove: self.previewed().clone(),
            speed: self.speed(),
            range,
            layers: mix.layers,
            beat: if mix.beat { self.playback.beat_click } else { Click::Off },
            click_db: self.playback.sound.click_db as f32,
            click_sound: self.playback.sound.click_sound,
            hearings: self.hearing_clicks(range, &self.clicked_hearings(mix.hearing)),
            recording: None,
        }
    }

    fn hearing_clicks(&self, range: Range, hearings: &[usize]) -> Vec<HearingClicks> {
        let Some((report, _)) = self.report() else { return Vec::new() };
        let clock = &report.clock;
        let lead = match range {
            Range::Whole => Some(0.0),
            Range::Section(section) => clock.seconds(section, 0, Time::ZERO),
            Range::Region { first, from, .. } => clock.seconds(first, self.first_pass(range), from),
        };
        let clicks = |(index, &hearing): (usize, &usize)| {
            Some(HearingClicks {
                seconds: Arc::new(report.hearings.get(hearing)?.pulses.clone()),
                length: clock.total(),
                click: self.playback.hearing_click,
                index: index as u8,
                lead: lead.unwrap_or(0.0),
            })
        };
        hearings.iter().enumerate().filter_map(clicks).collect()
    }
}
