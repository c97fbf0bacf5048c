//! Tests of `teeter manual` and `teeter man`.

use super::{run, succeed};

#[test]
fn the_manual_lists_its_chapters_and_prints_one() {
    let list = succeed(&["manual"]).text;
    for chapter in teeter::manual::CHAPTERS {
        assert!(list.contains(&format!("  {} ", chapter.name)) && list.contains(chapter.title()), "{}", chapter.name);
        assert_eq!(succeed(&["manual", chapter.name]).text, chapter.text);
    }
    let wrong = run(&["manual", "chapters"], b"");
    assert_eq!((wrong.code, wrong.text.as_str()), (Some(2), ""));
    assert!(wrong.errors.starts_with("teeter: expected one of words, screen,"), "{}", wrong.errors);
    assert!(wrong.errors.ends_with("troubleshooting, found 'chapters'\n"), "{}", wrong.errors);
}

#[test]
fn man_pages_are_overwritten_only_with_the_option() {
    let main = succeed(&["man"]).text;
    assert!(main.contains(".TH teeter 1") && main.contains("teeter\\-explain"), "{main}");
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("man1").to_string_lossy().into_owned();
    succeed(&["man", "--into", &into]);
    let read = |name: &str| std::fs::read_to_string(format!("{into}/{name}"));
    assert_eq!(read("teeter.1").expect("the main page"), main);
    for name in ["explain", "render", "manual", "man", "completions"] {
        let page = read(&format!("teeter-{name}.1")).expect(name);
        assert!(page.contains(&format!(".TH teeter-{name} 1")), "{page}");
    }
    std::fs::write(format!("{into}/teeter-explain.1"), "changed").expect("written");
    let refused = run(&["man", "--into", &into], b"");
    assert_eq!(refused.code, Some(3), "{}", refused.errors);
    assert_eq!(read("teeter-explain.1").expect("a page"), "changed");
    succeed(&["man", "--into", &into, "--overwrite"]);
    assert!(read("teeter-explain.1").expect("a page").contains(".TH"));
}

#[test]
fn licenses_name_parts_with_their_source_and_the_own_license() {
    let text = succeed(&["licenses"]).text;
    assert!(text.contains("| symphonia |") && text.contains("https://github.com/"), "{text}");
    for words in ["# Licenses\n", "Mozilla Public\nLicense 2.0", "MIT License\n", "Bitstream Vera"] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
    assert!(!text.contains("<!--"), "{text}");
}
