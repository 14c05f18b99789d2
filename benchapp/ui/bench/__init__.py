"""The Bench stage: which instruments, how they are wired, and whether they answer."""
