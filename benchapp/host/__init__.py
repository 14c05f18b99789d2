"""Where a run lives: in this process, or in one of its own that outlives the window, and what others see of it."""
