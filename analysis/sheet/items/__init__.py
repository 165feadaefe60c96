"""The items of a job sheet, by what they ask for."""
