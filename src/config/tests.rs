//! Tests of the config file: settings, positions and messages of mistakes, and that parts do not depend on each other.

use super::*;
use proptest::prelude::*;

#[test]
fn settings_are_read() {
    let config = Config::parse(
        "hearing.cell-limit = 82.5\n[keys]\nplay = \"f12\"\naccent = [\"a\", \"ctrl-k\"]\nquit = []\n\
         [tap]\noffset-ms = 40\n[sound]\noutput = \" Headset \"\nvolume-db = -6\nclick-db = 3.5\n",
    );
    assert_eq!(config.errors, []);
    assert_eq!((config.cell_limit_ms, config.tap_offset_ms), (Some(82.5), Some(40.0)));
    assert_eq!((config.output.as_deref(), config.volume_db, config.click_db), (Some("Headset"), Some(-6.0), Some(3.5)));
    let keys = |b: &Binding| b.keys.iter().map(|k| k.text.clone()).collect::<Vec<_>>();
    let bindings: Vec<_> = config.keys.iter().map(|b| (b.command.text.as_str(), keys(b))).collect();
    assert_eq!(
        bindings,
        [("play", vec!["f12".into()]), ("accent", vec!["a".into(), "ctrl-k".into()]), ("quit", Vec::new())]
    );
    let position = config.keys[1].keys[1].position;
    assert_eq!((position.line, position.column), (4, 16));
    assert_eq!(Config::parse(""), Config::default());
    assert_eq!(Config::parse("[hearing]\n[tap]\n"), Config::default());
}

#[test]
fn mistakes_have_a_position_and_a_part() {
    let rows = [
        (ConfigPart::Keys, "[keys]\nplay = 3", "line 2, column 8: expected a key in quotes, or several like"),
        (
            ConfigPart::File,
            "[colours]\n",
            "line 1, column 2: unknown table 'colours'; expected one of: keys, hearing, tap",
        ),
        (ConfigPart::File, "[keys\n", "line 1, column 6: invalid TOML: "),
        (
            ConfigPart::Hearing,
            "[hearing]\ncell-limit = 19.5",
            "line 2, column 14: expected a number from 20 to 1000 for 'cell-limit', found 19.5",
        ),
        (ConfigPart::Hearing, "[hearing]\ncell-limit = nan", "line 2, column 14: expected a number from 20 to 1000"),
        (
            ConfigPart::Hearing,
            "[keys]\nplay = \"f12\"\n[hearing]\ncell-limit = 1001",
            "line 4, column 14: expected a number",
        ),
        (
            ConfigPart::Hearing,
            "[hearing]\ncell-limit = \"90\"",
            "line 2, column 14: expected a number from 20 to 1000 for 'cell-limit', found \"90\"",
        ),
        (
            ConfigPart::Hearing,
            "[hearing]\ncell = 90",
            "line 2, column 1: unknown key 'cell'; expected one of: cell-limit",
        ),
        (ConfigPart::Tap, "[tap]\noffset-ms = 1001", "line 2, column 13: expected a number from -1000 to 1000"),
        (ConfigPart::Tap, "[tap]\noffset = 10", "line 2, column 1: unknown key 'offset'"),
        (ConfigPart::Sound, "[sound]\noutput = \" \"", "line 2, column 10: expected the name of an output"),
        (ConfigPart::Sound, "[sound]\noutput = 3", "line 2, column 10: expected the name of an output"),
        (ConfigPart::Sound, "[sound]\nvolume-db = 1", "line 2, column 13: expected a number from -40 to 0"),
        (ConfigPart::Sound, "[sound]\nclick-db = 7", "line 2, column 12: expected a number from -40 to 6"),
        (ConfigPart::Hearing, "hearing = 3", "line 1, column 11: expected a table [hearing], found 3"),
    ];
    for (part, text, message) in rows {
        let config = Config::parse(text);
        let [error] = &config.errors[..] else { panic!("{text:?}: {:?}", config.errors) };
        assert_eq!(error.part, part, "{text:?}");
        assert!(error.to_string().starts_with(message), "{text:?}: {error}");
    }
}

#[test]
fn a_mistake_in_one_part_leaves_the_others_working() {
    let config = Config::parse("[keys]\nplay = 3\n[hearing]\ncell-limit = 90\n[tap]\noffset-ms = \"x\"\noffset = 1\n");
    assert_eq!(config.cell_limit_ms, Some(90.0));
    let starts = |config: &Config, part: ConfigPart, severity: Severity| -> Vec<String> {
        config.mistakes(part, severity).iter().map(|m| m[..m.len().min(16)].to_owned()).collect()
    };
    assert_eq!(starts(&config, ConfigPart::Hearing, Severity::Error), [""; 0]);
    assert_eq!(starts(&config, ConfigPart::Keys, Severity::Error), ["config.toml:2:8:"]);
    assert_eq!(starts(&config, ConfigPart::Tap, Severity::Error), ["config.toml:6:13"]);
    // An unknown key or table is no error.
    assert_eq!(starts(&config, ConfigPart::Tap, Severity::Warning), ["config.toml:7:1:"]);
    let config = Config::parse("[haering]\n[tap]\nwidth = 1\n[hearing]\ncell-limit = 90\ncell = 1\n");
    assert_eq!(starts(&config, ConfigPart::Hearing, Severity::Error), [""; 0]);
    assert_eq!(starts(&config, ConfigPart::Hearing, Severity::Warning), ["config.toml:1:2:", "config.toml:6:1:"]);
    assert_eq!(config.cell_limit_ms, Some(90.0));
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn any_text_is_read(text in "(\\[keys\\]|\\[hearing\\]|cell-limit = |play = |\"x\"|[0-9.]{1,4}|\n|\\PC){0,12}") {
        let _ = Config::parse(&text);
    }
}
