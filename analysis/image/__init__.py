"""The memory that downloads wrote: rebuilt, beside a firmware file, as a page."""
