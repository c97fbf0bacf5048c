//! Tests of what is refused, and of encodings and archives.

use super::{note, score};
use crate::import::musicxml::read;
use std::io::Write as _;

fn refused(bytes: &[u8]) -> String {
    match read(bytes) {
        Ok(i) => panic!("read as {:?}", i.groove),
        Err(e) => e.to_string(),
    }
}

#[test]
fn what_is_no_score_is_refused_by_place() {
    let rows = [
        ("<html/>", "line 1, column 1: expected <score-partwise> or <score-timewise>, found <html>"),
        ("<score-partwise/>", "line 1, column 1: expected a <part-list>, found none"),
        (
            "<score-partwise><part-list/></score-partwise>",
            "line 1, column 1: expected at least one measure, found none",
        ),
        (
            "<!DOCTYPE a [<!ENTITY b \"bb\"><!ENTITY c \"&b;&b;\">]><a>&c;</a>",
            "line 1, column 1: expected a document type without entities, found <!ENTITY",
        ),
    ];
    for (text, words) in rows {
        assert_eq!(refused(text.as_bytes()), words, "{text}");
    }
    let malformed = ["", "hello", "<score-partwise>\n <part-list>", "<a>&boom;</a>", "<a></a><b></b>"];
    for text in malformed {
        let message = refused(text.as_bytes());
        assert!(message.starts_with("line ") && message.contains(": not well-formed XML: "), "{text}: {message}");
    }
    assert!(refused(b"<a>\n<b>&boom;</b></a>").starts_with("line 2, column "));
    assert!(refused("<a>".repeat(100_000).as_bytes()).contains("not well-formed XML"));
    assert!(refused(b"<a><b></a>").contains("line 1"));
    let bad = [
        "<measure><note><duration>x</duration></note></measure>",
        "<measure><note/></measure>",
        "<measure><note><duration>-1</duration></note></measure>",
        "<measure><note><duration>99999999999999999</duration></note></measure>",
        "<measure><attributes><divisions>0</divisions></attributes></measure>",
        "<measure><note><pitch><step>H</step><octave>4</octave></pitch><duration>1</duration></note></measure>",
        "<measure><note><pitch><step>C</step></pitch><duration>1</duration></note></measure>",
        "<measure><note><pitch><step>C</step><octave>99</octave></pitch><duration>1</duration></note></measure>",
        "<measure><barline><repeat direction=\"backward\" times=\"100000\"/></barline></measure>",
    ];
    for text in bad {
        let words = refused(score(text).as_bytes());
        assert!(words.starts_with("line 1, column "), "{text}: {words}");
    }
}

#[test]
fn other_encodings_are_read_or_refused_by_name() {
    let head = "<attributes><divisions>1</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>";
    let text =
        score(&format!("<measure>{head}{}</measure>", note("C4", 1, ""))).replace("<part-name>p", "<part-name>é");
    let name = |bytes: &[u8]| read(bytes).unwrap_or_else(|e| panic!("{e}")).groove.layers()[0].name.clone();
    let units = |big: bool| -> Vec<u8> {
        let mark = std::iter::once(0xfeff_u16).chain(text.encode_utf16());
        mark.flat_map(|u| if big { u.to_be_bytes() } else { u.to_le_bytes() }).collect()
    };
    assert_eq!(name(text.as_bytes()), "é");
    assert_eq!(name(&units(true)), "é");
    assert_eq!(name(&units(false)), "é");
    let latin: Vec<u8> =
        format!("<?xml version='1.0' encoding='ISO-8859-1'?>{text}").chars().map(|c| c as u8).collect();
    assert_eq!(name(&latin), "é");
    assert_eq!(refused(&latin[44..]).split(':').nth(1), Some(" invalid UTF-8"));
    assert!(refused(b"<?xml version='1.0' encoding='EBCDIC'?><a/>").contains("\"ebcdic\""));
    assert!(refused(&units(true)[..7]).starts_with("byte 7"));
}

fn archive(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        let options = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        zip.start_file(*name, options).expect("an entry");
        zip.write_all(bytes).expect("bytes");
    }
    zip.finish().expect("an archive").into_inner()
}

#[test]
fn archives_that_are_no_scores_are_refused() {
    let container =
        |path: &str| format!("<container><rootfiles><rootfile full-path=\"{path}\"/></rootfiles></container>");
    let name = "META-INF/container.xml";
    assert!(refused(&archive(&[])).starts_with(name));
    assert_eq!(refused(&archive(&[(name, b"<container/>")])), format!("{name}: expected a root file, found none"));
    assert!(refused(&archive(&[(name, container("a.xml").as_bytes())])).starts_with("a.xml: not in the archive"));
    // A container that names itself is no score.
    assert!(refused(&archive(&[(name, container(name).as_bytes())])).contains("found <container>"));
    let inner = archive(&[("x", b"y")]);
    assert!(
        refused(&archive(&[(name, container("a").as_bytes()), ("a", &inner)])).contains("found a nested zip archive")
    );
    // 100 MB of blanks in some 100 kB.
    let bomb = archive(&[(name, container("a").as_bytes()), ("a", &vec![b' '; 100 << 20])]);
    assert!(bomb.len() < 1 << 20);
    assert!(refused(&bomb).contains("at most 33554432 bytes"));
    assert!(refused(b"PK\x03\x04 and nothing else").starts_with("expected a complete .mxl archive"));
}
