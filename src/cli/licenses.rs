//! `teeter licenses`: prints the license of the program, and where the source of its parts under the Mozilla Public License is.

use super::Exit;
use std::io::{self, Write};

const NOTICE: &str = include_str!("licenses.md");
const OWN_LICENSE: &str = include_str!("../../LICENSE");
const FONT_LICENSE: &str = include_str!("../export/picture/font/LICENSE.txt");
const NOTATION_FONT_LICENSE: &str = include_str!("../export/picture/font/OFL.txt");

pub(super) fn run() -> io::Result<Exit> {
    let mut out = io::stdout().lock();
    // The marks of the generated part are left out.
    for line in NOTICE.lines().filter(|line| !line.starts_with("<!--")) {
        writeln!(out, "{line}")?;
    }
    writeln!(out, "\n## teeter\n\n{OWN_LICENSE}\n## Font of text\n\n{}", FONT_LICENSE.trim_end())?;
    writeln!(out, "\n## Font of notation\n\n{}", NOTATION_FONT_LICENSE.trim_end())?;
    Ok(Exit::Success)
}
