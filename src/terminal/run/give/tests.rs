//! Tests of what is made and of what is left where it is not. They must not know the screen.

use super::super::super::{Choice, Look, Mark, What};
use super::*;
use crate::analysis;
use crate::describe::notes::NotationOptions;
use crate::rhythm::{Groove, Meter, Tempo, Time, Voice};
use std::path::Path;
use std::{fs, io};

fn groove(bars: u16) -> Arc<Groove> {
    let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
    let mut session =
        crate::session::Session::new(Groove::blank(Meter::parse("4/4").expect("meter"), tempo, bars).expect("groove"));
    session.apply(crate::session::Command::LayLine(vec![3; usize::from(bars) * 5]));
    session.apply(crate::session::Command::AddLayer("deck".into(), Voice::Kick));
    session.groove().clone()
}

fn order(folder: &Path, name: &str, what: What) -> Order {
    Order {
        groove: groove(2),
        file: Some(folder.join("rope.toml").display().to_string()),
        path: folder.join(name).display().to_string(),
        over: false,
        limits: analysis::Limits::default(),
        layers: Vec::new(),
        hearings: Vec::new(),
        hertz: 8_000,
        what,
    }
}

fn names(folder: &Path) -> Vec<String> {
    let files = fs::read_dir(folder).expect("a folder").flatten();
    let mut names: Vec<String> = files.map(|f| f.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn midi() -> What {
    What::Format { offer: "midi".into(), section: None, look: Look::default() }
}

#[test]
fn every_offer_is_made_and_says_what_it_is() {
    let folder = tempfile::tempdir().expect("a folder");
    let all = offers();
    let of = [(Choice::Groove, &all.formats), (Choice::Handout, &all.pages)];
    for (choice, offers) in of {
        for offer in offers {
            let what = if choice == Choice::Handout {
                What::Handout(offer.name.clone(), NotationOptions::default())
            } else {
                What::Format {
                    offer: offer.name.clone(),
                    section: None,
                    look: Look { width: 480.0, ..Look::default() },
                }
            };
            let name = format!("{}.{}", offer.name, offer.ending);
            let told = make(&order(folder.path(), &name, what), &Watch::none()).expect("made");
            assert!(told.starts_with("written: "), "{told}");
            assert!(!offer.words.is_empty() && offer.words.chars().count() <= 56, "{}", offer.words);
        }
    }
    let picture = |name: &str| fs::read_to_string(folder.path().join(name)).expect("a picture");
    let pictures = ["svg.svg", "svg-streams.svg", "svg-landings.svg", "svg-notation.svg"].map(picture);
    assert!((0..4).all(|a| (0..a).all(|b| pictures[a] != pictures[b])), "each is a picture of its own");
    assert!(names(&folder.path().join("page.html")).contains(&"rope-1.wav".to_owned()));
    assert_eq!(names(&folder.path().join("page-within.html")), ["rope.html"]);
}

#[test]
fn what_is_there_is_asked_about_and_what_cannot_be_is_said_in_a_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let of = |name: &str| order(folder.path(), name, midi());
    fs::write(folder.path().join("a.mid"), "keep").expect("written");
    let taken = make(&of("a.mid"), &Watch::none()).expect_err("taken");
    let Ungiven::Taken(mut again, _) = taken else { panic!("{taken:?}") };
    assert_eq!(fs::read_to_string(folder.path().join("a.mid")).expect("text"), "keep");
    again.over = true;
    make(&again, &Watch::none()).expect("written over");
    assert!(fs::read(folder.path().join("a.mid")).expect("bytes").starts_with(b"MThd"));
    fs::create_dir(folder.path().join("b.mid")).expect("a folder");
    for (name, words) in [("b.mid", "found a folder"), ("no/c.mid", "there is no folder")] {
        let refused = make(&of(name), &Watch::none()).expect_err("refused");
        assert!(matches!(&refused, Ungiven::Failed(w) if w.contains(words) && !w.contains('\n')), "{refused:?}");
    }
    // Sound is WAV, under no other name.
    let takes = || What::Takes { times: 1, count_in: false, speed: Fraction::ONE };
    for name in ["c.mp3", "c"] {
        let refused = make(&order(folder.path(), name, takes()), &Watch::none()).expect_err("refused");
        assert!(
            matches!(&refused, Ungiven::Failed(w) if w.contains("allowed is one that ends in .wav")),
            "{refused:?}"
        );
    }
    // A refused groove: a picture too large.
    let look = Look { width: 4000.0, scale: Some(8.0), ..Look::default() };
    let what = What::Format { offer: "png".into(), section: None, look };
    let mut large = order(folder.path(), "c.png", what);
    large.groove = groove(200);
    let refused = make(&large, &Watch::none()).expect_err("refused");
    assert!(matches!(&refused, Ungiven::Failed(w) if w.contains("allowed are")), "{refused:?}");
    assert_eq!(names(folder.path()), ["a.mid", "b.mid"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_in_a_line() {
    let full = io::Error::from_raw_os_error(28);
    let order = order(Path::new("/tmp"), "a.mid", midi());
    let said = make::wrong(&full, Path::new("a.mid"), &order, &Watch::none());
    assert_eq!(said, Ungiven::Failed("not written, No space left on device: a.mid".into()));
}

#[test]
fn called_off_work_leaves_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let takes = What::Takes { times: 400, count_in: false, speed: Fraction::ONE };
    for (name, what) in
        [("a.mid", midi()), ("a.wav", takes), ("pages", What::Handout("page".into(), NotationOptions::default()))]
    {
        // Off before it begins, and from the first word on how far it is.
        for late in [false, true] {
            if late && name == "a.mid" {
                continue;
            }
            let off = Arc::new(AtomicBool::new(!late));
            let switch = off.clone();
            let watch = Watch::new(off, move |_| switch.store(true, Ordering::Relaxed));
            assert_eq!(make(&order(folder.path(), name, what.clone()), &watch), Err(Ungiven::Cancelled), "{name}");
            assert_eq!(names(folder.path()), [""; 0], "{name}");
        }
    }
}

#[test]
fn a_hearing_is_found_again_by_its_mark() {
    let report = analysis::report(&groove(8), &analysis::Ask::default());
    assert!(report.hearings.len() > 2);
    for (k, hearing) in report.hearings.iter().enumerate() {
        assert_eq!(Mark::of(hearing).find(&report.hearings), Some(k));
    }
}

#[test]
fn grooves_come_in_or_it_is_said_why_not() {
    let folder = tempfile::tempdir().expect("a folder");
    make(&order(folder.path(), "a.mid", midi()), &Watch::none()).expect("made");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let came = bring(&path("a.mid"), Fraction::whole(5), &Watch::none()).expect("a groove");
    assert_eq!(came.groove.layers()[0].name, groove(2).layers()[0].name);
    fs::write(folder.path().join("b.mid"), "no midi").expect("written");
    fs::write(folder.path().join("c"), "what is this").expect("written");
    for (name, words) in [
        ("b.mid", "not imported, "),
        ("c", "found no format known here"),
        ("d.mid", "No such file"),
        (".", "this is not a plain file"),
    ] {
        let refused = bring(&path(name), Fraction::whole(5), &Watch::none()).expect_err("refused");
        assert!(matches!(&refused, Ungiven::Failed(w) if w.contains(words) && !w.contains('\n')), "{refused:?}");
    }
}
