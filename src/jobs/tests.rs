//! Tests of the files that jobs write, and of what is left when they fail.

mod recordings;

use super::*;
use crate::analysis::{self, Limits};
use crate::describe::notes::NotationOptions;
use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time, Voice};
use std::path::Path;
use std::sync::Arc;
use std::{fs, io};

fn groove(bars: u16) -> Arc<Groove> {
    let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
    let mut session =
        crate::session::Session::new(Groove::blank(Meter::parse("4/4").expect("meter"), tempo, bars).expect("groove"));
    session.apply(crate::session::Command::EnterGroups(vec![3; usize::from(bars) * 5], crate::session::Overflow::Cut));
    session.apply(crate::session::Command::AddLayer("deck".into(), Voice::Kick));
    session.groove().clone()
}

fn job(folder: &Path, name: &str, kind: JobKind) -> Job {
    Job {
        groove: groove(2),
        file: Some(folder.join("rope.toml")),
        outside: OutsideSounds::default(),
        target: Target::File(folder.join(name)),
        overwrite: Overwrite::Never,
        limits: Limits::default(),
        layers: Vec::new(),
        hearings: HearingSelection::Keys(Vec::new()),
        rate: SampleRate::new(8_000).expect("a rate"),
        kind,
    }
}

fn names(folder: &Path) -> Vec<String> {
    let files = fs::read_dir(folder).expect("a folder").flatten();
    let mut names: Vec<String> = files.map(|f| f.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn midi() -> JobKind {
    JobKind::Export { format: "midi", picture: None, section: None, style: PictureStyle::default() }
}

fn handout() -> JobKind {
    JobKind::Handout { format: HandoutFormat::Html, sound: TakeSound::Files, notation: NotationOptions::default() }
}

fn takes(times: u32) -> JobKind {
    JobKind::Takes { takes: Vec::new(), times, count_in: 0, speed: Fraction::ONE, recording: None }
}

fn make(job: &Job) -> Result<JobReport, JobError> {
    run(job, &JobControl::detached())
}

#[test]
fn every_choice_is_made_and_has_a_description() {
    let folder = tempfile::tempdir().expect("a folder");
    let all = export_choices();
    for choice in all.formats.iter().chain(&all.handouts) {
        let name = format!("{}.{}", choice.name, choice.ending);
        let (name, kind) = match choice.kind {
            ExportKind::Format(format, picture) => {
                let style = PictureStyle { width: 480.0, ..PictureStyle::default() };
                (name, JobKind::Export { format, picture, section: None, style })
            }
            ExportKind::Handout(format, sound) => {
                let page = format!("{}/rope.{}", choice.name, choice.ending);
                (page, JobKind::Handout { format, sound, notation: NotationOptions::default() })
            }
        };
        let report = make(&job(folder.path(), &name, kind)).expect("made");
        assert_eq!(report.files[0], folder.path().join(&name));
        assert!(report.files.iter().all(|path| path.is_file()), "{report:?}");
        let length = choice.description.chars().count();
        assert!((1..=56).contains(&length), "{}: {length}", choice.name);
    }
    let picture = |name: &str| fs::read_to_string(folder.path().join(name)).expect("a picture");
    let pictures = ["svg.svg", "svg-streams.svg", "svg-landings.svg", "svg-notation.svg"].map(picture);
    assert!((0..4).all(|a| (0..a).all(|b| pictures[a] != pictures[b])), "each is a picture of its own");
    assert!(names(&folder.path().join("page")).contains(&"rope-1.wav".to_owned()));
    assert_eq!(names(&folder.path().join("page-within")), ["rope-teacher.html", "rope.html"]);
}

#[test]
fn a_file_that_exists_is_replaced_only_when_that_is_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    fs::write(path("a.mid"), "keep").expect("written");
    let mut again = job(folder.path(), "a.mid", midi());
    assert_eq!(make(&again), Err(JobError::Exists(path("a.mid"))));
    assert_eq!(fs::read_to_string(path("a.mid")).expect("text"), "keep");
    again.overwrite = Overwrite::Always;
    make(&again).expect("replaced");
    assert!(fs::read(path("a.mid")).expect("bytes").starts_with(b"MThd"));
    // The list of cues and every file of a handout are asked about too, and nothing else is then written.
    fs::write(path("b.tsv"), "keep").expect("written");
    assert_eq!(make(&job(folder.path(), "b.wav", takes(1))), Err(JobError::Exists(path("b.tsv"))));
    fs::create_dir(path("pages")).expect("a folder");
    fs::write(path("pages/rope-1.wav"), "keep").expect("written");
    let page = job(folder.path(), "pages/rope.html", handout());
    assert_eq!(make(&page), Err(JobError::Exists(path("pages/rope-1.wav"))));
    assert_eq!(names(&path("pages")), ["rope-1.wav"]);
    assert_eq!(names(folder.path()), ["a.mid", "b.tsv", "pages"]);
}

#[test]
fn an_input_is_never_replaced() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    fs::write(path("rope.toml"), "the groove").expect("written");
    std::os::unix::fs::symlink("rope.toml", path("soft.mid")).expect("linked");
    fs::hard_link(path("rope.toml"), path("hard.mid")).expect("linked");
    for name in ["soft.mid", "hard.mid"] {
        let job = Job { overwrite: Overwrite::Always, ..job(folder.path(), name, midi()) };
        assert_eq!(make(&job), Err(JobError::IsInput(path(name))));
    }
    // A layer's sample is an input too.
    fs::write(path("bell.wav"), "the sample").expect("written");
    let mut own = Job { overwrite: Overwrite::Always, ..job(folder.path(), "bell.wav", takes(1)) };
    let sample = crate::rhythm::Edit::SoundFile(0, Some("bell.wav".into()));
    own.groove = Arc::new(own.groove.edited(&sample).expect("a sample"));
    assert_eq!(make(&own), Err(JobError::IsInput(path("bell.wav"))));
    assert_eq!(fs::read_to_string(path("rope.toml")).expect("text"), "the groove");
    assert_eq!(names(folder.path()), ["bell.wav", "hard.mid", "rope.toml", "soft.mid"]);
}

