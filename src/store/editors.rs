//! The editors that run on this host and can play through a remote speaker, as small files in the state folder.

use super::StateFolder;
use std::path::{Path, PathBuf};
use std::process;

/// An editor that runs now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct RunningEditor {
    pub pid: u32,
    /// Name of its groove's file, or empty.
    pub groove: String,
}

impl RunningEditor {
    pub(crate) fn is_running(&self) -> bool {
        is_running(self.pid)
    }
}

fn editor_file(pid: u32) -> String {
    format!("editor-{pid}")
}

/// The file with the path of the newest socket for an editor.
fn socket_file(pid: u32) -> String {
    format!("editor-{pid}.socket")
}

/// Whether another process with this id runs, on systems with `/proc`.
fn is_running(pid: u32) -> bool {
    pid != process::id() && Path::new("/proc").join(pid.to_string()).exists()
}

impl StateFolder {
    /// Lists this process as an editor until [`StateFolder::withdraw_editor`]. Without a state folder it is not listed.
    pub(crate) fn announce_editor(&self, groove: &str) {
        drop(self.write(&editor_file(process::id()), groove));
    }

    pub(crate) fn withdraw_editor(&self) {
        self.forget_editor(process::id());
    }

    fn forget_editor(&self, pid: u32) {
        self.remove(&editor_file(pid));
        self.remove(&socket_file(pid));
    }

    /// The editors that run, by process id. Those that were killed are forgotten.
    pub(crate) fn running_editors(&self) -> Vec<RunningEditor> {
        let pids = self.names().into_iter().filter_map(|n| n.strip_prefix("editor-")?.parse().ok());
        let (mut running, gone): (Vec<u32>, Vec<u32>) = pids.partition(|pid| is_running(*pid));
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
        // The parent of this process runs, and no process has the largest number.
        let other = std::os::unix::process::parent_id();
        for pid in [other, u32::MAX] {
            state.write(&editor_file(pid), "riff.toml").expect("written");
        }
        assert_eq!(state.running_editors(), [RunningEditor { pid: other, groove: "riff.toml".into() }]);
        assert_eq!(state.read(&editor_file(u32::MAX)), None, "forgotten");
        state.announce_editor("");
        assert_eq!(state.take_offered_socket(), None);
        assert!(
            state.offer_socket(process::id(), "/tmp/teeter-1") && state.offer_socket(process::id(), "/tmp/teeter-2")
        );
        assert_eq!(state.take_offered_socket(), Some("/tmp/teeter-2".into()));
        assert_eq!(state.take_offered_socket(), None);
        state.withdraw_editor();
        assert_eq!(state.read(&editor_file(process::id())), None);
    }
}
