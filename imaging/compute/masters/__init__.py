"""Masters: the files as they were received, read safely and never altered."""
