"""The upload page: captures in, reports out, for people without a command line."""
