//! The playback thread: handles requests, polls the output and reports what is heard.

use super::super::super::Event;
use super::super::super::event::RemoteEvent;
use super::super::super::playback::request::TapPosition;
use super::super::Disconnected;
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

/// Maximum time until a request is heard.
const SETTLE_TIME: Duration = Duration::from_secs(2);

/// The configured device, a remote speaker if one was connected, and the volume of both.
pub(crate) struct OutputConfig {
    pub output: Option<String>,
    pub pending_remote: PendingRemote,
    pub volume: Volume,
}

#[derive(Default)]
enum Now {
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
}

impl LoopPlayback {
    fn new(spec: LoopSpec, segments: Vec<u64>) -> Self {
        Self { spec, segments, since: Instant::now() }
    }

    /// Drops ids of segments that have finished, and after [`SETTLE_TIME`] those that never started.
    fn on_heard(&mut self, segment: u64) {
        if self.segments.contains(&segment) {
            let settled = self.since.elapsed() > SETTLE_TIME;
            self.segments.retain(|l| *l == segment || (*l > segment && !settled));
        }
    }
}

pub(crate) struct PlaybackThread {
    now: Now,
    samples: UserSampleLoader,
    events: Sender<Event>,
    /// Volume of the output in dB.
    volume: f32,
}

impl PlaybackThread {
    pub(crate) fn new(samples: UserSampleLoader, events: Sender<Event>) -> Self {
        Self { now: Now::Nothing, samples, events, volume: 0.0 }
    }

    /// Runs until the handle is dropped. The local output is opened on the first play request.
    pub(crate) fn run(
        &mut self,
        slot: &LatestSlot<Request>,
        taps: &Receiver<Instant>,
        config: &OutputConfig,
    ) -> Result<(), Disconnected> {
        let mut output: Option<AudioBackend> = None;
        let result = self.run_on(&mut output, slot, taps, config);
        output.into_iter().for_each(AudioBackend::end);
        result
    }

    fn run_on(
        &mut self,
        output: &mut Option<AudioBackend>,
        slot: &LatestSlot<Request>,
        taps: &Receiver<Instant>,
        config: &OutputConfig,
    ) -> Result<(), Disconnected> {
        loop {
            let request = if output.is_some() {
                let timeout = if matches!(self.now, Now::Nothing) { IDLE_INTERVAL } else { POSITION_INTERVAL };
                let Ok(request) = slot.take_within(timeout) else { return Ok(()) };
                request
            } else {
                let Ok(request) = slot.take() else { return Ok(()) };
                Some(request)
            };
            if let Some(remote) = config.pending_remote.lock().unwrap_or_else(PoisonError::into_inner).take() {
                self.now = Now::Nothing;
                self.samples.set_remote(true);
                self.send(Event::Remote(RemoteEvent::Connected(remote.port())));
                self.volume = 0.0;
                output.replace(AudioBackend::Remote(remote)).into_iter().for_each(AudioBackend::end);
            }
            if output.is_none() && matches!(request, Some(Request::Play(..))) {
                match AudioBackend::local(config.output.as_deref()) {
                    Ok(opened) => {
                        self.volume = 0.0;
                        *output = Some(opened);
                    }
                    Err(error) => self.send(Event::Device(Err(error.to_string()))),
                }
            }
            let Some(player) = output.as_mut() else { continue };
            let volume = f32::from_bits(config.volume.load(Ordering::Relaxed));
            if volume != self.volume {
                player.set_volume(volume);
                self.volume = volume;
            }
            if let Some(request) = request {
                self.handle(request, player);
            }
            if let Err(reason) = self.poll_output(player) {
                *output = None;
                self.now = Now::Nothing;
                self.samples.set_remote(false);
                self.send(Event::Remote(RemoteEvent::Closed(reason)));
                continue;
            }
            self.advance(player)?;
            self.report_taps(taps, player);
            self.report_position(player)?;
        }
    }

    /// Sends an event whose receiver may be gone.
    fn send(&self, event: Event) {
        drop(self.events.send(event));
    }

    fn handle(&mut self, request: Request, player: &mut AudioBackend) {
        if matches!(request, Request::Play(..)) {
            self.send(Event::Device(Ok(())));
        }
        self.now = match (request, mem::take(&mut self.now)) {
            (Request::Play(PlayRequest::Loop(spec), from), _) => {
                let segment = self.samples.segment(&spec, player.rate());
                Now::Loop(LoopPlayback::new(spec, vec![player.start(segment, from)]))
            }
            (Request::Play(PlayRequest::Sequence(sequence), _), _) => {
                self.begin(SequencePlayback::new(sequence), player, true)
            }
            (Request::Change(PlayRequest::Loop(spec)), Now::Loop(old)) => {
                self.replace_loop(LoopPlayback { spec, ..old }, player)
            }
            // Switches the segment that is heard to the loop.
            (Request::Change(PlayRequest::Loop(spec)), Now::Sequence(old)) => {
                self.replace_loop(LoopPlayback::new(spec, old.sent().collect()), player)
            }
            (Request::Change(PlayRequest::Sequence(sequence)), Now::Sequence(mut playback)) => {
                playback.change(sequence, player, &mut self.samples);
                Now::Sequence(playback)
            }
            (Request::Step(sequence), Now::Sequence(playback)) => self.begin(playback.step(sequence), player, false),
            (Request::Stop, _) => {
                player.stop();
                Now::Nothing
            }
            (Request::Change(_) | Request::Step(_) | Request::Poll, now) => now,
        };
    }

