//! Paths and files for the other tests. It must not know what they test.

pub(crate) mod editor;

use proptest::prelude::ProptestConfig;
use proptest::test_runner::FileFailurePersistence;
use std::fs;
use std::path::{Path, PathBuf};

/// A path within the package.
pub(crate) fn in_package(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// Copies the shipped groove "Half-Tide Winch" into a folder under this name; returns its path.
pub(crate) fn copy_winch(folder: &Path, name: &str) -> PathBuf {
    let path = folder.join(name);
    fs::copy(in_package("patterns/half-tide-winch.toml"), &path).expect("copied");
    path
}

/// The TOML files of a folder of the package, by name.
pub(crate) fn toml_files(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(in_package(folder)).unwrap_or_else(|e| panic!("{folder}: {e}"));
    let paths = entries.map(|entry| entry.expect("an entry of the folder").path());
    let mut files: Vec<PathBuf> = paths.filter(|path| path.extension().is_some_and(|e| e == "toml")).collect();
    files.sort();
    assert!(!files.is_empty(), "no files in {folder}");
    files
}

/// The last part of a path.
pub(crate) fn name(path: &Path) -> String {
    path.file_name().expect("a file").to_string_lossy().into_owned()
}

/// The settings of a property test: its number of cases, and the tracked folder that keeps the seeds of failures.
pub(crate) fn property_config(cases: u32) -> ProptestConfig {
    let failures = FileFailurePersistence::SourceParallel("tests/regressions");
    ProptestConfig { failure_persistence: Some(Box::new(failures)), ..ProptestConfig::with_cases(cases) }
}
