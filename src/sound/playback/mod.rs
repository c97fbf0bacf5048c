//! Playback of requests: takes play requests and reports events, in the editor or behind the socket of a remote speaker.

mod latest_slot;
mod request;
#[cfg(feature = "audio")]
mod sequence;
pub(super) mod serde_exact;
#[cfg(feature = "audio")]
mod thread;

pub(crate) use latest_slot::{ClosedError, LatestSlot};
pub(crate) use request::{HearingClicks, LoopSpec, PlayRequest, Sequence, SequenceTake};

#[cfg(not(feature = "audio"))]
use super::OutputError;
use super::position::Position;
use super::units::SampleRate;
use super::user_samples::UserSamples;
use crate::rhythm::Groove;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::thread::{Builder, JoinHandle};
use std::time::{Duration, Instant};

/// Where playback continues: the position, and the complete passes of the take.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ResumePoint {
    pub position: Position,
    pub passes: u64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) enum PlaybackRequest {
    /// A loop or a sequence, from its start or from where it was. A sequence that continues skips the count-in of its take.
    Play(PlayRequest, Option<ResumePoint>),
    /// Replace what plays and continue.
    Change(PlayRequest),
    /// Continue with another take of the sequence after the current pass.
    Step(Sequence),
    Stop,
}

impl PlaybackRequest {
    /// The loop that is to be played, if it is one.
    pub(crate) fn loop_spec(&self) -> Option<&LoopSpec> {
        match self {
            Self::Play(PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec), _)
            | Self::Change(PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec)) => Some(spec),
            _ => None,
        }
    }

    /// The sequence that is to be played, if it is one.
    pub(crate) fn sequence(&self) -> Option<&Sequence> {
        match self {
            Self::Play(PlayRequest::Sequence(s), _) | Self::Change(PlayRequest::Sequence(s)) | Self::Step(s) => Some(s),
            _ => None,
        }
    }

    /// The groove, which is the same in all takes; none to stop.
    pub(crate) fn groove(&self) -> Option<&Arc<Groove>> {
        let spec = self.loop_spec().or_else(|| Some(&self.sequence()?.takes.first()?.spec));
        spec.map(|spec| &spec.groove)
    }

    pub(crate) fn set_groove(&mut self, groove: &Arc<Groove>) {
        match self {
            Self::Play(PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec), _)
            | Self::Change(PlayRequest::Loop(spec) | PlayRequest::CountedLoop(spec)) => {
                spec.groove = Arc::clone(groove);
            }
            Self::Play(PlayRequest::Sequence(s), _) | Self::Change(PlayRequest::Sequence(s)) | Self::Step(s) => {
                s.takes.iter_mut().for_each(|take| take.spec.groove = Arc::clone(groove));
            }
            Self::Stop => {}
        }
    }
}

/// What was heard when a key was tapped.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TapPosition {
    pub position: Position,
    /// Completed passes of the loop since it was started.
    pub loop_passes: u64,
    /// Length of a buffer of the output device in ms, and for a remote speaker half the round trip, which limit the precision
    /// of all this.
    pub buffer_ms: f64,
}

/// What is heard of a sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SequencePosition {
    /// Number of the sequence.
    pub sequence: u32,
    /// Take, from 0.
    pub take: usize,
    pub is_count_in: bool,
    /// Completed passes of the take.
    pub pass: u64,
    /// The pass is silent after its opening.
    pub silent: bool,
}

/// What a player reports.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum PlaybackEvent {
    /// The position, reported 60 times a second while something plays.
    Tick(Option<Position>),
    /// The position within a count-in, reported instead: its beats are counted from the start of a section.
    CountIn(Position),
    /// What was heard when a key was tapped.
    Tapped(TapPosition),
    /// Another take or another pass of a sequence is heard.
    Take(SequencePosition),
    /// The sequence of this number has ended.
    SequenceEnded(u32),
    /// The output device was opened, or why not.
    Device(Result<(), String>),
    /// A problem that does not stop playback.
    Warning(String),
    /// Gaps in the sound since the last play request.
    Gaps(u64),
}

pub(crate) type EventSink = Arc<dyn Fn(PlaybackEvent) + Send + Sync>;

