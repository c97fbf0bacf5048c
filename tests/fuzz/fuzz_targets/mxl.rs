//! Imports compressed MusicXML made of any bytes: as the score, as the container, as damage to an archive, and as the archive.
#![no_main]

use std::io::{Cursor, Write};
use teeter::import::musicxml::read;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

const CONTAINER: &str = "META-INF/container.xml";
const NAMES_ONE: &[u8] = b"<container><rootfiles><rootfile full-path=\"a.xml\"/></rootfiles></container>";

fn packed(entries: &[(&str, &[u8])], how: CompressionMethod) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        zip.start_file(*name, SimpleFileOptions::default().compression_method(how)).expect("an entry");
        zip.write_all(bytes).expect("into memory");
    }
    zip.finish().expect("an archive").into_inner()
}

/// The imported groove; an error must have a message.
fn whole(bytes: &[u8]) -> Option<teeter::rhythm::Groove> {
    match read(bytes) {
        Ok(imported) => {
            assert!(imported.groove.length().is_some());
            Some(imported.groove)
        }
        Err(error) => {
            assert!(!error.message.is_empty());
            None
        }
    }
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let Some((kind, rest)) = bytes.split_first() else { return };
    let how = if kind & 4 == 0 { CompressionMethod::Stored } else { CompressionMethod::Deflated };
    match kind % 4 {
        // A valid archive gives the same as the score in it.
        0 => {
            let plain = if rest.starts_with(b"PK") { None } else { whole(rest) };
            assert!(whole(&packed(&[(CONTAINER, NAMES_ONE), ("a.xml", rest)], how)) == plain);
        }
        // Any container file, and a score that it may name.
        1 => drop(whole(&packed(&[(CONTAINER, rest), ("a.xml", b"<score-partwise/>")], how))),
        // A damaged archive: of each three bytes, two are a position and one replaces the byte there.
        2 => {
            let mut archive = packed(&[(CONTAINER, NAMES_ONE), ("a.xml", b"<score-partwise/>")], how);
            for change in rest.chunks_exact(3) {
                let at = usize::from(u16::from_le_bytes([change[0], change[1]])) % archive.len();
                archive[at] = change[2];
            }
            whole(&archive);
        }
        // Any bytes as an archive.
        _ => drop(whole(&[b"PK", rest].concat())),
    }
});
