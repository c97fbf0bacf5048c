//! This machine's output device: opens it, feeds it, notices its loss. It must not know grooves; only this file may name
//! rodio.

use super::NoSound;
use super::far::Device;
use super::feed::{Feed, Hand, feed};
use super::place::{Playhead, Position};
use super::quiet::Quiet;
use super::render::Keep;
use super::schedule::Schedule;
use super::units::{Frame, SampleRate};
use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Frames the device asks for at once.
const BUFFER: u32 = 1024;
/// Buffers rendered ahead of what is heard: the device plays one while it fills another.
const BUFFERS: i64 = 2;
/// A device that reports errors and takes no frame for so long is lost. Errors alone say nothing: some devices report
/// many and play on.
const PATIENCE: Duration = Duration::from_millis(800);

impl rodio::Source for Feed {
    fn current_span_len(&self) -> Option<usize> {
        None
    }

    fn channels(&self) -> rodio::ChannelCount {
        NonZero::<u16>::MIN.saturating_add(1)
    }

    fn sample_rate(&self) -> rodio::SampleRate {
        NonZero::new(self.rate().hertz()).unwrap_or(NonZero::<u32>::MIN)
    }

    fn total_duration(&self) -> Option<Duration> {
        None
    }
}

/// A running output device.
pub struct Player {
    // The stream is dropped first: it holds the other end of the hand.
    _sink: rodio::MixerDeviceSink,
    hand: Hand,
    errors: Arc<AtomicU64>,
    /// Blocks and errors last seen, and when the blocks last moved.
    seen: (u64, u64),
    moved: Instant,
    _quiet: Quiet,
}

impl std::fmt::Debug for Player {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Player").field("hand", &self.hand).finish_non_exhaustive()
    }
}

impl Player {
    /// Opens the default output device. While the player lives, standard error is put aside (see [`Quiet`]).
    ///
    /// # Errors
    /// [`NoSound`] in one line if there is no device or it cannot be used.
    pub fn open() -> Result<Self, NoSound> {
        let quiet = Quiet::new();
        let errors = Arc::new(AtomicU64::new(0));
        let open = |size: Option<u32>| {
            let count = Arc::clone(&errors);
            let mut builder = rodio::DeviceSinkBuilder::from_default_device()?;
            if let Some(frames) = size {
                builder = builder.with_buffer_size(rodio::cpal::BufferSize::Fixed(frames));
            }
            let builder = builder.with_error_callback(move |_| {
                count.fetch_add(1, Ordering::Relaxed);
            });
            builder.open_stream()
        };
        let mut sink = open(Some(BUFFER)).or_else(|_| open(None)).map_err(|e| NoSound::new(&e.to_string()))?;
        sink.log_on_drop(false);
        let hertz = sink.config().sample_rate().get();
        let rate = SampleRate::new(hertz).ok_or_else(|| NoSound::new(&format!("the device runs at {hertz} Hz")))?;
        let (hand, feed) = feed(rate);
        sink.mixer().add(feed);
        Ok(Self { _sink: sink, hand, errors, seen: (0, 0), moved: Instant::now(), _quiet: quiet })
    }

    /// The device's frames per second; schedules are to be built for it.
    pub fn rate(&self) -> SampleRate {
        self.hand.rate()
    }

    /// Plays a schedule from its start.
    pub fn play(&mut self, schedule: Schedule) {
        self.hand.play(schedule, Frame(0));
    }

    /// Plays a schedule from a place in the groove; from its start if the place is not in it.
    pub fn play_from(&mut self, schedule: Schedule, place: Position) {
        let from = schedule.map().frame(place).unwrap_or_default();
        self.hand.play(schedule, from);
    }

    /// Puts an edited schedule in the place of the one that plays, without a gap.
    pub fn swap(&mut self, schedule: Schedule, keep: Keep) {
        self.hand.swap(schedule, keep);
    }

    /// Stops; what rings fades within some milliseconds.
    pub fn stop(&mut self) {
        self.hand.stop();
    }

