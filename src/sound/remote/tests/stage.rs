//! A speaker for the tests, with a device that writes down what it would sound, and editors that are rude.

use super::*;

/// What a device was asked to sound, and switches to spoil it.
#[derive(Clone, Default)]
pub(super) struct Tape {
    pub(super) samples: Arc<Mutex<Vec<f32>>>,
    pub(super) lost: Arc<AtomicBool>,
    /// Frames per second of the next device that is opened; 0 for 48000.
    pub(super) hertz: Arc<AtomicU32>,
}

impl Tape {
    fn rate(&self) -> SampleRate {
        let hertz = match self.hertz.load(Ordering::Relaxed) {
            0 => 48_000,
            hertz => hertz,
        };
        SampleRate::new(hertz).expect("rate")
    }

    pub(super) fn length(&self) -> usize {
        self.samples.lock().expect("tape").len()
    }

    /// Whether anything sounded within the last `n` samples.
    pub(super) fn sounds(&self, n: usize) -> bool {
        let samples = self.samples.lock().expect("tape");
        samples[samples.len().saturating_sub(n)..].iter().any(|x| *x != 0.0)
    }
}

/// A device that renders onto a tape at the pace of a real one.
pub(super) struct Sink {
    handle: RenderHandle,
    tape: Tape,
    end: Arc<AtomicBool>,
    /// Gives the feed back; gone while the device is lost.
    thread: Option<JoinHandle<RenderSource>>,
    feed: Option<RenderSource>,
}

impl Sink {
    pub(super) fn open(tape: &Tape) -> Self {
        let (handle, feed) = render_channel(tape.rate());
        let mut sink = Self { handle, tape: tape.clone(), end: Arc::default(), thread: None, feed: None };
        sink.run(feed);
        sink
    }

    fn run(&mut self, mut feed: RenderSource) {
        self.end = Arc::default();
        let (ended, samples) = (Arc::clone(&self.end), Arc::clone(&self.tape.samples));
        let hertz = feed.rate().hertz();
        self.thread = Some(thread::spawn(move || {
            let start = Instant::now();
            let mut done = 0;
            while !ended.load(Ordering::Relaxed) {
                let due = (start.elapsed().as_secs_f64() * f64::from(hertz)) as usize;
                samples.lock().expect("tape").extend(feed.by_ref().take(2 * (due - done)));
                done = due;
                thread::sleep(Duration::from_millis(5));
            }
            feed
        }));
    }

    fn halt(&mut self) {
        self.end.store(true, Ordering::Relaxed);
        self.feed = self.thread.take().and_then(|t| t.join().ok());
    }
}

impl Device for Sink {
    fn handle(&mut self) -> &mut RenderHandle {
        &mut self.handle
    }

    fn ahead(&self) -> Frame {
        Frame(0)
    }

    fn grain(&self) -> Frame {
        Frame(240)
    }

    fn tick(&mut self) -> Option<DeviceEvent> {
        self.handle.tick();
        match (self.tape.lost.load(Ordering::Relaxed), self.thread.is_some()) {
            (true, true) => {
                self.halt();
                Some(DeviceEvent::Lost(OutputError::new("pulled out")))
            }
            (false, false) => {
                let kept = self.feed.take().filter(|f| f.rate() == self.tape.rate());
                let news = if kept.is_some() { DeviceEvent::Reopened } else { DeviceEvent::ReopenedAtNewRate(None) };
                let fed = kept.unwrap_or_else(|| {
                    let (handle, fed) = render_channel(self.tape.rate());
                    self.handle = handle;
                    fed
                });
                self.run(fed);
                Some(news)
            }
            _ => None,
        }
    }
}

impl Drop for Sink {
    fn drop(&mut self) {
        self.halt();
    }
}

/// A speaker on a thread.
pub(super) struct Stage {
    pub(super) port: u16,
    pub(super) tape: Tape,
    pub(super) said: mpsc::Receiver<Said>,
    pub(super) stop: Arc<AtomicBool>,
    pub(super) thread: Option<JoinHandle<()>>,
}

