"""The Logbook stage: every run by itself, to be found, opened as it was, compared and exported."""
