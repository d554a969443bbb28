//! The nearest of the known spellings, for messages that say what would be accepted.

/// The known word closest to what was written, if one is close: by Damerau-Levenshtein distance, at most a
/// third of the word and never more than three letters away; the first of equals.
pub fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    let length = found.chars().count();
    if length > 60 {
        return None;
    }
    let reach = (length.max(3) / 3).min(3);
    known
        .into_iter()
        .map(|word| {
            (
                strsim::damerau_levenshtein(&found.to_lowercase(), &word.to_lowercase()),
                word,
            )
        })
        .filter(|(distance, _)| *distance <= reach)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word.to_owned())
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn only_close_words_are_suggested() {
        let known = ["tempo", "title", "key"];
        assert_eq!(nearest("tmepo", known).as_deref(), Some("tempo"));
        assert_eq!(nearest("Key", known).as_deref(), Some("key"));
        assert_eq!(nearest("harmony", known), None);
    }
}
