//! The playback thread: handles requests, polls the output and reports what is heard.

use super::super::super::Event;
use super::super::super::event::RemoteEvent;
use super::super::super::playback::request::TapPosition;
use super::super::latest_slot::LatestSlot;
use super::samples::UserSampleLoader;
use super::sequence::SequencePlayback;
use super::{PendingRemote, Request, Volume};
use crate::jobs::play_request::{LoopSpec, PlayRequest};
use crate::sound::{AudioBackend, DeviceEvent, OutputEvent, Playhead};
use std::mem;
use std::sync::PoisonError;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{Receiver, Sender};
use std::time::{Duration, Instant};

/// Interval between position reports.
const POSITION_INTERVAL: Duration = Duration::from_millis(16);
/// Interval between checks of the device while nothing plays.
const IDLE_INTERVAL: Duration = Duration::from_millis(200);

/// Longest time until a request is heard.
const SETTLE_TIME: Duration = Duration::from_secs(2);

/// Available outputs: the configured device, or a remote speaker that was connected.
pub(crate) struct OutputConfig<'a> {
    pub output: Option<&'a str>,
    pub pending_remote: &'a PendingRemote,
    pub volume: &'a Volume,
}

/// The receiver of events is gone: the program has ended.
pub(crate) struct Disconnected;

/// What plays.
#[derive(Default)]
enum Now {
    #[default]
    Nothing,
    Loop(LoopPlayback),
    Sequence(SequencePlayback),
}

/// A loop and the ids of its segments: one, or all segments of the sequence that it replaced, until it is known which one is
/// heard.
struct LoopPlayback {
    what: LoopSpec,
    segments: Vec<u64>,
    since: Instant,
}

impl LoopPlayback {
    fn new(what: LoopSpec, segments: Vec<u64>) -> Self {
        Self { what, segments, since: Instant::now() }
    }

    /// Drops ids of segments that have finished, and after [`SETTLE_TIME`] those that never started.
    fn heard(&mut self, segment: u64) {
        if self.segments.contains(&segment) {
            let settled = self.since.elapsed() > SETTLE_TIME;
            self.segments.retain(|l| *l == segment || (*l > segment && !settled));
        }
    }
}

/// State of the playback thread.
pub(crate) struct PlaybackThread {
    now: Now,
    own: UserSampleLoader,
    events: Sender<Event>,
    /// Current master volume of the output in dB.
    volume: f32,
}

impl PlaybackThread {
    /// A thread that plays nothing yet.
    pub(crate) fn new(own: UserSampleLoader, events: Sender<Event>) -> Self {
        Self { now: Now::Nothing, own, events, volume: 0.0 }
    }

    /// Runs until the handle is dropped. The local output is opened on the first play request.
    ///
    /// # Errors
    /// [`Disconnected`].
    pub(crate) fn run(
        mut self,
        slot: &LatestSlot<Request>,
        taps: &Receiver<Instant>,
        places: &OutputConfig<'_>,
    ) -> Result<(), Disconnected> {
        let mut output: Option<AudioBackend> = None;
        let done = self.works(&mut output, slot, taps, places);
        output.into_iter().for_each(AudioBackend::end);
        done
    }

    fn works(
        &mut self,
        output: &mut Option<AudioBackend>,
        slot: &LatestSlot<Request>,
        taps: &Receiver<Instant>,
        places: &OutputConfig<'_>,
    ) -> Result<(), Disconnected> {
        loop {
            let request = if output.is_some() {
                let pause = if matches!(self.now, Now::Nothing) { IDLE_INTERVAL } else { POSITION_INTERVAL };
                let Ok(request) = slot.take_within(pause) else { return Ok(()) };
                request
            } else {
                let Some(request) = slot.take() else { return Ok(()) };
                Some(request)
            };
            if let Some(far) = places.pending_remote.lock().unwrap_or_else(PoisonError::into_inner).take() {
                self.now = Now::Nothing;
                self.own.set_remote(true);
                self.tell(Event::Remote(RemoteEvent::Connected(far.port())));
                self.volume = 0.0;
                output.replace(AudioBackend::Remote(far)).into_iter().for_each(AudioBackend::end);
            }
            if output.is_none() && matches!(request, Some(Request::Play(..))) {
                match AudioBackend::local(places.output) {
                    Ok(opened) => {
                        self.volume = 0.0;
                        *output = Some(opened);
                    }
                    Err(error) => self.tell(Event::Device(Err(error.to_string()))),
                }
            }
            let Some(player) = output.as_mut() else { continue };
            let volume = f32::from_bits(places.volume.load(Ordering::Relaxed));
            if volume != self.volume {
                player.set_volume(volume);
                self.volume = volume;
            }
            if let Some(request) = request {
                self.handle(request, player);
            }
            if let Err(words) = self.poll_output(player) {
                *output = None;
                self.now = Now::Nothing;
                self.own.set_remote(false);
                self.tell(Event::Remote(RemoteEvent::Closed(words)));
                continue;
            }
            self.advance(player)?;
            self.report_taps(taps, player);
            self.report_position(player)?;
        }
    }

