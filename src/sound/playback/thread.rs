//! The playback thread: handles requests, polls the output device and reports what is heard.

use super::sequence::SequencePlayback;
use super::{
    EventSink, LoopSpec, Orders, PlayRequest, PlaybackEvent, PlaybackRequest, Requests, SampleLoader, TapPosition,
};
use crate::rhythm::Groove;
use crate::sound::track::Tracks;
use crate::sound::{DeviceEvent, Player, Playhead, Position, SampleRate, Segment, UserSamples};
use std::mem;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Interval between reports of the position.
const POSITION_INTERVAL: Duration = Duration::from_millis(16);

const IDLE_INTERVAL: Duration = Duration::from_millis(200);

/// Chunks of a recording that are prepared between two polls: 0.3 s at 48 kHz.
const CHUNKS_PER_POLL: usize = 8;

/// Maximum time until a request is heard.
const SETTLE_TIME: Duration = Duration::from_secs(2);

/// Loads samples and reports problems with them.
pub(super) struct Samples {
    pub(super) load: SampleLoader,
    pub(super) events: EventSink,
    /// The frames of recordings that may still be heard.
    pub(super) tracks: Arc<Mutex<Tracks>>,
}

impl Samples {
    pub(super) fn load(&mut self, groove: &Groove, rate: SampleRate) -> UserSamples {
        let (mut samples, problems) = (self.load)(groove, rate);
        samples.set_tracks(Arc::clone(&self.tracks));
        if !problems.is_empty() {
            (self.events)(PlaybackEvent::Warning(problems.join("; ")));
        }
        samples
    }

    fn segment(&mut self, spec: &LoopSpec, rate: SampleRate) -> Segment {
        let samples = self.load(&spec.groove, rate);
        Segment::new(spec.take().schedule(&spec.groove, rate, &samples))
    }

    /// The loop as a segment that follows a count-in and begins at a position.
    fn segment_from(&mut self, spec: &LoopSpec, from: Option<Position>, rate: SampleRate) -> Segment {
        let segment = self.segment(spec, rate);
        let frame = from.and_then(|position| segment.schedule.as_ref()?.map.frame(position)).unwrap_or_default();
        segment.prepare_at(frame);
        segment.starting_at(frame)
    }
}

#[derive(Default)]
enum Playing {
    #[default]
    Nothing,
    Loop(LoopPlayback),
    Sequence(SequencePlayback),
}

/// A loop and the ids of its segments: several if it has replaced a sequence, until it is known which one is heard.
struct LoopPlayback {
    spec: LoopSpec,
    segments: Vec<u64>,
    since: Instant,
    /// Until the loop is heard.
    count_in: Option<PendingCountIn>,
}

/// A count-in that is heard before a loop.
#[derive(Debug, Clone, Copy)]
struct PendingCountIn {
    segment: u64,
    /// Where the loop begins; at its start without a position.
    from: Option<Position>,
}

impl LoopPlayback {
    fn new(spec: LoopSpec, segments: Vec<u64>) -> Self {
        Self { spec, segments, since: Instant::now(), count_in: None }
    }

    fn is_count_in(&self, segment: u64) -> bool {
        self.count_in.is_some_and(|count_in| count_in.segment == segment)
    }

    /// Drops ids of segments that have finished, and after [`SETTLE_TIME`] those that never started.
    fn on_heard(&mut self, segment: u64) {
        if self.segments.contains(&segment) {
            self.count_in = None;
            let settled = self.since.elapsed() > SETTLE_TIME;
            self.segments.retain(|l| *l == segment || (*l > segment && !settled));
        }
    }
}

pub(super) struct PlaybackThread {
    playing: Playing,
    samples: Samples,
    /// Volume of the output in dB.
    volume: f32,
    lookahead: Duration,
    /// Gaps since the last play request.
    gaps: u64,
}

impl PlaybackThread {
    pub(super) fn new(samples: Samples) -> Self {
        Self { playing: Playing::Nothing, samples, volume: 0.0, lookahead: Duration::ZERO, gaps: 0 }
    }

