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

/// What may have been meant, as messages say it: ` (did you mean "tempo"?)`, or nothing.
pub fn did_you_mean<W: ToString>(found: &str, known: impl IntoIterator<Item = W>) -> String {
    let known: Vec<String> = known.into_iter().map(|word| word.to_string()).collect();
    nearest(found, known.iter().map(String::as_str))
        .map_or_else(String::new, |near| format!(" (did you mean \"{near}\"?)"))
}

/// The same for a message of a TOML reader about an unknown key: between backticks stand that key and, after
/// it, those that are known.
pub fn did_you_mean_key(message: &str) -> String {
    let mut words = message.split('`').skip(1).step_by(2);
    match (message.starts_with("unknown field"), words.next()) {
        (true, Some(found)) => did_you_mean(found, words),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::{did_you_mean_key, nearest};

    #[test]
    fn only_close_words_are_suggested() {
        let known = ["tempo", "title", "key"];
        assert_eq!(nearest("tmepo", known).as_deref(), Some("tempo"));
        assert_eq!(nearest("Key", known).as_deref(), Some("key"));
        assert_eq!(nearest("harmony", known), None);
    }

    #[test]
    fn an_unknown_key_of_a_toml_file_is_answered() {
        let message = "unknown field `tiltle`, expected one of `week`, `title`";
        assert_eq!(did_you_mean_key(message), " (did you mean \"title\"?)");
        assert_eq!(
            did_you_mean_key("unknown field `x`, expected `title` or `week`"),
            ""
        );
        assert_eq!(did_you_mean_key("missing field `title`"), "");
    }
}
