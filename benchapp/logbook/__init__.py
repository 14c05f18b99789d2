"""The record: what is written down of a run, and the files that go out and come back."""