    /// Sends an event whose receiver may be gone.
    fn tell(&self, event: Event) {
        drop(self.events.send(event));
    }

    /// Handles a request.
    fn handle(&mut self, request: Request, player: &mut AudioBackend) {
        if matches!(request, Request::Play(..)) {
            self.tell(Event::Device(Ok(())));
        }
        self.now = match (request, mem::take(&mut self.now)) {
            (Request::Play(PlayRequest::Loop(what), from), _) => {
                let segment = self.own.segment(&what, player.rate());
                Now::Loop(LoopPlayback::new(what, vec![player.start(segment, from)]))
            }
            (Request::Play(PlayRequest::Sequence(sequence), _), _) => {
                self.begin(SequencePlayback::new(sequence), player, true)
            }
            (Request::Change(PlayRequest::Loop(what)), Now::Loop(round)) => {
                self.replace_loop(LoopPlayback { what, ..round }, player)
            }
            // Switch the segment being heard to the loop.
            (Request::Change(PlayRequest::Loop(what)), Now::Sequence(plan)) => {
                self.replace_loop(LoopPlayback::new(what, plan.sent().collect()), player)
            }
            (Request::Change(PlayRequest::Sequence(sequence)), Now::Sequence(mut plan)) => {
                plan.change(sequence, player, &mut self.own);
                Now::Sequence(plan)
            }
            (Request::Step(sequence), Now::Sequence(plan)) => self.begin(plan.step(sequence), player, false),
            (Request::Stop, _) => {
                player.stop();
                Now::Nothing
            }
            (Request::Change(_) | Request::Step(_) | Request::Poll, now) => now,
        };
    }

    /// Replaces the segments of a loop.
    fn replace_loop(&mut self, round: LoopPlayback, player: &mut AudioBackend) -> Now {
        for id in &round.segments {
            player.replace(*id, self.own.segment(&round.what, player.rate()));
        }
        Now::Loop(round)
    }

    /// Starts a sequence now or after the current pass.
    fn begin(&mut self, mut plan: SequencePlayback, player: &mut AudioBackend, now: bool) -> Now {
        plan.begin(player, &mut self.own, now);
        Now::Sequence(plan)
    }

    /// Polls the output and reports its events.
    ///
    /// # Errors
    /// The reason why the output is gone for good.
    fn poll_output(&mut self, player: &mut AudioBackend) -> Result<(), String> {
        while let Some(happening) = player.tick() {
            let plays = !matches!(self.now, Now::Nothing);
            let news = match happening {
                OutputEvent::Closed(error) => return Err(error.to_string()),
                OutputEvent::Refused(words) => {
                    self.now = Now::Nothing;
                    self.tell(Event::Remote(RemoteEvent::Refused(words)));
                    continue;
                }
                OutputEvent::ResendAll(head) => {
                    self.resend(&head, player);
                    continue;
                }
                OutputEvent::Device(news) => news,
            };
            if let DeviceEvent::ReopenedAtNewRate(Some(head)) = &news {
                self.resend(head, player);
            }
            let told = match (news, player.is_remote()) {
                (DeviceEvent::Lost(error), true) => Event::Remote(RemoteEvent::Lost(error.reason().to_owned())),
                (DeviceEvent::Reopened | DeviceEvent::ReopenedAtNewRate(_), true) => {
                    Event::Remote(RemoteEvent::Reconnected)
                }
                (DeviceEvent::Lost(error), false) => {
                    Event::SoundWarning(format!("{error}; playback continues when the device is back"))
                }
                (DeviceEvent::Reopened | DeviceEvent::ReopenedAtNewRate(_), false) => {
                    Event::SoundWarning("the output device is back".into())
                }
            };
            if plays || player.is_remote() {
                self.tell(told);
            }
        }
        Ok(())
    }

    /// Continues from this position with everything rebuilt for the current device.
    fn resend(&mut self, head: &Playhead, player: &mut AudioBackend) {
        self.now = match mem::take(&mut self.now) {
            Now::Nothing => Now::Nothing,
            Now::Loop(LoopPlayback { what, .. }) => {
                let segment = self.own.segment(&what, player.rate());
                Now::Loop(LoopPlayback::new(what, vec![player.start(segment, Some(head.position()))]))
            }
            Now::Sequence(mut plan) => {
                plan.resume(head, player, &mut self.own);
                Now::Sequence(plan)
            }
        };
    }

    /// Queues the next takes of a sequence and reports its end.
    fn advance(&mut self, player: &mut AudioBackend) -> Result<(), Disconnected> {
        if let Now::Sequence(plan) = &mut self.now {
            plan.send(player, &mut self.own);
            if plan.is_sent() && player.has_ended() {
                let ended = Event::SequenceEnded(plan.number());
                self.now = Now::Nothing;
                self.events.send(ended).map_err(|_| Disconnected)?;
            }
        }
        Ok(())
    }