    /// Goes to a place of the loop.
    pub fn seek(&mut self, place: Position) {
        self.hand.seek(place);
    }

    /// Sets the gain of the mix in dB; 0 is the quiet level it starts with.
    pub fn set_gain(&mut self, db: f32) {
        self.hand.set_gain(db);
    }

    /// Whether playing was asked for.
    pub fn is_playing(&self) -> bool {
        self.hand.is_playing()
    }

    /// Where the groove is heard, the frames that the device has not played yet taken off as far as they are known.
    pub fn playhead(&mut self) -> Option<Playhead> {
        self.hand.playhead(Frame(BUFFERS * i64::from(BUFFER)))
    }

    /// Errors the device reported so far.
    pub fn errors(&self) -> u64 {
        self.errors.load(Ordering::Relaxed)
    }

    /// Frees what came back from the sound thread, sends what had to wait, and looks after the device. To be called some
    /// times a second.
    ///
    /// # Errors
    /// [`NoSound`] if the device is lost: the player is to be dropped at once, and may be opened anew.
    pub fn tick(&mut self) -> Result<(), NoSound> {
        self.hand.tick();
        let now = Instant::now();
        let (blocks, errors) = (self.hand.shared.blocks.load(Ordering::Acquire), self.errors());
        if blocks != self.seen.0 {
            self.seen = (blocks, errors);
            self.moved = now;
        } else if errors != self.seen.1 && now.duration_since(self.moved) > PATIENCE {
            return Err(NoSound::new("the output device was lost"));
        }
        Ok(())
    }
}

impl Device for Player {
    fn hand(&mut self) -> &mut Hand {
        &mut self.hand
    }

    fn ahead(&self) -> Frame {
        Frame(BUFFERS * i64::from(BUFFER))
    }

