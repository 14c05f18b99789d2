"""Before a run: a few seconds at a small part of the current, and what they tell of instruments and leads."""
