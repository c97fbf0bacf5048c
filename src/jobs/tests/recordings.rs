//! Tests of files rendered over a recording: what is in them, and when.

use super::*;
use crate::rhythm::{Anchor, ClickSound, Edit, GridPlace, Micros, Recording};
use crate::sound::take::{CountIn, Take};
use std::ops::Range as Frames;

const RATE: usize = 48_000;

/// A WAV file in one channel of 16 bits.
fn write_wav(path: &Path, samples: &[f32]) {
    let (data, rate) = (2 * samples.len() as u32, RATE as u32);
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    bytes.extend([rate.to_le_bytes(), (2 * rate).to_le_bytes(), [2, 0, 16, 0]].concat());
    bytes.extend(b"data");
    bytes.extend(data.to_le_bytes());
    bytes.extend(samples.iter().flat_map(|x| ((x * 32_767.0) as i16).to_le_bytes()));
    fs::write(path, bytes).expect("written");
}

/// The left and the right channel of a rendered file.
fn read_wav(path: &Path) -> [Vec<f32>; 2] {
    let bytes = fs::read(path).expect("a file");
    let length = u32::from_le_bytes(bytes[40..44].try_into().expect("four bytes")) as usize;
    let sample = |b: &[u8]| i32::from_le_bytes([0, b[0], b[1], b[2]]) as f32 / (1_u32 << 31) as f32;
    let side = |from: usize| bytes[44..44 + length].chunks_exact(6).map(|f| sample(&f[from..])).collect();
    [side(0), side(3)]
}

/// Strokes that decay, from these frames on.
fn strokes(length: usize, places: &[usize]) -> Vec<f32> {
    let mut samples = vec![0.0; length];
    for &place in places {
        for (k, x) in samples[place..length.min(place + 7200)].iter_mut().enumerate() {
            let t = k as f32 / RATE as f32;
            *x += 0.6 * (-25.0 * t).exp() * (std::f32::consts::TAU * 700.0 * t).cos();
        }
    }
    samples
}

/// The frame in a range from which on 2 ms are loudest against the 2 ms before.
fn attack(samples: &[f32], range: Frames<usize>) -> usize {
    let energy = |of: &[f32]| of.iter().map(|x| x * x).sum::<f32>() + 1e-4;
    let ratio = |k: &usize| energy(&samples[*k..*k + 96]) / energy(&samples[*k - 96..*k]);
    range.max_by(|a, b| ratio(a).total_cmp(&ratio(b))).expect("a range")
}

/// Times in microseconds of the bar lines of the groove, none of them where the written tempo puts it.
const ANCHORS: [i64; 3] = [512_345, 2_404_321, 4_555_555];

/// Two bars of 4/4 over a recording.
fn recorded() -> Arc<Groove> {
    let anchor = |k: usize| Anchor {
        place: GridPlace { pass: k as u32 / 2, bar: k as u32 % 2, beat: Fraction::ZERO },
        at: Micros(ANCHORS[k]),
    };
    let recording = Recording::new("winch.wav", None).with_anchors((0..3).map(anchor).collect());
    Arc::new(groove(2).edited(&Edit::Recording(Some(recording))).expect("anchors in order"))
}

fn take(layers: bool, click: Click, speed: (i64, i64)) -> Take {
    let mut take = Take {
        name: "haul".into(),
        note: String::new(),
        layers,
        click,
        click_db: 0.0,
        click_sound: ClickSound::default(),
        lines: Vec::new(),
        speed: Fraction::new(speed.0, speed.1).expect("a speed"),
        range: Range::Whole,
        times: 1,
        count_in: CountIn::Off,
        count_in_bars: 1,
        recording: None,
        muted_passes: Vec::new(),
    };
    RecordingSound { mix: RecordingMix::Recording, ..RecordingSound::default() }.add_to(&mut take);
    take
}

/// A job on the groove above at 48 kHz, in a folder with a recording of these samples.
fn recording_job(folder: &Path, samples: &[f32], kind: JobKind) -> Job {
    write_wav(&folder.join("winch.wav"), samples);
    Job { groove: recorded(), rate: SampleRate::STUDIO, ..job(folder, "out.wav", kind) }
}

