"""A bench of simulated instruments. Knows nothing of the drivers that talk to it."""