    fn replace_loop(&mut self, playback: LoopPlayback, player: &mut AudioBackend) -> Now {
        for id in &playback.segments {
            player.replace(*id, self.samples.segment(&playback.spec, player.rate()));
        }
        Now::Loop(playback)
    }

    /// Starts a sequence now or after the current pass.
    fn begin(&mut self, mut playback: SequencePlayback, player: &mut AudioBackend, now: bool) -> Now {
        playback.begin(player, &mut self.samples, now);
        Now::Sequence(playback)
    }

    /// Polls the output and reports its events. An error is the reason why the output is gone for good.
    fn poll_output(&mut self, player: &mut AudioBackend) -> Result<(), String> {
        while let Some(event) = player.tick() {
            let plays = !matches!(self.now, Now::Nothing);
            let device_event = match event {
                OutputEvent::Closed(error) => return Err(error.to_string()),
                OutputEvent::Refused(reason) => {
                    self.now = Now::Nothing;
                    self.send(Event::Remote(RemoteEvent::Refused(reason)));
                    continue;
                }
                OutputEvent::ResendAll(head) => {
                    self.resend(&head, player);
                    continue;
                }
                OutputEvent::Device(event) => event,
            };
            if let DeviceEvent::ReopenedAtNewRate(Some(head)) = &device_event {
                self.resend(head, player);
            }
            let event = match (device_event, player.is_remote()) {
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
                self.send(event);
            }
        }
        Ok(())
    }

    /// Rebuilds what plays for the current device, and continues from this position.
    fn resend(&mut self, head: &Playhead, player: &mut AudioBackend) {
        self.now = match mem::take(&mut self.now) {
            Now::Nothing => Now::Nothing,
            Now::Loop(LoopPlayback { spec, .. }) => {
                let segment = self.samples.segment(&spec, player.rate());
                Now::Loop(LoopPlayback::new(spec, vec![player.start(segment, Some(head.position))]))
            }
            Now::Sequence(mut playback) => {
                playback.resume(head, player, &mut self.samples);
                Now::Sequence(playback)
            }
        };
    }

    /// Queues the next takes of a sequence and reports its end.
    fn advance(&mut self, player: &mut AudioBackend) -> Result<(), Disconnected> {
        if let Now::Sequence(playback) = &mut self.now {
            playback.send(player, &mut self.samples);
            if playback.is_sent() && player.has_ended() {
                let ended = Event::SequenceEnded(playback.sequence.number);
                self.now = Now::Nothing;
                self.events.send(ended)?;
            }
        }
        Ok(())
    }

    /// Reports what was heard when keys were tapped. Only a loop can be tapped to.
    fn report_taps(&self, taps: &Receiver<Instant>, player: &mut AudioBackend) {
        for at in taps.try_iter() {
            let tap = player.playhead_at(at).filter(|_| matches!(self.now, Now::Loop(..))).map(|h| TapPosition {
                position: h.position,
                loop_passes: h.loop_pass,
                buffer_ms: player.playhead_error() * 1000.0,
            });
            if let Some(tap) = tap {
                self.send(Event::Tapped(tap));
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
            (Now::Sequence(playback), Some(h)) => {
                if let Some(event) = playback.event(h.segment, h.loop_pass) {
                    self.send(event);
                }
            }
            (Now::Loop(playback), Some(h)) => playback.on_heard(h.segment),
            _ => {}
        }
        Ok(self.events.send(Event::Tick(head.map(|h| h.position)))?)
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
            groove = groove.edited(&Edit::Enter { at, cells: 2, attack: Attack::default() }).expect("an attack");
        }
        let (speed, range, beat) = (Fraction::ONE, Range::Whole, Click::Off);
        LoopSpec { groove: Arc::new(groove), speed, range, layers, beat, click_db: 0.0, hearings: Vec::new() }
    }

    /// Lets the device take frames while the thread runs; returns the greatest magnitude.
    fn advance(thread: &mut PlaybackThread, output: &mut AudioBackend, device: &FakeDevice, frames: usize) -> f32 {
        let mut peak = 0.0_f32;
        for _ in 0..frames / 1024 {
            peak = peak.max(device.pull(1024).0);
            assert!(
                thread.poll_output(output).is_ok()
                    && thread.advance(output).is_ok()
                    && thread.report_position(output).is_ok()
            );
        }
        peak
    }

    #[test]
    fn a_loop_that_replaced_takes_follows_every_later_edit() {
        let _alone = crate::sound::STDERR_LOCK.lock().unwrap_or_else(PoisonError::into_inner);
        let device = FakeDevice::new(48_000);
        let mut output = AudioBackend::Local(device.player().expect("a device"));
        let (events, _receiver) = mpsc::channel();
        let mut thread = PlaybackThread::new(UserSampleLoader::new(BasePath::default(), events.clone()), events);
        let take = || SequenceTake { spec: playing(true), times: Some(1), count_in: false };
        let takes = Sequence { number: 1, takes: (0..9).map(|_| take()).collect(), at: 0, silence: None };
        thread.handle(Request::Play(PlayRequest::Sequence(takes), None), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 60_000) > 0.01, "in the second take");
        thread.handle(Request::Change(PlayRequest::Loop(playing(true))), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 200_000) > 0.01, "the loop");
        thread.handle(Request::Change(PlayRequest::Loop(playing(false))), &mut output);
        advance(&mut thread, &mut output, &device, 48_000);
        assert_eq!(advance(&mut thread, &mut output, &device, 96_000), 0.0, "no layer sounds");
        thread.handle(Request::Change(PlayRequest::Loop(playing(true))), &mut output);
        assert!(advance(&mut thread, &mut output, &device, 60_000) > 0.01, "it sounds again");
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
