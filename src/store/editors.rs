//! The editors that run on this host and can play through a remote speaker, as small files in the state folder.

use super::StateFolder;
use super::lock::{lock_folder, try_lock};
use std::fs::File;
use std::io::Write;
use std::path::PathBuf;
use std::process;

/// An editor that runs now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct RunningEditor {
    pub pid: u32,
    /// Name of its groove's file, or empty.
    pub groove: String,
}

/// This process in the list of editors, until it is dropped. The lock of its file says that it runs.
#[derive(Debug)]
pub(crate) struct ListedEditor {
    folder: StateFolder,
    _locked: File,
}

impl Drop for ListedEditor {
    fn drop(&mut self) {
        self.folder.forget_editor(process::id());
    }
}

fn editor_file(pid: u32) -> String {
    format!("editor-{pid}")
}

/// The file with the path of the newest socket for an editor.
fn socket_file(pid: u32) -> String {
    format!("editor-{pid}.socket")
}

impl StateFolder {
    /// Lists this process as an editor of a groove; `None` if the folder cannot be written.
    pub(crate) fn list_editor(&self, groove: &str) -> Option<ListedEditor> {
        self.create().ok()?;
        // Until the file is locked nobody may take its process for one that has ended.
        let _lock = lock_folder(&self.0);
        let mut file = File::create(self.0.join(editor_file(process::id()))).ok()?;
        try_lock(&file);
        file.write_all(groove.as_bytes()).ok()?;
        Some(ListedEditor { folder: self.clone(), _locked: file })
    }

    fn forget_editor(&self, pid: u32) {
        self.remove(&editor_file(pid));
        self.remove(&socket_file(pid));
    }

    pub(crate) fn is_editor_running(&self, pid: u32) -> bool {
        File::open(self.0.join(editor_file(pid))).is_ok_and(|file| !try_lock(&file))
    }

    /// The editors that run, by process id. Those that were killed are forgotten.
    pub(crate) fn running_editors(&self) -> Vec<RunningEditor> {
        let _lock = lock_folder(&self.0);
        let pids = self.names().into_iter().filter_map(|n| n.strip_prefix("editor-")?.parse().ok());
        let (mut running, gone): (Vec<u32>, Vec<u32>) = pids.partition(|pid| self.is_editor_running(*pid));
        for pid in gone {
            self.forget_editor(pid);
        }
        running.sort_unstable();
        let editor = |pid| Some(RunningEditor { pid, groove: self.read(&editor_file(pid))? });
        running.into_iter().filter_map(editor).collect()
    }

    /// Hands the socket of a remote speaker to an editor. Returns whether it could be written.
    pub(crate) fn offer_socket(&self, pid: u32, socket: &str) -> bool {
        self.write(&socket_file(pid), socket).is_ok()
    }

    /// The socket that was handed to this editor last, once.
    pub(crate) fn take_offered_socket(&self) -> Option<PathBuf> {
        let file = socket_file(process::id());
        let socket = self.read(&file)?;
        self.remove(&file);
        Some(socket.into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_socket_is_handed_to_a_running_editor_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let state = StateFolder::at(folder.path());
        assert_eq!(state.running_editors(), []);
        let pid = process::id();
        let listed = state.list_editor("riff.toml").expect("listed");
        // The file of an editor that was killed. Its process id may be in use again: that of the parent is.
        let killed = std::os::unix::process::parent_id();
        state.write(&editor_file(killed), "knock.toml").expect("written");
        assert_eq!(state.running_editors(), [RunningEditor { pid, groove: "riff.toml".into() }]);
        assert_eq!(state.read(&editor_file(killed)), None, "forgotten");
        assert_eq!(state.take_offered_socket(), None);
        assert!(state.offer_socket(pid, "/tmp/teeter-1") && state.offer_socket(pid, "/tmp/teeter-2"));
        assert_eq!(state.take_offered_socket(), Some("/tmp/teeter-2".into()));
        assert_eq!(state.take_offered_socket(), None);
        assert!(state.is_editor_running(pid));
        drop(listed);
        assert!(!state.is_editor_running(pid) && state.running_editors().is_empty());
        assert_eq!(state.read(&editor_file(pid)), None);
    }
}
