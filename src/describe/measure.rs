//! Published measures of a rhythm in one line each.

use super::short_decimal;
use crate::analysis::Measure;

/// The measure whose values differ in their last decimals only.
const EVENNESS: &str = "evenness";

/// What a high or a low value means according to the measure's source.
fn meaning(name: &str) -> &'static str {
    match name {
        "weighted note-to-beat distance"
        | "Keith's syncopation, as a count"
        | "Longuet-Higgins and Lee's syncopation" => "higher: more syncopated",
        "off-beatness" => "attacks on cells that no even division of the cycle reaches",
        "nPVI of the groups" => "0: equal groups; higher: more contrast between neighbors",
        EVENNESS => "1: as even as its cells allow",
        "rhythmic oddity" => "1: no two attacks split the cycle into equal halves; 0: some do",
        "metric complexity" => "higher: more complex",
        "mean metrical indispensability" => "lower: further from the strong beats",
        "clock score" => "higher: less evidence for a beat",
        _ => "",
    }
}

/// A measure's name, its value and what a high or low one means, or why it has no value.
pub(crate) fn measure(m: &Measure) -> String {
    let value = match m.value {
        Ok(v) if m.name == EVENNESS => format!("{v:.4}"),
        Ok(v) => short_decimal(v),
        Err(why) => return format!("{}: not computed: {why}", m.name),
    };
    let more: Vec<&str> = [meaning(m.name), m.detail.as_str()].into_iter().filter(|w| !w.is_empty()).collect();
    if more.is_empty() { format!("{}: {value}", m.name) } else { format!("{}: {value} ({})", m.name, more.join("; ")) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::measure::{Ring, evenness};
    use crate::analysis::{AnalysisOptions, report};
    use crate::rhythm::tests::grooves;
    use proptest::prelude::*;

    #[test]
    fn an_evenness_near_one_is_not_told_as_one() {
        let described = |groups: &[usize]| {
            let attacks = groups.iter().scan(0, |at, g| Some(std::mem::replace(at, *at + g))).collect();
            let value = Ring::new(groups.iter().sum(), attacks).ok_or("no ring").and_then(|r| evenness(&r));
            let m = Measure { name: EVENNESS, source: "", value, detail: String::new() };
            (value.expect("a value"), measure(&m))
        };
        // Sums of chords by hand, over those of the most even placing on as many cells.
        assert_eq!(described(&[4, 4, 4, 4]).1, "evenness: 1.0000 (1: as even as its cells allow)");
        assert_eq!(described(&[3, 3, 3, 3, 4]).1, "evenness: 1.0000 (1: as even as its cells allow)");
        assert_eq!(described(&[3, 3, 2, 3, 5]).1, "evenness: 0.9746 (1: as even as its cells allow)");
        let (value, words) = described(&[4, 4, 3, 4, 4, 3, 4, 4, 3, 5, 5, 5]);
        assert!(
            value < 1.0
                && words == format!("evenness: {value:.4} (1: as even as its cells allow)")
                && !words.contains("1.0000"),
            "{words}"
        );
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(32))]
        /// A measure that is added or renamed has to say what its values mean.
        #[test]
        fn every_measure_says_which_way_it_goes(g in grooves()) {
            for m in report(&g, &AnalysisOptions::default()).measures.iter().flat_map(|s| &s.1) {
                prop_assert!(!meaning(m.name).is_empty(), "{}", m.name);
                prop_assert!(!measure(m).contains('\n'));
            }
        }
    }
}
