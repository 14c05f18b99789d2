"""The Measure stage: the run live, its result on top."""
