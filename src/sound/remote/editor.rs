//! The far speaker as the editor sees it: as if it were a player on this machine.

use super::leg::pack_leg;
use super::line::{Line, LinkEvent, Sending};
use super::meet::{RemoteError, Right};
use super::message::{How, ToSpeaker};
use super::proof::Token;
use super::shelf::{SOUND, SOUNDS, pieces};
use super::track::Loop;
use crate::sound::backend::OutputEvent;
use crate::sound::position::{Playhead, Position, PositionMap};
use crate::sound::schedule::Schedule;
use crate::sound::segment::{MAX_QUEUED, Segment};
use crate::sound::units::{Frame, SampleRate};
use crate::sound::voice::SampleSource;
use crate::sound::{self, OutputError};
use std::collections::{HashSet, VecDeque};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Sendings of which a mark may still be on its way.
const SENDINGS: usize = 256;

/// The sound of this editor on another machine.
///
/// It has the methods of a player. When the line or the device is there again after a loss, it says from which place what is
/// to sound is to be sent anew, if it has not been stopped meanwhile.
#[derive(Debug)]
pub struct RemotePlayer {
    line: Line,
    /// Number of the line that all that is to sound was sent on.
    told: u64,
    rate: SampleRate,
    /// Last leg, and last sending.
    id: u64,
    generation: u64,
    maps: VecDeque<(u64, Arc<PositionMap>)>,
    playing: bool,
    /// Where to begin if nothing has been heard yet.
    from: Option<Playhead>,
    /// What the playhead told last.
    told_head: Option<Playhead>,
    gain: Option<f32>,
    /// The user's own sounds that were sent, by hash and rate.
    own: HashSet<(u64, u32)>,
    /// Why the last leg could not be sent.
    refused: Option<String>,
    port: u16,
}

#[allow(clippy::needless_pass_by_value, reason = "legs are given away, as to a player")]
impl RemotePlayer {
    /// Connects to a speaker through a port of this host, with the token that the speaker shows. This waits for some seconds at
    /// most.
    ///
    /// # Errors
    /// [`RemoteError`] in one line.
    pub fn connect(port: u16, token: &Token) -> Result<Self, RemoteError> {
        let line = Line::open(port, &Right::Token(token.clone()))?;
        let (hertz, told) = {
            let known = line.shared.known();
            (known.hertz.unwrap_or_default(), known.line)
        };
        let rate = SampleRate::new(hertz)
            .ok_or_else(|| RemoteError::NoDevice(format!("unsupported sample rate: {hertz} Hz")))?;
        Ok(Self {
            line,
            told,
            rate,
            id: 0,
            generation: 0,
            maps: VecDeque::new(),
            playing: false,
            from: None,
            told_head: None,
            gain: None,
            own: HashSet::new(),
            refused: None,
            port,
        })
    }

