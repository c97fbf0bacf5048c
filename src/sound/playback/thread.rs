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
mod tests {
    use super::super::{ResumePoint, Sequence, SequenceTake};
    use super::*;
    use crate::rhythm::{Attack, Edit, Fraction, Meter, Place, Tempo, Time};
    use crate::sound::{Click, FakeDevice, Range};
    use std::sync::mpsc;

    /// An attack on every eighth of a bar of 4/4 at 240.
    fn playing(layers: bool) -> LoopSpec {
        let tempo = Tempo::new(Fraction::whole(240), Time::new(1, 4).expect("quarter")).expect("tempo");
        let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        for k in 0..8 {
            let at = Place { layer: 0, section: 0, cell: 2 * k };
            groove = groove.edited(&Edit::Enter { at, cells: 2, attack: Attack::default() }).expect("an attack");
        }
        let (speed, range, beat) = (Fraction::ONE, Range::Whole, Click::Off);
        LoopSpec {
            groove: Arc::new(groove),
            speed,
            range,
            layers,
            beat,
            click_db: 0.0,
            click_sound: crate::rhythm::ClickSound::default(),
            hearings: Vec::new(),
            recording: None,
        }
    }

    /// A thread whose events the test receives.
    fn thread() -> (PlaybackThread, mpsc::Receiver<PlaybackEvent>) {
        let (sender, events) = mpsc::channel();
        let load: SampleLoader = Box::new(|_, _| (UserSamples::default(), Vec::new()));
        let send = move |event| drop(sender.send(event));
        (PlaybackThread::new(Samples { load, events: Arc::new(send), tracks: Arc::default() }), events)
    }

    fn ladder(takes: usize) -> PlayRequest {
        let take = || SequenceTake { spec: playing(true), times: Some(1), count_in: false };
        PlayRequest::Sequence(Sequence { number: 1, takes: (0..takes).map(|_| take()).collect(), at: 0, silence: None })
    }

    /// Lets the device take frames while the thread runs; returns the greatest magnitude.
    fn advance(thread: &mut PlaybackThread, output: &mut Player, device: &FakeDevice, frames: usize) -> f32 {
        let mut peak = 0.0_f32;
        for _ in 0..frames / 1024 {
            peak = peak.max(device.pull(1024).0);
            thread.advance(Orders::default(), output);
        }
        peak
    }