    /// Runs until the requests are closed; the sound fades then.
    pub(super) fn run(&mut self, requests: &Requests, output: Option<&str>) {
        let mut opened: Option<Player> = None;
        loop {
            let waited = match self.playing {
                _ if opened.is_none() => requests.take(),
                Playing::Nothing => requests.take_within(IDLE_INTERVAL),
                _ => requests.take_within(POSITION_INTERVAL),
            };
            let Ok(orders) = waited else { break };
            if opened.is_none() && matches!(orders.request, Some(PlaybackRequest::Play(..))) {
                match Player::open(output) {
                    Ok(mut player) => {
                        player.set_volume(self.volume);
                        opened = Some(player);
                    }
                    Err(error) => self.send(PlaybackEvent::Device(Err(error.to_string()))),
                }
            }
            self.volume = orders.volume.unwrap_or(self.volume);
            self.lookahead = orders.lookahead.unwrap_or(self.lookahead);
            if let Some(player) = &mut opened {
                self.advance(orders, player);
            }
        }
        opened.into_iter().for_each(Player::end);
    }

    fn advance(&mut self, orders: Orders, player: &mut Player) {
        if let Some(db) = orders.volume {
            player.set_volume(db);
        }
        if let Some(request) = orders.request {
            self.handle(request, player);
        }
        if orders.reload {
            self.reload(player);
        }
        self.samples.tracks.lock().unwrap_or_else(PoisonError::into_inner).prepare(CHUNKS_PER_POLL);
        self.poll_output(player);
        self.queue_takes(player);
        self.report_taps(&orders.taps, player);
        self.report_gaps(player);
        self.report_position(player);
    }

    fn send(&self, event: PlaybackEvent) {
        (self.samples.events)(event);
    }

