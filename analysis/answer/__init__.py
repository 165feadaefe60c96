"""The conclusions: a word for each part, the first sentence, what to do next, what cannot be shown."""
