"""Studies: runs of runs, each with its fit, its interval and its conclusion. One file a kind."""