#[test]
fn targets_and_grooves_that_cannot_be_are_errors() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::create_dir(folder.path().join("b.mid")).expect("a folder");
    let failed = |name: &str, kind| match make(&job(folder.path(), name, kind)) {
        Err(JobError::Write { kind, .. }) => kind,
        other => panic!("{other:?}"),
    };
    assert_eq!(failed("b.mid", midi()), io::ErrorKind::InvalidInput);
    assert_eq!(failed("no/c.mid", midi()), io::ErrorKind::NotFound);
    // Sound is WAV, under no other name.
    for name in ["c.mp3", "c"] {
        let refused = make(&job(folder.path(), name, takes(1))).expect_err("refused");
        assert!(matches!(&refused, JobError::Request(w) if w.starts_with("expected a file name that ends in .wav")));
    }
    let style = PictureStyle { width: 4000.0, scale: Some(8.0), ..PictureStyle::default() };
    let png = JobKind::Export {
        format: "png",
        picture: Some(crate::export::picture::PictureKind::Grid),
        section: None,
        style,
    };
    let large = Job { groove: groove(200), ..job(folder.path(), "c.png", png) };
    assert!(matches!(make(&large), Err(JobError::Input(_))));
    assert_eq!(names(folder.path()), ["b.mid"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_an_error_with_the_systems_reason() {
    let full = io::Error::from_raw_os_error(28);
    let error = JobError::write(Path::new("a.mid"), &full);
    assert_eq!(error.to_string(), "a.mid: cannot write: no space left on the device");
}

#[test]
fn a_cancelled_job_leaves_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, kind) in [("a.mid", midi()), ("a.wav", takes(400)), ("pages/rope.html", handout())] {
        // Before it begins, and at its first report of progress.
        for late in [false, true] {
            if late && name == "a.mid" {
                continue;
            }
            let token = CancelToken::default();
            let other = token.clone();
            if !late {
                token.cancel();
            }
            let control = JobControl::new(token, move |_| other.cancel());
            assert_eq!(run(&job(folder.path(), name, kind.clone()), &control), Err(JobError::Cancelled), "{name}");
            assert_eq!(names(folder.path()), [""; 0], "{name}");
        }
    }
}

#[test]
fn a_hearing_is_found_again_by_its_key() {
    let report = analysis::report(&groove(8), &analysis::AnalysisOptions::default());
    assert!(report.hearings.len() > 2);
    for (k, hearing) in report.hearings.iter().enumerate() {
        assert_eq!(HearingKey::of(hearing).index_in(&report.hearings), Some(k));
    }
}

#[test]
fn a_groove_is_imported_or_the_error_says_why_not() {
    let folder = tempfile::tempdir().expect("a folder");
    make(&job(folder.path(), "a.mid", midi())).expect("made");
    let import = |name: &str| import(&folder.path().join(name), Fraction::whole(5), &JobControl::detached());
    let imported = import("a.mid").expect("a groove");
    assert_eq!(imported.groove.layers()[0].name, groove(2).layers()[0].name);
    fs::write(folder.path().join("b.mid"), "no midi").expect("written");
    fs::write(folder.path().join("c"), "what is this").expect("written");
    for name in ["b.mid", "c", "d.mid", "."] {
        let error = import(name).expect_err("refused");
        let path = folder.path().join(name).display().to_string();
        assert!(matches!(&error, JobError::Input(w) if w.starts_with(&path) && !w.contains('\n')), "{error:?}");
    }
}