    fn tick(&mut self) -> Result<(), NoSound> {
        Player::tick(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, picture};
    use crate::sound::Ask;

    /// A knock on every sixteenth at the far left, and at the far right a string whose line changes with `k`.
    fn groove(k: usize) -> Groove {
        let meter = Meter::parse("4/4").expect("meter");
        let bpm = Fraction::parse("137.3").expect("number");
        let tempo = Tempo::new(bpm, Time::new(1, 4).expect("unit")).expect("tempo");
        let line: String = (0..16).map(|n| if (n * (k + 3)) % 5 < 2 { 'x' } else { '.' }).collect();
        let layer = |name, voice, drawing: &str, pan| {
            let part = picture::parse_bars(drawing, &meter, 1, 4).expect("drawing");
            Layer { pan, ..Layer::new(name, voice, 4, vec![part]) }
        };
        let layers =
            vec![layer("left", Voice::Rim, "xxxxxxxxxxxxxxxx", -100), layer("right", Voice::Pluck, &line, 100)];
        let section = Section { name: "A".into(), meter, tempo, bars: 1, times: 1, swing: None };
        Groove::new("t", "", vec![section], layers).expect("groove")
    }

    /// Plays eight seconds with an edit every 130 ms and compares the recording, taken outside, with the schedule. With
    /// `TEETER_EDITS=0` nothing is edited: gaps that stay then are the machine's.
    #[test]
    #[ignore = "needs a sound server that records; run tests/capture.sh"]
    #[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
    fn plays_into_a_capture() {
        let path = std::env::var("TEETER_CAPTURE").expect("the recording's path");
        let mut player = Player::open().expect("a device");
        assert_eq!(player.rate(), SampleRate::STUDIO, "the recording runs at 48 kHz");
        let build = |k| Schedule::build(&groove(k), &Ask::whole(SampleRate::STUDIO));
        std::thread::sleep(Duration::from_millis(500));
        player.play(build(0));
        let (mut heads, mut edits) = (Vec::new(), 0);
        let edited = std::env::var("TEETER_EDITS").as_deref() != Ok("0");
        let start = Instant::now();
        while start.elapsed() < Duration::from_secs(8) {
            std::thread::sleep(Duration::from_millis(13));
            player.tick().expect("the device stays");
            if let Some(head) = player.playhead() {
                heads.push((start.elapsed().as_secs_f64(), head));
            }
            if edited && start.elapsed().as_millis() / 130 > edits {
                edits += 1;
                player.swap(build(edits as usize), Keep::Place);
            }
        }
        player.stop();
        std::thread::sleep(Duration::from_millis(700));
        let errors = player.errors();
        drop(player);

        let bytes = std::fs::read(path).expect("the recording");
        let left: Vec<i16> = bytes.chunks_exact(4).map(|f| i16::from_le_bytes([f[0], f[1]])).collect();
        // A knock is silent for its last milliseconds; the next one begins with a large step.
        let mut onsets: Vec<i64> = Vec::new();
        for (n, sample) in left.iter().enumerate() {
            if sample.unsigned_abs() > 1000 && onsets.last().is_none_or(|&last| n as i64 - last > 4000) {
                onsets.push(n as i64);
            }
        }
        let schedule = build(0);
        let expected: Vec<i64> = (0..100_u64)
            .flat_map(|turn| (0..schedule.len()).map(move |k| (turn, k)))
            .filter(|&(_, k)| schedule.notes[k].left > 0.1)
            .filter_map(|(turn, k)| schedule.onset(turn, k))
            .map(|f| f.0)
            .take(onsets.len())
            .collect();
        let first = *onsets.first().expect("something was heard");
        let wrong = onsets.iter().zip(&expected).filter(|&(&found, &exact)| found - first != exact).count();
        let mut shift = 0;
        for (k, (found, exact)) in onsets.iter().zip(&expected).enumerate() {
            if found - first - exact != shift {
                println!("from attack {k} on the recording is {} frames late", found - first - exact);
                shift = found - first - exact;
            }
        }
        let beats: Vec<f64> = heads.iter().map(|(t, h)| (h.loops as f64 + h.wholes) * 240.0 / 137.3 - t).collect();
        let (least, most) = beats[10..].iter().fold((f64::MAX, f64::MIN), |(l, m), &b| (l.min(b), m.max(b)));
        println!(
            "{} attacks recorded, {wrong} off their exact frame, {edits} edits, {errors} errors reported, playhead {:.0} to \
             {:.0} ms against the clock of play()",
            onsets.len(),
            least * 1e3,
            most * 1e3
        );
        assert!(onsets.len() >= 70, "{} attacks of 73", onsets.len());
        assert_eq!(wrong, 0, "attacks off their exact frame");
    }

    /// Ends the sound server under a running player.
    #[test]
    #[ignore = "needs a sound server that it may end; run tests/capture.sh"]
    #[allow(clippy::print_stdout, reason = "the figures are the purpose of the run")]
    fn notices_a_lost_device() {
        let server = std::env::var("TEETER_SERVER").expect("the server's process");
        let mut player = Player::open().expect("a device");
        player.play(Schedule::build(&groove(0), &Ask::whole(player.rate())));
        for _ in 0..30 {
            std::thread::sleep(Duration::from_millis(20));
            player.tick().expect("the device stays");
        }
        let ended = std::process::Command::new("kill").arg(server).status().expect("kill runs");
        assert!(ended.success());
        let start = Instant::now();
        let lost = loop {
            std::thread::sleep(Duration::from_millis(20));
            match player.tick() {
                Err(error) => break error,
                Ok(()) => assert!(start.elapsed() < Duration::from_secs(5), "not noticed, {} errors", player.errors()),
            }
        };
        println!("{lost}: noticed after {} ms, {} errors reported", start.elapsed().as_millis(), player.errors());
        let start = Instant::now();
        drop(player);
        assert!(start.elapsed() < Duration::from_secs(3), "closing took {:?}", start.elapsed());
        assert!(Player::open().is_err());
    }

    #[test]
    fn without_a_device_the_reason_is_one_line_or_there_is_a_device() {
        let _alone = crate::sound::quiet::ALONE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        match Player::open() {
            Ok(mut player) => player.tick().expect("a device that was just opened"),
            Err(error) => assert_eq!(error.to_string().lines().count(), 1),
        }
    }
}