    /// Reports what was heard when keys were tapped. Only a loop can be tapped to.
    fn report_taps(&self, taps: &Receiver<Instant>, player: &mut AudioBackend) {
        for at in taps.try_iter() {
            let heard = player.playhead_at(at).filter(|_| matches!(self.now, Now::Loop(..))).map(|h| TapPosition {
                position: h.position(),
                loop_passes: h.loop_pass,
                buffer_ms: player.playhead_error() * 1000.0,
            });
            if let Some(heard) = heard {
                self.tell(Event::Tapped(heard));
            }
        }
    }

    /// Reports the position, and the take of a sequence.
    fn report_position(&mut self, player: &mut AudioBackend) -> Result<(), Disconnected> {
        if matches!(self.now, Now::Nothing) {
            return Ok(());
        }
        let head = player.playhead();
        match (&mut self.now, &head) {
            (Now::Sequence(plan), Some(h)) => {
                if let Some(news) = plan.news(h.segment, h.loop_pass) {
                    self.tell(news);
                }
            }
            (Now::Loop(round), Some(h)) => round.heard(h.segment),
            _ => {}
        }
        self.events.send(Event::Tick(head.map(|h| h.position()))).map_err(|_| Disconnected)
    }
}

#[cfg(all(test, feature = "audio"))]
mod tests {
    use super::super::samples::BasePath;
    use super::*;
    use crate::jobs::play_request::{Sequence, SequenceTake};
    use crate::jobs::{Click, Range};
    use crate::rhythm::{Attack, Edit, Fraction, Groove, Meter, Place, Tempo, Time};
    use crate::sound::FakeDevice;
    use std::sync::{Arc, mpsc};

    /// An attack on every eighth of a bar of 4/4 at 240.
    fn playing(layers: bool) -> LoopSpec {
        let tempo = Tempo::new(Fraction::whole(240), Time::new(1, 4).expect("quarter")).expect("tempo");
        let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove");
        for k in 0..8 {
            let at = Place { layer: 0, section: 0, cell: 2 * k };
            groove = groove.edited(&Edit::Lay { at, cells: 2, attack: Attack::default() }).expect("an attack");
        }
        let (speed, range, beat) = (Fraction::ONE, Range::Whole, Click::Off);
        LoopSpec { groove: Arc::new(groove), speed, range, layers, beat, click_db: 0.0, hearings: Vec::new() }
    }

    /// Lets the device take frames while the thread runs; returns the greatest magnitude.
    fn advance(desk: &mut PlaybackThread, output: &mut AudioBackend, device: &FakeDevice, frames: usize) -> f32 {
        let mut peak = 0.0_f32;
        for _ in 0..frames / 1024 {
            peak = peak.max(device.pull(1024).0);
            assert!(
                desk.poll_output(output).is_ok()
                    && desk.advance(output).is_ok()
                    && desk.report_position(output).is_ok()
            );
        }
        peak
    }

    #[test]
    fn a_loop_in_the_place_of_takes_hears_every_later_edit() {
        let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        let device = FakeDevice::new(48_000);
        let mut output = AudioBackend::Local(device.player().expect("a device"));
        let (events, _told) = mpsc::channel();
        let mut desk = PlaybackThread::new(UserSampleLoader::new(BasePath::default(), events.clone()), events);
        let take = || SequenceTake { spec: playing(true), times: Some(1), count_in: false };
        let takes = Sequence { number: 1, takes: (0..9).map(|_| take()).collect(), at: 0, silence: None };
        desk.handle(Request::Play(PlayRequest::Sequence(takes), None), &mut output);
        assert!(advance(&mut desk, &mut output, &device, 60_000) > 0.01, "in the second take");
        desk.handle(Request::Change(PlayRequest::Loop(playing(true))), &mut output);
        assert!(advance(&mut desk, &mut output, &device, 200_000) > 0.01, "round and round");
        desk.handle(Request::Change(PlayRequest::Loop(playing(false))), &mut output);
        advance(&mut desk, &mut output, &device, 48_000);
        assert_eq!(advance(&mut desk, &mut output, &device, 96_000), 0.0, "no layer sounds");
        desk.handle(Request::Change(PlayRequest::Loop(playing(true))), &mut output);
        assert!(advance(&mut desk, &mut output, &device, 60_000) > 0.01, "it sounds again");
    }

    #[test]
    fn of_the_legs_in_the_place_of_takes_one_is_left() {
        let mut round = LoopPlayback::new(playing(true), vec![3, 4, 5, 6]);
        round.heard(9);
        assert_eq!(round.segments, [3, 4, 5, 6]);
        round.heard(4);
        assert_eq!(round.segments, [4, 5, 6], "what is asked last may not be heard yet");
        round.since = Instant::now().checked_sub(SETTLE_TIME * 2).expect("an instant");
        round.heard(5);
        assert_eq!(round.segments, [5]);
    }
}
