//! The editor's end: sends orders and pings to the speaker instead of a playback thread, and reports the speaker's events.

use super::clock::ClockDifference;
use super::message::{ToEditor, ToSpeaker, sanitize_line};
use super::{TIMEOUT, frame, greet, reason};
use crate::rhythm::Groove;
use crate::sound::playback::{ChunkRequest, EventSink, Orders, PlaybackEvent, Requests, TapPosition};
use std::io::{self, ErrorKind};
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Interval between pings, and between the first ones, which find a quick round trip soon.
const PING_INTERVAL: Duration = Duration::from_millis(500);
const FIRST_PING_INTERVAL: Duration = Duration::from_millis(50);
const FIRST_PINGS: u32 = 10;

/// The sound files that layers name, on the editor's host.
pub(crate) trait SampleFiles {
    /// The groove with the names under which its files are sent, and warnings about files that cannot be.
    fn with_sample_names(&mut self, groove: &Groove) -> (Groove, Vec<String>);

    /// The size of the file sent under a name, and its bytes from a place on; none if it cannot be read.
    fn read(&mut self, part: &ChunkRequest) -> (u64, Vec<u8>);
}

/// A connection to a speaker.
#[derive(Debug)]
pub(crate) struct Link {
    stream: UnixStream,
    /// Start of the editor's clock.
    epoch: Instant,
    clock: Mutex<ClockDifference>,
    /// Why the reader ended.
    lost: Mutex<Option<String>>,
}

impl Link {
    /// Greets the speaker at the other end.
    ///
    /// # Errors
    /// One sentence that says what to do.
    pub(crate) fn new(stream: UnixStream) -> Result<Self, String> {
        greet(&stream)?;
        Ok(Self { stream, epoch: Instant::now(), clock: Mutex::default(), lost: Mutex::default() })
    }

    fn ns(&self, at: Instant) -> u64 {
        at.saturating_duration_since(self.epoch).as_nanos() as u64
    }

    fn clock(&self) -> MutexGuard<'_, ClockDifference> {
        self.clock.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn lost(&self) -> MutexGuard<'_, Option<String>> {
        self.lost.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Carries out requests until they are closed.
    ///
    /// # Errors
    /// Why the connection is lost.
    pub(crate) fn run(
        self,
        requests: &Requests,
        files: &mut dyn SampleFiles,
        print: fn(&Groove) -> String,
        events: &EventSink,
    ) -> Result<(), String> {
        let reader = self.stream.try_clone().map_err(|e| reason(&e))?;
        thread::scope(|scope| {
            scope.spawn(|| {
                let why = self.read_events(reader, requests, events);
                *self.lost() = Some(why);
                requests.put(|_| {});
            });
            let ended = Sender { link: &self, files, print, events }.send(requests);
            // Ends the reader.
            drop(self.stream.shutdown(Shutdown::Both));
            ended
        })
    }

    /// Reads the speaker's messages until the connection ends; returns why it ended.
    fn read_events(&self, mut stream: UnixStream, requests: &Requests, events: &EventSink) -> String {
        loop {
            match frame::receive(&mut stream) {
                Ok(ToEditor::Event(event)) => {
                    let half_trip = Duration::from_nanos(self.clock().round_trip() / 2);
                    events(sanitize_event(event, half_trip));
                }
                Ok(ToEditor::Pong { asked, now }) => self.clock().add(asked, now, self.ns(Instant::now())),
                Ok(ToEditor::Want(part)) => requests.put(|orders| orders.chunks = vec![part]),
                Err(why) => return why,
            }
        }
    }
}

/// An event of the other end as it is reported here: its text bounded, the round trip added to the uncertainty of a tap.
pub(super) fn sanitize_event(event: PlaybackEvent, half_trip: Duration) -> PlaybackEvent {
    match event {
        PlaybackEvent::Device(Err(why)) => PlaybackEvent::Device(Err(format!(
            "the remote speaker has no output device: plug one in, or name one that `teeter outputs` lists in the \
             config file there ({})",
            sanitize_line(&why)
        ))),
        PlaybackEvent::Warning(text) => PlaybackEvent::Warning(sanitize_line(&text)),
        PlaybackEvent::Tapped(tap) => {
            let buffer_ms = tap.buffer_ms + half_trip.as_secs_f64() * 1000.0;
            PlaybackEvent::Tapped(TapPosition { buffer_ms, ..tap })
        }
        event => event,
    }
}

struct Sender<'a> {
    link: &'a Link,
    files: &'a mut dyn SampleFiles,
    print: fn(&Groove) -> String,
    events: &'a EventSink,
}

impl Sender<'_> {
    fn send(mut self, requests: &Requests) -> Result<(), String> {
        let (mut pings, mut next_ping) = (0, Instant::now());
        loop {
            let Ok(orders) = requests.take_within(next_ping.saturating_duration_since(Instant::now())) else {
                return Ok(());
            };
            if let Some(why) = self.link.lost().take() {
                return Err(why);
            }
            self.send_orders(orders).map_err(|e| reason(&e))?;
            if Instant::now() >= next_ping {
                // The position travels here, and the screen back to the terminal, which is next to the speaker.
                let lookahead = self.link.clock().round_trip();
                let ping = ToSpeaker::Ping { asked: self.link.ns(Instant::now()), lookahead };
                self.message(&ping).map_err(|e| reason(&e))?;
                pings += 1;
                next_ping = Instant::now() + if pings < FIRST_PINGS { FIRST_PING_INTERVAL } else { PING_INTERVAL };
            }
        }
    }

    fn message(&mut self, message: &ToSpeaker) -> io::Result<()> {
        frame::send(&mut &self.link.stream, message)
    }

    fn send_orders(&mut self, orders: Orders) -> io::Result<()> {
        for at in orders.taps {
            // The key was pressed at a terminal next to the speaker, half a round trip before it arrived here.
            let clock = self.link.clock();
            let (at, way) = (clock.to_speaker(self.link.ns(at)), clock.round_trip() / 2);
            drop(clock);
            at.map_or(Ok(()), |at| self.message(&ToSpeaker::Tap(at.saturating_sub(way))))?;
        }
        if let Some(db) = orders.volume {
            self.message(&ToSpeaker::Volume(db))?;
        }
        if let Some(request) = orders.request {
            let (groove, warnings) = match request.groove() {
                Some(groove) => self.files.with_sample_names(groove),
                None => return self.message(&ToSpeaker::Request { groove: String::new(), request }),
            };
            if !warnings.is_empty() {
                (self.events)(PlaybackEvent::Warning(warnings.join("; ")));
            }
            match self.message(&ToSpeaker::Request { groove: (self.print)(&groove), request }) {
                Err(error) if error.kind() == ErrorKind::InvalidInput => {
                    (self.events)(PlaybackEvent::Warning("the groove is too large for the remote speaker".to_owned()));
                }
                sent => sent?,
            }
        }
        for part in orders.chunks {
            let (size, bytes) = self.files.read(&part);
            self.message(&ToSpeaker::Chunk { part, size, bytes })?;
        }
        Ok(())
    }
}

const _: () = assert!(PING_INTERVAL.as_millis() * 4 < TIMEOUT.as_millis(), "a late ping loses no connection");
