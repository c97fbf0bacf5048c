//! The offset of taps, kept beside the journal for the next time.

use super::{Journal, SaveError};
use toml_edit::DocumentMut;

/// File in the journal's folder.
const NAME: &str = "tap-offset.toml";
/// Greatest offset that is believed, in ms.
const GREATEST: f64 = 1000.0;

/// What is taken off every tap on this machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Calibration {
    /// The offset in ms, -1000 to 1000; plus is late.
    pub ms: f64,
    /// Its standard error in ms, 0 to 1000.
    pub error_ms: f64,
}

impl Journal {
    /// The calibration that was kept; `None` if there is none that can be read.
    pub(crate) fn calibration(&self) -> Option<Calibration> {
        let document: DocumentMut = self.beside(NAME)?.parse().ok()?;
        let number = |name: &str| {
            let value = document.get(name)?;
            value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
        };
        let (ms, error_ms) = (number("offset-ms")?, number("error-ms")?);
        let good = (-GREATEST..=GREATEST).contains(&ms) && (0.0..=GREATEST).contains(&error_ms);
        good.then_some(Calibration { ms, error_ms })
    }

    /// Keeps a calibration in the place of the old one.
    ///
    /// # Errors
    /// [`SaveError`] as for any file; what was kept before is then still there.
    pub(crate) fn keep_calibration(&self, c: Calibration) -> Result<(), SaveError> {
        let text = format!(
            "# Measured by tapping to plain clicks: this machine's delay and the player's habit together.\n\
             offset-ms = {:.2}\nerror-ms = {:.2}\n",
            c.ms, c.error_ms
        );
        self.write_beside(NAME, &text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn a_calibration_is_kept_and_nonsense_is_none() {
        let home = tempfile::tempdir().expect("a folder");
        let journal = Journal::at(&home.path().join("teeter"));
        assert_eq!(journal.calibration(), None);
        let kept = Calibration { ms: -23.5, error_ms: 3.25 };
        journal.keep_calibration(kept).expect("written");
        assert_eq!(journal.calibration(), Some(kept));
        assert!(journal.recover(None).is_none(), "it is no work");
        let file = home.path().join("teeter").join(NAME);
        for text in [
            "",
            "offset-ms = 1e9\nerror-ms = 1.0",
            "offset-ms = nan\nerror-ms = 1.0",
            "offset-ms",
            "\0",
            "offset-ms = 2",
        ] {
            fs::write(&file, text).expect("written");
            assert_eq!(journal.calibration(), None, "{text}");
        }
        fs::write(&file, "offset-ms = 12\nerror-ms = 1").expect("written");
        assert_eq!(journal.calibration(), Some(Calibration { ms: 12.0, error_ms: 1.0 }));
    }
}