impl Stage {
    pub(super) fn open() -> Self {
        let speaker = Speaker::bind(0).expect("a port");
        let (port, tape, stop) = (speaker.port(), Tape::default(), Arc::new(AtomicBool::new(false)));
        let (say, said) = mpsc::channel();
        let (stopped, kept) = (Arc::clone(&stop), tape.clone());
        let thread = thread::spawn(move || {
            let sink = Box::new(Sink::open(&kept));
            speaker.run(sink, &stopped, &mut |s| drop(say.send(s))).expect("random numbers");
        });
        Self { port, tape, said, stop, thread: Some(thread) }
    }

    /// Waits until the speaker has said something of this kind.
    pub(super) fn until<T>(&self, mut is: impl FnMut(&Said) -> Option<T>) -> T {
        let end = Instant::now() + LONG;
        let mut heard = Vec::new();
        loop {
            match self.said.recv_timeout(end.saturating_duration_since(Instant::now())) {
                Ok(said) => match is(&said) {
                    Some(found) => return found,
                    None => heard.push(said),
                },
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => panic!("only heard {heard:?}"),
            }
        }
    }

    pub(super) fn hears(&self, expected: &Said) {
        self.until(|s| (s == expected).then_some(()));
    }

    pub(super) fn token(&self) -> Token {
        self.until(|s| if let Said::Token(t) = s { Some(t.clone()) } else { None })
    }

    pub(super) fn editor(&self) -> RemotePlayer {
        let far = RemotePlayer::connect(self.port, &self.token()).expect("let in");
        self.hears(&Said::Joined);
        far
    }

    pub(super) fn end(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            thread.join().expect("the speaker ends without a panic");
        }
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        if !thread::panicking() {
            self.end();
        }
    }
}

pub(super) fn wait(what: &str, mut is: impl FnMut() -> bool) {
    let end = Instant::now() + LONG;
    while !is() {
        assert!(Instant::now() < end, "waited in vain: {what}");
        thread::sleep(Duration::from_millis(5));
    }
}

pub(super) fn news(far: &mut RemotePlayer) -> DeviceEvent {
    let end = Instant::now() + LONG;
    loop {
        match far.tick() {
            Some(OutputEvent::Device(news)) => return news,
            Some(other) => panic!("{other:?}"),
            None => {}
        }
        assert!(Instant::now() < end, "no news");
        thread::sleep(Duration::from_millis(5));
    }
}

pub(super) fn riff(drawing: &str) -> Groove {
    groove(&[Voice::Rim, Voice::Pluck], &[("4/4", "137.3", 1, None, drawing)])
}

pub(super) fn schedule(drawing: &str) -> Schedule {
    Schedule::build(&riff(drawing), &ScheduleOptions::whole(SampleRate::STUDIO))
}

/// An editor made by handle, to say what no editor says.
pub(super) struct Rude {
    pub(super) stream: TcpStream,
    pub(super) sender: Sender<TcpStream>,
    pub(super) receiver: Receiver<TcpStream>,
}

impl Rude {
    pub(super) fn join(stage: &Stage) -> Self {
        let token = stage.token();
        let stream = TcpStream::connect((Ipv4Addr::LOCALHOST, stage.port)).expect("the port");
        let Met { to_speaker, to_editor, .. } = knock(&stream, &Right::Token(token)).expect("let in");
        stream.set_read_timeout(Some(LONG)).expect("a timeout");
        let copy = || stream.try_clone().expect("a copy");
        let (sender, receiver) = (Sender::new(copy(), to_speaker), Receiver::new(copy(), to_editor));
        Self { stream, sender, receiver }
    }

    pub(super) fn says(&mut self, message: &ToSpeaker<'_>) {
        self.sender.send(&message::write(message)).expect("sent");
    }

    /// Waits for a refusal.
    pub(super) fn refused(&mut self) -> String {
        loop {
            let bytes = self.receiver.receive().expect("the line stays");
            if let Some(ToEditor::Refused(why)) = message::read(&bytes) {
                return why;
            }
        }
    }
}