    fn handle(&mut self, request: PlaybackRequest, player: &mut Player) {
        if matches!(request, PlaybackRequest::Play(..)) {
            self.send(PlaybackEvent::Device(Ok(())));
            self.gaps = 0;
            player.take_gaps();
        }
        self.playing = match (request, mem::take(&mut self.playing)) {
            (PlaybackRequest::Play(PlayRequest::Loop(spec), start), _) => {
                let segment = self.samples.segment(&spec, player.handle.rate);
                Playing::Loop(LoopPlayback::new(spec, vec![player.start(segment, start.map(|s| s.position))]))
            }
            (PlaybackRequest::Play(PlayRequest::CountedLoop(spec), start), _) => {
                self.count_in(spec, start.map(|s| s.position), player)
            }
            (PlaybackRequest::Play(PlayRequest::Sequence(sequence), start), _) => {
                let mut playback = SequencePlayback::new(sequence);
                match start {
                    Some(start) => playback.begin_at(start, player, &mut self.samples),
                    None => playback.begin(0, None, player, &mut self.samples),
                }
                Playing::Sequence(playback)
            }
            (PlaybackRequest::Change(PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec)), Playing::Loop(old)) => {
                self.replace_loop(LoopPlayback { spec, ..old }, player)
            }
            // Switches the segment that is heard to the loop.
            (
                PlaybackRequest::Change(PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec)),
                Playing::Sequence(old),
            ) => self.replace_loop(LoopPlayback::new(spec, old.sent().collect()), player),
            (PlaybackRequest::Change(PlayRequest::Sequence(sequence)), Playing::Sequence(mut playback)) => {
                playback.change(sequence, player, &mut self.samples);
                Playing::Sequence(playback)
            }
            (PlaybackRequest::Step(sequence), Playing::Sequence(playback)) => {
                let mut playback = playback.step(sequence);
                playback.begin_after_pass(player, &mut self.samples);
                Playing::Sequence(playback)
            }
            (PlaybackRequest::Stop, _) => {
                player.stop();
                Playing::Nothing
            }
            (PlaybackRequest::Change(_) | PlaybackRequest::Step(_), playing) => playing,
        };
    }

    /// Plays the count-in, and then the loop from a position or from its start.
    fn count_in(&mut self, spec: LoopSpec, from: Option<Position>, player: &mut Player) -> Playing {
        let rate = player.handle.rate;
        let Some(clicks) = spec.counted_take(from).count_in_schedule(&spec.groove, rate) else {
            let segment = self.samples.segment(&spec, rate);
            return Playing::Loop(LoopPlayback::new(spec, vec![player.start(segment, from)]));
        };
        let segment = player.start(Segment::new(clicks).passes(1), None);
        let id = player.handle.queue(self.samples.segment_from(&spec, from, rate));
        let count_in = Some(PendingCountIn { segment, from });
        Playing::Loop(LoopPlayback { count_in, ..LoopPlayback::new(spec, vec![id]) })
    }

    fn replace_loop(&mut self, playback: LoopPlayback, player: &mut Player) -> Playing {
        let from = playback.count_in.and_then(|count_in| count_in.from);
        let heard = player.playhead(Instant::now()).map(|head| head.position);
        for id in &playback.segments {
            let segment = self.samples.segment_from(&playback.spec, from, player.handle.rate);
            if let Some(frame) = heard.and_then(|position| segment.schedule.as_ref()?.map.frame(position)) {
                segment.prepare_at(frame);
            }
            player.handle.replace(*id, segment);
        }
        Playing::Loop(playback)
    }

    fn reload(&mut self, player: &mut Player) {
        let request = match &self.playing {
            Playing::Nothing => return,
            Playing::Loop(playback) => PlayRequest::Loop(playback.spec.clone()),
            Playing::Sequence(playback) => PlayRequest::Sequence(playback.sequence.clone()),
        };
        self.handle(PlaybackRequest::Change(request), player);
    }

    fn poll_output(&mut self, player: &mut Player) {
        while let Some(event) = player.tick(Instant::now()) {
            let plays = !matches!(self.playing, Playing::Nothing);
            if let DeviceEvent::ReopenedAtNewRate(Some(head)) = &event {
                self.resend(head, player);
            }
            if plays {
                self.send(PlaybackEvent::Warning(match event {
                    DeviceEvent::Lost(error) => format!("{error}; playback continues when the device is back"),
                    DeviceEvent::Reopened | DeviceEvent::ReopenedAtNewRate(_) => "the output device is back".into(),
                }));
            }
        }
    }

    /// Rebuilds what plays for the current device, and continues from this position.
    fn resend(&mut self, head: &Playhead, player: &mut Player) {
        self.playing = match mem::take(&mut self.playing) {
            Playing::Nothing => Playing::Nothing,
            Playing::Loop(LoopPlayback { spec, count_in: Some(pending), .. }) if pending.segment == head.segment => {
                self.count_in(spec, pending.from, player)
            }
            Playing::Loop(LoopPlayback { spec, .. }) => {
                let segment = self.samples.segment(&spec, player.handle.rate);
                Playing::Loop(LoopPlayback::new(spec, vec![player.start(segment, Some(head.position))]))
            }
            Playing::Sequence(mut playback) => {
                playback.resume(head, player, &mut self.samples);
                Playing::Sequence(playback)
            }
        };
    }

    /// Queues the next takes of a sequence and reports its end.
    fn queue_takes(&mut self, player: &mut Player) {
        if let Playing::Sequence(playback) = &mut self.playing {
            playback.send(player, &mut self.samples);
            if playback.next.is_empty() && player.handle.has_ended() {
                let ended = PlaybackEvent::SequenceEnded(playback.sequence.number);
                self.playing = Playing::Nothing;
                self.send(ended);
            }
        }
    }

    /// Reports what was heard when keys were tapped. Only a loop can be tapped to.
    fn report_taps(&self, taps: &[Instant], player: &mut Player) {
        let Playing::Loop(playback) = &self.playing else { return };
        for at in taps {
            let Some(head) = player.playhead(*at).filter(|head| !playback.is_count_in(head.segment)) else { continue };
            self.send(PlaybackEvent::Tapped(TapPosition {
                position: head.position,
                loop_passes: head.loop_pass,
                buffer_ms: player.playhead_error() * 1000.0,
            }));
        }
    }

    fn report_gaps(&mut self, player: &mut Player) {
        let new = player.take_gaps();
        if new > 0 && !matches!(self.playing, Playing::Nothing) {
            self.gaps += new;
            self.send(PlaybackEvent::Gaps(self.gaps));
        }
    }

    /// Reports the position, and the take of a sequence.
    fn report_position(&mut self, player: &mut Player) {
        if matches!(self.playing, Playing::Nothing) {
            return;
        }
        let head = player.playhead(Instant::now() + self.lookahead);
        let mut is_count_in = false;
        match (&mut self.playing, &head) {
            (Playing::Sequence(playback), Some(h)) => {
                let position = playback.position(h.segment, h.loop_pass);
                is_count_in = playback.is_count_in();
                if let Some(position) = position {
                    self.send(PlaybackEvent::Take(position));
                }
            }
            (Playing::Loop(playback), Some(h)) => {
                playback.on_heard(h.segment);
                is_count_in = playback.is_count_in(h.segment);
            }
            _ => {}
        }
        self.send(match head {
            Some(head) if is_count_in => PlaybackEvent::CountIn(head.position),
            head => PlaybackEvent::Tick(head.map(|h| h.position)),
        });
    }
}

#[cfg(test)]
mod tests;