/// Reads the sound files of a groove's layers; returns the samples, and warnings.
pub(crate) type SampleLoader = Box<dyn FnMut(&Groove, SampleRate) -> (UserSamples, Vec<String>) + Send>;

/// A part of a sound file that a remote speaker asks for: the file's name there, and where the part begins.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct ChunkRequest {
    pub name: String,
    pub at: u64,
}

/// Orders that wait for a player: only the newest request counts, but every tap.
#[derive(Debug, Default)]
pub(crate) struct Orders {
    pub request: Option<PlaybackRequest>,
    /// Report what was heard at these instants.
    pub taps: Vec<Instant>,
    /// Volume in dB; 0 is the initial level.
    pub volume: Option<f32>,
    /// Sound files have arrived: load them for what plays.
    pub reload: bool,
    /// Report the position that will be heard after this time.
    pub lookahead: Option<Duration>,
    pub chunks: Vec<ChunkRequest>,
}

/// The sending end of a player, on this machine or behind a socket.
#[derive(Debug, Clone)]
pub(crate) struct Requests(LatestSlot<Orders>);

impl Requests {
    pub(crate) fn new() -> Self {
        Self(LatestSlot::new())
    }

    /// Changes the waiting orders and wakes the player.
    pub(crate) fn put(&self, change: impl FnOnce(&mut Orders)) {
        self.0.put(|waiting| {
            let mut orders = waiting.unwrap_or_default();
            change(&mut orders);
            Some(orders)
        });
    }

    /// Replaces the waiting request. What replaces or continues a request that has not started keeps its start.
    pub(crate) fn send(&self, request: PlaybackRequest) {
        use PlayRequest::{CountedLoop, Loop, Sequence as Takes};
        use PlaybackRequest::{Change, Play, Step, Stop};
        self.put(|orders| {
            orders.request = Some(match (orders.request.take(), request) {
                (Some(Stop), Change(_) | Step(_)) => Stop,
                (Some(Play(Takes(old), start)), Change(Takes(new))) => {
                    Play(Takes(Sequence { at: old.at, ..new }), start)
                }
                (Some(Play(CountedLoop(_), start)), Change(Loop(new))) => Play(CountedLoop(new), start),
                (Some(Play(_, start)), Change(new)) => Play(new, start),
                (Some(Step(old)), Change(Takes(new))) => Step(Sequence { at: old.at, ..new }),
                (Some(Play(..)), Step(sequence)) => Play(Takes(sequence), None),
                (_, request) => request,
            });
        });
    }

    pub(crate) fn tap(&self, at: Instant) {
        self.put(|orders| orders.taps.push(at));
    }

    pub(crate) fn set_volume(&self, db: f32) {
        self.put(|orders| orders.volume = Some(db));
    }

    /// Ends the player after what waits.
    pub(crate) fn close(&self) {
        self.0.close();
    }

    /// Waits for orders; they may be empty.
    pub(crate) fn take(&self) -> Result<Orders, ClosedError> {
        self.0.take()
    }

    /// Waits for orders, which are empty after the timeout.
    pub(crate) fn take_within(&self, timeout: Duration) -> Result<Orders, ClosedError> {
        self.0.take_within(timeout).map(Option::unwrap_or_default)
    }
}

/// Starts the playback thread, which opens this output device, or the default one, at the first play request, and ends when the
/// requests are closed.
///
/// # Errors
/// The system's, if it has no thread left.
pub(crate) fn spawn(
    requests: Requests,
    output: Option<String>,
    load: SampleLoader,
    events: EventSink,
) -> std::io::Result<JoinHandle<()>> {
    Builder::new().name("player".into()).spawn(move || run(&requests, output.as_deref(), load, &events))
}

#[cfg(feature = "audio")]
fn run(requests: &Requests, output: Option<&str>, load: SampleLoader, events: &EventSink) {
    let samples = thread::Samples { load, events: Arc::clone(events), tracks: Arc::default() };
    thread::PlaybackThread::new(samples).run(requests, output);
}

#[cfg(not(feature = "audio"))]
fn run(requests: &Requests, _: Option<&str>, _: SampleLoader, events: &EventSink) {
    while let Ok(orders) = requests.take() {
        if matches!(orders.request, Some(PlaybackRequest::Play(..))) {
            events(PlaybackEvent::Device(Err(OutputError::without_audio().to_string())));
        }
    }
}
