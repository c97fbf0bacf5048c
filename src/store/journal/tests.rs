//! Tests of the journal: what is written is read, whatever is left of the file, and who may offer it.

use super::*;
use proptest::prelude::*;

struct Home(tempfile::TempDir);

impl Home {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    fn state(&self) -> StateFolder {
        StateFolder::at(&self.0.path().join("state/teeter"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn names(&self) -> usize {
        fs::read_dir(&self.state().0).expect("a folder").count()
    }
}

fn texts(found: &FoundJournals) -> Vec<&str> {
    found.unsaved.iter().map(|u| u.contents.text.as_deref().unwrap_or("none")).collect()
}

#[test]
fn only_work_without_a_process_is_offered_and_only_to_one() {
    let home = Home::new();
    let (state, path) = (home.state(), home.path("winch.toml"));
    assert!(state.journals(Some(&path)).unsaved.is_empty());
    fs::write(&path, "saved").expect("written");
    let mut first = Journal::create(&state, Some(&path), Some("saved")).expect("created");
    let mut second = Journal::create(&state, Some(&path), Some("saved")).expect("created");
    first.write("one").expect("written");
    second.write("two").expect("written");
    let found = state.journals(Some(&path));
    assert_eq!((found.unsaved.len(), found.open_in), (0, vec![std::process::id(); 2]));
    // Another file and a groove without one have journals of their own.
    assert!(state.journals(Some(&home.path("rope.toml"))).open_in.is_empty());
    assert!(state.journals(None).open_in.is_empty());
    drop(first);
    // The same file by another path; newer than the journal; and then without a file.
    fs::write(&path, "changed").expect("written");
    let found = state.journals(Some(&home.path("./state/../winch.toml")));
    assert_eq!(texts(&found), ["one"]);
    let contents = &found.unsaved[0].contents;
    assert_eq!((contents.base.as_deref(), contents.is_damaged), (Some("saved"), false));
    assert!(state.journals(Some(&path)).unsaved.is_empty(), "another editor is offering it");
    drop(found);
    fs::remove_file(&path).expect("removed");
    drop(second);
    let mut found = state.journals(Some(&path));
    let mut both = texts(&found);
    both.sort_unstable();
    assert_eq!(both, ["one", "two"]);
    found.unsaved.pop().expect("work").discard();
    drop(found);
    assert_eq!(state.journals(Some(&path)).unsaved.len(), 1);
}

#[test]
fn a_journal_without_an_edit_is_removed_and_a_damaged_one_is_kept() {
    let home = Home::new();
    let (state, path) = (home.state(), home.path("winch.toml"));
    drop(Journal::create(&state, Some(&path), Some("saved")).expect("created"));
    assert_eq!(home.names(), 1);
    assert!(state.journals(Some(&path)).unsaved.is_empty());
    assert_eq!(home.names(), 0);
    let mut journal = Journal::create(&state, Some(&path), None).expect("created");
    journal.write("one").expect("written");
    fs::write(&journal.path, "\0\0\0\0").expect("written");
    drop(journal);
    let found = state.journals(Some(&path));
    assert_eq!((texts(&found), found.unsaved[0].raw.as_str()), (vec!["none"], "\0\0\0\0"));
    drop(found);
    assert_eq!(home.names(), 1);
}

#[test]
fn only_the_user_can_read_it_and_a_removed_or_long_one_must_be_replaced() {
    use std::os::unix::fs::PermissionsExt;
    let home = Home::new();
    let mut journal = Journal::create(&home.state(), None, None).expect("created");
    let mode = |path: &Path| fs::metadata(path).expect("there").permissions().mode() & 0o077;
    assert_eq!((mode(&journal.path), mode(&home.state().0)), (0, 0));
    for n in 0..MAX_RECORDS {
        assert!(!journal.must_be_replaced());
        journal.write(&format!("{n}")).expect("written");
    }
    assert!(journal.must_be_replaced());
    let journal = Journal::create(&home.state(), None, None).expect("created");
    fs::remove_file(&journal.path).expect("removed");
    assert!(journal.must_be_replaced());
    let blocked = StateFolder::at(Path::new("/dev/null/teeter"));
    assert!(matches!(Journal::create(&blocked, None, None), Err(SaveError::Folder(..))));
}

#[test]
fn a_record_that_could_not_be_written_leaves_the_earlier_ones() {
    let home = Home::new();
    let mut journal = Journal::create(&home.state(), None, None).expect("created");
    journal.write("one").expect("written");
    // Opened for reading: every write fails.
    let writable = std::mem::replace(&mut journal.file, File::open(&journal.path).expect("opened"));
    assert!(matches!(journal.write("one, two"), Err(SaveError::Write(..))));
    let too_long = "x".repeat(MAX_BYTES as usize + 1);
    assert!(matches!(journal.write(&too_long), Err(SaveError::TooLarge(..))));
    assert_eq!(read_journal(&fs::read(&journal.path).expect("bytes")).text.as_deref(), Some("one"));
    journal.file = writable;
    journal.write("one, two, three").expect("written");
    let contents = read_journal(&fs::read(&journal.path).expect("bytes"));
    assert_eq!((contents.text.as_deref(), contents.is_damaged), (Some("one, two, three"), false));
}

#[test]
fn what_precedes_damage_is_read() {
    let home = Home::new();
    let mut journal = Journal::create(&home.state(), None, None).expect("created");
    journal.write("one").expect("written");
    journal.write("one, two").expect("written");
    let mut bytes = fs::read(&journal.path).expect("bytes");
    // What is no record, as long as the head of one.
    bytes.extend([b'?'; 13]);
    let contents = read_journal(&bytes);
    assert_eq!((contents.text.as_deref(), contents.is_damaged), (Some("one, two"), true));
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(128))]

    /// Whatever is cut off or changed, what is read is the base and a text that was written.
    #[test]
    fn every_start_of_a_journal_gives_the_texts_written_so_far(
        texts in prop::collection::vec("[x.é-]{1,20}", 1..20),
        base in prop::option::of("[x.-]{0,20}"),
        cut in any::<prop::sample::Index>(),
        flipped in any::<prop::sample::Index>(),
    ) {
        let home = Home::new();
        let mut journal = Journal::create(&home.state(), Some(Path::new("winch.toml")), base.as_deref()).expect("created");
        let mut ends = vec![(journal.length, None)];
        for text in &texts {
            journal.write(text).expect("written");
            ends.push((journal.length, Some(text.clone())));
        }
        let mut bytes = fs::read(&journal.path).expect("bytes");
        prop_assert_eq!(bytes.len() as u64, journal.length);
        let whole = read_journal(&bytes);
        prop_assert_eq!((&whole.text, &whole.base, whole.is_damaged), (&ends.last().expect("one").1, &base, false));
        let cut = cut.index(bytes.len() + 1);
        let contents = read_journal(&bytes[..cut]);
        let expected = ends.iter().rev().find(|(end, _)| *end <= cut as u64).and_then(|(_, text)| text.clone());
        prop_assert_eq!((contents.text, contents.is_damaged), (expected, false));
        let at = flipped.index(bytes.len());
        bytes[at] ^= 0x41;
        let contents = read_journal(&bytes);
        prop_assert!(contents.text.is_none_or(|text| texts.contains(&text)));
        prop_assert!(contents.base.is_none() || contents.base == base);
    }
}
