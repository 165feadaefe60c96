"""Text and binary capture formats, one file each."""