fn rendered(folder: &Path, samples: &[f32], take: Take) -> [Vec<f32>; 2] {
    let job = recording_job(folder, samples, JobKind::Render(Box::new(take), Length::Passes(1)));
    let report = make(&Job { overwrite: Overwrite::Always, ..job }).expect("rendered");
    assert!(report.notes[0].starts_with("it has the sound of winch.wav"), "{:?}", report.notes);
    read_wav(&folder.join("out.wav"))
}

/// Seconds of the recording from the first anchor to each beat.
fn beats() -> Vec<f64> {
    let of = |beat: usize| {
        let (from, to) = (ANCHORS[beat / 4] as f64, ANCHORS[beat / 4 + 1] as f64);
        (from + (to - from) * (beat % 4) as f64 / 4.0 - ANCHORS[0] as f64) / 1e6
    };
    (0..8).map(of).collect()
}

#[test]
fn clicks_over_a_recording_begin_on_the_frames_of_its_anchors() {
    let folder = tempfile::tempdir().expect("a folder");
    for speed in [(1, 1), (1, 2), (3, 2)] {
        let [left, _] = rendered(folder.path(), &vec![0.0; 6 * RATE], take(true, Click::Written, speed));
        // The silence before each click ends on its frame; a click begins with a sample of at least 0.
        let first = left.iter().position(|x| *x != 0.0).expect("a click") as i64;
        assert!((0..2).contains(&first), "{first}");
        for (beat, seconds) in beats().iter().enumerate() {
            let frame = (seconds * speed.1 as f64 / speed.0 as f64 * RATE as f64).round() as usize;
            let found =
                (frame.saturating_sub(200)..left.len()).find(|k| left[*k].abs() > 1e-5).expect("a click") as i64;
            assert_eq!(found - frame as i64, first, "{speed:?} beat {beat}");
        }
    }
}

#[test]
fn a_rendered_recording_has_its_strokes_at_the_speed() {
    let folder = tempfile::tempdir().expect("a folder");
    let places = [30_000, 47_111, 61_500, 90_007, 118_000, 140_321, 170_000, 199_999];
    for (speed, bound_ms) in [((1, 1), 0.03), ((1, 2), 2.0), ((3, 4), 2.0), ((1, 4), 5.0)] {
        let [left, right] = rendered(folder.path(), &strokes(6 * RATE, &places), take(true, Click::Off, speed));
        assert_eq!(left, right);
        let slow = speed.1 as f64 / speed.0 as f64;
        let start = ANCHORS[0] as f64 / 1e6 * RATE as f64;
        let errors = places.map(|place| {
            let ideal = (place as f64 - start) * slow;
            attack(&left, ideal as usize - 1500..ideal as usize + 1500) as f64 - ideal
        });
        let constant = errors.iter().sum::<f64>() / errors.len() as f64;
        let most = errors.iter().map(|e| (e - constant).abs()).fold(0.0, f64::max) / RATE as f64 * 1000.0;
        assert!(most <= bound_ms && constant.abs() < 48.0, "{speed:?}: {most} ms {constant} {errors:?}");
    }
}