    #[test]
    fn a_loop_that_replaced_takes_follows_every_later_edit() {
        let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        let device = FakeDevice::new(48_000);
        let mut output = device.player().expect("a device");
        let (mut thread, _events) = thread();
        thread.handle(PlaybackRequest::Play(ladder(9), None), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 60_000) > 0.01, "in the second take");
        thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(true))), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 200_000) > 0.01, "the loop");
        thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(false))), &mut output);
        advance(&mut thread, &mut output, &device, 48_000);
        assert_eq!(advance(&mut thread, &mut output, &device, 96_000), 0.0, "no layer sounds");
        thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(true))), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 60_000) > 0.01, "it sounds again");
    }

    #[test]
    fn playback_continues_at_its_place_in_another_player() {
        let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        let position = Position { section: 0, pass: 0, wholes: 0.5 };
        let sequence = |count_in| {
            let take = SequenceTake { spec: playing(true), times: Some(4), count_in };
            PlayRequest::Sequence(Sequence { number: 7, takes: vec![take.clone(), take], at: 1, silence: None })
        };
        for request in [PlayRequest::Loop(playing(true)), sequence(false), sequence(true)] {
            let device = FakeDevice::new(48_000);
            let mut output = device.player().expect("a device");
            let (mut thread, events) = thread();
            let is_sequence = matches!(request, PlayRequest::Sequence(_));
            thread.handle(PlaybackRequest::Play(request, Some(ResumePoint { position, passes: 2 })), &mut output);
            advance(&mut thread, &mut output, &device, 8 * 1024);
            let events: Vec<PlaybackEvent> = events.try_iter().collect();
            let heard = events.iter().filter_map(|e| if let PlaybackEvent::Tick(Some(p)) = e { Some(p) } else { None });
            let first = heard.copied().next().expect("a position");
            // A whole note lasts a second at 240 quarters per minute. The device has 20 ms of silence before it, and took at most
            // 8 buffers.
            assert!((0.45..0.7).contains(&first.wholes), "{first:?}");
            let take = events.iter().find_map(|e| if let PlaybackEvent::Take(t) = e { Some(*t) } else { None });
            assert_eq!(take.map(|t| (t.take, t.is_count_in, t.pass)), is_sequence.then_some((1, false, 2)));
        }
    }

    #[test]
    fn a_loop_follows_its_count_in_from_its_position_and_with_every_edit() {
        let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        // Whether the count-in is heard, and the position, at each report.
        let heard = |events: &mpsc::Receiver<PlaybackEvent>| -> Vec<(bool, f64)> {
            let of = |event| match event {
                PlaybackEvent::CountIn(position) => Some((true, position.wholes)),
                PlaybackEvent::Tick(Some(position)) => Some((false, position.wholes)),
                _ => None,
            };
            events.try_iter().filter_map(of).collect()
        };
        let middle = Position { section: 0, pass: 0, wholes: 0.5 };
        for from in [None, Some(middle)] {
            let device = FakeDevice::new(48_000);
            let mut output = device.player().expect("a device");
            let (mut thread, events) = thread();
            let start = from.map(|position| ResumePoint { position, passes: 0 });
            // The layers are silent during the count-in: at first in the loop too.
            let request = PlayRequest::CountedLoop(playing(false));
            thread.handle(PlaybackRequest::Play(request, start), &mut output);
            assert!(advance(&mut thread, &mut output, &device, 20 * 1024) > 0.01, "clicks");
            let counted = heard(&events);
            assert!(counted.len() > 10 && counted.iter().all(|(counts, _)| *counts), "{counted:?}");
            thread.report_taps(&[Instant::now()], &mut output);
            assert!(!events.try_iter().any(|e| matches!(e, PlaybackEvent::Tapped(_))), "no tap before the loop");
            thread.handle(PlaybackRequest::Change(PlayRequest::Loop(playing(true))), &mut output);
            // A bar lasts 48000 frames.
            assert!(advance(&mut thread, &mut output, &device, 40 * 1024) > 0.01, "the edited loop");
            let all = heard(&events);
            let first = all.iter().find(|(counts, _)| !counts).expect("the loop");
            let expected = from.map_or(0.0, |position| position.wholes);
            assert!((expected..expected + 0.1).contains(&first.1), "{from:?} {first:?}");
            assert!(all.iter().skip_while(|(counts, _)| *counts).all(|(counts, _)| !counts), "{all:?}");
            thread.report_taps(&[Instant::now()], &mut output);
            assert!(events.try_iter().any(|e| matches!(e, PlaybackEvent::Tapped(_))));
        }
    }

    #[test]
    fn an_edit_before_the_player_starts_keeps_the_count_in() {
        let requests = Requests::new();
        requests.send(PlaybackRequest::Play(PlayRequest::CountedLoop(playing(true)), None));
        requests.send(PlaybackRequest::Change(PlayRequest::Loop(playing(false))));
        let waiting = requests.take().expect("orders").request;
        assert_eq!(waiting, Some(PlaybackRequest::Play(PlayRequest::CountedLoop(playing(false)), None)));
    }

    #[test]
    fn gaps_are_counted_from_the_last_start_while_something_plays() {
        let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        let device = FakeDevice::new(48_000);
        let mut output = device.player().expect("a device");
        let (mut thread, events) = thread();
        let mut run = |thread: &mut PlaybackThread, request: Option<PlaybackRequest>, stalls: usize| {
            if let Some(request) = request {
                thread.handle(request, &mut output);
            }
            for _ in 0..stalls {
                advance(thread, &mut output, &device, 4096);
                device.stall(Duration::from_millis(100));
            }
            advance(thread, &mut output, &device, 4096);
            let gaps = |e| if let PlaybackEvent::Gaps(n) = e { Some(n) } else { None };
            events.try_iter().filter_map(gaps).collect::<Vec<u64>>()
        };
        let play = || Some(PlaybackRequest::Play(PlayRequest::Loop(playing(true)), None));
        assert!(run(&mut thread, play(), 0).is_empty());
        assert_eq!(run(&mut thread, None, 3), [1, 2, 3]);
        assert_eq!(run(&mut thread, Some(PlaybackRequest::Change(PlayRequest::Loop(playing(true)))), 1), [4]);
        assert!(run(&mut thread, Some(PlaybackRequest::Stop), 2).is_empty(), "nothing plays");
        assert_eq!(run(&mut thread, play(), 1), [1]);
    }

    #[test]
    fn a_loop_that_replaced_takes_keeps_the_segment_that_is_heard() {
        let mut playback = LoopPlayback::new(playing(true), vec![3, 4, 5, 6]);
        playback.on_heard(9);
        assert_eq!(playback.segments, [3, 4, 5, 6]);
        playback.on_heard(4);
        assert_eq!(playback.segments, [4, 5, 6], "a later segment may not be heard yet");
        playback.since = Instant::now().checked_sub(SETTLE_TIME * 2).expect("an instant");
        playback.on_heard(5);
        assert_eq!(playback.segments, [5]);
    }
}
