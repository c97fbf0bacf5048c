//! The far speaker as the editor sees it: as if it were a player on this machine. It must not know sockets or how long the
//! line is.

use super::line::{Line, News};
use super::meet::{FarError, Right};
use super::message::{Keeping, ToSpeaker, write};
use super::packed::pack;
use super::proof::Token;
use super::track::Loop;
use crate::sound::NoSound;
use crate::sound::place::{Map, Playhead, Position};
use crate::sound::render::Keep;
use crate::sound::schedule::Schedule;
use crate::sound::units::{Frame, SampleRate};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Loops of which a mark may still be on its way.
const LOOPS: usize = 64;

/// What is to sound, also while the line is lost.
#[derive(Debug)]
struct Wanted {
    age: u16,
    packed: Vec<u8>,
    map: Arc<Map>,
    rate: SampleRate,
    /// Where to begin if nothing of it has been heard yet.
    from: Option<Position>,
}

/// The sound of this editor on another machine.
///
/// It has the methods of a player. While the line is lost it keeps what is to sound; when the line is there again, playing
/// goes on at the place where it was lost, if it has not been stopped meanwhile.
#[derive(Debug)]
pub struct Far {
    line: Line,
    /// Number of the line that all that is to sound was sent on.
    told: u64,
    rate: SampleRate,
    age: u16,
    maps: VecDeque<(u16, Arc<Map>)>,
    wanted: Option<Wanted>,
    gain: Option<f32>,
    /// Why the last loop could not be sent.
    refused: Option<String>,
    port: u16,
}

#[allow(clippy::needless_pass_by_value, reason = "schedules are given away, as to a player")]
impl Far {
    /// Connects to a speaker through a port of this host, with the token that the speaker shows. This waits for some seconds at
    /// most.
    ///
    /// # Errors
    /// [`FarError`] in one line.
    pub fn connect(port: u16, token: &Token) -> Result<Self, FarError> {
        let line = Line::open(port, &Right::Token(token.clone()))?;
        let (hertz, told) = {
            let known = line.shared.known();
            (known.hertz.unwrap_or_default(), known.line)
        };
        let rate =
            SampleRate::new(hertz).ok_or_else(|| FarError::NoDevice(format!("a device that runs at {hertz} Hz")))?;
        Ok(Self { line, told, rate, age: 0, maps: VecDeque::new(), wanted: None, gain: None, refused: None, port })
    }

