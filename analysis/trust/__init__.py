"""Whether a capture can be trusted, and what losses and disorder take away from a word."""