    /// The port of this host that leads to the speaker.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The frames per second of the speaker's device; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        self.line.shared.known().hertz.and_then(SampleRate::new).unwrap_or(self.rate)
    }

    /// Plays a leg from a place in the groove, or from its start, instead of all that is played and waits. Gives its number.
    pub fn start(&mut self, leg: Segment, place: Option<Position>) -> u64 {
        {
            // What is still on its way of former legs does not count any more.
            let mut known = self.line.shared.known();
            known.sent.clear();
            known.track.clear();
            (known.left, known.ended) = (None, 0);
        }
        self.maps.clear();
        self.id += 1;
        (self.playing, self.from, self.told_head) =
            (true, place.map(|position| Playhead { position, loop_pass: 0, segment: self.id }), None);
        let from = place.and_then(|p| leg.schedule.as_ref()?.map.frame(p)).unwrap_or_default();
        self.send_leg(How::Start(from.0 as u64), self.id, &leg);
        self.id
    }

    /// Lets a leg follow after all that wait, while there is room. Gives its number.
    pub fn queue(&mut self, leg: Segment) -> u64 {
        self.playing = true;
        self.id += 1;
        self.send_leg(How::Queue, self.id, &leg);
        self.id
    }

    /// Lets a leg follow at the end of the time through that is played, instead of all that wait. Gives its number.
    pub fn switch_to(&mut self, leg: Segment) -> u64 {
        {
            let mut known = self.line.shared.known();
            let heard = known.leg();
            known.sent.iter_mut().filter(|s| s.leg > heard).for_each(|s| s.passed = true);
        }
        self.playing = true;
        self.id += 1;
        self.send_leg(How::Then, self.id, &leg);
        self.id
    }

    /// Puts an edited leg in the place of the one of this number, without a gap.
    pub fn replace(&mut self, id: u64, leg: Segment) {
        self.told_head = None;
        if self.playing {
            self.send_leg(How::Replace, id, &leg);
        }
    }

    /// Whether one more leg may wait. What is played counts as waiting until it was heard.
    pub fn has_room(&mut self) -> bool {
        let known = self.line.shared.known();
        let heard = known.leg();
        let waiting: HashSet<u64> = known.sent.iter().map(|s| s.leg).filter(|leg| *leg > heard).collect();
        waiting.len() < MAX_QUEUED
    }

    /// Whether the last leg ended the playing.
    pub fn has_ended(&mut self) -> bool {
        self.playing && self.id > 0 && self.line.shared.known().ended == self.id
    }

    /// Sends a leg, after the user's own sounds that it needs and that were not sent yet.
    fn send_leg(&mut self, how: How, id: u64, leg: &Segment) {
        let Some(schedule) = &leg.schedule else { return };
        let packed = match own_fit(schedule).and_then(|()| pack_leg(leg).map_err(|e| e.to_string())) {
            Ok(packed) => packed,
            Err(why) => {
                self.refused = Some(why);
                return self.stop();
            }
        };
        for (source, sound) in schedule.sources.iter().zip(&schedule.sounds) {
            let SampleSource::User { hash, rate } = *source else { continue };
            let (hertz, total) = (rate.hertz(), sound.len() as u32);
            if self.own.insert((hash, hertz)) {
                for (at, samples) in pieces(sound) {
                    self.send(&ToSpeaker::Sound { hash, hertz, total, at, samples: &samples });
                }
            }
        }
        self.generation += 1;
        let (generation, turns, last) = (self.generation, leg.passes, leg.stops_at_end);
        let of = Loop { hertz: schedule.rate.hertz(), length: schedule.map.rounded_length().0 };
        self.maps.push_back((generation, Arc::clone(&schedule.map)));
        {
            let mut known = self.line.shared.known();
            known.sent.push_back(Sending { generation, leg: id, of, turns, last, passed: false });
            // What was before the leg that is heard never comes again.
            let heard = known.leg();
            known.sent.retain(|s| s.leg >= heard);
            while known.sent.len() > SENDINGS {
                known.sent.pop_front();
            }
            let oldest = known.sent.iter().map(|s| s.generation).min();
            let left = known.left.map(|l| l.0.generation);
            self.maps.retain(|m| Some(m.0) >= oldest || Some(m.0) == left);
        }
        self.send(&ToSpeaker::Segment { how, leg: id, generation, packed: &packed });
    }

    /// Stops; what rings fades within some milliseconds.
    pub fn stop(&mut self) {
        self.playing = false;
        self.send(&ToSpeaker::Stop);
        self.line.shared.known().left = None;
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_volume(&mut self, db: f32) {
        let db = if db.is_nan() { -120.0 } else { db.clamp(-120.0, 24.0) };
        self.gain = Some(db);
        self.send(&ToSpeaker::Gain(db));
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// Whether the line and the speaker's device are there.
    pub fn is_there(&self) -> bool {
        self.line.shared.known().hertz.is_some()
    }

    /// Where the groove is heard on the other machine now.
    pub fn playhead(&mut self) -> Option<Playhead> {
        let head = self.playhead_at(Instant::now())?;
        // A mark that comes late draws it back by a little; what has begun does not begin again.
        let held = self.told_head.filter(|told| (told.segment, told.loop_pass) > (head.segment, head.loop_pass));
        self.told_head = held.or(Some(head));
        self.told_head
    }

    /// Where the groove was heard on the other machine at an instant; what is long past is drawn back from what is known now.
    pub fn playhead_at(&mut self, at: Instant) -> Option<Playhead> {
        if !self.playing {
            return None;
        }
        let known = self.line.shared.known();
        self.head(known.heard(self.line.shared.clock(at) as i64)?)
    }

    /// Seconds to which the place heard is known: one of the device's buffers, and half the quickest round trip, since the
    /// clocks are compared no better.
    pub fn playhead_error(&self) -> f64 {
        let buffer = f64::from(self.line.shared.known().grain) / f64::from(self.rate().hertz());
        buffer + self.round_trip().map_or(0.0, |trip| trip.as_secs_f64() / 2.0)
    }

    /// The quickest recent round trip to the speaker: the playhead is at most half of it off.
    pub fn round_trip(&self) -> Option<Duration> {
        self.line.shared.known().clocks.round_trip().map(Duration::from_nanos)
    }

    /// Looks after the line, and says what has happened to it. To be called some times a second.
    pub fn tick(&mut self) -> Option<OutputEvent> {
        let (news, line, hertz) = {
            let mut known = self.line.shared.known();
            if let Some(why) = &known.over {
                return Some(OutputEvent::Closed(OutputError::new(why)));
            }
            (known.news.pop_front(), known.line, known.hertz)
        };
        match news {
            Some(LinkEvent::Lost(why)) => {
                return Some(OutputEvent::Device(sound::DeviceEvent::Lost(OutputError::new(&why))));
            }
            Some(LinkEvent::Refused(why)) => self.refused = Some(why),
            Some(LinkEvent::Lacks(hash)) => {
                self.own.retain(|sent| sent.0 != hash);
                if line == self.told && self.playing {
                    return Some(OutputEvent::ResendAll(self.place()));
                }
            }
            Some(LinkEvent::Reopened) if line == self.told => {
                return Some(OutputEvent::Device(sound::DeviceEvent::Reopened));
            }
            Some(LinkEvent::Reopened) | None => {}
        }
        if let Some(why) = self.refused.take() {
            // What was sent after it must not sound alone.
            self.stop();
            return Some(OutputEvent::Refused(why));
        }
        let rate = hertz.and_then(SampleRate::new).filter(|_| line != self.told)?;
        (self.told, self.rate) = (line, rate);
        if let Some(db) = self.gain {
            self.send(&ToSpeaker::Gain(db));
        }
        let place = self.playing.then(|| self.place());
        Some(OutputEvent::Device(sound::DeviceEvent::ReopenedAtNewRate(place)))
    }

    /// Where the groove was last known to be.
    fn place(&self) -> Playhead {
        let left = {
            let known = self.line.shared.known();
            known.left.or_else(|| known.heard(self.line.shared.clock(Instant::now()) as i64))
        };
        left.and_then(|left| self.head(left)).or(self.from).unwrap_or_default()
    }

    /// Where a frame of a sending lies in the groove.
    fn head(&self, (heard, frame, loops): (Sending, i64, u64)) -> Option<Playhead> {
        let map = &self.maps.iter().find(|m| m.0 == heard.generation)?.1;
        Some(Playhead { position: map.position(Frame(frame)), loop_pass: loops, segment: heard.leg })
    }

    fn send(&self, message: &ToSpeaker<'_>) {
        self.line.send(self.told, message);
    }

    /// Believes that all of the schedule's own sounds were sent.
    #[cfg(test)]
    pub(super) fn believe(&mut self, schedule: &Schedule) {
        self.own.extend(schedule.sources.iter().filter_map(|o| match o {
            SampleSource::User { hash, rate } => Some((*hash, rate.hertz())),
            SampleSource::Synth(_) => None,
        }));
    }
}

/// Whether the user's own sounds in a schedule may be sent.
fn own_fit(schedule: &Schedule) -> Result<(), String> {
    let own = schedule.sources.iter().zip(&schedule.sounds).filter(|(o, _)| matches!(o, SampleSource::User { .. }));
    let mut all = 0;
    for (_, sound) in own {
        let bytes = size_of_val::<[f32]>(sound);
        all += bytes;
        if bytes > SOUND || all > SOUNDS {
            return Err("the sound files are too large for the remote speaker".into());
        }
    }
    Ok(())
}
