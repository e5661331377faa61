"""The pytest side: cases become test items, a trial runs once, every check is a line."""
