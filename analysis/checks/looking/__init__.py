"""What several checks look at; no file here is a check."""
