//! The voices that a prompt offers: those that match what is typed, and the answer that each of them completes.

use crate::rhythm::Voice;
use crate::terminal::Question;

/// The voices for the last word of an answer, the best first: all without a word; `None` if the question is not about a voice.
pub(crate) fn offered(question: Question, text: &str) -> Option<Vec<Voice>> {
    if !matches!(question, Question::AddLayer | Question::Voice) {
        return None;
    }
    let word = split(text).1.to_lowercase();
    let rank = |voice: &Voice| match voice.name() {
        name if name == word => Some(0),
        name if name.starts_with(&word) => Some(1),
        name if name.contains(&word) => Some(2),
        _ => voice.description().contains(&word).then_some(3),
    };
    let mut voices: Vec<Voice> = Voice::ALL.iter().copied().filter(|voice| rank(voice).is_some()).collect();
    voices.sort_by_key(rank);
    Some(voices)
}

/// Index of the voice that an answer selects: the one moved to, or else the one whose name is being typed.
pub(crate) fn selected(question: Question, text: &str, moved_to: Option<usize>) -> Option<usize> {
    let voices = offered(question, text)?;
    let (_, word) = split(text);
    let is_typed = !word.is_empty() && voices.first()?.name().starts_with(word);
    moved_to.map(|at| at.min(voices.len().saturating_sub(1))).or(is_typed.then_some(0)).filter(|_| !voices.is_empty())
}

/// The answer with the selected voice as its last word; as typed without one.
pub(crate) fn completed(question: Question, text: &str, moved_to: Option<usize>) -> String {
    let voice = selected(question, text, moved_to).and_then(|at| offered(question, text)?.get(at).copied());
    let name = if question == Question::AddLayer { split(text).0 } else { "" };
    voice.map_or_else(|| text.to_owned(), |voice| format!("{name}{voice}"))
}

/// What comes before the last word, with the space after it, and that word, which may be empty.
fn split(text: &str) -> (&str, &str) {
    text.split_at(
        text.rfind(char::is_whitespace).map_or(0, |at| at + text[at..].chars().next().map_or(1, char::len_utf8)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str) -> Vec<&'static str> {
        offered(Question::AddLayer, text).expect("a list").into_iter().map(Voice::name).collect()
    }

    #[test]
    fn voices_that_begin_as_typed_come_first() {
        assert_eq!(names("").len(), Voice::ALL.len());
        assert_eq!(names("tom"), ["tom", "low-tom"]);
        assert_eq!(names("mate's h")[0], "hat");
        assert!(names("hi-hat").starts_with(&["hat", "open-hat"]), "by the description");
        assert!(names("Cymbal").contains(&"ride"));
        assert!(names("kazoo").is_empty());
        assert_eq!(offered(Question::Tempo, ""), None);
    }

    #[test]
    fn an_answer_is_completed_with_the_selected_voice() {
        let rows = [
            ("", None, ""),
            ("", Some(0), "kick"),
            ("sn", None, "snare"),
            ("low ki", None, "low kick"),
            ("deck\u{3000}", Some(1), "deck\u{3000}snare"),
            ("tom", Some(1), "low-tom"),
            ("tom", Some(99), "low-tom"),
            ("kazoo", Some(0), "kazoo"),
            // A word of a description is not the start of a name.
            ("cymbal", None, "cymbal"),
            ("cymbal", Some(0), "ride"),
        ];
        for (text, moved_to, expected) in rows {
            assert_eq!(completed(Question::AddLayer, text, moved_to), expected, "{text} {moved_to:?}");
        }
    }
}