    /// The port of this host that leads to the speaker.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The frames per second of the speaker's device; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        self.line.shared.known().hertz.and_then(SampleRate::new).unwrap_or(self.rate)
    }

    /// Plays a schedule from its start.
    pub fn play(&mut self, schedule: Schedule) {
        self.start(&schedule, None);
    }

    /// Plays a schedule from a place in the groove; from its start if the place is not in it.
    pub fn play_from(&mut self, schedule: Schedule, place: Position) {
        self.start(&schedule, Some(place));
    }

    fn start(&mut self, schedule: &Schedule, from: Option<Position>) {
        {
            // What is still on its way of former loops does not count any more.
            let mut known = self.line.shared.known();
            known.loops.clear();
            known.track.clear();
            known.left = None;
        }
        self.maps.clear();
        self.wanted = self.want(schedule, from);
        match &self.wanted {
            Some(w) => {
                let from = from.and_then(|p| w.map.frame(p)).unwrap_or_default();
                self.send(&ToSpeaker::Play { age: w.age, from: from.0 as u64, packed: &w.packed });
            }
            None => self.send(&ToSpeaker::Stop),
        }
    }

    /// Puts an edited schedule in the place of the one that plays, without a gap.
    pub fn swap(&mut self, schedule: Schedule, keep: Keep) {
        let Some(from) = self.wanted.as_ref().map(|w| w.from) else { return };
        self.wanted = self.want(&schedule, from);
        let keep = match keep {
            Keep::Place => Keeping::Place,
            Keep::Fraction => Keeping::Fraction,
        };
        match &self.wanted {
            Some(w) => self.send(&ToSpeaker::Swap { age: w.age, keep, packed: &w.packed }),
            None => self.send(&ToSpeaker::Stop),
        }
    }

    /// Packs a loop and remembers what is needed of it.
    fn want(&mut self, schedule: &Schedule, from: Option<Position>) -> Option<Wanted> {
        let packed = match pack(schedule).map(|p| write(&p)) {
            Ok(packed) if packed.len() + 64 <= super::frame::MOST => packed,
            Ok(packed) => {
                self.refused = Some(format!("the loop takes {} MiB on the line, allowed are 4", packed.len() >> 20));
                return None;
            }
            Err(unfit) => {
                self.refused = Some(unfit.to_string());
                return None;
            }
        };
        self.age = self.age.wrapping_add(1);
        let (map, rate) = (Arc::clone(schedule.map()), schedule.rate());
        let mut known = self.line.shared.known();
        known.loops.push_back((self.age, Loop { hertz: rate.hertz(), length: map.length().0 }));
        self.maps.push_back((self.age, Arc::clone(&map)));
        while self.maps.len() > LOOPS {
            self.maps.pop_front();
            known.loops.pop_front();
        }
        Some(Wanted { age: self.age, packed, map, rate, from })
    }

    /// Stops; what rings fades within some milliseconds.
    pub fn stop(&mut self) {
        self.wanted = None;
        self.send(&ToSpeaker::Stop);
        self.line.shared.known().left = None;
    }

    /// Goes to a place of the loop.
    pub fn seek(&mut self, place: Position) {
        if let Some(wanted) = &mut self.wanted
            && let Some(frame) = wanted.map.frame(place)
        {
            wanted.from = Some(place);
            self.line.shared.known().left = None;
            self.send(&ToSpeaker::Seek(frame.0 as u64));
        }
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_gain(&mut self, db: f32) {
        let db = if db.is_nan() { -120.0 } else { db.clamp(-120.0, 24.0) };
        self.gain = Some(db);
        self.send(&ToSpeaker::Gain(db));
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        self.wanted.is_some()
    }

    /// Whether the line and the speaker's device are there.
    pub fn is_there(&self) -> bool {
        self.line.shared.known().hertz.is_some()
    }

    /// Where the groove is heard on the other machine now.
    pub fn playhead(&mut self) -> Option<Playhead> {
        self.playhead_at(Instant::now())
    }

    /// Where the groove was heard on the other machine at a time; what is long past is drawn back from what is known now.
    pub fn playhead_at(&self, time: Instant) -> Option<Playhead> {
        self.wanted.as_ref()?;
        let known = self.line.shared.known();
        let (age, frame, loops) = known.heard(self.line.shared.clock(time) as i64)?;
        let map = &self.maps.iter().find(|m| m.0 == age)?.1;
        let Position { section, pass, wholes } = map.position(Frame(frame));
        Some(Playhead { section, pass, wholes, loops })
    }

    /// The quickest recent round trip to the speaker: the playhead is at most half of it off.
    pub fn round_trip(&self) -> Option<Duration> {
        self.line.shared.known().clocks.round_trip().map(Duration::from_nanos)
    }

    /// What has happened to the line since it was last asked.
    pub fn news(&mut self) -> Option<News> {
        let news = self.line.shared.known().news.pop_front();
        let news = news.or_else(|| self.refused.take().map(News::Refused));
        if matches!(news, Some(News::Refused(_))) {
            self.wanted = None;
        }
        news
    }

    /// Looks after the line: sends again what is to sound when it is there again. To be called some times a second.
    ///
    /// # Errors
    /// [`NoSound`] if the session is over for good: it is to be dropped, and may be connected anew with a new token.
    pub fn tick(&mut self) -> Result<(), NoSound> {
        let (line, hertz, left) = {
            let known = self.line.shared.known();
            if let Some(why) = &known.over {
                return Err(NoSound::new(why));
            }
            (known.line, known.hertz, known.left)
        };
        let Some(rate) = hertz.and_then(SampleRate::new).filter(|_| line != self.told) else { return Ok(()) };
        (self.told, self.rate) = (line, rate);
        if let Some(db) = self.gain {
            self.send(&ToSpeaker::Gain(db));
        }
        if self.wanted.as_ref().is_some_and(|w| w.rate != rate) {
            self.wanted = None;
            self.refused = Some(format!("the far device runs at {} Hz now: play again", rate.hertz()));
        }
        if let Some(wanted) = &self.wanted {
            let of = |age: u16| self.maps.iter().find(|m| m.0 == age).map(|m| &m.1);
            let place = left.and_then(|(age, frame)| Some(of(age)?.position(Frame(frame)))).or(wanted.from);
            let from = place.and_then(|p| wanted.map.frame(p)).unwrap_or_default();
            self.send(&ToSpeaker::Play { age: wanted.age, from: from.0 as u64, packed: &wanted.packed });
        }
        Ok(())
    }

    fn send(&self, message: &ToSpeaker<'_>) {
        self.line.send(self.told, message);
    }
}
