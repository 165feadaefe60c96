"""A session for a class: numbered steps, byte by byte, with questions that the recording itself answers."""