#[test]
fn the_row_of_takes_and_the_ladder_have_the_recording_under_their_clicks() {
    let folder = tempfile::tempdir().expect("a folder");
    let places: Vec<usize> =
        beats().iter().map(|s| ((s + ANCHORS[0] as f64 / 1e6) * RATE as f64) as usize + 6000).collect();
    let samples = strokes(6 * RATE, &places);
    let spec = |layers, numbers: &[usize]| TakeSpec {
        layers,
        pulses: numbers.iter().map(|&number| PulseSpec { number, click: Click::Written }).collect(),
    };
    let sound = RecordingSound { mix: RecordingMix::Recording, ..RecordingSound::default() };
    let kind = JobKind::Takes {
        takes: vec![spec(true, &[]), spec(true, &[0]), spec(false, &[0])],
        times: 1,
        count_in: 0,
        speed: Fraction::ONE,
        recording: Some(sound),
    };
    make(&recording_job(folder.path(), &samples, kind)).expect("rendered");
    let [left, _] = read_wav(&folder.path().join("out.wav"));
    let table = fs::read_to_string(folder.path().join("out.tsv")).expect("cues");
    let cues: Vec<(usize, &str)> = table
        .lines()
        .skip(1)
        .map(|line| (line.split('\t').next().expect("a frame").parse().expect("a number"), line))
        .map(|(frame, line)| (frame, line.split('\t').nth(2).expect("a name")))
        .collect();
    let pass = ((ANCHORS[2] - ANCHORS[0]) as f64 / 1e6 * RATE as f64).round() as usize;
    assert_eq!(cues, [(0, "recording"), (pass, "recording with written beat"), (2 * pass, "only written beat")]);
    let loud = |from: usize| left[from..from + 200].iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    for (take, (stroke, click)) in [(true, false), (true, true), (false, true)].into_iter().enumerate() {
        for seconds in &beats()[1..] {
            let beat = take * pass + (seconds * RATE as f64).round() as usize;
            assert_eq!(loud(beat + 6000) > 0.2, stroke, "take {take} at {seconds} s");
            assert_eq!(loud(beat) > 0.05, click, "take {take} at {seconds} s");
        }
    }

    let steps = vec![Fraction::new(1, 2).expect("half"), Fraction::ONE];
    let ladder = JobKind::Ladder { take: Box::new(take(true, Click::Written, (1, 1))), speeds: steps, silence: None };
    let job = recording_job(folder.path(), &samples, ladder);
    make(&Job { overwrite: Overwrite::Always, ..job }).expect("rendered");
    let [left, _] = read_wav(&folder.path().join("out.wav"));
    for (start, slow) in [(0, 2), (2 * pass, 1)] {
        for seconds in &beats()[1..] {
            let beat = start + (seconds * RATE as f64).round() as usize * slow;
            let found = attack(&left, beat - 600..beat + 600);
            assert!(found.abs_diff(beat) < 96, "a click at {beat}, found {found}");
            let stroke = beat + 6000 * slow;
            assert!(attack(&left, stroke - 600..stroke + 600).abs_diff(stroke) < 120, "a stroke at {stroke}");
        }
    }
}

#[test]
fn groove_and_recording_are_heard_on_either_side() {
    let folder = tempfile::tempdir().expect("a folder");
    let sound = RecordingSound { mix: RecordingMix::Split, ..RecordingSound::default() };
    let samples = strokes(6 * RATE, &[100_000]);
    let mut both = take(true, Click::Off, (1, 1));
    (both.layers, both.recording) = (true, None);
    sound.add_to(&mut both);
    let job = recording_job(folder.path(), &samples, JobKind::Render(Box::new(both), Length::Passes(1)));
    make(&Job { groove: sound.groove(&job.groove).expect("a recording"), ..job }).expect("rendered");
    let [left, right] = read_wav(&folder.path().join("out.wav"));
    let at = 100_000 - (ANCHORS[0] * 48 / 1000) as usize;
    let peak = |of: &[f32]| of.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
    assert!(peak(&left[..400]) > 0.05 && peak(&right[..at - 10]) < 1e-3, "the groove is on the left");
    assert!(peak(&right[at..at + 400]) > 0.3, "the recording is on the right");
}

#[test]
fn a_recording_that_cannot_be_read_leaves_no_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let render = || JobKind::Render(Box::new(take(true, Click::Off, (1, 1))), Length::Passes(1));
    let job = recording_job(folder.path(), &[0.5; 480], render());
    fs::write(folder.path().join("winch.wav"), "no sound").expect("written");
    let error = make(&job).expect_err("no recording").to_string();
    assert!(error.contains("winch.wav: expected a recording in WAV"), "{error}");
    // The recording itself is never overwritten.
    let target = Target::File(folder.path().join("winch.wav"));
    let onto = make(&Job { target, overwrite: Overwrite::Always, ..job.clone() }).expect_err("an input");
    assert!(matches!(onto, JobError::IsInput(_)), "{onto:?}");
    fs::remove_file(folder.path().join("winch.wav")).expect("removed");
    let error = make(&job).expect_err("no recording").to_string();
    assert!(error.ends_with("winch.wav: cannot read the file: no such file or directory"), "{error}");
    let far = Edit::Recording(Some(Recording::new("/elsewhere/winch.wav", None)));
    let outside = Job { groove: Arc::new(job.groove.edited(&far).expect("a name")), ..job };
    let error = make(&outside).expect_err("outside").to_string();
    assert!(error.starts_with("expected a recording in the folder of the groove"), "{error}");
    assert!(names(folder.path()).is_empty(), "{:?}", names(folder.path()));
}
