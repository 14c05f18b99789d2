"""A report of a run: its content once, then written as a page, a document or data."""
