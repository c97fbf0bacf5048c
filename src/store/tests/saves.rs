//! Tests of files on the disk: saves, links, modes, interrupted saves, and files that are no groove.

use super::*;

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder for the test")
}

fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("folder");
    let mut names: Vec<_> = entries.map(|e| e.expect("entry").file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_save_replaces_the_text_and_nothing_else() {
    let folder = folder();
    let path = folder.path().join("winch.toml");
    let first = save(&path, &hand_made(), Some(Stamp::ABSENT)).expect("a new file");
    assert_eq!(load(&path).expect("saved").stamp, first);
    let second = save(&path, HAND_MADE, Some(first)).expect("saved again");
    assert_eq!(fs::read_to_string(&path).expect("file"), HAND_MADE);
    assert_eq!(save(&path, "x", Some(first)), Err(SaveError::ChangedOnDisk(path.clone())));
    assert_eq!(save(&path, "x", Some(Stamp::ABSENT)), Err(SaveError::ChangedOnDisk(path.clone())));
    assert_eq!(fs::read_to_string(&path).expect("file"), HAND_MADE);
    assert!(save(&path, "x", None).is_ok());
    fs::remove_file(&path).expect("removed");
    assert!(save(&path, "y", Some(second)).is_ok(), "a vanished file is written again");
    assert_eq!(names_in(folder.path()), ["winch.toml"]);
    let refused = save(&folder.path().join("none/winch.toml"), "x", None);
    assert!(matches!(refused, Err(SaveError::Folder(..))), "{refused:?}");
    assert_eq!(save(folder.path(), "x", None), Err(SaveError::NotRegular(folder.path().to_owned())));
    let long = " ".repeat(MAX_BYTES as usize + 1);
    assert!(matches!(save(&path, &long, None), Err(SaveError::TooLarge(..))));
}

#[test]
fn a_save_keeps_mode_and_links_and_respects_read_only() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
    let folder = folder();
    let (file, link, open) =
        (folder.path().join("file.toml"), folder.path().join("link.toml"), folder.path().join("open.toml"));
    let mode = |path: &Path| fs::metadata(path).expect("file").permissions().mode() & 0o777;
    fs::write(&file, "old").expect("written");
    fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).expect("mode");
    symlink("file.toml", &link).expect("link");
    symlink("new.toml", &open).expect("link");
    let owner = fs::metadata(&file).expect("file").uid();
    save(&link, "new", None).expect("saved through the link");
    assert!(fs::symlink_metadata(&link).expect("link").is_symlink());
    assert_eq!((fs::read_to_string(&file).expect("file").as_str(), mode(&file)), ("new", 0o640));
    assert_eq!(fs::metadata(&file).expect("file").uid(), owner);
    save(&open, "new", None).expect("saved through a link to nothing");
    assert!(fs::symlink_metadata(&open).expect("link").is_symlink());
    assert_eq!(names_in(folder.path()), ["file.toml", "link.toml", "new.toml", "open.toml"]);
    // A new file has the mode any program of the user's would give it.
    fs::write(folder.path().join("plain"), "").expect("written");
    assert_eq!(mode(&open), mode(&folder.path().join("plain")));

    fs::set_permissions(&file, fs::Permissions::from_mode(0o444)).expect("mode");
    assert_eq!(save(&link, "newer", None), Err(SaveError::ReadOnly(link.clone())));
    assert_eq!(fs::read_to_string(&file).expect("file"), "new");

    fs::set_permissions(&file, fs::Permissions::from_mode(0o644)).expect("mode");
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o555)).expect("mode");
    // Root may write in any folder, so there the system's own read-only one has to serve.
    if fs::write(folder.path().join("probe"), "").is_err() {
        let refused = save(&file, "newer", None);
        assert!(matches!(refused, Err(SaveError::Folder(..))), "{refused:?}");
        assert_eq!(fs::read_to_string(&file).expect("file"), "new");
    }
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).expect("mode");
    #[cfg(target_os = "linux")]
    assert!(matches!(save(Path::new("/proc/winch.toml"), "x", None), Err(SaveError::Folder(..))));
}

#[test]
fn a_save_keeps_hard_links_and_an_interrupted_one_is_completed() {
    use crate::store::save::finish_interrupted_save;
    use std::os::unix::fs::MetadataExt;
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    let text = |name: &str| fs::read_to_string(at(name)).expect("text");
    let (old, new) = (hand_made(), hand_made().replace("Winch", "Capstan"));
    let backup = ".riff.toml.teeter-save";
    fs::write(at("riff.toml"), &old).expect("written");
    fs::create_dir(at("other")).expect("a folder");
    fs::hard_link(at("riff.toml"), at("other/riff.toml")).expect("linked");
    for next in [&new, "shorter", &new] {
        save(&at("riff.toml"), next, None).expect("saved");
        assert_eq!((text("riff.toml").as_str(), text("other/riff.toml").as_str()), (next, next));
        assert_eq!(fs::metadata(at("riff.toml")).expect("file").nlink(), 2);
        assert_eq!(names_in(folder.path()), ["other", "riff.toml"], "no backup is left");
    }
    assert_eq!(save(&at("riff.toml"), &old, Some(Stamp::of("x"))), Err(SaveError::ChangedOnDisk(at("riff.toml"))));
    // What a kill leaves: the backup, and a file that is old, new or neither.
    let interrupted = |current: &str| {
        fs::write(at("riff.toml"), current).expect("written");
        fs::write(at(backup), &new).expect("written");
        finish_interrupted_save(&at("riff.toml"))
    };
    for current in [&new, "", &new[..40], &format!("{}{}", &new[..90], &old[40..])] {
        assert_eq!(interrupted(current), None, "{current}");
        assert_eq!((text("other/riff.toml").as_str(), names_in(folder.path()).len()), (new.as_str(), 2), "{current}");
    }
    let message = interrupted(&old).expect("a message");
    assert!(message.contains(backup), "{message}");
    assert_eq!((text("riff.toml"), text(backup)), (old, new));
    fs::remove_file(at(backup)).expect("removed");
    assert_eq!(finish_interrupted_save(&at("riff.toml")), None);
    assert_eq!(finish_interrupted_save(&at("missing.toml")), None);
}

#[test]
fn files_that_are_none_are_refused_at_once() {
    let folder = folder();
    let problem = |path: &Path| load(path).expect_err("refused").problem;
    assert_eq!(problem(folder.path()), Problem::Directory);
    assert_eq!(problem(&folder.path().join("none.toml")), Problem::Missing);
    let long = folder.path().join("long.toml");
    File::create(&long).and_then(|f| f.set_len(200 << 20)).expect("a file with a hole of 200 MiB");
    assert_eq!(problem(&long), Problem::TooLarge(200 << 20));
    let bytes = folder.path().join("bytes.toml");
    fs::write(&bytes, b"format = 1\ntitle = \"\xC3\xA9\xFF\"\n").expect("written");
    let error = load(&bytes).expect_err("refused");
    let shown = format!("{}:2:11: expected UTF-8 text, found byte 0xFF", bytes.display());
    assert_eq!(error.to_string(), shown);
    #[cfg(target_os = "linux")]
    {
        assert_eq!(problem(Path::new("/dev/zero")), Problem::NotRegular);
        assert!(load(Path::new("/proc/self/mem")).is_err());
        assert!(load(Path::new("/proc/self/pagemap")).is_err());
    }
}
