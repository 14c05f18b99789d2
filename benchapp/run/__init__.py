"""One run wired, and a run out of the record as it was."""
