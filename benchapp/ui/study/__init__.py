"""Studies in the window: run after run, and what they conclude."""
